"""What is missing: the one list of the boxes that are not complete, what leaves soonest first.

What a box lacks is decided in ``shop.lacking``. A box leaves on the day of the load that it is planned for, or where
there is none on its job's due date. Bounded: jobs are read in the order of their due dates until a page is full, jobs
that lack nothing are passed over by their tallies, finished ones never looked at.

By load, what a load leaves behind stands under that load.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from heapq import merge
from typing import Any, Final

from sqlalchemy import ColumnElement, CompoundSelect, Connection, Select, exists, func, select, tuple_, union_all

from tracker.records.lacking import is_incomplete, item_is_short, part_is_lacking
from tracker.records.look import LastSeen
from tracker.records.shipping import staying_of_loads, stays
from tracker.records.tables import box, item, job, load, log, part, slot, station, tally
from tracker.shop.acts import Act
from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.codes import box_code, load_code, load_code_or_none, part_code
from tracker.shop.job_states import UNFINISHED, JobStatus
from tracker.shop.progress import Progress
from tracker.shop.steps import Step

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
class MissingPart:
    """A part that its box lacks: the step that it waits at, and where, when and by whom it was scanned last."""

    code: str
    name: str
    cabinet: str
    step: str
    status: str
    urgent: bool
    damaged: bool
    station: str | None
    slot: str | None
    seen_at: datetime | None
    who: str | None

    @property
    def last_seen(self) -> LastSeen | None:
        if self.seen_at is None:
            return None
        return LastSeen(station=self.station or "", at=self.seen_at, slot=self.slot)


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingItem:
    """An item that is still to be counted into its box."""

    item: str
    quantity: int
    counted: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Owed:
    """Since when a box is owed: the first load that left without it, and the moment when that left."""

    load: str
    since: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortBox:
    """A box that is not complete. ``more`` parts and items lack beside those that are listed.

    ``held`` is its job's hold; ``kept`` says that a foreman keeps this box in the shop. ``behind`` is the load that
    leaves without it though the box that it completes, ``follows``, is on that one; ``owed`` is None for one that no
    load has left behind.
    """

    id: int
    code: str
    name: str
    state: str
    job: str
    job_id: int
    held: bool
    kept: bool
    customer: str
    due: date
    load: str | None
    behind: str | None
    owed: Owed | None
    follows: str | None
    leaves: date
    parts: Sequence[MissingPart]
    items: Sequence[MissingItem]
    more: int
    parts_lacking: int
    uncounted: int

    @property
    def lacking(self) -> int:
        """How many parts and kinds of items it lacks."""
        return self.parts_lacking + self.uncounted


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingPage:
    """A page of boxes that are not complete; ``next`` leads to the following one, None on the last."""

    boxes: Sequence[ShortBox]
    next: After | None


def missing_page(
    connection: Connection, *, after: After | None = None, job_code: str | None = None, bounds: Bounds = SCREEN
) -> MissingPage:
    """Return the boxes that are not complete, soonest leaving first; of all jobs, or of one."""
    if job_code is not None:
        heads = _heads(connection, _of_job(job_code), after, bounds)
    else:
        loaded = _heads(connection, _ON_LOADS, after, bounds)
        others = _heads_without_load(connection, after, bounds)
        heads = merge(loaded, others, key=lambda head: (head.leaves, head.job_id, head.id))
    return _page(connection, heads, bounds)


def missing_on_loads(connection: Connection, *, after: After | None = None, load_id: int | None = None) -> MissingPage:
    """Return what keeps the planned loads, or one of them, from leaving whole: what leaves soonest first.

    A box that a load leaves behind stands under that load, by the day of that load.
    """
    on_loads = _ON_LOADS if load_id is None else _ON_LOADS.where(load.c.id == load_id)
    return _page(
        connection, _heads(connection, union_all(on_loads, _left_behind(load_id)), after, SCREEN), SCREEN, load_id
    )


_COLUMNS = (
    *(box.c.id, box.c.name, box.c.state, box.c.job_id, box.c.load_id, box.c.parts_total, box.c.packed),
    *(box.c.held_at, box.c.follows_id),
    *(job.c.code.label("job_code"), job.c.status.label("job_status"), job.c.customer, job.c.due),
)
_LACKS: Final[tuple[ColumnElement[bool], ...]] = (
    job.c.status.in_(UNFINISHED),
    box.c.state != BoxState.SHIPPED,
    is_incomplete(),
)
_OF_LOADS: Select[Any] = (
    select(*_COLUMNS, load.c.ship_on.label("leaves")).select_from(load).where(load.c.state == "open")
)
_ON_LOADS = _OF_LOADS.join(box, box.c.load_id == load.c.id).join(job, job.c.id == box.c.job_id).where(*_LACKS)
_its, _mate = load.alias("its"), box.alias("mate")
_leaving_mates = select(_mate.c.job_id).join(_its, _its.c.id == _mate.c.load_id).where(_its.c.state == "open")
_first_load = (
    select(_its.c.id)
    .join(_mate, _mate.c.load_id == _its.c.id)
    .where(_its.c.state == "open", _mate.c.job_id == box.c.job_id)
    .order_by(_its.c.ship_on, _its.c.id)
    .limit(1)
    .correlate(box)
    .scalar_subquery()
)


def _left_behind(load_id: int | None = None) -> Select[Any]:
    """The boxes that stay behind a load, or each the first one of its job that leaves."""
    its_load = _first_load if load_id is None else load_id
    mates = _leaving_mates if load_id is None else _leaving_mates.where(_its.c.id == load_id)
    return (
        _OF_LOADS.join(box, load.c.id == its_load)
        .join(job, job.c.id == box.c.job_id)
        .where(stays, box.c.job_id.in_(mates))
    )


def _of_job(code: str) -> Select[Any]:
    leaves = func.coalesce(load.c.ship_on, job.c.due).label("leaves")
    boxes = select(*_COLUMNS, leaves).select_from(job).join(box, box.c.job_id == job.c.id)
    return boxes.outerjoin(load, load.c.id == box.c.load_id).where(job.c.code == code, *_LACKS)


def _heads(
    connection: Connection, query: Select[Any] | CompoundSelect[Any], after: After | None, bounds: Bounds
) -> Iterator[Any]:
    """Give the boxes of a query by the day on which they leave, no more than a page of them."""
    found = query.subquery()
    ordered = select(found).order_by(found.c.leaves, found.c.job_id, found.c.id).limit(bounds.boxes + 1)
    if after is not None:
        place = tuple_(found.c.leaves, found.c.job_id, found.c.id)
        ordered = ordered.where(place > (after.leaves, after.job_id, after.box_id))
    yield from connection.execute(ordered)


_short = tally.alias("short")
_LACKING_JOBS = (
    select(job.c.id, job.c.due)
    .where(
        job.c.status.in_(UNFINISHED),
        exists().where(
            _short.c.job_id == job.c.id, _short.c.what.in_(["pack", "sealed"]), _short.c.done < _short.c.total
        ),
    )
    .order_by(job.c.due, job.c.id)
    .limit(_JOBS_AT_ONCE)
)
_WITHOUT_LOAD = (
    select(*_COLUMNS, job.c.due.label("leaves"))
    .join(job, job.c.id == box.c.job_id)
    .where(box.c.load_id.is_(None), *_LACKS)
    .order_by(job.c.due, job.c.id, box.c.id)
)


def _heads_without_load(connection: Connection, after: After | None, bounds: Bounds) -> Iterator[Any]:
    """Give the boxes that no load is planned for, by their jobs' due dates, a few jobs at a time."""
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
            end = After(leaves=chosen[-1].leaves, job_id=chosen[-1].job_id, box_id=chosen[-1].id)
            break
        chosen.append(head)
        rows += lacking
    ids = [head.id for head in chosen]
    parts, items = _lacking_parts(connection, ids), _short_items(connection, ids)
    behind, owed = _behind(connection, ids, load_id), _owed(connection, ids)
    boxes = [
        _short_box(head, parts[head.id], items[head.id], behind.get(head.id), owed.get(head.id), bounds)
        for head in chosen
    ]
    return MissingPage(boxes=boxes, next=end)


