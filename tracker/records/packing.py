"""What the packer's screen asks: which box lies on a bench, where another box is, what to pack next.

Bounded: a bench's box is found from the end of its station's own scans, and the list of what to pack next looks at the
boxes that leave soonest, never at all.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Integer, Select, and_, case, func, select, type_coerce

from tracker.records.lacking import items_short, part_is_lacking
from tracker.records.tables import box, job, load, log, part, station
from tracker.shop.acts import Act
from tracker.shop.box_states import BoxState
from tracker.shop.codes import box_code, load_code_or_none
from tracker.shop.job_states import JobStatus
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import PartStatus
from tracker.shop.steps import Step

LOOKED_AT = 200  # boxes by due date, and as many by load

_FILLING = (BoxState.OPEN, BoxState.PACKING, BoxState.PARTS_IN)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """A pack station; ``open_box`` is the code of the box that takes the next part there, if any."""

    id: int
    name: str
    open_box: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Whereabouts:
    """Where a box is: the benches where it is open, and where a part of it was packed last."""

    code: str
    name: str
    job: str
    state: str
    load: str | None
    open_at: tuple[str, ...]
    packed_at: str | None
    packed_when: datetime | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NextBox:
    """A box to be packed: how many of its parts are in, how many lie ready for it, and when it leaves.

    ``uncounted`` kinds of its items are not counted in full; ``held`` says that a foreman keeps it in the shop.
    """

    code: str
    name: str
    job: str
    customer: str
    leaves: date
    state: str
    parts_total: int
    packed: int
    ready: int
    urgent: bool
    uncounted: int
    held: bool

    @property
    def all_ready(self) -> bool:
        """Nothing is missing that is not in the box or ready for it."""
        return self.packed + self.ready >= self.parts_total

    @property
    def parts_in(self) -> bool:
        return self.packed >= self.parts_total


# A box that is complete or closed is open nowhere, though it was opened at a bench.
_TAKES_PARTS = box.c.state.in_([BoxState.OPEN, BoxState.PACKING])
_BENCHES = (
    select(station.c.id, station.c.name, box.c.id.label("box_id"))
    .outerjoin(box, and_(box.c.id == station.c.open_box_id, _TAKES_PARTS))
    .where(station.c.step == Step.PACK)
)

_OPEN_AT = select(station.c.name).join(box, box.c.id == station.c.open_box_id).where(_TAKES_PARTS)


def benches(connection: Connection) -> list[Bench]:
    """Return the pack stations, by name."""
    return [_bench(row) for row in connection.execute(_BENCHES.order_by(station.c.name))]


def bench(connection: Connection, name: str) -> Bench | None:
    """Return the pack station of this name, or None."""
    row = connection.execute(_BENCHES.where(station.c.name == name)).first()
    return None if row is None else _bench(row)


def _bench(row: Any) -> Bench:
    return Bench(id=row.id, name=row.name, open_box=None if row.box_id is None else box_code(row.box_id))


_undo = log.alias("the_undo")


def box_on_bench(connection: Connection, station_id: int) -> int | None:
    """Return the number of the box that a station worked on last: of its last scan that counted and still counts.

    A complete box is no longer open at its bench but lies there to be counted, weighed and sealed.
    """
    query = (
        select(log.c.box_id)
        .where(
            log.c.station_id == station_id,
            log.c.action == Act.PASS,
            log.c.outcome.in_([Outcome.DONE, Outcome.AGAIN]),
            log.c.box_id.is_not(None),
            ~select(_undo.c.seq).where(_undo.c.undoes == log.c.seq).exists(),
        )
        .order_by(log.c.at.desc(), log.c.seq.desc())
        .limit(1)
    )
    return connection.execute(query).scalar()


def whereabouts(connection: Connection, box_id: int) -> Whereabouts | None:
    """Return where a box is, or None for a box that is not there."""
    columns = (box.c.name, box.c.state, box.c.load_id, job.c.code)
    row = connection.execute(select(*columns).join(job, job.c.id == box.c.job_id).where(box.c.id == box_id)).first()
    if row is None:
        return None
    open_at = _OPEN_AT.where(box.c.id == box_id)
    latest = (
        select(station.c.name, part.c.seen_at)
        .join(station, station.c.id == part.c.seen_station_id)
        .where(part.c.box_id == box_id, part.c.status.in_([PartStatus.PACKED, PartStatus.SHIPPED]))
        .order_by(part.c.seen_at.desc(), part.c.id)
        .limit(1)
    )
    packed = connection.execute(latest).first()
    return Whereabouts(
        code=box_code(box_id),
        name=row.name,
        job=row.code,
        state=row.state,
        load=load_code_or_none(row.load_id),
        open_at=tuple(connection.execute(open_at.order_by(station.c.name)).scalars()),
        packed_at=None if packed is None else packed.name,
        packed_when=None if packed is None else packed.seen_at,
    )


def box_of_part(connection: Connection, part_id: int) -> int | None:
    """Return the number of the box that a part is planned for."""
    return connection.execute(select(part.c.box_id).where(part.c.id == part_id)).scalar()


# What to pack next


def next_boxes(connection: Connection, *, limit: int) -> tuple[list[NextBox], bool]:
    """Return boxes to pack, what leaves soonest first, and whether there are more.

    Of those that leave on one day the ones with all parts at hand stand first.
    """
    rows = {row.id: row for query in (_BY_DUE, _BY_LOAD) for row in connection.execute(query)}
    ready = _ready(connection, list(rows))
    by_number = sorted(rows.values(), key=lambda row: (row.job_id, row.id))
    found = [_next(row, *ready.get(row.id, (0, False))) for row in by_number]
    found.sort(key=lambda each: (each.leaves, each.held or not each.all_ready))
    return found[:limit], len(found) > limit


_CANDIDATES: Select[Any] = (
    select(
        *(box.c.id, box.c.name, box.c.state, box.c.parts_total, box.c.packed, box.c.held_at),
        items_short().label("uncounted"),
        *(job.c.id.label("job_id"), job.c.code, job.c.customer, job.c.due, load.c.ship_on),
    )
    .join(job, job.c.id == box.c.job_id)
    .outerjoin(load, load.c.id == box.c.load_id)
    .where(job.c.status == JobStatus.OPEN, box.c.state.in_(_FILLING))
)
_BY_DUE = _CANDIDATES.order_by(job.c.due, job.c.id, box.c.id).limit(LOOKED_AT)
_BY_LOAD = _CANDIDATES.where(load.c.state == "open").order_by(load.c.ship_on, box.c.id).limit(LOOKED_AT)


def _ready(connection: Connection, box_ids: Collection[int]) -> dict[int, tuple[int, bool]]:
    """Return for each box how many parts lie ready for it, and whether an urgent one is not in it yet."""
    making = _mask(Step.CUT, Step.MACHINE, Step.BAND)
    route, done = type_coerce(part.c.route, Integer), type_coerce(part.c.done, Integer)
    made = route.op("&")(making).op("&")(done) == route.op("&")(making)
    rows = connection.execute(
        select(
            part.c.box_id,
            func.sum(case((made & part.c.damaged.is_(False), 1), else_=0)).label("ready"),
            func.sum(case((part.c.urgent.is_(True), 1), else_=0)).label("urgent"),
        )
        .where(part.c.box_id.in_(list(box_ids)), part_is_lacking)
        .group_by(part.c.box_id)
    )
    return {row.box_id: (int(row.ready), bool(row.urgent)) for row in rows}


def _mask(*steps: Step) -> int:
    places: Sequence[Step] = list(Step)
    return sum(1 << places.index(step) for step in steps)


def _next(row: Any, ready: int, urgent: bool) -> NextBox:
    return NextBox(
        code=box_code(row.id),
        name=row.name,
        job=row.code,
        customer=row.customer,
        leaves=row.ship_on or row.due,
        state=row.state,
        parts_total=row.parts_total,
        packed=row.packed,
        ready=ready,
        urgent=urgent,
        uncounted=row.uncounted,
        held=row.held_at is not None,
    )
