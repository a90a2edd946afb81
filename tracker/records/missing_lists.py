"""What is missing: the one list of the boxes that are not complete, what leaves soonest first.

What a box lacks is decided in ``shop.completeness``. A box leaves on the day of the load that it is planned for, or
where there is none on its job's due date. A box on no load is owed once others of its job have left: then it should
have left with the first of them, if its job was not due before. Bounded: jobs are read in the order of their due dates
until a page is full, jobs that lack nothing are passed over by their tallies, finished ones never looked at. By load,
what a load leaves behind stands under that load.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from heapq import merge
from typing import Any, Final

from sqlalchemy import ColumnElement, CompoundSelect, Connection, Select, case, exists, func, select, tuple_, union_all

from tracker.records.box_contents import Item, items_by_box
from tracker.records.boxes import ALL_BOXES, Box, read_box
from tracker.records.completeness import is_incomplete, part_is_lacking
from tracker.records.loads import LOAD, Load
from tracker.records.parts import SeenPart, parts_by_box
from tracker.records.shipping import staying_of_loads, stays
from tracker.records.tables import box, job, load, log, part, station, tally
from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.codes import load_code, load_code_or_none
from tracker.shop.job_states import UNFINISHED
from tracker.shop.load_states import LoadState

_JOBS_AT_ONCE: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounds:
    """How much stands on a page: boxes, missing parts and items of all of them, and of one of them."""

    boxes: int
    rows: float = float("inf")
    rows_a_box: int | None = None


SCREEN: Final = Bounds(boxes=40, rows=100, rows_a_box=60)  # it stays small whatever the boxes lack


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """Where a page ends: the day on which its last box leaves, that box's job and its number."""

    leaves: date
    job_id: int
    box_id: int

    def __str__(self) -> str:
        return f"{self.leaves.isoformat()}_{self.job_id}_{self.box_id}"


