"""What is asked of the shop: jobs, parts, boxes, what is missing, what changed. Reads only, and never a whole table."""

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Select, and_, func, or_, select, tuple_

from tracker.records.tables import box, item, job, laying, load, log, part, slot, station, tally
from tracker.shop.acts import Act
from tracker.shop.codes import box_code, load_code, load_code_or_none, part_code
from tracker.shop.job_states import JobStatus
from tracker.shop.lacking import PACKED_STATUSES, Lacks, lacks
from tracker.shop.progress import DEAD_STATUSES, PartStatus, Progress
from tracker.shop.reasons import Meaning, meaning_kept
from tracker.shop.steps import Step

_DEAD = sorted(DEAD_STATUSES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """How many of how many."""

    done: int
    total: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCounts:
    """How many boxes a job has, how many of them are sealed (or gone further) and shipped, and how many it is owed."""

    total: int
    sealed: int
    shipped: int
    owed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class JobView:
    """A job at a glance."""

    id: int
    code: str
    customer: str
    due: date
    status: str
    parts_total: int
    steps: dict[str, Count]
    boxes: BoxCounts


@dataclass(frozen=True, slots=True, kw_only=True)
class LastSeen:
    """Where a part was last seen, and when."""

    station: str
    at: datetime
    slot: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PartView:
    """A part with where it stands. Lengths in mm, mass in kg; ``step`` is the next step due or None."""

    id: int
    code: str
    job: str
    customer: str
    due: date
    cabinet: str
    name: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    mass_kg: float
    edges: list[str]
    machining: str
    supply: str
    route: list[str]
    step: str | None
    box: str
    box_name: str
    status: str
    urgent: bool
    damaged: bool
    replaces: str | None
    replaced_by: str | None
    position: int
    last_seen: LastSeen | None

    @property
    def packed(self) -> bool:
        return self.status in PACKED_STATUSES


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryEntry:
    """One row of the log as people read it."""

    id: str
    at: datetime
    received_at: datetime
    action: str
    outcome: str
    station: str | None
    step: str | None
    who: str
    inferred: list[str]
    message: str
    told: Meaning | None
    flag: str | None
    said_at: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemView:
    """An item of a box."""

    item: str
    quantity: int
    counted: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceView:
    """Where a part lies in its carton, in mm; ``turned`` when its length lies along the carton's width."""

    layer: int
    x_mm: float
    y_mm: float
    z_mm: float
    turned: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxView:
    """A box and its planned content, parts in the order in which they are laid.

    It ``leaves`` on its load's day, or where none is planned on the day when its job is ``due``.
    """

    id: int
    code: str
    sscc: str | None
    name: str
    number: int
    job: str
    customer: str
    due: date
    leaves: date
    state: str
    cabinets: list[str]
    mass_kg: float
    weighed_kg: float | None
    length_mm: float
    width_mm: float
    height_mm: float
    load: str | None
    follows: str | None
    held: bool
    carton: str | None
    bag_above: int | None
    places: dict[str, PlaceView]
    parts: list[PartView]
    items: list[ItemView]

    @property
    def lacks(self) -> Lacks[PartView, ItemView]:
        return lacks(self.parts, self.items)

    @property
    def missing_count(self) -> int:
        return len(self.lacks.parts)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadView:
    """A load and the boxes planned for it."""

    id: int
    code: str
    ship_on: date
    state: str
    shipped_at: datetime | None
    boxes: list[tuple[str, str, str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesView:
    """What changed after a number of the log; ``more`` says that the list was cut and must be asked on."""

    now: int
    more: bool
    jobs: list[str]
    boxes: list[str]
    parts: list[str]
    loads: list[str]


# Jobs


def list_jobs(
    connection: Connection, *, limit: int, after: tuple[date, int] | None = None, status: Collection[str] = ()
) -> list[JobView]:
    """Return jobs, soonest due first; with no ``status`` the unfinished and the finished alike, latest due first."""
    query = select(job)
    if status:
        query = query.where(job.c.status.in_(list(status))).order_by(job.c.due, job.c.id)
        if after:
            query = query.where(tuple_(job.c.due, job.c.id) > after)
    else:
        query = query.order_by(job.c.due.desc(), job.c.id.desc())
        if after:
            query = query.where(tuple_(job.c.due, job.c.id) < after)
    return _jobs(connection, query.limit(limit))


def job_view(connection: Connection, code: str) -> JobView | None:
    """Return the job of this code, or None."""
    return next(iter(_jobs(connection, select(job).where(job.c.code == code))), None)


def _jobs(connection: Connection, query: Select[Any]) -> list[JobView]:
    rows = connection.execute(query).all()
    tallies: defaultdict[int, dict[str, Count]] = defaultdict(dict)
    for row in connection.execute(select(tally).where(tally.c.job_id.in_([row.id for row in rows]))):
        tallies[row.job_id][row.what] = Count(done=row.done, total=row.total)
    return [_job(row, tallies[row.id]) for row in rows]


def _job(row: Any, counts: dict[str, Count]) -> JobView:
    return JobView(
        id=row.id,
        code=row.code,
        customer=row.customer,
        due=row.due,
        status=row.status,
        parts_total=row.parts_total,
        steps={step.value: counts[step.value] for step in Step},
        boxes=BoxCounts(
            total=counts["sealed"].total,
            sealed=counts["sealed"].done,
            shipped=counts["shipped"].done,
            owed=0 if row.status == JobStatus.CANCELLED else counts["shipped"].total - counts["shipped"].done,
        ),
    )


# Parts

_PART_QUERY = (
    select(
        part,
        *(job.c.code.label("job_code"), job.c.customer, job.c.due, box.c.name.label("box_name")),
        *(station.c.name.label("station_name"), slot.c.name.label("slot_name")),
    )
    .select_from(part)
    .join(job, job.c.id == part.c.job_id)
    .join(box, box.c.id == part.c.box_id)
    .outerjoin(station, station.c.id == part.c.seen_station_id)
    .outerjoin(slot, slot.c.id == part.c.slot_id)
)


def parts_of_job(connection: Connection, job_id: int, *, limit: int, after: int = 0) -> list[PartView]:
    """Return the parts of a job by number."""
    query = _PART_QUERY.where(part.c.job_id == job_id, part.c.id > after).order_by(part.c.id).limit(limit)
    return _parts(connection, query)


def part_view(connection: Connection, part_id: int) -> PartView | None:
    """Return the part of this number, or None."""
    return next(iter(_parts(connection, _PART_QUERY.where(part.c.id == part_id))), None)


def parts_numbered(connection: Connection, numbers: Collection[int]) -> list[PartView]:
    """Return the parts of these numbers, in no certain order."""
    return _parts(connection, _PART_QUERY.where(part.c.id.in_(list(numbers))))


def _parts(connection: Connection, query: Select[Any]) -> list[PartView]:
    return [_part(row) for row in connection.execute(query)]


def _part(row: Any) -> PartView:
    route = tuple(step for step in Step if step in row.route)
    progress = Progress(done=row.done, damaged=row.damaged)
    step = None if row.status in DEAD_STATUSES else progress.next_step(route)
    seen = row.seen_at is not None
    return PartView(
        id=row.id,
        code=part_code(row.id),
        job=row.job_code,
        customer=row.customer,
        due=row.due,
        cabinet=row.cabinet,
        name=row.name,
        material=row.material,
        length_mm=row.length_mm,
        width_mm=row.width_mm,
        thickness_mm=row.thickness_mm,
        mass_kg=row.mass_kg,
        edges=row.edges.split(),
        machining=row.machining,
        supply=row.supply,
        route=[str(each) for each in route],
        step=None if step is None else step.value,
        box=box_code(row.box_id),
        box_name=row.box_name,
        status=row.status,
        urgent=row.urgent,
        damaged=row.damaged,
        replaces=None if row.replaces_id is None else part_code(row.replaces_id),
        replaced_by=None if row.replaced_by_id is None else part_code(row.replaced_by_id),
        position=row.position,
        last_seen=LastSeen(station=row.station_name or "", at=row.seen_at, slot=row.slot_name) if seen else None,
    )


def part_history(connection: Connection, part_id: int, box_id: int) -> list[HistoryEntry]:
    """Return every scan and act that concerns a part, by time: its own, and the sealing and shipping of its box."""
    own = log.c.part_id == part_id
    of_box = and_(log.c.part_id.is_(None), log.c.box_id == box_id, log.c.action.in_([Act.SEAL, Act.SHIP]))
    return _history(connection, or_(own, of_box))


def box_history(connection: Connection, box_id: int) -> list[HistoryEntry]:
    """Return every scan and act that concerns a box itself, by time."""
    return _history(connection, and_(log.c.part_id.is_(None), log.c.box_id == box_id))


_HISTORY = select(log, station.c.name.label("station_name")).outerjoin(station, station.c.id == log.c.station_id)


def _history(connection: Connection, condition: Any) -> list[HistoryEntry]:
    rows = connection.execute(_HISTORY.where(condition).order_by(log.c.at, log.c.seq))
    return [_entry(row) for row in rows]


def _entry(row: Any) -> HistoryEntry:
    raw = row.scan_id.hex()
    return HistoryEntry(
        id=f"{raw[:8]}-{raw[8:12]}-{raw[12:16]}-{raw[16:20]}-{raw[20:]}",
        at=row.at,
        received_at=row.received_at,
        action=row.action,
        outcome=row.outcome,
        station=row.station_name,
        step=row.step,
        who=row.who,
        inferred=[step.value for step in Step if step in row.inferred],
        message=row.message,
        told=meaning_kept(row.reason, row.values),
        flag=row.flag,
        said_at=row.said_at,
    )


# Boxes

_BOX_QUERY = (
    select(box, job.c.code.label("job_code"), job.c.customer, job.c.due, load.c.ship_on)
    .join(job, job.c.id == box.c.job_id)
    .outerjoin(load, load.c.id == box.c.load_id)
)


def box_view(connection: Connection, box_id: int) -> BoxView | None:
    """Return the box of this number with its content, or None."""
    return next(iter(_boxes(connection, _BOX_QUERY.where(box.c.id == box_id))), None)


def boxes_of_job(connection: Connection, job_id: int, *, limit: int, after: int = 0) -> list[BoxView]:
    """Return the boxes of a job by number, with their content."""
    query = _BOX_QUERY.where(box.c.job_id == job_id, box.c.id > after).order_by(box.c.id).limit(limit)
    return _boxes(connection, query)


def boxes_numbered(connection: Connection, numbers: Collection[int]) -> list[BoxView]:
    """Return the boxes of these numbers with their content, in no certain order."""
    return _boxes(connection, _BOX_QUERY.where(box.c.id.in_(list(numbers))))


def box_codes(connection: Connection, job_id: int) -> list[str]:
    """Return the codes of a job's boxes."""
    return [box_code(row) for row in connection.execute(select(box.c.id).where(box.c.job_id == job_id)).scalars()]


def _boxes(connection: Connection, query: Select[Any]) -> list[BoxView]:
    rows = connection.execute(query).all()
    ids = [row.id for row in rows]
    parts = _by_box(_living_parts(connection, ids))
    items = _items(connection, ids)
    places = _places(connection, ids)
    return [_box(row, parts[box_code(row.id)], items[row.id], places[row.id]) for row in rows]


def _places(connection: Connection, box_ids: Collection[int]) -> defaultdict[int, dict[str, PlaceView]]:
    columns = (laying.c.layer, laying.c.x_mm, laying.c.y_mm, laying.c.z_mm, laying.c.turned)
    query = select(part.c.box_id, part.c.id, *columns).join(part, part.c.id == laying.c.part_id)
    places: defaultdict[int, dict[str, PlaceView]] = defaultdict(dict)
    for row in connection.execute(query.where(part.c.box_id.in_(list(box_ids)))):
        place = PlaceView(layer=row.layer, x_mm=row.x_mm, y_mm=row.y_mm, z_mm=row.z_mm, turned=row.turned)
        places[row.box_id][part_code(row.id)] = place
    return places


def _items(connection: Connection, box_ids: Collection[int]) -> defaultdict[int, list[ItemView]]:
    items: defaultdict[int, list[ItemView]] = defaultdict(list)
    for row in connection.execute(select(item).where(item.c.box_id.in_(list(box_ids))).order_by(item.c.item)):
        items[row.box_id].append(ItemView(item=row.item, quantity=row.quantity, counted=row.counted))
    return items


def _living_parts(connection: Connection, box_ids: Collection[int]) -> list[PartView]:
    query = _PART_QUERY.where(part.c.box_id.in_(list(box_ids)), part.c.status != PartStatus.REPLACED)
    return _parts(connection, query.order_by(part.c.box_id, part.c.position, part.c.id))


def _by_box(parts: Iterable[PartView]) -> defaultdict[str, list[PartView]]:
    grouped: defaultdict[str, list[PartView]] = defaultdict(list)
    for each in parts:
        grouped[each.box].append(each)
    return grouped


def _box(row: Any, parts: list[PartView], items: list[ItemView], places: dict[str, PlaceView]) -> BoxView:
    return BoxView(
        id=row.id,
        code=box_code(row.id),
        sscc=row.sscc,
        name=row.name,
        number=row.number,
        job=row.job_code,
        customer=row.customer,
        due=row.due,
        leaves=row.ship_on or row.due,
        state=row.state,
        cabinets=sorted({each.cabinet for each in parts}),
        mass_kg=row.mass_kg,
        weighed_kg=row.weighed_kg,
        length_mm=row.length_mm,
        width_mm=row.width_mm,
        height_mm=row.height_mm,
        load=load_code_or_none(row.load_id),
        follows=None if row.follows_id is None else box_code(row.follows_id),
        held=row.held_at is not None,
        carton=row.carton,
        bag_above=row.bag_above,
        places=places,
        parts=parts,
        items=items,
    )


# Loads, stations, changes


def load_view(connection: Connection, load_id: int) -> LoadView | None:
    """Return the load of this number with its boxes, or None."""
    return next(iter(_loads(connection, select(load).where(load.c.id == load_id))), None)


def list_loads(connection: Connection, *, limit: int, after: int | None = None) -> list[LoadView]:
    """Return loads, the latest first."""
    query = select(load).order_by(load.c.id.desc()).limit(limit)
    return _loads(connection, query if after is None else query.where(load.c.id < after))


def _loads(connection: Connection, query: Select[Any]) -> list[LoadView]:
    rows = connection.execute(query).all()
    boxes: defaultdict[int, list[tuple[str, str, str]]] = defaultdict(list)
    planned = select(box.c.id, box.c.load_id, box.c.state, job.c.code).join(job, job.c.id == box.c.job_id)
    for row in connection.execute(planned.where(box.c.load_id.in_([row.id for row in rows])).order_by(box.c.id)):
        boxes[row.load_id].append((box_code(row.id), row.code, row.state))
    return [
        LoadView(
            id=row.id,
            code=load_code(row.id),
            ship_on=row.ship_on,
            state=row.state,
            shipped_at=row.shipped_at,
            boxes=boxes[row.id],
        )
        for row in rows
    ]


def last_change(connection: Connection) -> int:
    """Return the number of the last row of the log."""
    return connection.execute(select(func.max(log.c.seq))).scalar() or 0


def changes_since(connection: Connection, since: int, *, limit: int) -> ChangesView:
    """Return which jobs, boxes, parts and loads the log names after ``since``."""
    columns = (log.c.seq, log.c.job_id, log.c.box_id, log.c.part_id, log.c.load_id)
    rows = connection.execute(
        select(*columns, job.c.code)
        .outerjoin(job, job.c.id == log.c.job_id)
        .where(log.c.seq > since)
        .order_by(log.c.seq)
        .limit(limit)
    ).all()
    return ChangesView(
        now=rows[-1].seq if rows else since,
        more=len(rows) == limit,
        jobs=sorted({row.code for row in rows if row.code is not None}),
        boxes=[box_code(number) for number in sorted({row.box_id for row in rows if row.box_id is not None})],
        parts=[part_code(number) for number in sorted({row.part_id for row in rows if row.part_id is not None})],
        loads=sorted({load_code(row.load_id) for row in rows if row.load_id is not None}),
    )