def _behind(connection: Connection, box_ids: Collection[int], load_id: int | None) -> Mapping[int, int]:
    """Return for each of these boxes that a load leaves behind the number of that load."""
    boxes = _left_behind(load_id).where(box.c.id.in_(list(box_ids)))
    query = boxes.with_only_columns(box.c.id, load.c.id.label("load_id"))
    return {row.id: row.load_id for row in connection.execute(query)}


def _owed(connection: Connection, box_ids: Collection[int]) -> Mapping[int, Owed]:
    """Return for each of these boxes that a load has left behind since when it is owed."""
    left = log.c.part_id.is_(None), log.c.box_id.in_(list(box_ids)), log.c.action == Act.LEAVE
    query = select(log.c.box_id, log.c.load_id, log.c.at).where(*left).order_by(log.c.seq.desc())
    rows = connection.execute(query)
    return {row.box_id: Owed(load=load_code(row.load_id), since=row.at) for row in rows}


def _short_box(
    head: Any,
    parts: Sequence[MissingPart],
    items: Sequence[MissingItem],
    behind: int | None,
    owed: Owed | None,
    bounds: Bounds,
) -> ShortBox:
    listed = parts[: bounds.rows_a_box]
    counted = items if bounds.rows_a_box is None else items[: max(0, bounds.rows_a_box - len(parts))]
    return ShortBox(
        id=head.id,
        code=box_code(head.id),
        name=head.name,
        state=head.state,
        job=head.job_code,
        job_id=head.job_id,
        held=head.job_status == JobStatus.HELD,
        kept=head.held_at is not None,
        customer=head.customer,
        due=head.due,
        load=load_code_or_none(head.load_id),
        behind=load_code_or_none(behind),
        owed=owed,
        follows=None if head.follows_id is None else box_code(head.follows_id),
        leaves=head.leaves,
        parts=listed,
        items=counted,
        more=len(parts) + len(items) - len(listed) - len(counted),
        parts_lacking=len(parts),
        uncounted=len(items),
    )


