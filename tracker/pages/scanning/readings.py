"""Scans as a station's and a bench's page send them, made into the shop's own, and taken.

A page sends one scan by itself, as an object, or what has waited for the network as a list of them: ``scans``.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any, Final
from uuid import UUID

from tracker.pages.scanning.bylines import whose
from tracker.pages.words.names import gettext
from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.scans import Action, Answer, Scan
from tracker.shop.times import read_time
from tracker.shop.words import DAMAGE_WORDS
from tracker.web.context import bearer, now, scan_counter
from tracker.work.scanning.batch import Sender

LONGEST_CODE: Final = 200
MOST_AT_ONCE: Final = 50
ACTIONS: Final = (Action.PASS, Action.UNDO, Action.DAMAGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One scan, when the device sent it by its own clock, which may be wrong, and by whom it was read."""

    scan: Scan
    sent: datetime | None
    who: str


def take_scans(body: Any, station: str) -> list[Answer]:
    """Take what a request's body spells, made at a station; return the answers in its order. Then all is on disk.

    Raises InvalidInputError with every field that is wrong; nothing is taken then.
    """
    given = body if isinstance(body, dict) else {}
    scans = given.get("scans", [given])
    if not isinstance(scans, list) or not 1 <= len(scans) <= MOST_AT_ONCE:
        wanted = gettext("a list of 1 to %(most)s scans", most=MOST_AT_ONCE)
        raise InvalidInputError(gettext("This is no scan."), [fault_at("scans", wanted)])
    readings = [read_scan(each if isinstance(each, dict) else {}, station) for each in scans]
    return [answer for who, theirs in groupby(readings, lambda each: each.who) for answer in _take(who, list(theirs))]


def _take(who: str, readings: Sequence[Reading]) -> list[Answer]:
    sender = Sender(name=who, station=bearer().station, device=bearer().device)
    return scan_counter().take([each.scan for each in readings], sender, now(), sent=readings[0].sent)


def read_scan(given: dict[str, Any], station: str) -> Reading:
    """Return one scan as a page spells it. Raises InvalidInputError with every field that is wrong."""
    faults: list[Fault] = []
    scan_id = _id(given.get("id"), faults)
    at = _time(given.get("at"), "at", faults)
    sent = None if given.get("sent_at") is None else _time(given["sent_at"], "sent_at", faults)
    action = given.get("action", Action.PASS)
    if action not in ACTIONS:
        faults.append(fault_at("action", f"one of {', '.join(ACTIONS)} is wanted"))
    reason = given.get("reason", "")
    if reason and str(reason) not in DAMAGE_WORDS:
        faults.append(fault_at("reason", f"one of {', '.join(DAMAGE_WORDS)} is wanted"))
    code, part = (given.get(field, "") for field in ("code", "part"))
    for field, text in (("code", code), ("part", part)):
        if not isinstance(text, str):
            faults.append(fault_at(field, "a text is wanted"))
    if faults or scan_id is None or at is None:
        raise InvalidInputError(gettext("This is no scan."), faults)
    scan = Scan(
        id=scan_id,
        code=code[:LONGEST_CODE],
        at=at,
        station=station,
        action=Action(action),
        part=part[:LONGEST_CODE],
        reason=str(reason).replace("_", " "),
    )
    return Reading(scan=scan, sent=sent, who=whose(given, moment_read(given)))


def moment_read(given: Mapping[str, Any]) -> datetime:
    """Return when an entry of a page was read, by the server's clock: as long ago as the device says."""
    faults: list[Fault] = []
    read, sent = (_time(given.get(key), key, faults) for key in ("at", "sent_at"))
    try:
        return now() if read is None or sent is None else now() - (sent - read)
    except OverflowError:  # from the year 1 to the year 9999
        return now()


def _id(given: Any, faults: list[Fault]) -> UUID | None:
    try:
        return UUID(str(given))
    except ValueError:
        faults.append(fault_at("id", "a UUID is wanted"))
        return None


def _time(given: Any, field: str, faults: list[Fault]) -> datetime | None:
    try:
        return read_time(str(given))
    except ValueError as wrong:
        faults.append(fault_at(field, str(wrong)))
        return None
