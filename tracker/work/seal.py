"""Seal a box: only with everything in it, or by a foreman's name and reason and then with a follow-up box."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from tracker.records.contents import ItemCount, count_items, items_of, not_in_box, update_box
from tracker.records.database import Database
from tracker.records.floor import BoxRow
from tracker.shop.codes import box_code, part_code
from tracker.shop.errors import ConflictError, Fault, IncompleteError, InvalidInputError, NotFoundError
from tracker.shop.saying import say
from tracker.shop.standing import closed_box_is, job_is
from tracker.shop.verdicts import CLOSED_STATES, BoxState
from tracker.work.follow_up import follow_up_box, move_rest
from tracker.work.ledger import Ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealing:
    """A request to seal box number ``box``: what was counted, what it weighs in kg, why it may go short.

    Without ``items`` what is kept with the box counts: what was counted and weighed at the bench until now.
    """

    box: int
    items: Mapping[str, int] | None
    mass_kg: float | None = None
    override_reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealed:
    """A sealed box; ``follow_up`` is the code of the box that holds what was missing."""

    code: str
    follow_up: str | None = None


def seal_box(database: Database, sealing: Sealing, *, who: str, now: datetime, act_id: UUID) -> Sealed:
    """Seal a box.

    Raises IncompleteError with the list when a part is not in it or an item is not counted in full, unless there is a
    reason to override: then what is missing moves to a follow-up box. Raises ConflictError for a box already sealed or
    of a held or cancelled job, InvalidInputError for a count of something that the box does not hold.
    """
    code = box_code(sealing.box)
    with database.write() as connection:
        ledger = Ledger(connection, who, now)
        box = ledger.box(sealing.box)
        if box is None:
            raise NotFoundError(say("There is no box %(box)s.", box=code))
        _refuse_closed(box, code)
        planned = items_of(connection, box.id)
        counted = _counted(sealing, planned)
        _refuse_nonsense(counted, planned)
        absent = not_in_box(connection, box.id)
        short = _short(planned, counted)
        missing = _listed(ledger, absent, planned, counted)
        if missing and not sealing.override_reason:
            told = say("Box %(box)s is not complete: find what is missing, then seal it.", box=code)
            raise IncompleteError(told, missing)
        _refuse_empty(box, counted, bool(missing), code)
        count_items(connection, box.id, counted)
        follow_up = None
        if missing:
            follow_up = follow_up_box(ledger, box.id)
            move_rest(ledger, box.id, follow_up, absent, short, act_id)
        _close(ledger, box, sealing, follow_up, act_id)
    return Sealed(code=code, follow_up=None if follow_up is None else box_code(follow_up))


def _refuse_closed(box: BoxRow, code: str) -> None:
    if box.state in CLOSED_STATES:
        raise ConflictError(say("Box %(box)s %(is_closed)s.", box=code, is_closed=closed_box_is(box.state)))
    if box.held_at is not None:
        raise ConflictError(say("Box %(box)s is on hold: let it go first, then seal it.", box=code))
    if box.job.status in ("held", "cancelled"):
        stopped = job_is(box.job.status)
        raise ConflictError(
            say("Job %(job)s %(is_so)s: box %(box)s stays open.", job=box.job.code, is_so=stopped, box=code)
        )


def _counted(sealing: Sealing, planned: Sequence[ItemCount]) -> Mapping[str, int]:
    if sealing.items is not None:
        return sealing.items
    return {line.item: line.counted for line in planned if line.counted is not None}


def _refuse_nonsense(counted: Mapping[str, int], planned: Sequence[ItemCount]) -> None:
    quantities = {line.item: line.quantity for line in planned}
    faults = []
    for name, count in counted.items():
        where = {"field": "items", "item": name}
        if name not in quantities:
            known = ", ".join(quantities) or say("none")
            what = say("this box holds no such item; its items: %(items)s", items=known)
            faults.append(Fault(where=where, what=what))
        elif count > quantities[name]:
            what = say(
                "%(count)s counted, %(planned)s planned: take the rest out", count=count, planned=quantities[name]
            )
            faults.append(Fault(where=where, what=what))
    if faults:
        raise InvalidInputError(say("The count does not fit the box; nothing was sealed."), faults)


def _refuse_empty(box: BoxRow, counted: Mapping[str, int], short: bool, code: str) -> None:
    if short and box.packed == 0 and not any(counted.values()):
        raise ConflictError(say("There is nothing in box %(box)s: an empty box cannot be sealed.", box=code))


def _short(planned: Sequence[ItemCount], counted: Mapping[str, int]) -> dict[str, int]:
    short = {line.item: line.quantity - counted.get(line.item, 0) for line in planned}
    return {name: count for name, count in short.items() if count > 0}


def _listed(
    ledger: Ledger, absent: Sequence[int], planned: Sequence[ItemCount], counted: Mapping[str, int]
) -> list[dict[str, Any]]:
    ledger.look_up_parts(absent)
    missing: list[dict[str, Any]] = []
    for part_id in absent:
        part = ledger.part(part_id)
        if part is not None:
            step = part.progress.next_step(part.route)
            entry = {"code": part_code(part_id), "name": part.name, "cabinet": part.cabinet, "step": step}
            missing.append({**entry, "damaged": part.progress.damaged})
    missing.extend(
        {"item": line.item, "quantity": line.quantity, "counted": counted.get(line.item)}
        for line in planned
        if counted.get(line.item, 0) < line.quantity
    )
    return missing


def _close(ledger: Ledger, box: BoxRow, sealing: Sealing, follow_up: int | None, act_id: UUID) -> None:
    current = ledger.box(box.id) or box
    ledger.set_box(current, state=BoxState.SEALED)
    ledger.bump(box.job.id, "sealed", 1)
    message = f"Box {box_code(box.id)} sealed."
    if follow_up is not None:
        message = f"{message[:-1]} short, by override: {sealing.override_reason}. Follow-up {box_code(follow_up)}."
    ledger.act("seal", scan_id=act_id, message=message, box_id=box.id, job_id=box.job.id)
    ledger.write()
    weighed = {} if sealing.mass_kg is None else {"weighed_kg": sealing.mass_kg}  # else what was weighed before holds
    update_box(ledger.connection, box.id, sealed_at=ledger.now, **weighed)
