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
    or_,
    select,
    type_coerce,
    union_all,
)

from tracker.records.lacking import items_short
from tracker.records.tables import board, box, cabinet, job, log, part, sawing, slot, station, tally
from tracker.records.tables import load as load_table
from tracker.shop.acts import Act
from tracker.shop.codes import Code, Kind, box_code, load_code_or_none, part_code
from tracker.shop.contradictions import Contradiction
from tracker.shop.forecasting import LOOK_BACK_DAYS, OpenJob
from tracker.shop.job_states import UNFINISHED, JobStatus
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import DEAD_STATUSES, Progress
from tracker.shop.reasons import Meaning, meaning_kept
from tracker.shop.steps import Step

JOBS_FORECAST: Final = 5_000  # more open jobs than any shop works through
_DAY_MICROS: Final = 86_400_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Happened:
    """One row of the log as a screen shows it; ``undone`` when it was taken back since.

    ``told`` is None of a row that is older than the reasons: its ``message`` says it in English alone.
    """

    seq: int
    at: datetime
    received_at: datetime
    action: str
    outcome: str
    station: str | None
    step: str | None
    who: str
    code: str
    message: str
    told: Meaning | None
    part: str | None
    box: str | None
    slot: str | None
    inferred: Sequence[str]
    load: str | None
    flag: str | None
    kind: Contradiction | None
    undone: bool


_undo = log.alias("the_undo")
_HAPPENED = (
    select(log, station.c.name.label("station_name"), slot.c.name.label("slot_name"), _undo.c.seq.label("undo_seq"))
    .outerjoin(station, station.c.id == log.c.station_id)
    .outerjoin(slot, slot.c.id == log.c.slot_id)
    .outerjoin(_undo, _undo.c.undoes == log.c.seq)
)


def _happened(row: Any) -> Happened:
    return Happened(
        seq=row.seq,
        at=row.at,
        received_at=row.received_at,
        action=row.action,
        outcome=row.outcome,
        station=row.station_name,
        step=row.step,
        who=row.who,
        code=row.code,
        message=row.message,
        told=meaning_kept(row.reason, row.values),
        part=None if row.part_id is None else part_code(row.part_id),
        box=None if row.box_id is None else box_code(row.box_id),
        slot=row.slot_name,
        inferred=[step.value for step in Step if step in row.inferred],
        load=load_code_or_none(row.load_id),
        flag=row.flag,
        kind=None if row.flag is None or row.kind is None else Contradiction(row.kind),
        undone=row.undo_seq is not None,
    )


def last_of_part(connection: Connection, part_id: int, box_id: int, *, limit: int) -> list[Happened]:
    """Return what happened to a part, and the sealing and shipping of its box, the latest first."""
    of_box = and_(log.c.part_id.is_(None), log.c.box_id == box_id, log.c.action.in_([Act.SEAL, Act.SHIP]))
    query = _HAPPENED.where(or_(log.c.part_id == part_id, of_box))
    return [
        _happened(row) for row in connection.execute(query.order_by(log.c.at.desc(), log.c.seq.desc()).limit(limit))
    ]


def last_of_job(connection: Connection, job_id: int, *, limit: int) -> list[Happened]:
    """Return what was decided about a job and what happened to its boxes, the latest first."""
    of_job = select(log.c.seq).where(log.c.part_id.is_(None), log.c.box_id.is_(None), log.c.job_id == job_id)
    of_boxes = select(log.c.seq).where(
        log.c.part_id.is_(None), log.c.box_id.in_(select(box.c.id).where(box.c.job_id == job_id))
    )
    found = union_all(of_job, of_boxes).subquery()
    latest = select(found.c.seq).order_by(found.c.seq.desc()).limit(limit)
    query = _HAPPENED.where(log.c.seq.in_(latest)).order_by(log.c.seq.desc())
    return [_happened(row) for row in connection.execute(query)]


def left_behind(connection: Connection, load_id: int) -> list[Happened]:
    """Return with which words boxes were left behind by a load; by its jobs' boxes, for which there is an index."""
    jobs = select(box.c.job_id).where(box.c.load_id == load_id)
    of_jobs = log.c.box_id.in_(select(box.c.id).where(box.c.job_id.in_(jobs)))
    query = _HAPPENED.where(log.c.part_id.is_(None), of_jobs, log.c.action == Act.LEAVE, log.c.load_id == load_id)
    return [_happened(row) for row in connection.execute(query.order_by(log.c.seq))]


# What is near a part


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """Another part scanned at the same station just before or after."""

    code: str
    name: str
    cabinet: str
    job: str
    at: datetime
    who: str


def scanned_before(connection: Connection, station_id: int, at: datetime, *, beside: int, limit: int) -> list[Near]:
    """Return the parts other than ``beside`` that a station scanned last before a moment, the latest first."""
    query = _NEAR.where(log.c.station_id == station_id, log.c.at < at, log.c.part_id != beside).order_by(
        log.c.at.desc(), log.c.seq.desc()
    )
    return [_near(row) for row in connection.execute(query.limit(limit))]


