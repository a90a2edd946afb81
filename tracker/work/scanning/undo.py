"""What an undo takes back at a station: its last reading that stands, or its last one that waits for a foreman.

It takes the scan and its repeats at that station back, up to the undo. At a bench it gives the box before back.
"""

from dataclasses import replace

from tracker.records import readings
from tracker.records.boxes import Box
from tracker.records.logged import LogRow
from tracker.records.parts import Part
from tracker.records.past import loading_that_stands, sealed_after, sightings
from tracker.shop import verdicts
from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.codes import Kind, code_or_none, part_code
from tracker.shop.contradictions import Contradiction
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import Sighting, fold, holder_of, marked_by
from tracker.shop.reasons import Reason
from tracker.shop.scans import Action, Answer
from tracker.shop.steps import Step
from tracker.shop.verdicts import Verdict, verdict
from tracker.work.scanning.answering import answer
from tracker.work.scanning.boards import undo_board
from tracker.work.scanning.scanned import Refused, Scanned


def undo(scanned: Scanned) -> Answer:
    """Take back what the station read last, where the undo means that."""
    scanned.action = Action.UNDO
    ledger, station = scanned.ledger, scanned.station
    last = readings.last_standing(ledger.written, station.id, scanned.at)
    flagged = readings.last_flagged(ledger.connection, station.id, scanned.at, last)
    if flagged is not None and _may_mean(scanned, flagged):
        return _undo_flagged(scanned, flagged)
    if last is None:
        raise Refused(Outcome.NOTHING_TO_UNDO, Reason.NOTHING_TO_UNDO)
    _refuse_another(scanned, last)
    board = code_or_none(last.code)
    if board is not None and board.kind is Kind.BOARD:
        return undo_board(scanned, board, last)
    return _undo_last(scanned, last)


def _may_mean(scanned: Scanned, flagged: LogRow) -> bool:
    """Whether an undo may mean a scan: it names neither a part nor a board, or the scan's part."""
    code = code_or_none(scanned.scan.code)
    if code is None or code.kind not in (Kind.PART, Kind.BOARD):
        return True
    return code.kind is Kind.PART and code.number == flagged.part_id


def _undo_flagged(scanned: Scanned, flagged: LogRow) -> Answer:
    """Take back a late scan that counts for nothing yet: nobody need settle it any more."""
    _is_about(scanned, flagged)
    scanned.undoes = flagged.seq
    answered = answer(scanned, verdict(Outcome.UNDONE, Reason.FLAGGED_UNDONE))
    if scanned.part is not None:
        scanned.ledger.refold([scanned.part.id], at=scanned.at)
    return answered


def _is_about(scanned: Scanned, reading: LogRow) -> None:
    scanned.part = None if reading.part_id is None else scanned.ledger.part(reading.part_id)
    scanned.box = None if reading.box_id is None else scanned.ledger.box(reading.box_id)


def _refuse_another(scanned: Scanned, last: LogRow) -> None:
    """Refuse an undo that is read with the code of another part or board than the one that it would take back."""
    meant, done = code_or_none(scanned.scan.code), code_or_none(last.code)
    if meant is None or meant.kind not in (Kind.PART, Kind.BOARD) or meant == done:
        return
    if meant.kind is Kind.PART and meant.number == last.part_id:
        return  # it was scanned last by another code: a slot's, a card's
    raise Refused(Outcome.NOTHING_TO_UNDO, Reason.OTHER_CAME_LAST, last=_named(scanned, last))


def _named(scanned: Scanned, last: LogRow) -> str:
    """Name what was scanned last: the part, even where a slot's code or a card's was read for it."""
    part = None if last.part_id is None else scanned.ledger.part(last.part_id)
    return last.code if part is None else f"{part.name} of cabinet {part.cabinet} ({part_code(part.id)})"


