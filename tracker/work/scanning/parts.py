"""A part that is scanned: passed, marked damaged, or its place noted; also by a card or a slot's code."""

from dataclasses import replace
from datetime import datetime
from typing import Any

from tracker.records import readings
from tracker.records.boxes import Box, uncounted
from tracker.records.parts import Part
from tracker.records.past import read_at, sightings
from tracker.records.stations import StationRow, slot_id, slot_name
from tracker.shop import verdicts
from tracker.shop.box_states import BoxState
from tracker.shop.codes import Code, Kind, code_or_none
from tracker.shop.contradictions import Contradiction
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import Happening, Progress, advance, holder_of, known_at
from tracker.shop.reasons import Reason
from tracker.shop.scans import NO_PART, Action, Answer
from tracker.shop.steps import Step
from tracker.shop.verdicts import Verdict, verdict
from tracker.work.ledger import Ledger
from tracker.work.scanning.answering import answer
from tracker.work.scanning.benches import Benches
from tracker.work.scanning.late import box_then, comes_late, contradiction_of, progress_before, progress_with
from tracker.work.scanning.scanned import LONGEST_CODE_KEPT, Refused, Scanned


def part_scanned(scanned: Scanned, code: Code) -> Answer:
    """Judge the scan of a part's label."""
    part = scanned.part_coded(code)
    match scanned.scan.action:
        case Action.DAMAGED:
            return mark_damaged(scanned, part)
        case Action.PLACE:
            slot = scanned.scan.slot
            return _note_place(scanned, part, _slot_named(scanned, slot) if slot else None)
        case _:
            return _pass(scanned, part)


def slot_scanned(scanned: Scanned, code: Code) -> Answer:
    """Judge the scan of a slot's code: the part that was scanned last lies there."""
    slot = _slot_named(scanned, str(code))
    return _note_place(scanned, scanned_last(scanned), slot)


def _pass(scanned: Scanned, part: Part) -> Answer:
    ledger, station = scanned.ledger, scanned.station
    open_box = _open_box(scanned) if station.step is Step.PACK else None
    before = progress_before(scanned, part)
    facts = scanned.part_facts(part)
    if station.step is Step.PACK and comes_late(scanned.at, part.latest_at):
        facts = replace(facts, box=box_then(scanned, part, facts.box))
    open_facts = None if open_box is None else scanned.box_facts(open_box)
    judged = verdicts.judge_part(facts, scanned.station_facts(), before, open_facts)
    scanned.part = part
    scanned.contradiction = contradiction_of(scanned, part, judged)
    if open_box is not None and scanned.scan.box:
        scanned.opened = open_box
        open_at(ledger, station, open_box, scanned.at)
    is_done = judged.outcome is Outcome.DONE
    inferred = before.open_before(station.step, part.route) if is_done and not station.strict else ()
    counts = judged.outcome in (Outcome.DONE, Outcome.AGAIN)
    upcoming = _take_in(scanned, part, Happening.PASS if counts else Happening.SEEN).next_step(part.route)
    if is_done and station.step is Step.PACK:
        open_at(ledger, station, ledger.box(part.box.id) or part.box, scanned.at)
    if is_done:
        judged = judged.with_values(inferred=list(inferred), **_what_next(scanned, part, upcoming))
    elif judged.outcome is Outcome.AGAIN and not scanned.with_board:
        judged = read_before(ledger, judged, _held_by(scanned, part))
    return answer(scanned, judged, next_step=upcoming, inferred=inferred)


def _open_box(scanned: Scanned) -> Box | None:
    """The box that the part is packed into: the one that the scan names, or that its station has open."""
    ledger, station = scanned.ledger, scanned.station
    if scanned.scan.box:
        return scanned.box_coded(scanned.read(scanned.scan.box, Kind.BOX))
    if comes_late(scanned.at, station.benches_at):
        then = Benches(ledger).open_box(station.id, scanned.at)
        return None if then is None else ledger.box(then)
    box = None if station.open_box_id is None else ledger.box(station.open_box_id)
    return box if box is not None and box.state in (BoxState.OPEN, BoxState.PACKING) else None


def open_at(ledger: Ledger, station: StationRow, box: Box, at: datetime) -> None:
    """Open a box at a station, unless it opened one later. While it is complete or closed it takes no parts."""
    if comes_late(at, station.latest_at):
        last = readings.last_opened(ledger.written, station.id, station.latest_at or at)
        if last is not None and last.at > at:
            return
    ledger.set_open(station, box_id=box.id, load_id=None, at=at)


