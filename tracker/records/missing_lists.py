"""What is missing, as a foreman reads it before the truck: boxes that are not complete, what leaves soonest first.

A box is complete when all of its parts are packed and all of its items counted, sealed or not. It leaves with its load,
or where none is planned on its job's due date. Bounded: jobs are read in the order of their due dates until a page is
full, jobs that lack nothing are passed over by their tallies, finished ones never looked at.
"""

from collections import Counter, defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from heapq import merge
from typing import Any, Final

from sqlalchemy import CompoundSelect, Connection, Select, and_, exists, func, null, or_, select, tuple_, union_all

from tracker.records.follow_ups import completes, first
from tracker.records.tables import box, item, job, load, log, part, slot, station, tally
from tracker.shop.codes import Code, Kind, box_code, part_code
from tracker.shop.progress import DEAD_STATUSES, PartStatus, Progress
from tracker.shop.steps import Step
from tracker.shop.verdicts import BoxState

BOXES_A_PAGE: Final = 40
ROWS_A_PAGE: Final = 100  # missing parts and items; a page stays small whatever the boxes lack
ROWS_A_BOX: Final = 60
_JOBS_AT_ONCE: Final = 20

_GONE = sorted([*DEAD_STATUSES, PartStatus.PACKED, PartStatus.SHIPPED])
_OPEN = ("open", "held")


