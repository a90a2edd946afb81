"""What happened, and what is near: the past of a part and of a job, its neighbours, and how much was packed each day.

Every list has an end: the log grows with the shop's age, and a screen shows only its latest rows.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from typing import Any, Final

from sqlalchemy import (
    BigInteger,
    Connection,
    Integer,
    Select,
    and_,
    case,
    cast,
    func,
    literal,
    select,
    type_coerce,
)

from tracker.records.parts import ALL_SEEN, SeenPart, seen_where
from tracker.records.tables import board, cabinet, job, log, part, sawing, station, tally
from tracker.shop.acts import Act
from tracker.shop.codes import Code, Kind
from tracker.shop.forecasting import LOOK_BACK_DAYS, OpenJob
from tracker.shop.job_states import UNFINISHED, JobStatus
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import DEAD_STATUSES
from tracker.shop.steps import Step

JOBS_FORECAST: Final = 5_000  # more open jobs than any shop works through
_DAY_MICROS: Final = 86_400_000_000


def box_mates(connection: Connection, box_id: int, *, limit: int) -> list[SeenPart]:
    """Return the living parts planned for a box, in the order of laying."""
    query = _MATES.where(part.c.box_id == box_id).order_by(part.c.position, part.c.id)
    return seen_where(connection, query.limit(limit))


def board_mates(connection: Connection, part_id: int, *, limit: int) -> list[SeenPart]:
    """Return the other living parts that come off the same board, in the saw's order."""
    own = select(sawing.c.board_id).where(sawing.c.part_id == part_id).scalar_subquery()
    query = _MATES.join(sawing, sawing.c.part_id == part.c.id).where(sawing.c.board_id == own, part.c.id != part_id)
    return seen_where(connection, query.order_by(sawing.c.position).limit(limit))


_MATES: Select[Any] = ALL_SEEN.where(part.c.status.not_in(sorted(DEAD_STATUSES)))


# A job's boxes, boards and cabinets at a glance


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardLine:
    """A board on its job's page: how many of its living parts are cut. Lengths in mm."""

    code: str
    number: int
    stock: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    cut: int
    total: int


def board_lines(connection: Connection, job_id: int, *, limit: int) -> list[BoardLine]:
    """Return the boards of a job, in the order of their numbers."""
    query = select(board).where(board.c.job_id == job_id).order_by(board.c.number, board.c.id).limit(limit)
    rows = connection.execute(query).all()
    cut = func.sum(case((_has(part.c.done, Step.CUT), 1), else_=0))
    counts = (
        select(sawing.c.board_id, func.count().label("total"), cut.label("cut"))
        .join(part, part.c.id == sawing.c.part_id)
        .where(sawing.c.board_id.in_([row.id for row in rows]), part.c.status.not_in(sorted(DEAD_STATUSES)))
        .group_by(sawing.c.board_id)
    )
    found = {row.board_id: row for row in connection.execute(counts)}
    return [
        BoardLine(
            code=str(Code(Kind.BOARD, row.id)),
            number=row.number,
            stock=row.stock,
            length_mm=row.length_mm,
            width_mm=row.width_mm,
            thickness_mm=row.thickness_mm,
            cut=int(found[row.id].cut) if row.id in found else 0,
            total=found[row.id].total if row.id in found else 0,
        )
        for row in rows
    ]


def _has(steps: Any, step: Step) -> Any:
    bit = 1 << list(Step).index(step)
    return type_coerce(steps, Integer).bitwise_and(bit) == bit


def designed_cabinets(connection: Connection, job_id: int, names: Sequence[str]) -> set[str]:
    """Return those of these cabinets that were designed here: they have a sheet."""
    query = select(cabinet.c.name).where(cabinet.c.job_id == job_id, cabinet.c.name.in_(list(names)))
    return set(connection.execute(query).scalars())


# What the forecast is reckoned from


def packed_by_day(connection: Connection, *, now: datetime) -> Mapping[date, int]:
    """Return how many parts were packed on each of the last days at the pack stations, less what was taken back.

    ``now`` is on the shop's clock, whose days are counted: where that was put forward or back meanwhile, an hour of the
    days before counts to the day beside its own. Reads the pack stations' own scans of LOOK_BACK_DAYS, whatever the
    shop's age.
    """
    ahead = now.utcoffset() or timedelta()
    since = datetime.combine(now.date() - timedelta(days=LOOK_BACK_DAYS), datetime.min.time(), timezone(ahead))
    stations = list(connection.execute(select(station.c.id).where(station.c.step == Step.PACK)).scalars())
    local = type_coerce(log.c.at, BigInteger) + literal(ahead // timedelta(microseconds=1), BigInteger)
    day = cast(cast(local, BigInteger).op("/")(literal(_DAY_MICROS, BigInteger)), BigInteger).label("day")
    packed = and_(log.c.action == Act.PASS, log.c.outcome == Outcome.DONE)
    counted = func.sum(case((packed, 1), (log.c.outcome == Outcome.UNDONE, -1), else_=0))
    query = (
        select(day, counted.label("parts"))
        .where(log.c.station_id.in_(stations), log.c.at >= since, log.c.part_id.is_not(None))
        .group_by("day")
    )
    return {date(1970, 1, 1) + timedelta(days=row.day): int(row.parts) for row in connection.execute(query)}


def open_jobs(connection: Connection) -> list[OpenJob]:
    """Return every job that has not shipped, soonest due first, with the parts that are not packed yet."""
    query = (
        select(job.c.id, job.c.due, job.c.status, (tally.c.total - tally.c.done).label("left"))
        .join(tally, and_(tally.c.job_id == job.c.id, tally.c.what == Step.PACK))
        .where(job.c.status.in_(UNFINISHED))
        .order_by(job.c.due, job.c.id)
        .limit(JOBS_FORECAST)
    )
    return [
        OpenJob(id=row.id, due=row.due, parts_left=row.left, held=row.status == JobStatus.HELD)
        for row in connection.execute(query)
    ]
