"""Take scans: judge each one, write it to the log and the new state beside it, all in one transaction.

A scan's id has one effect and one answer for ever: an id that was answered before gets the first answer again. A batch
is judged scan by scan in the order of the clients' times; one bad scan stops none of the others.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any
from uuid import uuid5

from sqlalchemy import Connection

from tracker.records import floor, readings
from tracker.records.benches import BenchReading
from tracker.records.boards import BoardView, board_view, parts_on_board
from tracker.records.database import Database
from tracker.records.floor import BoxRow, JobState, PartRow, StationRow
from tracker.records.readings import Reading
from tracker.records.shipping import loading_of
from tracker.shop import verdicts
from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.cards import Read
from tracker.shop.clocks import LONGEST_WAY
from tracker.shop.codes import COMMAND_NUMBERS, Code, Command, Kind, MisreadError, box_code, part_code, read_code
from tracker.shop.contradictions import Contradiction, named_part, told
from tracker.shop.outcomes import OK_OUTCOMES, Outcome
from tracker.shop.progress import Happening, Progress, Sighting, advance, fold, holder_of, known_at, marked_by
from tracker.shop.reasons import Reason
from tracker.shop.scans import NO_PART, Action, Answer, Scan
from tracker.shop.sscc import find_sscc
from tracker.shop.steps import Step
from tracker.shop.verdicts import BoxFacts, PartFacts, StationFacts, Verdict, verdict
from tracker.work.clocks import place_scans
from tracker.work.late import Benches
from tracker.work.ledger import Ledger

LONGEST_CODE_KEPT = 80


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
    answers = floor.first_answers(connection, {scan.id for request in requests for scan in request.scans})
    fresh = {scan.id: scan for request in requests for scan in request.scans if scan.id not in answers}
    if fresh:
        ledger = Ledger(connection, "", requests[0].now)
        _look_up(ledger, fresh.values(), {request.sender.station for request in requests})
        for request in requests:
            ledger.who, ledger.now = request.sender.name, request.now
            desk = _Desk(ledger, request.sender)
            for scan in _in_place(ledger, request):
                if scan.id not in answers:
                    answers[scan.id] = desk.take(scan)
        ledger.write()
    return [[answers[scan.id] for scan in request.scans] for request in requests]


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


def _look_up(ledger: Ledger, scans: Collection[Scan], made_for: Collection[str | None]) -> None:
    """Read at once what the scans are about to need."""
    ledger.reserve(len(scans))
    ledger.look_up_stations({name for name in (*(scan.station for scan in scans), *made_for) if name})
    codes = {text: _code_or_none(text) for scan in scans for text in (scan.code, scan.box, scan.part) if text}
    ledger.look_up_ssccs({sscc for text, code in codes.items() if code is None and (sscc := _sscc_or_none(text))})
    parts = (codes[text] for scan in scans for text in (scan.code, scan.part) if text)
    ledger.look_up_parts(sorted({code.number for code in parts if code and code.kind is Kind.PART}))


class _Refused(Exception):  # noqa: N818 - no error: a verdict found while the scan is still being read
    def __init__(self, outcome: Outcome, reason: Reason, /, **values: Any) -> None:
        super().__init__(reason)
        self.verdict = verdict(outcome, reason, **values)


class _Desk:
    """Judges the scans of one batch, one after the other."""

    def __init__(self, ledger: Ledger, sender: Sender) -> None:
        self.ledger = ledger
        self.sender = sender

    def take(self, scan: Scan) -> Answer:
        entry = _Entry(self.ledger, scan)
        if scan.fault:
            return entry.record(verdict(Outcome.MISREAD, Reason.NO_SCAN, fault=scan.fault))
        try:
            entry.station = self._station(scan)
            return self._dispatch(scan, entry)
        except _Refused as refused:
            return entry.record(refused.verdict)

    def _station(self, scan: Scan) -> StationRow:
        named = scan.station or self.sender.station
        if not named:
            raise _Refused(Outcome.UNKNOWN, Reason.NO_STATION)
        station = self.ledger.station(named)
        code = None if station else _code_or_none(named)
        if code and code.kind is Kind.STATION:
            station = self.ledger.station_numbered(code.number)
        if station is None:
            raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_STATION, station=named[:LONGEST_CODE_KEPT])
        if self.sender.station and station.name != self.sender.station:
            raise _Refused(Outcome.UNKNOWN, Reason.OTHER_STATION, station=self.sender.station)
        return station

    def _dispatch(self, scan: Scan, entry: "_Entry") -> Answer:
        if scan.action is Action.UNDO:
            return self._undo(scan, entry)
        code = self._code(scan.code)
        if code.kind is Kind.COMMAND:
            return self._command(code, scan, entry)
        if code.kind is Kind.PART:
            return self._part(code, scan, entry)
        if code.kind is Kind.BOX:
            return self._box(code, scan, entry)
        if code.kind is Kind.LOAD:
            return self._load(code, scan, entry)
        if code.kind is Kind.SLOT:
            return self._slot(code, scan, entry)
        if code.kind is Kind.BOARD:
            return self._board(code, scan, entry)
        if code.kind is Kind.STATION:
            raise _Refused(Outcome.OFF_ROUTE, Reason.STATION_CODE)
        raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))

    def _code(self, text: str, kind: Kind | None = None) -> Code:
        """Return the code that was read; the SSCC of a box stands for the box's own code."""
        try:
            code = read_code(text)
        except MisreadError:
            code = self._code_by_sscc(text)
        if kind is not None and code.kind is not kind:
            raise _Refused(Outcome.MISREAD, Reason.WRONG_KIND, code=str(code))
        return code

    def _code_by_sscc(self, text: str) -> Code:
        sscc = _sscc_or_none(text)
        if sscc is None:
            raise _Refused(Outcome.MISREAD, Reason.MISREAD)
        box_id = self.ledger.box_of_sscc(sscc)
        if box_id is None:
            raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=sscc)
        return Code(Kind.BOX, box_id)

    # Parts

    def _part(self, code: Code, scan: Scan, entry: "_Entry") -> Answer:
        part = self._part_coded(code)
        if scan.action is Action.DAMAGED:
            return self._note_damage(scan, part, entry)
        if scan.action is Action.PLACE:
            return self._note_place(scan, part, self._slot_named(scan.slot) if scan.slot else None, entry)
        return self._pass(scan, part, entry)

    def _part_coded(self, code: Code) -> PartRow:
        part = self.ledger.part(code.number)
        if part is None:
            raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))
        return part

    def _pass(self, scan: Scan, part: PartRow, entry: "_Entry") -> Answer:
        station = entry.station_row
        open_box = self._open_box(scan, station) if station.step is Step.PACK else None
        before = self._progress_before(scan.at, part)
        facts = self._facts(scan.at, part)
        if station.step is Step.PACK and _is_late(scan.at, part):
            facts = replace(facts, box=self._box_then(scan, part, facts.box, entry))
        judged = verdicts.judge_part(
            facts, _station_facts(station), before, None if open_box is None else self._box_facts(open_box, scan.at)
        )
        entry.part = part
        entry.flag_as(self._contradiction(scan, part, judged, entry))
        if open_box is not None and scan.box:
            entry.opened = open_box
            self._open(station, open_box, scan.at)
        inferred: tuple[Step, ...] = ()
        if judged.outcome is Outcome.DONE and not station.strict:
            inferred = before.open_before(station.step, part.route)
        after = self._see(scan, part, _happening(judged), entry)
        if judged.outcome is Outcome.DONE and station.step is Step.PACK:
            self._open(station, self.ledger.box(part.box.id) or part.box, scan.at)
        upcoming = after.next_step(part.route)
        if judged.outcome is Outcome.DONE:
            judged = judged.with_values(inferred=list(inferred), **self._what_next(part, upcoming))
        elif judged.outcome is Outcome.AGAIN and not entry.with_board:
            judged = self._read_before(judged, self._holding(part, station.step, scan.at))
        return entry.record(judged, next_step=upcoming, inferred=inferred)

    # Boards

    def _board(self, code: Code, scan: Scan, entry: "_Entry") -> Answer:
        """Pass every part that comes off a board, each with a row of its own in the log, then the board itself."""
        station = entry.station_row
        board = board_view(self.ledger.connection, code.number)
        if board is None:
            raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_BOARD)
        if scan.action is not Action.PASS:
            raise _Refused(Outcome.OFF_ROUTE, Reason.BOARD_NAMES_NO_PART)
        if station.step is not Step.CUT:
            raise _Refused(Outcome.OFF_ROUTE, Reason.BOARD_ELSEWHERE)
        part_ids = parts_on_board(self.ledger.connection, code.number, living=True)
        self.ledger.look_up_parts(part_ids)
        outcomes = []
        for part_id in part_ids:
            own = replace(scan, id=uuid5(scan.id, part_code(part_id)), code=part_code(part_id))
            row = _Entry(self.ledger, own, seq=entry.seq)
            row.station, row.with_board = station, True
            outcomes.append(self._part(read_code(own.code), own, row).outcome)
            entry.seq = self.ledger.next_seq()  # the board's own row stands after its parts': an undo finds it first
        entry.job_id = self.ledger.part(part_ids[0]).job.id if part_ids else None  # type: ignore[union-attr]
        entry.board = board
        return entry.record(_board_verdict(outcomes))

    def _undo_board(self, code: Code, scan: Scan, last: Reading, entry: "_Entry") -> Answer:
        """Take back a board's row and the rows that were written with it."""
        board = board_view(self.ledger.connection, code.number)
        part_ids = parts_on_board(self.ledger.connection, code.number, living=False)
        self.ledger.look_up_parts(part_ids)
        parts = [part for part in map(self.ledger.part, part_ids) if part is not None]
        current = next((part for part in parts if part.replaced_by_id is None), None)
        refused = None if current is None else verdicts.judge_note(self._facts(scan.at, current))
        if refused:
            return entry.record(refused)
        written = readings.board_rows(self.ledger.connection, last, part_ids)
        for part_id, seq in written.items():
            own = replace(scan, id=uuid5(scan.id, part_code(part_id)), code=part_code(part_id), action=Action.UNDO)
            row = _Entry(self.ledger, own, seq=entry.seq)
            row.station, row.part, row.undoes = entry.station, self.ledger.part(part_id), seq
            row.record(verdict(Outcome.UNDONE, Reason.UNDONE_WITH_BOARD))
            entry.seq = self.ledger.next_seq()
        entry.undoes, entry.job_id = last.seq, last.job_id
        self.ledger.refold(written, at=scan.at)
        number = board.number if board else str(code)
        return entry.record(self._cut_elsewhere(number, parts, entry.station_row))

    def _cut_elsewhere(self, number: int | str, parts: Sequence[PartRow], station: StationRow) -> Verdict:
        """Say how many of a board's parts are cut all the same, as another station read them."""
        happened = floor.sightings(self.ledger.connection, [part.id for part in parts])
        holding = [holder_of(Step.CUT, happened[part.id], part.route) for part in parts]
        by = [each.station for each in holding if each is not None]
        others = [each for each in by if each is not None and each != station.id]
        if not others:
            return verdict(Outcome.UNDONE, Reason.BOARD_UNDONE, board=number)
        names = ", ".join(sorted({self._station_named(each) for each in others}))
        return verdict(Outcome.UNDONE, Reason.BOARD_STILL_CUT, board=number, stations=names, parts=len(others))

    def _what_next(self, part: PartRow, upcoming: Step | None) -> dict[str, Any]:
        """What comes next of a part that passed a step: its next step, or what its box lacks once it is in."""
        if upcoming is not Step.SHIP:
            return {"next": upcoming}
        box = self.ledger.box(part.box.id) or part.box
        missing = box.parts_lacking
        uncounted = 0 if missing else floor.uncounted(self.ledger.connection, box.id)
        return {"packed": box.packed, "missing": missing, "uncounted": uncounted}

    def _holding(self, part: PartRow, step: Step, at: datetime) -> int | None:
        """The number in the log of the reading by which a step of a part was done at ``at``."""
        self.ledger.write()
        happened = floor.sightings(self.ledger.connection, [part.id])[part.id]
        holding = holder_of(step, known_at(happened, at), part.route)
        return None if holding is None else holding.seq

    def _read_before(self, judged: Verdict, seq: int | None) -> Verdict:
        """Say of what was done before where and when that was read, by its number in the log, where that is known."""
        read = floor.read_at(self.ledger.connection, seq)
        if read is None:
            return judged
        station, at = read
        return verdict(Outcome.AGAIN, Reason.READ_BEFORE, station=station, moment=at.isoformat())

    def _progress_before(self, at: datetime, part: PartRow) -> Progress:
        """The progress as it stood at ``at``: for a late scan it is folded from what had happened until then."""
        if not _is_late(at, part):
            return part.progress
        self.ledger.write()
        happened = floor.sightings(self.ledger.connection, [part.id])[part.id]
        return fold(known_at(happened, at), part.route)

    def _see(self, scan: Scan, part: PartRow, what: Happening, entry: "_Entry", slot: int | None = None) -> Progress:
        """Take the sighting into the part's progress, in its place by its own time; return the progress after all."""
        sighting = Sighting(
            seq=entry.seq,
            at=scan.at,
            what=what,
            station=entry.station_row.id,
            step=entry.station_row.step,
            infers=not entry.station_row.strict,
            slot=slot,
        )
        if not _is_late(scan.at, part):
            after = advance(part.progress, sighting, part.route)
        else:
            self.ledger.write()
            happened = floor.sightings(self.ledger.connection, [part.id])[part.id]
            after = fold([*happened, sighting], part.route)
        self.ledger.set_progress(part, after, at=scan.at)
        return self.ledger.part(part.id).progress  # type: ignore[union-attr]  # it was just set

    def _box_then(self, scan: Scan, part: PartRow, now: BoxFacts, entry: "_Entry") -> BoxFacts:
        """The box that a late scan packed the part into, as it stood then.

        A box that was sealed short since does not take it: the part is planned for another one, and a foreman says
        where it lies. One that was sealed with the part in it takes the scan as it would have done on time.
        """
        self.ledger.write()
        origin = floor.planned_before_move(self.ledger.connection, part.id, scan.at)
        box = None if origin is None else self.ledger.box(origin)
        if box is not None:
            entry.box = box
            return self._box_facts(box, scan.at)
        whole = now.closed and Step.PACK in part.progress.counted
        if whole and floor.sealed_after(self.ledger.connection, part.box.id, scan.at):
            return replace(now, state=BoxState.PACKING)
        return now

    def _contradiction(self, scan: Scan, part: PartRow, judged: Verdict, entry: "_Entry") -> Contradiction | None:
        """Say what a foreman must look at: a late scan that on time would have been answered otherwise."""
        connection = self.ledger.connection
        match judged.outcome:
            case Outcome.REPLACED if floor.replaced_after(connection, part.id, scan.at):
                return Contradiction.REPLACED
            case Outcome.CANCELLED if floor.cancelled_after(connection, part.job.id, scan.at):
                return Contradiction.CANCELLED
            case Outcome.BOX_CLOSED if entry.box or floor.sealed_after(connection, part.box.id, scan.at):
                return Contradiction.PACKED
            case Outcome.DONE if _is_late(scan.at, part):
                if floor.refused_early_after(connection, part.id, scan.at):
                    return Contradiction.EARLY
        return None

    def _note_damage(self, scan: Scan, part: PartRow, entry: "_Entry") -> Answer:
        facts = self._facts(scan.at, part)
        refused = verdicts.judge_note(facts)
        entry.part, entry.action = part, Action.DAMAGED
        self._see(scan, part, Happening.SEEN if refused else Happening.DAMAGED, entry)
        if refused:
            return entry.record(refused)
        if facts.box.closed:
            entry.flag_as(Contradiction.DAMAGED)
        if scan.reason:
            return entry.record(verdict(Outcome.NOTED, Reason.MARKED_DAMAGED_FOR, reason=scan.reason))
        return entry.record(verdict(Outcome.NOTED, Reason.MARKED_DAMAGED))

    def _note_place(self, scan: Scan, part: PartRow, slot: int | None, entry: "_Entry") -> Answer:
        facts = self._facts(scan.at, part)
        refused = verdicts.judge_note(facts)
        entry.part, entry.action, entry.slot_id = part, Action.PLACE, slot
        self._see(scan, part, Happening.SEEN if refused else Happening.PLACE, entry, slot=slot)
        return entry.record(refused or self._placed(slot))

    def _placed(self, slot_id: int | None) -> Verdict:
        if slot_id is None:
            return verdict(Outcome.NOTED, Reason.PLACED)
        return verdict(Outcome.NOTED, Reason.PLACED_IN_SLOT, slot=floor.slot_name(self.ledger.connection, slot_id))

    # Boxes, loads, slots, cards

    def _box(self, code: Code, scan: Scan, entry: "_Entry") -> Answer:
        box = self.ledger.box(code.number)
        if box is None:
            raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))
        entry.box = box
        station = entry.station_row
        named = self._code(scan.load, Kind.LOAD).number if scan.load else self._open_load(scan, station)
        open_load = None if named is None else str(Code(Kind.LOAD, named))
        facts = self._scanned_box_facts(box, scan.at)
        judged = verdicts.judge_box(facts, _station_facts(station), open_load)
        if station.step is Step.SHIP:
            judged = self._loading_then(scan, box, judged, entry)
        if judged.outcome is Outcome.DONE and box.load_id is not None and station.step is Step.SHIP:
            self.ledger.set_box(box, state=BoxState.LOADED)
            entry.load_id = box.load_id
            self.ledger.set_open(station, box_id=None, load_id=box.load_id, at=scan.at)
            judged = self._how_far(judged, box.load_id)
        elif judged.outcome is Outcome.DONE:
            self._open(station, box, scan.at)
        elif judged.outcome is Outcome.AGAIN:
            self.ledger.write()
            judged = self._read_before(judged, floor.loading_that_stands(self.ledger.connection, box.id))
        return entry.record(judged)

    def _loading_then(self, scan: Scan, box: BoxRow, today: Verdict, entry: "_Entry") -> Verdict:
        """The verdict on a scan onto a load, which for a late one is that of its own time: it loads nothing by today's.

        One that would have loaded the box, but for what was changed since, is flagged.
        """
        if self.ledger.now - scan.at <= LONGEST_WAY or box.state is BoxState.SHIPPED:
            return today
        self.ledger.write()
        then = floor.box_then(self.ledger.connection, box, scan.at)
        facts = self._scanned_box_facts(box, scan.at)
        of_then = replace(
            facts,
            load=None if then.load_id is None else str(Code(Kind.LOAD, then.load_id)),
            state=BoxState.SEALED if then.sealed else BoxState.COMPLETE,
            cancelled=False,
        )
        named = str(self._code(scan.load, Kind.LOAD)) if scan.load else None
        if facts.load is not None and facts.load == (named or of_then.load):
            changed = then.opened_since or (then.planned_since and not named) or facts.cancelled
            if box.state is BoxState.LOADED or (then.sealed and not changed):
                return today
        judged = verdicts.judge_box(of_then, _station_facts(entry.station_row), named)
        if judged.outcome is not Outcome.DONE or of_then.load is None:
            return today if facts.cancelled else judged
        entry.load_id = then.load_id
        entry.flag_as(self._late_loading(scan, box, then))
        if facts.cancelled:
            return today
        return verdicts.judge_late_loading(facts, of_then.load, opened=then.opened_since)

    def _late_loading(self, scan: Scan, box: BoxRow, then: floor.BoxThen) -> Contradiction | None:
        """What a foreman must look at. Where the box was counted as loaded, whoever changed that knew of it."""
        if box.job.status == "cancelled":
            late = floor.cancelled_after(self.ledger.connection, box.job.id, scan.at)
            return Contradiction.CANCELLED if late else None
        if then.counted:
            return None
        return Contradiction.OPENED if then.opened_since else Contradiction.OFF_LOAD

    def _load(self, code: Code, scan: Scan, entry: "_Entry") -> Answer:
        load = self.ledger.load(code.number)
        if load is None:
            raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))
        entry.load_id = load.id
        station = entry.station_row
        judged = verdicts.judge_load(shipped=load.shipped, station=_station_facts(station))
        if judged.outcome is Outcome.DONE:
            self.ledger.set_open(station, box_id=None, load_id=load.id, at=scan.at)
            judged = self._how_far(judged, load.id)
        return entry.record(judged)

    def _how_far(self, judged: Verdict, load_id: int) -> Verdict:
        """Say beside a verdict about a load how far it is loaded, and which boxes of its jobs would stay behind."""
        self.ledger.write()
        loading = loading_of(self.ledger.connection, load_id)
        return verdicts.with_loading(
            judged,
            load=str(Code(Kind.LOAD, load_id)),
            day=loading.ship_on,
            on=loading.on,
            boxes=loading.boxes,
            staying=[box.code for box in loading.staying],
        )

    def _slot(self, code: Code, scan: Scan, entry: "_Entry") -> Answer:
        slot = self._slot_named(str(code))
        return self._note_place(scan, self._scanned_last(scan, entry), slot, entry)

    def _command(self, code: Code, scan: Scan, entry: "_Entry") -> Answer:
        match COMMAND_NUMBERS.get(code.number):
            case Command.UNDO:
                return self._undo(scan, entry)
            case Command.DAMAGED:
                return self._note_damage(scan, self._scanned_last(scan, entry), entry)
            case None:
                raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))

    def _scanned_last(self, scan: Scan, entry: "_Entry") -> PartRow:
        """The part that a slot's code or the damaged card is about: what the device showed, or the last one here."""
        if scan.part not in ("", NO_PART):
            return self._part_coded(self._code(scan.part, Kind.PART))
        self.ledger.write()
        connection, station_id = self.ledger.connection, entry.station_row.id
        last = None if scan.part else readings.meant_by_card(connection, station_id, scan.at)
        part = None if last is None or last.part is None else self.ledger.part(last.part)
        if last is None or part is None:
            raise _Refused(Outcome.UNKNOWN, Reason.NOTHING_TO_MARK)
        entry.meant = last.seq
        return part

    def _slot_named(self, named: str) -> int:
        code = _code_or_none(named)
        number = code.number if code and code.kind is Kind.SLOT else None
        slot_id = floor.slot_id(self.ledger.connection, number=number, name=named)
        if slot_id is None:
            raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_SLOT, slot=named[:LONGEST_CODE_KEPT])
        return slot_id

    # Undo

    def _undo(self, scan: Scan, entry: "_Entry") -> Answer:
        entry.action = Action.UNDO
        self.ledger.write()
        station = entry.station_row
        last = readings.last_standing(self.ledger.connection, station.id, scan.at)
        flagged = readings.last_flagged(self.ledger.connection, station.id, scan.at, last)
        if flagged is not None and _means(scan, flagged):
            return self._undo_flagged(flagged, scan, entry)
        if last is None:
            raise _Refused(Outcome.NOTHING_TO_UNDO, Reason.NOTHING_TO_UNDO)
        self._check_meant(scan, last)
        board = _code_or_none(last.code)
        if board is not None and board.kind is Kind.BOARD:
            return self._undo_board(board, scan, last, entry)
        part = None if last.part_id is None else self.ledger.part(last.part_id)
        box = None if last.box_id is None else self.ledger.box(last.box_id)
        entry.part, entry.box = part, box
        refused = None if part is None else verdicts.judge_note(self._facts(scan.at, part))
        if refused:
            return entry.record(refused)
        closed = box is not None and _closed_to_undo(last, box.state)
        if closed and box is not None:
            if last.step is Step.PACK and part and floor.sealed_after(self.ledger.connection, box.id, scan.at):
                entry.flag_as(Contradiction.TAKEN_OUT)
            raise _Refused(Outcome.BOX_CLOSED, Reason.BOX_CLOSED, box=box.name, state=box.state)
        entry.load_id = last.load_id
        entry.undoes = last.seq
        unloads = box is not None and last.step is Step.SHIP and self._stands(last, box)
        undone = _undone(last, box) if part is None else self._take_back(part, last, scan, entry)
        answer = entry.record(undone)
        if part is None and box is not None and unloads:
            self.ledger.set_box(box, state=BoxState.SEALED)
        if last.step in (Step.PACK, Step.SHIP):
            self._reopen(station, scan.at)
        return answer

    def _take_back(self, part: PartRow, last: Reading, scan: Scan, entry: "_Entry") -> Verdict:
        """Fold a part's progress without a reading; say by which station what was taken back holds all the same."""
        happened = floor.sightings(self.ledger.connection, [part.id])[part.id]
        left = [replace(s, undone=(scan.at, entry.seq)) if s.seq == last.seq else s for s in happened]
        self.ledger.set_progress(part, fold(left, part.route), at=scan.at)
        match Action(last.action):
            case Action.DAMAGED if (marking := marked_by(left)) is not None:
                return verdict(Outcome.UNDONE, Reason.STILL_DAMAGED, station=self._station_named(marking))
            case Action.DAMAGED:
                return verdict(Outcome.UNDONE, Reason.DAMAGE_UNDONE)
            case Action.PLACE:
                return verdict(Outcome.UNDONE, Reason.PLACE_UNDONE)
            case _ if (holding := holder_of(last.step, left, part.route)) is not None and holding.station is not None:
                held_by = self._station_named(holding.station)
                return verdict(Outcome.UNDONE, Reason.STILL_DONE, station=held_by, step=last.step)
            case _:
                return verdict(Outcome.UNDONE, Reason.STEP_UNDONE, step=last.step)

    def _station_named(self, station_id: int) -> str:
        station = self.ledger.station_numbered(station_id)
        return "" if station is None else station.name

    def _stands(self, last: Reading, box: BoxRow) -> bool:
        """Whether it is this scan by which the box is loaded: it may have come off its load, or onto another, since."""
        return floor.loading_that_stands(self.ledger.connection, box.id) == last.seq

    def _undo_flagged(self, flagged: Reading, scan: Scan, entry: "_Entry") -> Answer:
        """Take back a late scan that counts for nothing yet: nobody need settle it any more."""
        part = None if flagged.part_id is None else self.ledger.part(flagged.part_id)
        box = None if flagged.box_id is None else self.ledger.box(flagged.box_id)
        entry.part, entry.box, entry.undoes = part, box, flagged.seq
        answer = entry.record(verdict(Outcome.UNDONE, Reason.FLAGGED_UNDONE))
        if part is not None:
            self.ledger.refold([part.id], at=scan.at)
        return answer

    def _check_meant(self, scan: Scan, last: Reading) -> None:
        """Refuse an undo that is read with the code of another part or board than the one that it would take back."""
        meant, done = _code_or_none(scan.code), _code_or_none(last.code)
        if meant is None or meant.kind not in (Kind.PART, Kind.BOARD) or meant == done:
            return
        if meant.kind is Kind.PART and meant.number == last.part_id:
            return  # it was scanned last by another code: a slot's, a card's
        raise _Refused(Outcome.NOTHING_TO_UNDO, Reason.OTHER_CAME_LAST, last=self._named_last(last))

    def _named_last(self, last: Reading) -> str:
        """Name what was scanned last: the part, even where a slot's code or a card's was read for it."""
        part = None if last.part_id is None else self.ledger.part(last.part_id)
        return last.code if part is None else f"{part.name} of cabinet {part.cabinet} ({part_code(part.id)})"

    def _reopen(self, station: StationRow, at: datetime) -> None:
        """After an undo, the station has open what it had open before the scan that was taken back."""
        self.ledger.write()
        latest = max(at, station.latest_at or at)
        opened = readings.last_opened(self.ledger.connection, station.id, latest)
        box_id = (opened.opened_id or opened.box_id) if opened and station.step is Step.PACK else None
        load_id = opened.load_id if opened and station.step is Step.SHIP else None
        self.ledger.set_open(station, box_id=box_id, load_id=load_id, at=latest)

    # What a station has open

    def _open_box(self, scan: Scan, station: StationRow) -> BoxRow | None:
        if scan.box:
            code = self._code(scan.box, Kind.BOX)
            box = self.ledger.box(code.number)
            if box is None:
                raise _Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))
            return box
        box_id = station.open_box_id
        if _comes_late(scan.at, station.benches_at):
            box_id = Benches(self.ledger).open_box(station.id, scan.at)
            return None if box_id is None else self.ledger.box(box_id)
        box = None if box_id is None else self.ledger.box(box_id)
        return box if box is not None and _takes_parts(box) else None

    def _open_load(self, scan: Scan, station: StationRow) -> int | None:
        load_id = station.open_load_id
        load = None if load_id is None else self.ledger.load(load_id)
        return None if load is None or load.shipped else load.id

    def _open(self, station: StationRow, box: BoxRow, at: datetime) -> None:
        """Open a box at a station, unless it opened one later. While it is complete or closed it takes no parts."""
        if _comes_late(at, station.latest_at):
            self.ledger.write()
            last = readings.last_opened(self.ledger.connection, station.id, station.latest_at or at)
            if last is not None and last.at > at:
                return
        self.ledger.set_open(station, box_id=box.id, load_id=None, at=at)

    # Facts for the verdicts

    def _held(self, job: JobState, at: datetime) -> bool:
        if at >= job.status_at:
            return job.status == "held"
        return floor.held_at(self.ledger.connection, job.id, at)

    def _facts(self, at: datetime, part: PartRow) -> PartFacts:
        held = self._held(part.job, at)
        return PartFacts(
            code=part_code(part.id),
            name=part.name,
            cabinet=part.cabinet,
            job=part.job.code,
            route=part.route,
            box=self._box_facts(self.ledger.box(part.box.id) or part.box, at),
            now=part.progress,
            held=held,
            resumed=held and part.job.status != "held",
            cancelled=part.status == "cancelled",
            replaced_by=None if part.replaced_by_id is None else part_code(part.replaced_by_id),
        )

    def _box_facts(self, box: BoxRow, at: datetime) -> BoxFacts:
        held = self._held(box.job, at)
        return BoxFacts(
            code=box_code(box.id),
            name=box.name,
            state=box.state,
            job=box.job.code,
            held=held,
            resumed=held and box.job.status != "held",
            kept=box.held_at is not None and box.held_at <= at,
            missing=box.parts_lacking,
            cancelled=box.job.status == "cancelled",
            load=None if box.load_id is None else str(Code(Kind.LOAD, box.load_id)),
        )

    def _scanned_box_facts(self, box: BoxRow, at: datetime) -> BoxFacts:
        """The facts of a box that was read itself: its items, too, for which the scan of a part asks nobody."""
        return replace(self._box_facts(box, at), uncounted=floor.uncounted(self.ledger.connection, box.id))