@dataclass(frozen=True, slots=True, kw_only=True)
class After:
    """Where a page ends: the day on which its last box leaves, that box's job and its number."""

    leaves: date
    job_id: int
    box_id: int


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


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingItem:
    """An item that is still to be counted into its box."""

    item: str
    quantity: int
    counted: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortBox:
    """A box that is not complete. ``more`` parts and items lack beside those that are listed.

    ``held`` is its job's hold; ``kept`` says that a foreman keeps this box in the shop. ``behind`` is the load that
    leaves without it though the box that it completes, ``follows``, is on that one.
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
    connection: Connection,
    *,
    after: After | None = None,
    job_code: str | None = None,
    load_id: int | None = None,
    on_loads: bool = False,
) -> MissingPage:
    """Return the boxes that are not complete, soonest leaving first; of one job, of one load, or of planned loads."""
    heads: Iterator[Any]
    if job_code is not None:
        heads = _heads(connection, _of_job(job_code), after)
    elif load_id is not None:
        heads = _heads(connection, _leaving(load_id), after)
    elif on_loads:
        heads = _heads(connection, _leaving(), after)
    else:
        heads = merge(
            _heads(connection, _leaving(), after),
            _heads_without_load(connection, after),
            key=lambda head: (head.leaves, head.job_id, head.id),
        )
    return _page(connection, heads)


_COLUMNS = (
    *(box.c.id, box.c.name, box.c.state, box.c.job_id, box.c.load_id, box.c.parts_total, box.c.packed),
    *(box.c.held_at, box.c.follows_id),
    *(job.c.code.label("job_code"), job.c.status.label("job_status"), job.c.customer, job.c.due),
)
_UNCOUNTED = exists().where(item.c.box_id == box.c.id, func.coalesce(item.c.counted, 0) < item.c.quantity)
_LACKS = or_(
    box.c.state.in_([BoxState.OPEN, BoxState.PACKING]),
    and_(box.c.state == BoxState.COMPLETE, _UNCOUNTED),
    and_(box.c.state.in_([BoxState.SEALED, BoxState.LOADED]), box.c.packed < box.c.parts_total),
)
_ON_LOADS: Select[Any] = (
    select(*_COLUMNS, load.c.ship_on.label("leaves"), null().label("behind_id"))
    .select_from(load)
    .join(box, box.c.load_id == load.c.id)
    .join(job, job.c.id == box.c.job_id)
    .where(load.c.state == "open", job.c.status.in_(_OPEN), _LACKS)
)
# A follow-up box that is on no load while the box that it completes is: that load would leave short.
_LEFT_BEHIND: Select[Any] = (
    select(*_COLUMNS, load.c.ship_on.label("leaves"), load.c.id.label("behind_id"))
    .select_from(load)
    .join(first, first.c.load_id == load.c.id)
    .join(box, completes())
    .join(job, job.c.id == box.c.job_id)
    .where(load.c.state == "open", job.c.status.in_(_OPEN), box.c.load_id.is_(None), box.c.state != BoxState.SHIPPED)
)

_its_load = load.alias("its_load")
_IS_LEFT_BEHIND = (
    exists()
    .where(first.c.id == box.c.follows_id, _its_load.c.id == first.c.load_id, _its_load.c.state == "open", completes())
    .correlate(box)
)


def _leaving(load_id: int | None = None) -> CompoundSelect[Any]:
    """The boxes that keep loads that are planned, or one of them, from leaving whole."""
    if load_id is None:
        return union_all(_ON_LOADS, _LEFT_BEHIND)
    return union_all(_ON_LOADS.where(load.c.id == load_id), _LEFT_BEHIND.where(load.c.id == load_id))


def _of_job(code: str) -> CompoundSelect[Any]:
    leaves = func.coalesce(load.c.ship_on, job.c.due).label("leaves")
    planned = (
        select(*_COLUMNS, leaves, null().label("behind_id"))
        .select_from(job)
        .join(box, box.c.job_id == job.c.id)
        .outerjoin(load, load.c.id == box.c.load_id)
        .where(job.c.code == code, job.c.status.in_(_OPEN), _LACKS)
        .where(or_(box.c.load_id.is_not(None), ~_IS_LEFT_BEHIND))
    )
    return union_all(planned, _LEFT_BEHIND.where(job.c.code == code))


def _heads(connection: Connection, query: CompoundSelect[Any], after: After | None) -> Iterator[Any]:
    """Give the boxes of a query by the day on which they leave, no more than a page of them."""
    found = query.subquery()
    ordered = select(found).order_by(found.c.leaves, found.c.job_id, found.c.id).limit(BOXES_A_PAGE + 1)
    if after is not None:
        place = tuple_(found.c.leaves, found.c.job_id, found.c.id)
        ordered = ordered.where(place > (after.leaves, after.job_id, after.box_id))
    yield from connection.execute(ordered)


_short = tally.alias("short")
_LACKING_JOBS = (
    select(job.c.id, job.c.due)
    .where(
        job.c.status.in_(_OPEN),
        exists().where(
            _short.c.job_id == job.c.id, _short.c.what.in_(["pack", "sealed"]), _short.c.done < _short.c.total
        ),
    )
    .order_by(job.c.due, job.c.id)
    .limit(_JOBS_AT_ONCE)
)


def _heads_without_load(connection: Connection, after: After | None) -> Iterator[Any]:
    """Give the boxes that no load is planned for, by their jobs' due dates, a few jobs at a time."""
    columns = (*_COLUMNS, job.c.due.label("leaves"), null().label("behind_id"))
    query = select(*columns).join(job, job.c.id == box.c.job_id)
    query = query.where(box.c.load_id.is_(None), _LACKS, ~_IS_LEFT_BEHIND).order_by(job.c.due, job.c.id, box.c.id)
    place = None if after is None else (after.leaves, after.job_id - 1)
    first = None if after is None else tuple_(job.c.due, box.c.job_id, box.c.id) > (
        after.leaves, after.job_id, after.box_id)  # fmt: skip
    while True:
        jobs = _LACKING_JOBS if place is None else _LACKING_JOBS.where(tuple_(job.c.due, job.c.id) > place)
        rows = connection.execute(jobs).all()
        if not rows:
            return
        some = query.where(box.c.job_id.in_([row.id for row in rows])).limit(BOXES_A_PAGE + 1)
        yield from connection.execute(some if first is None else some.where(first))
        place = (rows[-1].due, rows[-1].id)


def _page(connection: Connection, heads: Iterator[Any]) -> MissingPage:
    chosen: list[Any] = []
    last: Any = None
    rows = 0
    for head in heads:
        lacking = min(head.parts_total - head.packed + 1, ROWS_A_BOX)
        if chosen and (len(chosen) == BOXES_A_PAGE or rows + lacking > ROWS_A_PAGE):
            last = chosen[-1]
            break
        chosen.append(head)
        rows += lacking
    ids = [head.id for head in chosen]
    parts, items = _absent_parts(connection, ids), _short_items(connection, ids)
    end = None if last is None else After(leaves=last.leaves, job_id=last.job_id, box_id=last.id)
    return MissingPage(boxes=[_short_box(head, parts[head.id], items[head.id]) for head in chosen], next=end)


