"""Take scans: judge each one, write it to the log and the new state beside it, all in one transaction.

A scan's id has one effect and one answer for ever: an id that was answered before gets the first answer again. A batch
is judged scan by scan in the order of the clients' times; one bad scan stops none of the others.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection

from tracker.records.database import Database
from tracker.records.past import first_answers
from tracker.records.stations import StationRow
from tracker.shop.codes import COMMAND_NUMBERS, Code, Command, Kind, code_or_none
from tracker.shop.outcomes import Outcome
from tracker.shop.reasons import Reason
from tracker.shop.scans import Action, Answer, Scan
from tracker.shop.verdicts import verdict
from tracker.work.ledger import Ledger
from tracker.work.scan_times import place_scans
from tracker.work.scanning.answering import answer
from tracker.work.scanning.boards import board_scanned
from tracker.work.scanning.boxes import box_scanned, load_scanned
from tracker.work.scanning.parts import mark_damaged, part_scanned, scanned_last, slot_scanned
from tracker.work.scanning.scanned import LONGEST_CODE_KEPT, Refused, Scanned, sscc_or_none
from tracker.work.scanning.undo import undo


@dataclass(frozen=True, slots=True, kw_only=True)
class Sender:
    """Who sends the scans: the token's name, and the station that it is made for, if any.

    ``device`` tells the devices apart whose clocks may be wrong; without it the name does.
    """

    name: str
    station: str | None = None
    device: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """Scans that arrived together, from one sender at one time of the server; ``sent`` is the sender's own time."""

    scans: Sequence[Scan]
    sender: Sender
    now: datetime
    sent: datetime | None = None


def take_scans(
    database: Database, scans: Sequence[Scan], sender: Sender, now: datetime, *, sent: datetime | None = None
) -> list[Answer]:
    """Judge and store ``scans``; return one answer for each, in the order given. When this returns they are on disk."""
    with database.write() as connection:
        return judge_requests(connection, [Request(scans=scans, sender=sender, now=now, sent=sent)])[0]


def judge_requests(connection: Connection, requests: Sequence[Request]) -> list[list[Answer]]:
    """Judge the scans of several requests, one request after the other, in a transaction that the caller commits."""
    answers = first_answers(connection, {scan.id for request in requests for scan in request.scans})
    fresh = {scan.id: scan for request in requests for scan in request.scans if scan.id not in answers}
    if fresh:
        ledger = Ledger(connection, "", requests[0].now)
        _look_up(ledger, fresh.values(), {request.sender.station for request in requests})
        for request in requests:
            ledger.who, ledger.now = request.sender.name, request.now
            for scan in _in_place(ledger, request):
                if scan.id not in answers:
                    answers[scan.id] = _judge(Scanned(ledger, scan), request.sender)
        ledger.write()
    return [[answers[scan.id] for scan in request.scans] for request in requests]


def _look_up(ledger: Ledger, scans: Collection[Scan], made_for: Collection[str | None]) -> None:
    """Read at once what the scans are about to need."""
    ledger.reserve(len(scans))
    ledger.look_up_stations({name for name in (*(scan.station for scan in scans), *made_for) if name})
    codes = {text: code_or_none(text) for scan in scans for text in (scan.code, scan.box, scan.part) if text}
    ledger.look_up_ssccs({sscc for text, code in codes.items() if code is None and (sscc := sscc_or_none(text))})
    parts = (codes[text] for scan in scans for text in (scan.code, scan.part) if text)
    ledger.look_up_parts(sorted({code.number for code in parts if code and code.kind is Kind.PART}))


def _in_place(ledger: Ledger, request: Request) -> list[Scan]:
    """Return a request's scans in the order of their times, which are put right where the device's clock is wrong."""
    sender = request.sender
    named = sender.station or next((scan.station for scan in request.scans if scan.station), "")
    station = ledger.station(named)
    return place_scans(
        ledger.connection,
        request.scans,
        device=sender.device or sender.name,
        station_id=None if station is None else station.id,
        sent=request.sent,
        received=request.now,
    )


def _judge(scanned: Scanned, sender: Sender) -> Answer:
    if scanned.scan.fault:
        return answer(scanned, verdict(Outcome.MISREAD, Reason.NO_SCAN, fault=scanned.scan.fault))
    try:
        scanned.known_station = _station(scanned, sender)
        if scanned.action is Action.UNDO:
            return undo(scanned)
        return _judge_code(scanned, scanned.read(scanned.scan.code))
    except Refused as refused:
        return answer(scanned, refused.verdict)


def _station(scanned: Scanned, sender: Sender) -> StationRow:
    named, ledger = scanned.scan.station or sender.station, scanned.ledger
    if not named:
        raise Refused(Outcome.UNKNOWN, Reason.NO_STATION)
    station = ledger.station(named)
    code = None if station else code_or_none(named)
    if code and code.kind is Kind.STATION:
        station = ledger.station_numbered(code.number)
    if station is None:
        raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_STATION, station=named[:LONGEST_CODE_KEPT])
    if sender.station and station.name != sender.station:
        raise Refused(Outcome.UNKNOWN, Reason.OTHER_STATION, station=sender.station)
    return station


def _judge_code(scanned: Scanned, code: Code) -> Answer:
    match code.kind:
        case Kind.PART:
            return part_scanned(scanned, code)
        case Kind.BOX:
            return box_scanned(scanned, code)
        case Kind.LOAD:
            return load_scanned(scanned, code)
        case Kind.BOARD:
            return board_scanned(scanned, code)
        case Kind.SLOT:
            return slot_scanned(scanned, code)
        case Kind.COMMAND:
            return _command(scanned, code)
        case Kind.STATION:
            raise Refused(Outcome.OFF_ROUTE, Reason.STATION_CODE)
        case Kind.WORKER:
            raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))


def _command(scanned: Scanned, code: Code) -> Answer:
    match COMMAND_NUMBERS.get(code.number):
        case Command.UNDO:
            return undo(scanned)
        case Command.DAMAGED:
            return mark_damaged(scanned, scanned_last(scanned))
        case None:
            raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))