class _Entry:
    """One scan's row in the log while it is being made."""

    def __init__(self, ledger: Ledger, scan: Scan, *, seq: int | None = None) -> None:
        self._ledger = ledger
        self._scan = scan
        self.seq = ledger.next_seq() if seq is None else seq
        self.station: StationRow | None = None
        self.part: PartRow | None = None
        self.box: BoxRow | None = None
        self.load_id: int | None = None
        self.job_id: int | None = None
        self.slot_id: int | None = None
        self.action = scan.action
        self.undoes: int | None = None
        self.contradiction: Contradiction | None = None
        self.meant: int | None = None
        self.would_change: Read | BenchReading | None = None
        self.opened: BoxRow | None = None
        self.board: BoardView | None = None
        self.with_board = False

    @property
    def station_row(self) -> StationRow:
        """The station; a scan gets this far only with one."""
        if self.station is None:
            raise RuntimeError("the station was not looked up")
        return self._ledger.station(self.station.name) or self.station

    def flag_as(self, contradiction: Contradiction | None) -> None:
        """Have a foreman look at this scan."""
        self.contradiction = contradiction

    def record(self, judged: Verdict, next_step: Step | None = None, inferred: Iterable[Step] = ()) -> Answer:
        """Write the scan to the log with its answer; return the answer."""
        box = self.box or (self.part.box if self.part else None)
        steps = frozenset(inferred)
        kind = self.contradiction or self._changes_a_command(judged) or self._changes_a_bench(judged)
        if self.station is not None:
            self._ledger.note_reading(self.station_row, self._scan.at)
        message = self._ledger.add_to_log(
            judged.meaning,
            about=self._about(box),
            seq=self.seq,
            scan_id=self._scan.id.bytes,
            action=self.action.value,
            outcome=judged.outcome.value,
            at=self._scan.at,
            code=self._scan.code[:LONGEST_CODE_KEPT],
            station_id=None if self.station is None else self.station.id,
            step=None if self.station is None else self.station.step.value,
            infers=self.station is not None and not self.station.strict,
            part_id=None if self.part is None else self.part.id,
            job_id=self.job_id or _job_id(self.part, box),
            box_id=None if box is None else box.id,
            load_id=self.load_id,
            slot_id=self.slot_id,
            next_step=None if next_step is None else next_step.value,
            inferred=steps,
            undoes=self.undoes,
            flag=None if kind is None else str(told(kind, **self._codes(box))),
            kind=None if kind is None else kind.value,
            said_at=self._scan.said_at,
            meant=self.meant,
            would_change=None if self.would_change is None else self.would_change.seq,
            opened_id=None if self.opened is None else self.opened.id,
        )
        return Answer(
            id=self._scan.id,
            outcome=judged.outcome,
            message=message,
            reason=judged.meaning.reason,
            values=judged.meaning.values,
            part=None if self.part is None else part_code(self.part.id),
            box=None if box is None else box_code(box.id),
            next=None if next_step is None else next_step.value,
            inferred=tuple(step.value for step in Step if step in steps),
        )

    def _changes_a_command(self, judged: Verdict) -> Contradiction | None:
        """Say whether a card, a slot's code or an undo would have meant another part, had this reading come in time."""
        latest, at = None if self.station is None else self.station_row.latest_at, self._scan.at
        if latest is None or at >= latest or self.action is Action.UNDO or self.with_board:
            return None
        self._ledger.write()
        connection, station, part = self._ledger.connection, self.station_row, self.part
        late = Read(
            seq=self.seq,
            at=at,
            part=None if part is None else part.id,
            passing=part is None and (self.box or self.load_id) is not None,
            card=readings.is_card(self._scan.code),
        )
        self.would_change = readings.card_changed_by(connection, station.id, late)
        if self.would_change is not None:
            return Contradiction.CARD
        if part is not None and judged.outcome in OK_OUTCOMES:
            sighting = Sighting(seq=self.seq, at=at, what=Happening(self.action), station=station.id, step=station.step)
            if readings.undo_changed_by(connection, station.id, sighting, part.id):
                return Contradiction.UNDO
        return None

    def _changes_a_bench(self, judged: Verdict) -> Contradiction | None:
        """Say whether a later scan would have been answered otherwise, had this one come in time."""
        at = self._scan.at
        if self.station is None or self.with_board or not _comes_late(at, self.station_row.benches_at):
            return None
        packs = self.station_row.step is Step.PACK and self.action in (Action.PASS, Action.UNDO)
        if judged.outcome not in OK_OUTCOMES and self.opened is None:
            return None
        if not packs and self.action not in (Action.DAMAGED, Action.UNDO):
            return None
        opens = self.opened or (self.box or (self.part.box if self.part else None))
        done = packs and self.action is Action.PASS and (judged.outcome is Outcome.DONE or self.opened is not None)
        late = BenchReading(
            seq=self.seq,
            at=at,
            station_id=self.station_row.id,
            outcome=judged.outcome,
            part_id=None if self.part is None else self.part.id,
            box_id=None if opens is None else opens.id,
            opens=opens.id if done and opens is not None else None,
        )
        self.would_change = Benches(self._ledger, self._known()).answered_otherwise(late, undoes=self.undoes)
        return None if self.would_change is None else Contradiction.ORDER

    def _known(self) -> dict[int, list[Sighting]]:
        """What is known to have happened to the part with this scan, which is not in the log yet."""
        if self.part is None:
            return {}
        self._ledger.write()
        happened = floor.sightings(self._ledger.connection, [self.part.id])[self.part.id]
        if self.action is Action.UNDO:
            mine = (self._scan.at, self.seq)
            return {self.part.id: [replace(s, undone=mine) if s.seq == self.undoes else s for s in happened]}
        station = self.station_row
        sighting = Sighting(
            seq=self.seq,
            at=self._scan.at,
            what=Happening(self.action),
            station=station.id,
            step=station.step,
            infers=not station.strict,
        )
        return {self.part.id: [*happened, sighting]}

    def _about(self, box: BoxRow | None) -> str:
        """Name what was scanned, for the message."""
        if self.part is not None:
            return f"{self.part.name}, cabinet {self.part.cabinet}"
        if self.board is not None:
            return f"Board {self.board.number} of job {self.board.job}"
        if box is not None:
            return f"Box {box_code(box.id)}"
        return "" if self.load_id is None else f"Load {Code(Kind.LOAD, self.load_id)}"

    def _codes(self, box: BoxRow | None) -> dict[str, str]:
        load = "" if self.load_id is None else str(Code(Kind.LOAD, self.load_id))
        return {"box": "" if box is None else box_code(box.id), "load": load, "other": self._other()}

    def _other(self) -> str:
        """Name the part of the later reading that this scan would have changed."""
        part_id = self.would_change if self.would_change is None else _part_of(self.would_change)
        part = None if part_id is None else self._ledger.part(part_id)
        return "" if part is None else named_part(part.name, part.cabinet, part_code(part.id))


