"""Scans that come late: how things stood at their own time, and what they change for what was answered without them.

A loading scan that comes over a minute late is judged as of its own time: what would have been refused then is refused,
and what would have loaded the box, but for a plan or an opening since, loads nothing and is flagged; a foreman says
where the box stands. Where nothing was planned or sealed by then today's stands for it: a clock may be slow by hours,
and programs date their scans as they like. An undo that follows a flagged scan at its station takes that back.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from tracker.records import readings
from tracker.records.benches import BenchReading
from tracker.records.boxes import Box
from tracker.records.parts import Part
from tracker.records.past import (
    BoxThen,
    box_as_it_stood,
    cancelled_after,
    planned_before_move,
    refused_early_after,
    replaced_after,
    sealed_after,
    sightings,
)
from tracker.shop import verdicts
from tracker.shop.box_states import BoxState
from tracker.shop.cards import Read
from tracker.shop.clocks import waited
from tracker.shop.codes import Kind, load_code_or_none
from tracker.shop.contradictions import Contradiction
from tracker.shop.job_states import JobStatus
from tracker.shop.outcomes import OK_OUTCOMES, Outcome
from tracker.shop.progress import Happening, Progress, Sighting, fold, known_at
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.shop.verdicts import BoxFacts, Verdict
from tracker.work.scanning.benches import Benches
from tracker.work.scanning.scanned import Scanned


def comes_late(at: datetime, latest: datetime | None) -> bool:
    """Say whether a scan was made before the latest one that is known."""
    return latest is not None and at < latest


# How things stood


def progress_before(scanned: Scanned, part: Part) -> Progress:
    """Return the progress at the scan's own time: for a late scan it is folded from what had happened until then."""
    if not comes_late(scanned.at, part.latest_at):
        return part.progress
    return fold(known_at(_happened(scanned, part), scanned.at), part.route)


def progress_with(scanned: Scanned, part: Part, sighting: Sighting) -> Progress:
    """Return the progress after all that happened, with a late sighting in its place."""
    return fold([*_happened(scanned, part), sighting], part.route)


def _happened(scanned: Scanned, part: Part) -> list[Sighting]:
    return sightings(scanned.ledger.written, [part.id])[part.id]


def box_then(scanned: Scanned, part: Part, now: BoxFacts) -> BoxFacts:
    """Return the box that a late scan packed the part into, as it stood then.

    A box that was sealed short since does not take it: the part is planned for another one, and a foreman says where it
    lies. One that was sealed with the part in it takes the scan as it would have done on time.
    """
    ledger = scanned.ledger
    origin = planned_before_move(ledger.written, part.id, scanned.at)
    box = None if origin is None else ledger.box(origin)
    if box is not None:
        scanned.box = box
        return scanned.box_facts(box)
    whole = now.closed and Step.PACK in part.progress.counted
    if whole and sealed_after(ledger.connection, part.box.id, scanned.at):
        return replace(now, state=BoxState.PACKING)
    return now


def loading_then(scanned: Scanned, box: Box, today: Verdict) -> Verdict:
    """Return the verdict on a scan onto a load, for a late one that of its own time: it loads nothing by today's.

    One that would have loaded the box, but for what was changed since, is flagged.
    """
    ledger = scanned.ledger
    if not waited(scanned.at, ledger.now) or box.state is BoxState.SHIPPED:
        return today
    then = box_as_it_stood(ledger.written, box, scanned.at)
    facts = scanned.scanned_box_facts(box)
    of_then = replace(
        facts,
        load=load_code_or_none(then.load_id),
        state=BoxState.SEALED if then.sealed else BoxState.PARTS_IN,
        cancelled=False,
    )
    named = str(scanned.read(scanned.scan.load, Kind.LOAD)) if scanned.scan.load else None
    if facts.load is not None and facts.load == (named or of_then.load):
        changed = then.opened_since or then.planned_since or facts.cancelled
        if box.state is BoxState.LOADED or (then.sealed and not changed):
            return today
    judged = verdicts.judge_box(of_then, scanned.station_facts(), named)
    if judged.outcome is not Outcome.DONE or of_then.load is None:
        return today if facts.cancelled else judged
    scanned.load_id = then.load_id
    scanned.contradiction = _of_loading(scanned, box, then)
    if facts.cancelled:
        return today
    return verdicts.judge_late_loading(facts, of_then.load, opened=then.opened_since)


