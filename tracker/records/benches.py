"""What was read at the benches where boxes are packed: which box each had open, and how full a box was at a time."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import Connection, and_, bindparam, case, func, or_, select

from tracker.records.tables import log, part, station
from tracker.shop.acts import Act
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import DEAD_STATUSES
from tracker.shop.steps import Step

_OPENERS_READ: Final = 20  # more than anybody takes back one after another


@dataclass(frozen=True, slots=True, kw_only=True)
class BenchReading:
    """A part or a box that was read at a bench: ``opens`` is the box that it opens, ``undone_at`` when it was undone.

    ``named`` says that the scan named the box, whatever was open.
    """

    seq: int
    at: datetime
    station_id: int
    outcome: str
    part_id: int | None
    box_id: int | None
    opens: int | None
    named: bool = False
    undone_at: datetime | None = None


_undo = log.alias("the_undo")
_bench = station.alias("a_bench")
_AT_BENCHES = (
    select(
        *(log.c.seq, log.c.at, log.c.station_id, log.c.outcome, log.c.part_id, log.c.box_id),
        func.coalesce(log.c.opened_id, case((log.c.outcome == Outcome.DONE, log.c.box_id))).label("opens"),
        log.c.opened_id.is_not(None).label("named"),
        _undo.c.at.label("undone_at"),
    )
    .select_from(log)
    .outerjoin(_undo, _undo.c.undoes == log.c.seq)
    .where(log.c.action == Act.PASS, log.c.code != "")  # what a desk writes for a station has no code
)
_AFTER = _AT_BENCHES.where(
    log.c.station_id.in_(select(_bench.c.id).where(_bench.c.step == Step.PACK)),
    log.c.at > bindparam("at"),
    or_(
        log.c.outcome.in_([Outcome.DONE, Outcome.AGAIN, Outcome.WRONG_BOX, Outcome.ON_HOLD]),
        log.c.opened_id.is_not(None),
    ),
).order_by(log.c.at, log.c.seq)
_OPENERS = (
    _AT_BENCHES.where(
        log.c.station_id == bindparam("station_id"),
        log.c.at <= bindparam("at"),
        or_(and_(log.c.outcome == Outcome.DONE, log.c.box_id.is_not(None)), log.c.opened_id.is_not(None)),
    )
    .order_by(log.c.at.desc(), log.c.seq.desc())
    .limit(_OPENERS_READ)
)


def read_after(connection: Connection, at: datetime) -> list[BenchReading]:
    """Return what was packed, refused for the open box, or opened at any bench after ``at``, in the order of time."""
    return [_reading(row) for row in connection.execute(_AFTER, {"at": at})]


def openers(connection: Connection, station_id: int, at: datetime) -> list[BenchReading]:
    """Return the last readings at a bench up to ``at`` that opened a box, in the order of time, undone ones too."""
    rows = connection.execute(_OPENERS, {"station_id": station_id, "at": at}).all()
    return [_reading(row) for row in reversed(rows)]


def _reading(row: Any) -> BenchReading:
    return BenchReading(**row._mapping)


def living_parts_of(connection: Connection, box_id: int) -> Collection[int]:
    """Return the numbers of the living parts that are planned for a box."""
    living = select(part.c.id).where(part.c.box_id == box_id, part.c.status.not_in(sorted(DEAD_STATUSES)))
    return connection.execute(living).scalars().all()