def _code_or_none(text: str) -> Code | None:
    try:
        return read_code(text)
    except MisreadError:
        return None


def _sscc_or_none(text: str) -> str | None:
    try:
        return find_sscc(text)
    except MisreadError:
        return None


def _part_of(read: Read | BenchReading) -> int | None:
    return read.part if isinstance(read, Read) else read.part_id


def _means(scan: Scan, flagged: Reading) -> bool:
    """Whether an undo may mean a scan: it names neither a part nor a board, or the scan's part."""
    code = _code_or_none(scan.code)
    if code is None or code.kind not in (Kind.PART, Kind.BOARD):
        return True
    return code.kind is Kind.PART and code.number == flagged.part_id


def _comes_late(at: datetime, latest: datetime | None) -> bool:
    return latest is not None and at < latest


def _is_late(at: datetime, part: PartRow) -> bool:
    return _comes_late(at, part.latest_at)


def _happening(judged: Verdict) -> Happening:
    return Happening.PASS if judged.outcome in (Outcome.DONE, Outcome.AGAIN) else Happening.SEEN


def _station_facts(station: StationRow) -> StationFacts:
    return StationFacts(id=station.id, name=station.name, step=station.step, infers=not station.strict)


def _board_verdict(outcomes: Sequence[Outcome]) -> Verdict:
    """Say of a board what its parts were answered: done when any part was, else what most of them were."""
    counts = Counter(outcomes)
    done, again = counts[Outcome.DONE], counts[Outcome.AGAIN]
    refused = len(outcomes) - done - again
    if done:
        return verdict(Outcome.DONE, Reason.BOARD_CUT, parts=done, refused=refused)
    if again:
        return verdict(Outcome.AGAIN, Reason.BOARD_AGAIN, refused=refused)
    worst = counts.most_common(1)[0][0] if counts else Outcome.OFF_ROUTE
    return verdict(worst, Reason.BOARD_REFUSED)


def _takes_parts(box: BoxRow) -> bool:
    return box.state in (BoxState.OPEN, BoxState.PACKING)


def _closed_to_undo(last: Reading, state: BoxState) -> bool:
    if last.step is Step.SHIP:
        return state is BoxState.SHIPPED
    return last.step is Step.PACK and state in CLOSED_STATES


def _undone(last: Reading, box: BoxRow | None) -> Verdict:
    """Say what an undo took back that was not about a part."""
    if box is None:
        return verdict(Outcome.UNDONE, Reason.LOAD_SHUT)
    if last.step is Step.SHIP:
        return verdict(Outcome.UNDONE, Reason.STEP_UNDONE, step=last.step)
    return verdict(Outcome.UNDONE, Reason.BOX_SHUT)


def _job_id(part: PartRow | None, box: BoxRow | None) -> int | None:
    row: Any = part or box
    return None if row is None else row.job.id