def _of_loading(scanned: Scanned, box: Box, then: BoxThen) -> Contradiction | None:
    """What a foreman must look at. Where the box was counted as loaded, whoever changed that knew of it."""
    if box.job.status == JobStatus.CANCELLED:
        late = cancelled_after(scanned.ledger.connection, box.job.id, scanned.at)
        return Contradiction.CANCELLED if late else None
    if then.counted:
        return None
    return Contradiction.OPENED if then.opened_since else Contradiction.OFF_LOAD


# What a foreman must look at


def contradiction_of(scanned: Scanned, part: Part, judged: Verdict) -> Contradiction | None:
    """Say what a late scan of a part contradicts, that on time would have been answered otherwise."""
    connection, at = scanned.ledger.connection, scanned.at
    match judged.outcome:
        case Outcome.REPLACED if replaced_after(connection, part.id, at):
            return Contradiction.REPLACED
        case Outcome.CANCELLED if cancelled_after(connection, part.job.id, at):
            return Contradiction.CANCELLED
        case Outcome.BOX_CLOSED if scanned.box or sealed_after(connection, part.box.id, at):
            return Contradiction.PACKED
        case Outcome.DONE if comes_late(at, part.latest_at) and refused_early_after(connection, part.id, at):
            return Contradiction.EARLY
        case _:
            return None


def what_to_look_at(scanned: Scanned, judged: Verdict) -> Contradiction | None:
    """Say for what a scan is flagged: what it contradicts, or what was answered without it; None where nothing."""
    return scanned.contradiction or _changes_a_command(scanned, judged) or _changes_a_bench(scanned, judged)


def _changes_a_command(scanned: Scanned, judged: Verdict) -> Contradiction | None:
    """Say whether a card, a slot's code or an undo would have meant another part, had this reading come in time."""
    if scanned.known_station is None or scanned.action is Action.UNDO or scanned.with_board:
        return None
    station, part = scanned.station, scanned.part
    if not comes_late(scanned.at, station.latest_at):
        return None
    late = Read(
        seq=scanned.seq,
        at=scanned.at,
        part=None if part is None else part.id,
        passing=part is None and (scanned.box or scanned.load_id) is not None,
    )
    scanned.would_change = readings.card_changed_by(scanned.ledger.written, station.id, late)
    if scanned.would_change is not None:
        return Contradiction.CARD
    if part is not None and judged.outcome in OK_OUTCOMES:
        sighting = replace(scanned.sighting(Happening(scanned.action)), infers=False)
        if readings.undo_changed_by(scanned.ledger.written, station.id, sighting, part.id):
            return Contradiction.UNDO
    return None


def _changes_a_bench(scanned: Scanned, judged: Verdict) -> Contradiction | None:
    """Say whether a later scan would have been answered otherwise, had this one come in time."""
    if scanned.known_station is None or scanned.with_board:
        return None
    station, opened = scanned.station, scanned.opened
    if not comes_late(scanned.at, station.benches_at) or (judged.outcome not in OK_OUTCOMES and opened is None):
        return None
    packs = station.step is Step.PACK and scanned.action in (Action.PASS, Action.UNDO)
    if not packs and scanned.action not in (Action.DAMAGED, Action.UNDO):
        return None
    box = opened or scanned.box_about
    opens = packs and scanned.action is Action.PASS and (judged.outcome is Outcome.DONE or opened is not None)
    late = BenchReading(
        seq=scanned.seq,
        at=scanned.at,
        station_id=station.id,
        outcome=judged.outcome,
        part_id=None if scanned.part is None else scanned.part.id,
        box_id=None if box is None else box.id,
        opens=box.id if opens and box is not None else None,
    )
    scanned.would_change = _changed_by(scanned, late)
    return None if scanned.would_change is None else Contradiction.ORDER


def _changed_by(scanned: Scanned, late: BenchReading) -> BenchReading | None:
    """Return the first reading at a bench that a late scan makes wrong, and that is not wrong without it."""
    before = {} if scanned.part is None else {scanned.part.id: _happened(scanned, scanned.part)}
    after = {part_id: _with(scanned, happened) for part_id, happened in before.items()}
    found = list(Benches(scanned.ledger, after).answered_otherwise(late.at, late, undoes=scanned.undoes))
    without = Benches(scanned.ledger, before).answered_otherwise(late.at) if found else ()
    wrong_anyway = {each.seq for each in without}
    return next((each for each in found if each.seq not in wrong_anyway), None)


def _with(scanned: Scanned, happened: Sequence[Sighting]) -> list[Sighting]:
    """What has happened to the part with this scan, which is not in the log yet."""
    if scanned.action is Action.UNDO:
        mine = (scanned.at, scanned.seq)
        return [replace(s, undone=mine) if s.seq == scanned.undoes else s for s in happened]
    return [*happened, scanned.sighting(Happening(scanned.action))]