def _undo_last(scanned: Scanned, last: LogRow) -> Answer:
    """Take back the scan of a part, a box or a load."""
    ledger = scanned.ledger
    _is_about(scanned, last)
    part, box = scanned.part, scanned.box
    refused = None if part is None else verdicts.judge_note(scanned.part_facts(part))
    if refused:
        return answer(scanned, refused)
    if box is not None and _is_closed_to(last, box.state):
        if last.step is Step.PACK and part and sealed_after(ledger.connection, box.id, scanned.at):
            scanned.contradiction = Contradiction.TAKEN_OUT
        raise Refused(Outcome.BOX_CLOSED, Reason.BOX_CLOSED, box=box.name, state=box.state)
    scanned.load_id, scanned.undoes = last.load_id, last.seq
    # The box may have come off its load, or onto another, since this scan loaded it.
    loaded = part is None and box is not None and last.step is Step.SHIP
    unloads = loaded and box is not None and loading_that_stands(ledger.connection, box.id) == last.seq
    answered = answer(scanned, _undone(last, box) if part is None else _take_back(scanned, part, last))
    if unloads and box is not None:
        ledger.set_box(box, state=BoxState.SEALED)
    if last.step in (Step.PACK, Step.SHIP):
        _open_what_was_open(scanned)
    return answered


def _is_closed_to(last: LogRow, state: BoxState) -> bool:
    if last.step is Step.SHIP:
        return state is BoxState.SHIPPED
    return last.step is Step.PACK and state in CLOSED_STATES


def _undone(last: LogRow, box: Box | None) -> Verdict:
    """Say what an undo took back that was not about a part."""
    if box is None:
        return verdict(Outcome.UNDONE, Reason.LOAD_SHUT)
    if last.step is Step.SHIP:
        return verdict(Outcome.UNDONE, Reason.STEP_UNDONE, step=last.step)
    return verdict(Outcome.UNDONE, Reason.BOX_SHUT)


def _take_back(scanned: Scanned, part: Part, last: LogRow) -> Verdict:
    """Fold a part's progress without a reading; say by which station what was taken back holds all the same."""
    ledger = scanned.ledger
    happened = sightings(ledger.connection, [part.id])[part.id]
    left = [replace(s, undone=(scanned.at, scanned.seq)) if s.seq == last.seq else s for s in happened]
    ledger.set_progress(part, fold(left, part.route), at=scanned.at)
    step = last.step or scanned.station.step
    match Action(last.action):
        case Action.DAMAGED if (marking := marked_by(left)) is not None:
            return _still_damaged(scanned, marking)
        case Action.DAMAGED:
            return verdict(Outcome.UNDONE, Reason.DAMAGE_UNDONE)
        case Action.PLACE:
            return verdict(Outcome.UNDONE, Reason.PLACE_UNDONE)
        case _ if (holding := holder_of(step, left, part.route)) is not None and holding.station is not None:
            held_by = ledger.station_name(holding.station)
            return verdict(Outcome.UNDONE, Reason.STILL_DONE, station=held_by, step=step)
        case _:
            return verdict(Outcome.UNDONE, Reason.STEP_UNDONE, step=step)


def _still_damaged(scanned: Scanned, marking: Sighting) -> Verdict:
    """Say by which mark a part is damaged all the same: the card may have been read twice here."""
    if marking.station == scanned.station.id:
        return verdict(Outcome.UNDONE, Reason.STILL_DAMAGED_HERE, moment=marking.at.isoformat())
    station = "" if marking.station is None else scanned.ledger.station_name(marking.station)
    return verdict(Outcome.UNDONE, Reason.STILL_DAMAGED, station=station)


def _open_what_was_open(scanned: Scanned) -> None:
    """After an undo, the station has open what it had open before the scan that was taken back."""
    ledger, station = scanned.ledger, scanned.station
    latest = max(scanned.at, station.latest_at or scanned.at)
    opened = readings.last_opened(ledger.written, station.id, latest)
    box_id = (opened.opened_id or opened.box_id) if opened and station.step is Step.PACK else None
    load_id = opened.load_id if opened and station.step is Step.SHIP else None
    ledger.set_open(station, box_id=box_id, load_id=load_id, at=latest)
