"""What the log says of a moment that is past: what had happened to a part by then, how a box stood, what came after."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast
from uuid import UUID

from sqlalchemy import Connection, bindparam, exists, select

from tracker.records.boxes import Box
from tracker.records.tables import box, log, station
from tracker.shop.acts import Act
from tracker.shop.codes import box_code, part_code, read_code
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import Happening, Sighting
from tracker.shop.scans import Answer
from tracker.shop.steps import Step

_ANSWERED = select(
    *(log.c.scan_id, log.c.outcome, log.c.message, log.c.part_id, log.c.box_id, log.c.next_step, log.c.inferred),
    *(log.c.reason, log.c["values"]),
).where(log.c.scan_id.in_(bindparam("scan_ids", expanding=True)))
_undo = log.alias("the_undo")
_SIGHTINGS = (
    select(
        *(log.c.seq, log.c.action, log.c.outcome, log.c.at, log.c.station_id, log.c.step, log.c.infers, log.c.slot_id),
        *(log.c.part_id, _undo.c.at.label("undo_at"), _undo.c.seq.label("undo_seq")),
    )
    .outerjoin(_undo, _undo.c.undoes == log.c.seq)
    .where(
        log.c.part_id.in_(bindparam("ids", expanding=True)),
        log.c.action.in_([Act.PASS, Act.DAMAGED, Act.PLACE, Act.REPAIR, Act.MOVE]),
    )
)
_REFUSED_EARLY = select(
    exists().where(log.c.part_id == bindparam("id"), log.c.outcome == Outcome.EARLY, log.c.at > bindparam("at"))
)
_REPLACED_AFTER = select(
    exists().where(log.c.part_id == bindparam("id"), log.c.action == Act.REPLACE, log.c.at > bindparam("at"))
)
_SEALED_AFTER = select(
    exists().where(
        log.c.part_id.is_(None),
        log.c.box_id == bindparam("id"),
        log.c.action == Act.SEAL,
        log.c.at > bindparam("at"),
    )
)
_MOVED_AFTER = (
    select(log.c.code, box.c.follows_id)
    .outerjoin(box, box.c.id == log.c.box_id)
    .where(log.c.part_id == bindparam("id"), log.c.action == Act.MOVE, log.c.at > bindparam("at"))
    .order_by(log.c.seq)
    .limit(1)
)
_CANCELLED_AFTER = select(
    exists().where(
        log.c.part_id.is_(None),
        log.c.box_id.is_(None),
        log.c.job_id == bindparam("id"),
        log.c.action == Act.CANCEL,
        log.c.at > bindparam("at"),
    )
)
# What happened to a box as a whole, in the order of the log, and when it was taken back.
_BOX_ACTS = (
    select(log.c.seq, log.c.at, log.c.action, log.c.step, log.c.outcome, log.c.load_id, _undo.c.at.label("undo_at"))
    .outerjoin(_undo, _undo.c.undoes == log.c.seq)
    .where(
        log.c.part_id.is_(None),
        log.c.box_id == bindparam("id"),
        log.c.action.in_([Act.PLAN, Act.SEAL, Act.PASS]),
    )
    .order_by(log.c.seq)
)
_HOLD_BEFORE = (
    select(log.c.action)
    .where(
        log.c.job_id == bindparam("job_id"),
        log.c.part_id.is_(None),
        log.c.box_id.is_(None),
        log.c.action.in_([Act.HOLD, Act.RESUME]),
        log.c.at <= bindparam("at"),
    )
    .order_by(log.c.at.desc(), log.c.seq.desc())
    .limit(1)
)


def first_answers(connection: Connection, scan_ids: Collection[UUID]) -> dict[UUID, Answer]:
    """Return what was answered before to scans with these ids."""
    rows = connection.execute(_ANSWERED, {"scan_ids": [scan_id.bytes for scan_id in scan_ids]})
    answers = {}
    for row in rows:
        scan_id = UUID(bytes=row.scan_id)
        answers[scan_id] = Answer(
            id=scan_id,
            outcome=Outcome(row.outcome),
            message=row.message,
            reason=row.reason,
            values=row.values or {},
            part=None if row.part_id is None else part_code(row.part_id),
            box=None if row.box_id is None else box_code(row.box_id),
            next=row.next_step,
            inferred=row.inferred,
        )
    return answers


def seqs_of(connection: Connection, parts: Mapping[UUID, int]) -> dict[int, int]:
    """Return, for the parts whose scan with this id was written, the number of that row in the log."""
    query = select(log.c.scan_id, log.c.seq).where(log.c.scan_id.in_([scan_id.bytes for scan_id in parts]))
    return {parts[UUID(bytes=row.scan_id)]: row.seq for row in connection.execute(query)}


def sightings(connection: Connection, part_ids: Collection[int]) -> dict[int, list[Sighting]]:
    """Return what happened to each of these parts: the facts that its progress is folded from."""
    found: dict[int, list[Sighting]] = {part_id: [] for part_id in part_ids}
    for row in connection.execute(_SIGHTINGS, {"ids": list(part_ids)}):
        found[row.part_id].append(
            Sighting(
                seq=row.seq,
                at=row.at,
                what=_happening(row.action, row.outcome),
                station=row.station_id,
                step=row.step,
                infers=row.infers,
                slot=row.slot_id,
                undone=None if row.undo_seq is None else (row.undo_at, row.undo_seq),
            )
        )
    return found


def _happening(action: str, outcome: str) -> Happening:
    refused = outcome not in (Outcome.DONE, Outcome.AGAIN, Outcome.NOTED)
    return Happening.SEEN if refused else Happening(action)


def refused_early_after(connection: Connection, part_id: int, at: datetime) -> bool:
    """Say whether a later scan of this part was refused because an earlier step was open."""
    return bool(connection.execute(_REFUSED_EARLY, {"id": part_id, "at": at}).scalar())


def replaced_after(connection: Connection, part_id: int, at: datetime) -> bool:
    """Say whether a part was replaced after ``at``."""
    return bool(connection.execute(_REPLACED_AFTER, {"id": part_id, "at": at}).scalar())


def sealed_after(connection: Connection, box_id: int, at: datetime) -> bool:
    """Say whether a box was sealed after ``at``."""
    return bool(connection.execute(_SEALED_AFTER, {"id": box_id, "at": at}).scalar())


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxThen:
    """How a box stood at a past moment, and what of it changed since.

    ``counted`` says that it was counted as loaded by the plan of then, by any scan: what came after was decided in the
    knowledge of it.
    """

    load_id: int | None
    sealed: bool
    planned_since: bool
    opened_since: bool
    counted: bool


def box_as_it_stood(connection: Connection, now: Box, at: datetime) -> BoxThen:
    """Return how a box stood at ``at``, as the log tells it today.

    Where nothing was planned, or nothing sealed, by then, it is taken as it stands now: a device's clock may be slow by
    more than anybody noticed.
    """
    acts = connection.execute(_BOX_ACTS, {"id": now.id}).all()
    plans = [row for row in acts if row.action == Act.PLAN]
    before = [row for row in plans if row.at <= at]
    after = [row.seq for row in plans if before and row.at > at]
    sealings = [row for row in acts if row.action == Act.SEAL and row.at <= at]
    standing = [row for row in sealings if row.undo_at is None or row.undo_at > at]
    first, last = before[-1].seq if before else 0, after[0] if after else float("inf")
    return BoxThen(
        load_id=before[-1].load_id if before else now.load_id,
        sealed=bool(standing) if sealings else now.closed,
        planned_since=bool(after),
        opened_since=any(row.undo_at is not None for row in standing),
        counted=any(_is_loading(row) and first < row.seq < last for row in acts),
    )


def loading_that_stands(connection: Connection, box_id: int) -> int | None:
    """Return the number in the log of the scan by which a box is loaded now, or None when it is not."""
    acts = connection.execute(_BOX_ACTS, {"id": box_id}).all()
    planned = max((row.seq for row in acts if row.action == Act.PLAN), default=0)
    return max((row.seq for row in acts if _is_loading(row) and row.seq > planned), default=None)


def _is_loading(row: Any) -> bool:
    loads = (row.action, row.step, row.outcome) == (Act.PASS, Step.SHIP, Outcome.DONE)
    return loads and row.undo_at is None


def read_at(connection: Connection, seq: int | None) -> tuple[str, datetime] | None:
    """Return at which station and when a row of the log was read; None where it was at none."""
    query = select(station.c.name, log.c.at).join(station, station.c.id == log.c.station_id).where(log.c.seq == seq)
    row = None if seq is None else connection.execute(query).first()
    return None if row is None else (row.name, row.at)


def planned_before_move(connection: Connection, part_id: int, at: datetime) -> int | None:
    """Return the box that a part was planned for at a past moment when it was planned for another one since."""
    row = connection.execute(_MOVED_AFTER, {"id": part_id, "at": at}).first()
    if row is None:
        return None
    return read_code(row.code).number if row.code else cast("int | None", row.follows_id)


def cancelled_after(connection: Connection, job_id: int, at: datetime) -> bool:
    """Say whether a job was cancelled after ``at``."""
    return bool(connection.execute(_CANCELLED_AFTER, {"id": job_id, "at": at}).scalar())


def held_at(connection: Connection, job_id: int, at: datetime) -> bool:
    """Say whether a job was on hold at a past moment."""
    return connection.execute(_HOLD_BEFORE, {"job_id": job_id, "at": at}).scalar() == Act.HOLD
