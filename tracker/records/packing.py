"""What the packer's screen asks: which box lies on a bench, where another box is, what to pack next.

Bounded: a bench's box is found from the end of its station's own scans, and the list of what to pack next looks at the
boxes that leave soonest, never at all.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, Integer, Select, and_, case, func, select, type_coerce

from tracker.records.boxes import ALL_BOXES, Box, boxes_numbered, read_box
from tracker.records.completeness import items_short, part_is_lacking
from tracker.records.tables import box, job, load, log, part, station
from tracker.shop.acts import Act
from tracker.shop.box_states import BoxState
from tracker.shop.codes import box_code
from tracker.shop.job_states import JobStatus
from tracker.shop.load_states import LoadState
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

    box: Box
    open_at: tuple[str, ...]
    packed_at: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class NextBox(Box):
    """A box to be packed: how many of its parts lie ``ready`` for it, and whether an ``urgent`` one is not in it yet.

    ``uncounted`` kinds of its items are not counted in full.
    """

    ready: int
    urgent: bool
    uncounted: int

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
    found = boxes_numbered(connection, [box_id]).get(box_id)
    if found is None:
        return None
    open_at = _OPEN_AT.where(box.c.id == box_id)
    latest = (
        select(station.c.name)
        .join(part, station.c.id == part.c.seen_station_id)
        .where(part.c.box_id == box_id, part.c.status.in_([PartStatus.PACKED, PartStatus.SHIPPED]))
        .order_by(part.c.seen_at.desc(), part.c.id)
        .limit(1)
    )
    return Whereabouts(
        box=found,
        open_at=tuple(connection.execute(open_at.order_by(station.c.name)).scalars()),
        packed_at=connection.execute(latest).scalar(),
    )


def box_of_part(connection: Connection, part_id: int) -> int | None:
    """Return the number of the box that a part is planned for."""
    return connection.execute(select(part.c.box_id).where(part.c.id == part_id)).scalar()


# What to pack next


def next_boxes(connection: Connection, *, limit: int) -> tuple[list[NextBox], bool]:
    """Return boxes to pack, what leaves soonest first, and whether there are more.

    Of those that leave on one day the ones with all parts at hand stand first.
    """
    rows = {row[0]: row for query in (_BY_DUE, _BY_LOAD) for row in connection.execute(query)}
    ready = _ready(connection, list(rows))
    found = [_next(row, *ready.get(number, (0, False))) for number, row in rows.items()]
    found.sort(key=lambda each: (each.leaves, each.own_hold or not each.all_ready, each.job.id, each.id))
    return found[:limit], len(found) > limit


_CANDIDATES: Select[Any] = ALL_BOXES.add_columns(items_short().label("uncounted")).where(
    job.c.status == JobStatus.OPEN, box.c.state.in_(_FILLING)
)
_BY_DUE = _CANDIDATES.order_by(job.c.due, job.c.id, box.c.id).limit(LOOKED_AT)
_BY_LOAD = _CANDIDATES.where(load.c.state == LoadState.OPEN).order_by(load.c.ship_on, box.c.id).limit(LOOKED_AT)


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
    return read_box(NextBox, row, ready=ready, urgent=urgent, uncounted=row.uncounted)