_LACKING_PARTS = (
    select(
        *(part.c.id, part.c.box_id, part.c.name, part.c.cabinet, part.c.route, part.c.done, part.c.status),
        *(part.c.urgent, part.c.damaged, part.c.seen_at, station.c.name.label("station_name")),
        slot.c.name.label("slot_name"),
    )
    .select_from(part)
    .outerjoin(station, station.c.id == part.c.seen_station_id)
    .outerjoin(slot, slot.c.id == part.c.slot_id)
    .where(part_is_lacking)
    .order_by(part.c.box_id, part.c.position, part.c.id)
)


def _lacking_parts(connection: Connection, box_ids: Collection[int]) -> defaultdict[int, list[MissingPart]]:
    rows = connection.execute(_LACKING_PARTS.where(part.c.box_id.in_(list(box_ids)))).all()
    who = last_scanned_by(connection, [row.id for row in rows if row.seen_at is not None])
    found: defaultdict[int, list[MissingPart]] = defaultdict(list)
    for row in rows:
        route = tuple(step for step in Step if step in row.route)
        step = Progress(done=row.done, damaged=row.damaged).next_step(route)
        found[row.box_id].append(
            MissingPart(
                code=part_code(row.id),
                name=row.name,
                cabinet=row.cabinet,
                step=str(step or Step.PACK),
                status=row.status,
                urgent=row.urgent,
                damaged=row.damaged,
                station=row.station_name,
                slot=row.slot_name,
                seen_at=row.seen_at,
                who=who.get(row.id),
            )
        )
    return found


def last_scanned_by(connection: Connection, part_ids: Collection[int]) -> dict[int, str]:
    """Return for each part who scanned it when it was seen last."""
    query = select(log.c.part_id, log.c.who).join(part, part.c.id == log.c.part_id)
    query = query.where(log.c.part_id.in_(list(part_ids)), log.c.at == part.c.seen_at).order_by(log.c.seq)
    return {row.part_id: row.who for row in connection.execute(query)}


def _short_items(connection: Connection, box_ids: Collection[int]) -> defaultdict[int, list[MissingItem]]:
    query = select(item).where(item.c.box_id.in_(list(box_ids)), item_is_short)
    found: defaultdict[int, list[MissingItem]] = defaultdict(list)
    for row in connection.execute(query.order_by(item.c.box_id, item.c.item)):
        found[row.box_id].append(MissingItem(item=row.item, quantity=row.quantity, counted=row.counted))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLoad:
    """A load that has not left: how many of its boxes lack something, are complete but not sealed, and are on it.

    ``behind`` boxes of its jobs stay behind.
    """

    id: int
    code: str
    ship_on: date
    boxes: int
    short: int
    unsealed: int
    on_it: int
    behind: int


def open_loads(connection: Connection, *, limit: int) -> list[OpenLoad]:
    """Return the loads that have not left, soonest first."""
    query = select(load.c.id, load.c.ship_on).where(load.c.state == "open").order_by(load.c.ship_on, load.c.id)
    rows = connection.execute(query.limit(limit)).all()
    states = select(box.c.load_id, box.c.state, is_incomplete()).where(box.c.load_id.in_([row.id for row in rows]))
    boxes: defaultdict[int, list[tuple[str, bool]]] = defaultdict(list)
    for load_id, state, lacks in connection.execute(states):
        boxes[load_id].append((state, bool(lacks)))
    behind = staying_of_loads(connection, [row.id for row in rows])
    return [_open_load(row, boxes[row.id], len(behind[row.id])) for row in rows]


def _open_load(row: Any, boxes: Sequence[tuple[str, bool]], behind: int) -> OpenLoad:
    return OpenLoad(
        id=row.id,
        code=load_code(row.id),
        ship_on=row.ship_on,
        boxes=len(boxes),
        short=sum(lacks for _state, lacks in boxes),
        unsealed=sum(state not in CLOSED_STATES and not lacks for state, lacks in boxes),
        on_it=sum(state == BoxState.LOADED and not lacks for state, lacks in boxes),
        behind=behind,
    )


def stations_by_step(connection: Connection) -> dict[str, list[str]]:
    """Return the names of the stations that do each step."""
    found: defaultdict[str, list[str]] = defaultdict(list)
    for row in connection.execute(select(station.c.name, station.c.step).order_by(station.c.name)):
        found[row.step].append(row.name)
    return dict(found)