def _take_in(scanned: Scanned, part: Part, what: Happening, slot: int | None = None) -> Progress:
    """Take the sighting into the part's progress, in its place by its own time; return the progress after all."""
    sighting = scanned.sighting(what, slot)
    if comes_late(scanned.at, part.latest_at):
        after = progress_with(scanned, part, sighting)
    else:
        after = advance(part.progress, sighting, part.route)
    return scanned.ledger.set_progress(part, after, at=scanned.at)


def _what_next(scanned: Scanned, part: Part, upcoming: Step | None) -> dict[str, Any]:
    """What comes next of a part that passed a step: its next step, or what its box lacks once it is in."""
    if upcoming is not Step.SHIP:
        return {"next": upcoming}
    box = scanned.ledger.box(part.box.id) or part.box
    missing = box.parts_lacking
    items = 0 if missing else uncounted(scanned.ledger.connection, box.id)
    kept = {"kept": True} if box.own_hold else {}
    return {"packed": box.packed, "missing": missing, "uncounted": items, **kept}


def _held_by(scanned: Scanned, part: Part) -> int | None:
    """The number in the log of the reading by which the station's step was done at the scan's own time."""
    happened = sightings(scanned.ledger.written, [part.id])[part.id]
    holding = holder_of(scanned.station.step, known_at(happened, scanned.at), part.route)
    return None if holding is None else holding.seq


def read_before(ledger: Ledger, judged: Verdict, seq: int | None) -> Verdict:
    """Say of what was done before where and when that was read, by its number in the log, where that is known."""
    read = read_at(ledger.connection, seq)
    if read is None:
        return judged
    station, at = read
    return verdict(Outcome.AGAIN, Reason.READ_BEFORE, station=station, moment=at.isoformat())


def mark_damaged(scanned: Scanned, part: Part) -> Answer:
    """Mark a part damaged: it counts for nothing from then on, until it is repaired or the mark is taken back."""
    facts = scanned.part_facts(part)
    refused = verdicts.judge_note(facts)
    scanned.part, scanned.action = part, Action.DAMAGED
    _take_in(scanned, part, Happening.SEEN if refused else Happening.DAMAGED)
    if refused:
        return answer(scanned, refused)
    if facts.box.closed:
        scanned.contradiction = Contradiction.DAMAGED
    if scanned.scan.reason:
        return answer(scanned, verdict(Outcome.NOTED, Reason.MARKED_DAMAGED_FOR, reason=scanned.scan.reason))
    return answer(scanned, verdict(Outcome.NOTED, Reason.MARKED_DAMAGED))


def _note_place(scanned: Scanned, part: Part, slot_id: int | None) -> Answer:
    refused = verdicts.judge_note(scanned.part_facts(part))
    scanned.part, scanned.action, scanned.slot_id = part, Action.PLACE, slot_id
    _take_in(scanned, part, Happening.SEEN if refused else Happening.PLACE, slot_id)
    return answer(scanned, refused or _placed(scanned))


def _placed(scanned: Scanned) -> Verdict:
    if scanned.slot_id is None:
        return verdict(Outcome.NOTED, Reason.PLACED)
    slot = slot_name(scanned.ledger.connection, scanned.slot_id)
    return verdict(Outcome.NOTED, Reason.PLACED_IN_SLOT, slot=slot)


def _slot_named(scanned: Scanned, named: str) -> int:
    code = code_or_none(named)
    number = code.number if code and code.kind is Kind.SLOT else None
    found = slot_id(scanned.ledger.connection, number=number, name=named)
    if found is None:
        raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_SLOT, slot=named[:LONGEST_CODE_KEPT])
    return found


def scanned_last(scanned: Scanned) -> Part:
    """Return the part that a slot's code or the damaged card is about: what the device showed, or the last one here."""
    shown, ledger = scanned.scan.part, scanned.ledger
    last = None
    if shown not in ("", NO_PART):
        meant: int | None = scanned.read(shown, Kind.PART).number
    else:
        last = None if shown else readings.meant_by_card(ledger.written, scanned.station.id, scanned.at)
        meant = None if last is None else last.part
    part = None if meant is None else ledger.part(meant)
    if part is None:
        raise Refused(Outcome.UNKNOWN, Reason.NOTHING_TO_MARK)
    scanned.meant = None if last is None else last.seq
    return part
