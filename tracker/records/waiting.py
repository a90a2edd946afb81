"""What a station's screen asks: what waits for it, and what it scanned last.

Nothing is read that grows with the shop's age: finished jobs are not looked at, nor open jobs
of which no part can have come this far (their tallies say so).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import ColumnElement, Connection, Integer, Select, and_, or_, select, true, type_coerce

from tracker.records.tables import box, job, load, log, part, slot, station, tally
from tracker.shop.box_states import BoxState
from tracker.shop.codes import box_code, load_code, load_code_or_none, part_code
from tracker.shop.job_states import JobStatus
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import PartStatus
from tracker.shop.reasons import Meaning, meaning_kept
from tracker.shop.scans import Action
from tracker.shop.steps import Step

COUNTED: Final = 300  # how many waiting parts are counted at most: more than anybody reads
JOBS_LOOKED_AT: Final = 400
_JOBS_AT_ONCE: Final = 20
_ROWS_READ: Final = 120  # a board leaves a row for each of its parts beside its own


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """A part, or a sealed box, that waits for a step: where it was seen last, and when it is due."""

    code: str
    name: str
    cabinet: str
    job: str
    due: date
    urgent: bool = False
    damaged: bool = False
    station: str | None = None
    slot: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class WaitingList:
    """What waits, most urgent first; ``more`` are not listed, and ``at_least`` says that they were not all counted."""

    rows: Sequence[Waiting]
    more: int
    at_least: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptScan:
    """One row of the log as a station's screen needs it.

    ``undone`` says that an undo took the scan back. ``told`` is None of a row that is older than the reasons: its
    ``message`` says it in English alone.
    """

    id: UUID
    at: datetime
    code: str
    action: Action
    outcome: Outcome
    who: str
    part: str | None
    name: str
    cabinet: str
    box: str | None
    box_name: str
    job: str
    load: str | None
    slot: str | None
    undone: bool
    message: str
    told: Meaning | None


# What waits


def waiting_for(connection: Connection, step: Step, *, limit: int) -> WaitingList:
    """Return what waits for a step, urgent parts first, then by due date: parts, or for ``ship`` the sealed boxes."""
    query = _sealed_boxes if step is Step.SHIP else _parts_due
    found = []
    for each in query(connection, step):
        found.append(each)
        if len(found) > COUNTED:
            break
    return WaitingList(rows=found[:limit], more=max(0, min(len(found), COUNTED) - limit), at_least=len(found) > COUNTED)


def _parts_due(connection: Connection, step: Step) -> Iterator[Waiting]:
    urgent = _WAITING.where(part.c.urgent, job.c.status == JobStatus.OPEN, _is_next(step))
    yield from map(_waiting, connection.execute(urgent.order_by(job.c.due, part.c.id).limit(COUNTED + 1)))
    job_ids = connection.execute(_reached(step)).scalars().all()
    for first in range(0, len(job_ids), _JOBS_AT_ONCE):
        some = _WAITING.where(part.c.job_id.in_(job_ids[first : first + _JOBS_AT_ONCE]), ~part.c.urgent, _is_next(step))
        ordered = some.order_by(job.c.due, job.c.id, part.c.id).limit(COUNTED + 1)
        yield from map(_waiting, connection.execute(ordered))


_WAITING = (
    select(
        *(part.c.id, part.c.name, part.c.cabinet, part.c.urgent, part.c.damaged, job.c.code.label("job_code")),
        *(job.c.due, station.c.name.label("station_name"), slot.c.name.label("slot_name")),
    )
    .select_from(part)
    .join(job, job.c.id == part.c.job_id)
    .outerjoin(station, station.c.id == part.c.seen_station_id)
    .outerjoin(slot, slot.c.id == part.c.slot_id)
)


def _waiting(row: Any) -> Waiting:
    return Waiting(
        code=part_code(row.id),
        name=row.name,
        cabinet=row.cabinet,
        job=row.job_code,
        due=row.due,
        urgent=row.urgent,
        damaged=row.damaged,
        station=row.station_name,
        slot=row.slot_name,
    )


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


def _sealed_boxes(connection: Connection, _step: Step) -> Iterator[Waiting]:
    query = (
        select(box.c.id, box.c.name, job.c.code.label("job_code"), load.c.ship_on, load.c.id.label("load_id"))
        .select_from(job)
        .join(box, box.c.job_id == job.c.id)
        .join(load, load.c.id == box.c.load_id)
        .where(job.c.status == JobStatus.OPEN, box.c.state == BoxState.SEALED, box.c.held_at.is_(None))
        .order_by(load.c.ship_on, box.c.id)
        .limit(COUNTED + 1)
    )
    for row in connection.execute(query):
        yield Waiting(
            code=box_code(row.id),
            name=row.name,
            cabinet="",
            job=row.job_code,
            due=row.ship_on,
            slot=load_code(row.load_id),
        )


# What was scanned

_undo = log.alias("the_undo")
_KEPT = (
    select(
        *(log.c.scan_id, log.c.at, log.c.code, log.c.action, log.c.outcome, log.c.who, log.c.message),
        *(
            log.c.reason,
            log.c["values"],
            log.c.part_id,
            log.c.box_id,
            log.c.load_id,
            part.c.name,
            part.c.cabinet,
            box.c.name.label("box_name"),
        ),
        *(job.c.code.label("job_code"), slot.c.name.label("slot_name"), _undo.c.seq.label("undo_seq")),
    )
    .select_from(log)
    .outerjoin(part, part.c.id == log.c.part_id)
    .outerjoin(box, box.c.id == log.c.box_id)
    .outerjoin(job, job.c.id == log.c.job_id)
    .outerjoin(slot, slot.c.id == log.c.slot_id)
    .outerjoin(_undo, _undo.c.undoes == log.c.seq)
)


def last_scans(connection: Connection, station_id: int, *, limit: int) -> list[KeptScan]:
    """Return a station's last scans by their own times, the latest first; a board stands for all of its parts."""
    mine = _KEPT.where(log.c.station_id == station_id, log.c.action.in_(list(Action)))
    query = mine.order_by(log.c.at.desc(), log.c.seq.desc()).limit(_ROWS_READ)
    found: list[KeptScan] = []
    whole_at: datetime | None = None
    for row in connection.execute(query):
        if row.at == whole_at and row.part_id is not None:
            continue  # written with the row of its board, which has the same time and stands after it
        whole_at = row.at if row.part_id is None else None
        found.append(_kept(row))
        if len(found) == limit:
            break
    return found


def kept_scan(connection: Connection, scan_id: UUID) -> KeptScan | None:
    """Return what the log keeps of a scan, or None."""
    row = connection.execute(_KEPT.where(log.c.scan_id == scan_id.bytes)).first()
    return None if row is None else _kept(row)


def _kept(row: Any) -> KeptScan:
    return KeptScan(
        id=UUID(bytes=row.scan_id),
        at=row.at,
        code=row.code,
        action=Action(row.action),
        outcome=Outcome(row.outcome),
        who=row.who,
        part=None if row.part_id is None else part_code(row.part_id),
        name=row.name or "",
        cabinet=row.cabinet or "",
        box=None if row.box_id is None else box_code(row.box_id),
        box_name=row.box_name or "",
        job=row.job_code or "",
        load=load_code_or_none(row.load_id),
        slot=row.slot_name,
        undone=row.undo_seq is not None,
        message=row.message,
        told=meaning_kept(row.reason, row.values),
    )
