"""A station: what it has open, and what waits for it.

What waits: nothing is read that grows with the shop's age. Finished jobs are not looked at, nor open jobs of which no
part can have come this far (their tallies say so).
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any, Final

from sqlalchemy import (
    ColumnElement,
    Connection,
    Integer,
    Select,
    and_,
    bindparam,
    func,
    or_,
    select,
    true,
    type_coerce,
)

from tracker.records.boxes import ALL_BOXES, Box, read_box
from tracker.records.parts import ALL_SEEN, SeenPart, read_seen
from tracker.records.tables import box, job, load, log, part, slot, station, tally
from tracker.shop.box_states import BoxState
from tracker.shop.job_states import JobStatus
from tracker.shop.progress import PartStatus
from tracker.shop.steps import Step

COUNTED: Final = 300  # how many waiting parts are counted at most: more than anybody reads
JOBS_LOOKED_AT: Final = 400
_JOBS_AT_ONCE: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class StationRow:
    """A station and what it has open. ``latest_at`` is the time of its latest reading: an earlier one comes late.

    ``benches_at`` is the time of the latest reading at any bench.
    """

    id: int
    name: str
    step: Step
    strict: bool
    open_box_id: int | None
    open_load_id: int | None
    opened_at: datetime | None
    latest_at: datetime | None
    benches_at: datetime | None


_LATEST_AT = select(func.max(log.c.at)).where(log.c.station_id == station.c.id).scalar_subquery()
_bench = station.alias("a_bench")
_BENCH_AT = select(func.max(log.c.at)).where(log.c.station_id == _bench.c.id).scalar_subquery()
_BENCHES_AT = select(func.max(_BENCH_AT)).where(_bench.c.step == Step.PACK).scalar_subquery()
_STATIONS = select(station, _LATEST_AT.label("latest_at"), _BENCHES_AT.label("benches_at"))
_STATION_BY_NAME = _STATIONS.where(station.c.name.in_(bindparam("names", expanding=True)))
_STATION_BY_ID = _STATIONS.where(station.c.id.in_(bindparam("ids", expanding=True)))


def stations_named(connection: Connection, names: Collection[str]) -> dict[str, StationRow]:
    """Return the stations with these names, by name."""
    rows = connection.execute(_STATION_BY_NAME, {"names": list(names)})
    return {row.name: _station(row) for row in rows}


def stations_numbered(connection: Connection, ids: Collection[int]) -> dict[int, StationRow]:
    """Return the stations with these ids, by id."""
    rows = connection.execute(_STATION_BY_ID, {"ids": list(ids)})
    return {row.id: _station(row) for row in rows}


def _station(row: Any) -> StationRow:
    return StationRow(**row._mapping)


def slot_name(connection: Connection, number: int) -> str:
    """Return the name of the slot with this id."""
    return str(connection.execute(select(slot.c.name).where(slot.c.id == number)).scalar_one())


def slot_id(connection: Connection, *, number: int | None, name: str) -> int | None:
    """Return the id of the slot with this code number or name, or None."""
    wanted = slot.c.id == number if number is not None else slot.c.name == name
    return connection.execute(select(slot.c.id).where(wanted)).scalar()


# What waits


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingList:
    """What waits, most urgent first; ``more`` are not listed, and ``at_least`` says that they were not all counted."""

    rows: Sequence[SeenPart | Box]
    more: int
    at_least: bool


def waiting_for(connection: Connection, step: Step, *, limit: int) -> WaitingList:
    """Return what waits for a step, urgent parts first, then by due date: parts, or for ``ship`` the sealed boxes."""
    found = list(islice(_sealed_boxes(connection) if step is Step.SHIP else _parts_due(connection, step), COUNTED + 1))
    rows = [read_box(Box, row) if step is Step.SHIP else read_seen(row) for row in found[:limit]]
    return WaitingList(rows=rows, more=max(0, min(len(found), COUNTED) - limit), at_least=len(found) > COUNTED)


def _parts_due(connection: Connection, step: Step) -> Iterator[Any]:
    urgent = ALL_SEEN.where(part.c.urgent, job.c.status == JobStatus.OPEN, _is_next(step))
    yield from connection.execute(urgent.order_by(job.c.due, part.c.id).limit(COUNTED + 1))
    job_ids = connection.execute(_reached(step)).scalars().all()
    for first in range(0, len(job_ids), _JOBS_AT_ONCE):
        some = ALL_SEEN.where(part.c.job_id.in_(job_ids[first : first + _JOBS_AT_ONCE]), ~part.c.urgent, _is_next(step))
        yield from connection.execute(some.order_by(job.c.due, job.c.id, part.c.id).limit(COUNTED + 1))


def _is_next(step: Step) -> ColumnElement[bool]:
    """The condition that a living part's next step is this one. A damaged part is not packed."""
    bit = 1 << list(Step).index(step)
    route, done = type_coerce(part.c.route, Integer), type_coerce(part.c.done, Integer)
    open_steps = route.bitwise_and(done.bitwise_not())
    return and_(
        part.c.status.in_([PartStatus.WAITING, PartStatus.WORKING]),
        open_steps.bitwise_and(2 * bit - 1) == bit,
        ~part.c.damaged if step is Step.PACK else true(),
    )


def _reached(step: Step) -> Select[tuple[int]]:
    """The open jobs of which a part may wait for a step, soonest due first."""
    mine, cut = tally.alias("mine"), tally.alias("cut")
    started: ColumnElement[bool] = cut.c.done > 0
    if step is Step.CUT:
        started = true()
    elif step is Step.PACK:
        started = or_(started, cut.c.total < mine.c.total)  # a bought part starts here
    return (
        select(job.c.id)
        .join(mine, and_(mine.c.job_id == job.c.id, mine.c.what == step))
        .join(cut, and_(cut.c.job_id == job.c.id, cut.c.what == Step.CUT))
        .where(job.c.status == JobStatus.OPEN, mine.c.done < mine.c.total, started)
        .order_by(job.c.due, job.c.id)
        .limit(JOBS_LOOKED_AT)
    )


def _sealed_boxes(connection: Connection) -> Iterator[Any]:
    sealed = job.c.status == JobStatus.OPEN, box.c.state == BoxState.SEALED, box.c.held_at.is_(None)
    query = ALL_BOXES.where(*sealed, box.c.load_id.is_not(None)).order_by(load.c.ship_on, box.c.id)
    yield from connection.execute(query.limit(COUNTED + 1))