def scanned_after(connection: Connection, station_id: int, at: datetime, *, beside: int, limit: int) -> list[Near]:
    """Return the parts other than ``beside`` that a station scanned next after a moment, the earliest first."""
    query = _NEAR.where(log.c.station_id == station_id, log.c.at > at, log.c.part_id != beside).order_by(
        log.c.at, log.c.seq
    )
    return [_near(row) for row in connection.execute(query.limit(limit))]


_NEAR = (
    select(log.c.at, log.c.who, part.c.id, part.c.name, part.c.cabinet, job.c.code)
    .join(part, part.c.id == log.c.part_id)
    .join(job, job.c.id == part.c.job_id)
)


def _near(row: Any) -> Near:
    return Near(code=part_code(row.id), name=row.name, cabinet=row.cabinet, job=row.code, at=row.at, who=row.who)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mate:
    """A part of the same box, or off the same board: where it was seen last."""

    code: str
    name: str
    cabinet: str
    step: str | None
    status: str
    station: str | None
    slot: str | None


def box_mates(connection: Connection, box_id: int, *, limit: int) -> list[Mate]:
    """Return the living parts planned for a box, in the order of laying."""
    query = _MATES.where(part.c.box_id == box_id).order_by(part.c.position, part.c.id)
    return [_mate(row) for row in connection.execute(query.limit(limit))]


def board_mates(connection: Connection, part_id: int, *, limit: int) -> list[Mate]:
    """Return the other living parts that come off the same board, in the saw's order."""
    own = select(sawing.c.board_id).where(sawing.c.part_id == part_id).scalar_subquery()
    query = _MATES.join(sawing, sawing.c.part_id == part.c.id).where(sawing.c.board_id == own, part.c.id != part_id)
    return [_mate(row) for row in connection.execute(query.order_by(sawing.c.position).limit(limit))]


_MATES: Select[Any] = (
    select(
        *(part.c.id, part.c.name, part.c.cabinet, part.c.route, part.c.done, part.c.damaged, part.c.status),
        *(station.c.name.label("station_name"), slot.c.name.label("slot_name")),
    )
    .select_from(part)
    .outerjoin(station, station.c.id == part.c.seen_station_id)
    .outerjoin(slot, slot.c.id == part.c.slot_id)
    .where(part.c.status.not_in(sorted(DEAD_STATUSES)))
)


def _mate(row: Any) -> Mate:
    route = tuple(step for step in Step if step in row.route)
    step = Progress(done=row.done, damaged=row.damaged).next_step(route)
    return Mate(
        code=part_code(row.id),
        name=row.name,
        cabinet=row.cabinet,
        step=None if step is None else step.value,
        status=row.status,
        station=row.station_name,
        slot=row.slot_name,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What a part's own row says beside ``look.part_view``: its steps done, and the station that saw it last."""

    done: frozenset[Step]
    inferred: frozenset[Step]
    station_id: int | None
    leaves: date
    load: str | None
    job_status: str
    box_state: str


def standing(connection: Connection, part_id: int) -> Standing:
    """Return how a part stands and when its box leaves."""
    query = (
        select(
            *(part.c.done, part.c.inferred, part.c.seen_station_id, job.c.due, job.c.status, box.c.state),
            *(load_table.c.id.label("load_id"), load_table.c.ship_on),
        )
        .select_from(part)
        .join(job, job.c.id == part.c.job_id)
        .join(box, box.c.id == part.c.box_id)
        .outerjoin(load_table, load_table.c.id == box.c.load_id)
        .where(part.c.id == part_id)
    )
    row = connection.execute(query).one()
    return Standing(
        done=row.done,
        inferred=row.inferred,
        station_id=row.seen_station_id,
        leaves=row.ship_on or row.due,
        load=load_code_or_none(row.load_id),
        job_status=row.status,
        box_state=row.state,
    )


# A job's boxes, boards and cabinets at a glance


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxLine:
    """A box on its job's page; ``uncounted`` kinds of its items are not counted in full."""

    id: int
    code: str
    name: str
    state: str
    packed: int
    parts_total: int
    uncounted: int
    mass_kg: float
    load: str | None
    ship_on: date | None


def box_lines(connection: Connection, job_id: int, *, limit: int, after: int = 0) -> list[BoxLine]:
    """Return the boxes of a job, by number."""
    query = (
        select(
            *(box.c.id, box.c.name, box.c.state, box.c.packed, box.c.parts_total, box.c.mass_kg, box.c.load_id),
            *(load_table.c.ship_on, items_short().label("uncounted")),
        )
        .outerjoin(load_table, load_table.c.id == box.c.load_id)
        .where(box.c.job_id == job_id, box.c.id > after)
        .order_by(box.c.id)
        .limit(limit)
    )
    return [
        BoxLine(
            id=row.id,
            code=box_code(row.id),
            name=row.name,
            state=row.state,
            packed=row.packed,
            parts_total=row.parts_total,
            uncounted=row.uncounted,
            mass_kg=row.mass_kg,
            load=load_code_or_none(row.load_id),
            ship_on=row.ship_on,
        )
        for row in connection.execute(query)
    ]


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
