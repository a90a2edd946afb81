"""Seal a box: only with everything in it, or by a foreman's name and reason and then with a follow-up box.

The foreman's word is for the box as it is: what is missing goes to a follow-up box, and a mass beyond the limit is
taken. What is missing is told first. The limit is the shop's rule, the tolerance (``shop.weighing``) what boards may
scatter; whichever is less is where the bench begins to doubt.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from sqlalchemy import Connection

from tracker.records.box_contents import Item, count_items, items_by_box
from tracker.records.boxes import Box, update_box
from tracker.records.database import Database
from tracker.records.parts import Part, parts_of_box
from tracker.shop.acts import BoxSealed
from tracker.shop.box_states import BoxState
from tracker.shop.codes import box_code
from tracker.shop.completeness import Lacks, lacks, short_of
from tracker.shop.errors import ConflictError, Fault, IncompleteError, InvalidInputError, OffWeightError
from tracker.shop.saying import Number, say
from tracker.shop.standing import refuse_closed, refuse_stopped
from tracker.shop.weighing import Piece, expect
from tracker.work.follow_up import follow_up_box, move_rest
from tracker.work.ledger import Ledger, open_ledger
from tracker.work.lists import weight_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealing:
    """A request to seal box number ``box``: what was counted, what it weighs in kg, why it may go short or off weight.

    What is not said here holds as it is kept with the box: what was counted and weighed at the bench until now.
    """

    box: int
    items: Mapping[str, int] = field(default_factory=dict)
    mass_kg: float | None = None
    override_reason: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sealed:
    """A sealed box; ``follow_up`` is the code of the box that holds what was missing."""

    code: str
    follow_up: str | None = None


def seal_box(database: Database, sealing: Sealing, *, who: str, now: datetime) -> Sealed:
    """Seal a box.

    Raises IncompleteError with the list when a part is not in it or an item is not counted in full, OffWeightError when
    its mass is off by more than the shop's limit, unless there is a reason to override: then what is missing moves to a
    follow-up box. Raises ConflictError for a box already sealed or of a held or cancelled job, InvalidInputError
    for a count of something that the box does not hold.
    """
    with open_ledger(database, who, now) as ledger:
        connection = ledger.connection
        box = ledger.the_box(sealing.box)
        _refuse_closed(box)
        planned = items_by_box(connection, [box.id])[box.id]
        _refuse_nonsense(sealing.items, planned)
        planned = [replace(line, counted=sealing.items.get(line.item, line.counted)) for line in planned]
        parts = parts_of_box(connection, box.id)
        lacking = lacks(parts, planned)
        if not lacking.complete:
            if not sealing.override_reason:
                raise _incomplete(box, lacking)
            _refuse_empty(box, planned)
        off = _off_weight(connection, box, sealing, parts)
        if off is not None and not sealing.override_reason:
            raise off
        ledger.change(count_items, box.id, sealing.items)
        follow_up = None
        if not lacking.complete:
            follow_up = follow_up_box(ledger, box.id)
            rest = {line.item: short_of(line) for line in lacking.items}
            move_rest(ledger, box.id, follow_up, [part.id for part in lacking.parts], rest)
        ledger.tell(
            BoxSealed(
                box_id=box.id,
                why=sealing.override_reason,
                rest=follow_up,
                masses_kg=None if off is None else (off.weighed_kg, off.expected_kg),
            )
        )
        _close(ledger, box, sealing)
    return Sealed(code=box_code(sealing.box), follow_up=None if follow_up is None else box_code(follow_up))


def _incomplete(box: Box, lacking: Lacks[Part, Item]) -> IncompleteError:
    told = say("Box %(box)s is not complete: find what is missing, then seal it.", box=box.in_words)
    if not lacking.parts:
        told = say("Box %(box)s is not complete: count the items first, then seal it.", box=box.in_words)
    return IncompleteError(told, _listed(lacking))


def _refuse_closed(box: Box) -> None:
    refuse_closed(box.in_words, box.state)
    if box.own_hold:
        raise ConflictError(say("Box %(box)s is on hold: let it go first, then seal it.", box=box.in_words))
    refuse_stopped(box.in_words, box.job.code, box.job.status)


def _refuse_nonsense(counted: Mapping[str, int], planned: Sequence[Item]) -> None:
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


def _refuse_empty(box: Box, planned: Sequence[Item]) -> None:
    if box.packed == 0 and not any(line.counted for line in planned):
        raise ConflictError(say("There is nothing in box %(box)s: an empty box cannot be sealed.", box=box.in_words))


def _listed(lacking: Lacks[Part, Item]) -> list[dict[str, Any]]:
    missing: list[dict[str, Any]] = [
        {"code": each.code, "name": each.name, "cabinet": each.cabinet, "step": each.step, "damaged": each.damaged}
        for each in lacking.parts
    ]
    missing.extend({"item": line.item, "quantity": line.quantity, "counted": line.counted} for line in lacking.items)
    return missing


def _off_weight(connection: Connection, box: Box, sealing: Sealing, parts: Sequence[Part]) -> OffWeightError | None:
    """Return what speaks against the mass of a box, by what is in it; None where nothing does or it was not weighed."""
    weighed_kg = box.weighed_kg if sealing.mass_kg is None else sealing.mass_kg
    pieces = [Piece(name=part.name, mass_kg=part.mass_kg, material=part.material) for part in parts if part.packed]
    if weighed_kg is None or not pieces:
        return None
    expected = expect(pieces, besides_kg=box.empty_kg or 0.0, limit=weight_limit(connection))
    if not expected.beyond_limit(weighed_kg):
        return None
    told = say(
        "Box %(box)s weighs %(weighed)s kg, %(expected)s kg are expected: more than %(limit)s kg off. Look in it once "
        "more; if it is right, a foreman seals it with a reason.",
        box=box.in_words,
        weighed=Number(f"{weighed_kg:.2f}"),
        expected=Number(f"{expected.mass_kg:.2f}"),
        limit=Number(f"{expected.limit_kg:.2f}"),
    )
    return OffWeightError(told, expected_kg=expected.mass_kg, weighed_kg=weighed_kg, limit_kg=expected.limit_kg)


def _close(ledger: Ledger, box: Box, sealing: Sealing) -> None:
    current = ledger.box(box.id) or box
    ledger.set_box(current, state=BoxState.SEALED)
    ledger.bump(box.job.id, "sealed", 1)
    weighed = {} if sealing.mass_kg is None else {"weighed_kg": sealing.mass_kg}  # else what was weighed before holds
    ledger.change(update_box, box.id, sealed_at=ledger.now, **weighed)
