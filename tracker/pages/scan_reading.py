"""A scan as a station's and a bench's page send it, made into the shop's own."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from tracker.pages.words import REASONS, gettext
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.scans import Action, Scan
from tracker.shop.times import read_time

LONGEST_CODE: Final = 200
ACTIONS: Final = (Action.PASS, Action.UNDO, Action.DAMAGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One scan, and when the device sent it by its own clock, which may be wrong."""

    scan: Scan
    sent: datetime | None


def read_scan(body: Any, station: str) -> Reading:
    """Return the scan that a request's body spells, made at a station.

    Raises InvalidInputError with every field that is wrong.
    """
    given = body if isinstance(body, dict) else {}
    faults: list[Fault] = []
    scan_id = _id(given.get("id"), faults)
    at = _time(given.get("at"), "at", faults)
    sent = None if given.get("sent_at") is None else _time(given["sent_at"], "sent_at", faults)
    action = given.get("action", Action.PASS)
    if action not in ACTIONS:
        faults.append(_fault("action", f"one of {', '.join(ACTIONS)} is wanted"))
    reason = given.get("reason", "")
    if reason and str(reason) not in REASONS:
        faults.append(_fault("reason", f"one of {', '.join(REASONS)} is wanted"))
    code = given.get("code", "")
    if not isinstance(code, str):
        faults.append(_fault("code", "a text is wanted"))
    if faults or scan_id is None or at is None:
        raise InvalidInputError(gettext("This is no scan."), faults)
    scan = Scan(
        id=scan_id,
        code=_text(code),
        at=at,
        station=station,
        action=Action(action),
        reason=str(reason).replace("_", " "),
    )
    return Reading(scan=scan, sent=sent)


def _id(given: Any, faults: list[Fault]) -> UUID | None:
    try:
        return UUID(str(given))
    except ValueError:
        faults.append(_fault("id", "a UUID is wanted"))
        return None


def _time(given: Any, field: str, faults: list[Fault]) -> datetime | None:
    try:
        return read_time(str(given))
    except ValueError as wrong:
        faults.append(_fault(field, str(wrong)))
        return None


def _text(code: str) -> str:
    """What no database keeps, half a character, becomes a question mark: the reading is then answered as misread."""
    return code[:LONGEST_CODE].encode("utf-8", "replace").decode()


def _fault(field: str, what: str) -> Fault:
    return Fault(where={"field": field}, what=what)