def _short_box(head: Any, parts: list[MissingPart], items: list[MissingItem]) -> ShortBox:
    listed, counted = parts[:ROWS_A_BOX], items[: max(0, ROWS_A_BOX - len(parts))]
    return ShortBox(
        id=head.id,
        code=box_code(head.id),
        name=head.name,
        state=head.state,
        job=head.job_code,
        job_id=head.job_id,
        held=head.job_status == "held",
        kept=head.held_at is not None,
        customer=head.customer,
        due=head.due,
        load=_load_code(head.load_id),
        behind=_load_code(head.behind_id),
        follows=None if head.follows_id is None else box_code(head.follows_id),
        leaves=head.leaves,
        parts=listed,
        items=counted,
        more=len(parts) + len(items) - len(listed) - len(counted),
        parts_lacking=len(parts),
        uncounted=len(items),
    )


def _load_code(number: int | None) -> str | None:
    return None if number is None else str(Code(Kind.LOAD, number))


_ABSENT = (
    select(
        *(part.c.id, part.c.box_id, part.c.name, part.c.cabinet, part.c.route, part.c.done, part.c.status),
        *(part.c.urgent, part.c.damaged, part.c.seen_at, station.c.name.label("station_name")),
        slot.c.name.label("slot_name"),
    )
    .select_from(part)
    .outerjoin(station, station.c.id == part.c.seen_station_id)
    .outerjoin(slot, slot.c.id == part.c.slot_id)
    .where(part.c.status.not_in(_GONE))
    .order_by(part.c.box_id, part.c.position, part.c.id)
)


def _absent_parts(connection: Connection, box_ids: Collection[int]) -> defaultdict[int, list[MissingPart]]:
    rows = connection.execute(_ABSENT.where(part.c.box_id.in_(list(box_ids)))).all()
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
    query = select(item).where(item.c.box_id.in_(list(box_ids)), func.coalesce(item.c.counted, 0) < item.c.quantity)
    found: defaultdict[int, list[MissingItem]] = defaultdict(list)
    for row in connection.execute(query.order_by(item.c.box_id, item.c.item)):
        found[row.box_id].append(MissingItem(item=row.item, quantity=row.quantity, counted=row.counted or 0))
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLoad:
    """A load that has not left: how many of its boxes lack something, are complete but not sealed, and are on it.

    ``behind`` boxes that complete boxes of it are planned for no load.
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
    states = select(box.c.load_id, box.c.state, (box.c.packed < box.c.parts_total).label("lacks"), func.count())
    states = states.where(box.c.load_id.in_([row.id for row in rows])).group_by(box.c.load_id, box.c.state, "lacks")
    counts: defaultdict[int, list[tuple[str, bool, int]]] = defaultdict(list)
    for load_id, state, lacks, count in connection.execute(states):
        counts[load_id].append((state, bool(lacks), count))
    left = select(_LEFT_BEHIND.subquery().c.behind_id)
    behind = Counter(connection.execute(left).scalars())
    return [_open_load(row, counts[row.id], behind[row.id]) for row in rows]


def _open_load(row: Any, counts: Sequence[tuple[str, bool, int]], behind: int) -> OpenLoad:
    short = sum(count for state, lacks, count in counts if lacks or state in (BoxState.OPEN, BoxState.PACKING))
    return OpenLoad(
        id=row.id,
        code=str(Code(Kind.LOAD, row.id)),
        ship_on=row.ship_on,
        boxes=sum(count for *_, count in counts),
        short=short,
        unsealed=sum(count for state, lacks, count in counts if state == BoxState.COMPLETE and not lacks),
        on_it=sum(count for state, lacks, count in counts if state == BoxState.LOADED and not lacks),
        behind=behind,
    )


def stations_by_step(connection: Connection) -> dict[str, list[str]]:
    """Return the names of the stations that do each step."""
    found: defaultdict[str, list[str]] = defaultdict(list)
    for row in connection.execute(select(station.c.name, station.c.step).order_by(station.c.name)):
        found[row.step].append(row.name)
    return dict(found)