def read_after(text: str) -> After:
    """Read what an ``After`` spelled. Raises ValueError for anything else."""
    leaves, *numbers = text.split("_")
    job_id, box_id = (int(number) for number in numbers if number.isascii() and number.isdigit() and len(number) < 10)
    return After(leaves=date.fromisoformat(leaves), job_id=job_id, box_id=box_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class Owed:
    """Since when a box is owed: the first load of its job that left without it, and the moment when that left."""

    load: str
    since: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortBox(Box):
    """A box that is not complete. ``more`` parts and items lack beside those that are listed.

    ``behind`` is the load that leaves without it though other boxes of its job are on that one; ``owed`` is None while
    no box of its job has left. It stands in the list by ``listed_on``.
    """

    listed_on: date
    behind: str | None
    owed: Owed | None
    parts: Sequence[SeenPart]
    items: Sequence[Item]
    more: int
    uncounted: int

    @property
    def lacking(self) -> int:
        """How many parts and kinds of items it lacks."""
        return self.parts_lacking + self.uncounted


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingPage:
    """A page of boxes that are not complete; ``next`` leads to the following one, None on the last.

    ``who`` scanned each of their parts last, by the part's number.
    """

    boxes: Sequence[ShortBox]
    next: After | None
    who: Mapping[int, str]


def missing_page(
    connection: Connection, *, after: After | None = None, job_code: str | None = None, bounds: Bounds = SCREEN
) -> MissingPage:
    """Return the boxes that are not complete, soonest leaving first; of all jobs, or of one."""
    if job_code is not None:
        heads = _heads(connection, _of_job(job_code), after, bounds)
    else:
        loaded = _heads(connection, _ON_LOADS, after, bounds)
        owed = _heads(connection, _OWED, after, bounds)
        others = _heads_without_load(connection, after, bounds)
        heads = merge(loaded, owed, others, key=lambda head: (head.leaves, head.of_job, head.id))
    return _page(connection, heads, bounds)


def missing_on_loads(connection: Connection, *, after: After | None = None, load_id: int | None = None) -> MissingPage:
    """Return what keeps the planned loads, or one of them, from leaving whole: what leaves soonest first.

    A box that a load leaves behind stands under that load, by the day of that load.
    """
    on_loads = _ON_LOADS if load_id is None else _ON_LOADS.where(load.c.id == load_id)
    return _page(
        connection, _heads(connection, union_all(on_loads, _left_behind(load_id)), after, SCREEN), SCREEN, load_id
    )


_LACKS: Final[tuple[ColumnElement[bool], ...]] = (
    job.c.status.in_(UNFINISHED),
    box.c.state != BoxState.SHIPPED,
    is_incomplete(),
)
_HEADS = ALL_BOXES.add_columns(box.c.job_id.label("of_job"))
_ON_LOADS: Select[Any] = _HEADS.add_columns(load.c.ship_on.label("leaves")).where(
    load.c.state == LoadState.OPEN, *_LACKS
)
_leaving, _its, _mate = load.alias("leaving"), load.alias("its"), box.alias("mate")
_leaving_mates = select(_mate.c.job_id).join(_its, _its.c.id == _mate.c.load_id).where(_its.c.state == LoadState.OPEN)
_left_first = (
    select(func.min(_its.c.ship_on))
    .join(_mate, _mate.c.load_id == _its.c.id)
    .where(_its.c.state == LoadState.SHIPPED, _mate.c.job_id == box.c.job_id)
    .correlate(box)
    .scalar_subquery()
)
_leaves = func.coalesce(load.c.ship_on, case((_left_first < job.c.due, _left_first), else_=job.c.due)).label("leaves")
_gone = tally.alias("gone")
_has_left = exists().where(_gone.c.job_id == job.c.id, _gone.c.what == "shipped", _gone.c.done > 0)
_OWED: Select[Any] = _HEADS.add_columns(_leaves).where(box.c.load_id.is_(None), _has_left, *_LACKS)
_first_load = (
    select(_its.c.id)
    .join(_mate, _mate.c.load_id == _its.c.id)
    .where(_its.c.state == LoadState.OPEN, _mate.c.job_id == box.c.job_id)
    .order_by(_its.c.ship_on, _its.c.id)
    .limit(1)
    .correlate(box)
    .scalar_subquery()
)


def _left_behind(load_id: int | None = None) -> Select[Any]:
    """The boxes that stay behind a load, or each the first one of its job that leaves."""
    its_load = _first_load if load_id is None else load_id
    mates = _leaving_mates if load_id is None else _leaving_mates.where(_its.c.id == load_id)
    boxes = _HEADS.add_columns(_leaving.c.ship_on.label("leaves")).join(_leaving, _leaving.c.id == its_load)
    return boxes.where(_leaving.c.state == LoadState.OPEN, stays, box.c.job_id.in_(mates))


def _of_job(code: str) -> Select[Any]:
    return _HEADS.add_columns(_leaves).where(job.c.code == code, *_LACKS)


def _heads(
    connection: Connection, query: Select[Any] | CompoundSelect[Any], after: After | None, bounds: Bounds
) -> Iterator[Any]:
    """Give the boxes of a query by the day on which they leave, no more than a page of them."""
    found = query.subquery()
    ordered = select(found).order_by(found.c.leaves, found.c.of_job, found.c.id).limit(bounds.boxes + 1)
    if after is not None:
        place = tuple_(found.c.leaves, found.c.of_job, found.c.id)
        ordered = ordered.where(place > (after.leaves, after.job_id, after.box_id))
    yield from connection.execute(ordered)


_short = tally.alias("short")
_LACKING_JOBS = (
    select(job.c.id, job.c.due)
    .where(
        job.c.status.in_(UNFINISHED),
        ~_has_left,
        exists().where(
            _short.c.job_id == job.c.id, _short.c.what.in_(["pack", "sealed"]), _short.c.done < _short.c.total
        ),
    )
    .order_by(job.c.due, job.c.id)
    .limit(_JOBS_AT_ONCE)
)
_WITHOUT_LOAD = (
    _HEADS.add_columns(job.c.due.label("leaves"))
    .where(box.c.load_id.is_(None), *_LACKS)
    .order_by(job.c.due, job.c.id, box.c.id)
)


def _heads_without_load(connection: Connection, after: After | None, bounds: Bounds) -> Iterator[Any]:
    """Give the boxes of jobs of which none has left, that no load is planned for, by due date, a few jobs at a time."""
    query, place = _WITHOUT_LOAD.limit(bounds.boxes + 1), None
    if after is not None:
        query = query.where(tuple_(job.c.due, box.c.job_id, box.c.id) > (after.leaves, after.job_id, after.box_id))
        place = (after.leaves, after.job_id - 1)
    while True:
        jobs = _LACKING_JOBS if place is None else _LACKING_JOBS.where(tuple_(job.c.due, job.c.id) > place)
        rows = connection.execute(jobs).all()
        if not rows:
            return
        yield from connection.execute(query.where(box.c.job_id.in_([row.id for row in rows])))
        place = (rows[-1].due, rows[-1].id)


def _page(connection: Connection, heads: Iterator[Any], bounds: Bounds, load_id: int | None = None) -> MissingPage:
    chosen: list[Any] = []
    end: After | None = None
    rows = 0
    for head in heads:
        lacking = head.parts_total - head.packed + 1
        lacking = lacking if bounds.rows_a_box is None else min(lacking, bounds.rows_a_box)
        if chosen and (len(chosen) == bounds.boxes or rows + lacking > bounds.rows):
            end = After(leaves=chosen[-1].leaves, job_id=chosen[-1].of_job, box_id=chosen[-1].id)
            break
        chosen.append(head)
        rows += lacking
    ids = [head.id for head in chosen]
    parts = parts_by_box(connection, [read_box(Box, head) for head in chosen], part_is_lacking)
    items = items_by_box(connection, ids, short=True)
    who = last_scanned_by(connection, [each.id for some in parts.values() for each in some if each.last_seen])
    behind, owed = _behind(connection, ids, load_id), _owed(connection, ids)
    boxes = [
        _short_box(head, parts[head.id], items[head.id], behind.get(head.id), owed.get(head.id), bounds)
        for head in chosen
    ]
    return MissingPage(boxes=boxes, next=end, who=who)


def _behind(connection: Connection, box_ids: Collection[int], load_id: int | None) -> Mapping[int, int]:
    """Return for each of these boxes that a load leaves behind the number of that load."""
    boxes = _left_behind(load_id).where(box.c.id.in_(list(box_ids)))
    query = boxes.with_only_columns(box.c.id, _leaving.c.id.label("leaving_id"))
    return {row.id: row.leaving_id for row in connection.execute(query)}


def _owed(connection: Connection, box_ids: Collection[int]) -> Mapping[int, Owed]:
    """Return for each of these boxes since when it is owed, if others of its job have left."""
    query = (
        select(box.c.id, _its.c.id.label("load_id"), _its.c.shipped_at)
        .join(_mate, _mate.c.job_id == box.c.job_id)
        .join(_its, _its.c.id == _mate.c.load_id)
        .where(box.c.id.in_(list(box_ids)), _its.c.state == LoadState.SHIPPED)
        .distinct()
        .order_by(_its.c.shipped_at.desc(), _its.c.id.desc())
    )
    return {row.id: Owed(load=load_code(row.load_id), since=row.shipped_at) for row in connection.execute(query)}


def _short_box(
    head: Any,
    parts: Sequence[SeenPart],
    items: Sequence[Item],
    behind: int | None,
    owed: Owed | None,
    bounds: Bounds,
) -> ShortBox:
    listed = parts[: bounds.rows_a_box]
    counted = items if bounds.rows_a_box is None else items[: max(0, bounds.rows_a_box - len(parts))]
    return read_box(
        ShortBox,
        head,
        listed_on=head.leaves,
        behind=load_code_or_none(behind),
        owed=owed,
        parts=listed,
        items=counted,
        more=len(parts) + len(items) - len(listed) - len(counted),
        uncounted=len(items),
    )


def last_scanned_by(connection: Connection, part_ids: Collection[int]) -> dict[int, str]:
    """Return for each part who scanned it when it was seen last."""
    query = select(log.c.part_id, log.c.who).join(part, part.c.id == log.c.part_id)
    query = query.where(log.c.part_id.in_(list(part_ids)), log.c.at == part.c.seen_at).order_by(log.c.seq)
    return {row.part_id: row.who for row in connection.execute(query)}


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLoad(Load):
    """A load that has not left: how many of its boxes lack something, are complete but not sealed, and are on it.

    ``behind`` boxes of its jobs stay behind.
    """

    boxes: int
    short: int
    unsealed: int
    on_it: int
    behind: int


def open_loads(connection: Connection, *, limit: int) -> list[OpenLoad]:
    """Return the loads that have not left, soonest first."""
    query = select(*LOAD).where(load.c.state == LoadState.OPEN).order_by(load.c.ship_on, load.c.id)
    rows = connection.execute(query.limit(limit)).all()
    states = select(box.c.load_id, box.c.state, is_incomplete()).where(box.c.load_id.in_([row.id for row in rows]))
    boxes: defaultdict[int, list[tuple[BoxState, bool]]] = defaultdict(list)
    for load_id, state, lacks in connection.execute(states):
        boxes[load_id].append((state, bool(lacks)))
    behind = staying_of_loads(connection, [row.id for row in rows])
    return [_open_load(row, boxes[row.id], len(behind[row.id])) for row in rows]


def _open_load(row: Any, boxes: Sequence[tuple[BoxState, bool]], behind: int) -> OpenLoad:
    return OpenLoad(
        **LOAD.read(row),
        boxes=len(boxes),
        short=sum(lacks for _state, lacks in boxes),
        unsealed=sum(state not in CLOSED_STATES and not lacks for state, lacks in boxes),
        on_it=sum(state is BoxState.LOADED and not lacks for state, lacks in boxes),
        behind=behind,
    )


def stations_by_step(connection: Connection) -> dict[str, list[str]]:
    """Return the names of the stations that do each step."""
    found: defaultdict[str, list[str]] = defaultdict(list)
    for row in connection.execute(select(station.c.name, station.c.step).order_by(station.c.name)):
        found[row.step].append(row.name)
    return dict(found)
