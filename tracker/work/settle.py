"""Settle a scan that contradicts what happened meanwhile: a foreman's choice becomes an act in the log.

Every choice is made of rows that the fold of the log knows already (a pass, a move, a repair, a replacement), so that
``tracker verify`` finds the state that follows from it. What the desk writes for a station has the outcome ``again``:
it counts, and no undo at that station takes it back.

A replaced part that turned up is used under the new label: what was done to it is written for the new part, and the old
label stays dead.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final

from tracker.records.boxes import Box
from tracker.records.contradictions import (
    Flagged,
    contradiction,
    drop_box,
    holds_labels,
    is_void,
    plan_part,
    refused_early,
    would_count,
)
from tracker.records.database import Database
from tracker.records.jobs import all_boxes_shipped, set_job_status
from tracker.records.loads import plan_on_load
from tracker.records.parts import Part
from tracker.shop.acts import (
    Act,
    CountedAfterAll,
    FoundInBox,
    LoadedAfterAll,
    MarkedAfterAll,
    MarkTakenOff,
    OldPieceUsed,
    PartMoved,
    PartRepaired,
    PlannedForLoad,
    ScanSettled,
)
from tracker.shop.box_states import BoxState
from tracker.shop.codes import read_code
from tracker.shop.contradictions import WANT_REASON, Choice, choices_of
from tracker.shop.errors import ConflictError, Fault, InvalidInputError, NotFoundError
from tracker.shop.job_states import JobStatus
from tracker.shop.saying import say
from tracker.shop.steps import Step
from tracker.work.follow_up import follow_up_box, measure_anew
from tracker.work.ledger import Ledger, open_ledger
from tracker.work.replace import repair_in, replace_in

LONGEST_REASON: Final = 200
_MAKING: Final = (Step.CUT, Step.MACHINE, Step.BAND)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settling:
    """A foreman's choice on the flagged row of number ``seq`` in the log, and why."""

    seq: int
    choice: Choice
    reason: str = ""

    def __post_init__(self) -> None:
        if len(self.reason) > LONGEST_REASON or not (self.reason.isprintable() or not self.reason):
            wanted = say("a reason of up to %(most)s characters on one line", most=LONGEST_REASON)
            raise InvalidInputError(say("The reason cannot be used."), [Fault(where={"field": "reason"}, what=wanted)])
        if self.choice in WANT_REASON and not self.reason.strip():
            raise InvalidInputError(
                say("Say why, in a few words."), [Fault(where={"field": "reason"}, what=say("a reason"))]
            )


def settle(database: Database, settling: Settling, *, who: str, now: datetime) -> None:
    """Settle a contradiction: do what was chosen, and keep who chose it, when and why.

    Raises NotFoundError for a row that is not flagged, ConflictError for one that is settled already or when things
    no longer stand so that the choice is sound.
    """
    with open_ledger(database, who, now) as ledger:
        flagged = contradiction(ledger.connection, settling.seq)
        if flagged is None:
            raise NotFoundError(say("There is no flagged scan of this number."))
        if flagged.settled is not None:
            raise ConflictError(say("%(who)s settled this already. Look again.", who=flagged.settled.who))
        if settling.choice not in choices_of(flagged.standing):
            raise ConflictError(say("That cannot be chosen any more: things changed meanwhile. Look again."))
        do = _DO.get(settling.choice)
        if do is not None:
            do(_Case(ledger=ledger, flagged=flagged, reason=settling.reason))
        ledger.tell(
            ScanSettled(
                settles=flagged.seq,
                kind=settling.choice,
                why=settling.reason,
                part_id=flagged.part_id,
                box_id=flagged.box_id,
            )
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Case:
    """What a choice works on."""

    ledger: Ledger
    flagged: Flagged
    reason: str

    @property
    def part(self) -> Part:
        """The part of the flagged scan; a choice that does anything is offered only where there is one."""
        found = None if self.flagged.part_id is None else self.ledger.part(self.flagged.part_id)
        if found is None:
            raise ConflictError(say("There is no part to settle this for."))
        return found

    @property
    def box(self) -> Box:
        """The box of the flagged scan."""
        found = None if self.flagged.box_id is None else self.ledger.box(self.flagged.box_id)
        if found is None:
            raise ConflictError(say("There is no box to settle this for."))
        return found


# The choices that change something


def _use_old(case: _Case) -> None:
    """The old piece carries the new label from now on: what was done to it is done to the new part."""
    new = case.ledger.part(read_code(case.flagged.standing.new_part or "").number)
    if new is None:
        raise ConflictError(say("There is no part to settle this for."))
    done = set(case.part.progress.done)
    if case.flagged.step is not None and case.flagged.action == Act.PASS:
        done.add(case.flagged.step)
    for step in _MAKING:
        if step in done and step in new.route:
            case.ledger.tell(
                OldPieceUsed(
                    part_id=new.id,
                    step=step,
                    at=case.flagged.at,
                    station_id=case.flagged.station_id,
                    infers=False,
                    old=case.part.id,
                )
            )
    case.ledger.refold([new.id], at=case.ledger.now)


def _put_in_box(case: _Case) -> None:
    """The part lies in the closed box: it is planned there again and counts as packed."""
    ledger, part, box = case.ledger, case.part, case.box
    before = part.box
    ledger.change(plan_part, part.id, box.id)
    ledger.plan_parts(box.id, 1)
    ledger.plan_parts(before.id, -1)
    ledger.tell(PartMoved(part_id=part.id, box_id=box.id, before=before.id, why=case.reason))
    ledger.tell(
        FoundInBox(
            part_id=part.id,
            box_id=box.id,
            step=Step.PACK,
            at=case.flagged.at,
            station_id=case.flagged.station_id,
            infers=True,
            why=case.reason,
        )
    )
    ledger.refold([part.id], at=ledger.now)
    packed = case.part
    if Step.PACK not in packed.progress.counted:
        raise ConflictError(say("Its scan was taken back at that station: scan the part again."))
    if box.state is BoxState.SHIPPED:
        ledger.set_progress(packed, replace(packed.progress, done=packed.progress.done | {Step.SHIP}))
    measure_anew(ledger, box.id)
    if is_void(ledger.written, before.id):
        _dissolve(ledger, before, box)
    else:
        measure_anew(ledger, before.id)


def _dissolve(ledger: Ledger, void: Box, into: Box) -> None:
    """A follow-up box that nothing is planned for any more would keep its job open for ever."""
    if into.state is BoxState.SHIPPED and holds_labels(ledger.connection, void.id):
        raise ConflictError(say("Parts of box %(box)s were made anew: leave it in the plan.", box=void.in_words))
    ledger.change(drop_box, void.id, into.id)
    if void.job.status == JobStatus.OPEN and all_boxes_shipped(ledger.written, void.job.id):
        ledger.change(set_job_status, void.job.id, JobStatus.SHIPPED, ledger.now)


def _take_out(case: _Case) -> None:
    """The part does not lie in the sealed box: it is planned for a follow-up box and not packed."""
    ledger, part, box = case.ledger, case.part, case.box
    target = follow_up_box(ledger, box.id)
    ledger.tell(PartMoved(part_id=part.id, box_id=target, before=box.id, why=case.reason))
    ledger.refold([part.id], at=ledger.now)
    ledger.change(plan_part, part.id, target)
    ledger.plan_parts(box.id, -1)
    ledger.plan_parts(target, 1)
    measure_anew(ledger, box.id)
    measure_anew(ledger, target)


def _count(case: _Case) -> None:
    """Each later scan that was refused as too early counts as it would have done on time."""
    refused = refused_early(case.ledger.connection, case.part.id, case.flagged.at)
    while (found := would_count(case.part, refused)) is not None:
        step, each = found
        case.ledger.tell(
            CountedAfterAll(part_id=case.part.id, step=step, at=each.at, station_id=each.station_id, infers=each.infers)
        )
        case.ledger.refold([case.part.id], at=case.ledger.now)
        if step not in case.part.progress.counted:
            raise ConflictError(say("Its scan was taken back at that station: scan the part again."))


def _make_anew(case: _Case) -> None:
    replace_in(case.ledger, case.part.id, case.reason)


def _repaired(case: _Case) -> None:
    repair_in(case.ledger, PartRepaired(part_id=case.part.id, why=case.reason))


def _mark(case: _Case) -> None:
    """The damaged card was meant for this part: it is damaged since the card was read, and the other one is not."""
    flagged = case.flagged
    marked = MarkedAfterAll(
        part_id=case.part.id,
        at=flagged.other_at or flagged.at,
        station_id=flagged.other_station,
        why=case.reason,
    )
    case.ledger.tell(marked)
    case.ledger.refold([case.part.id], at=case.ledger.now)
    if flagged.standing.other_marked:
        _unmark(case)


def _unmark(case: _Case) -> None:
    other = read_code(case.flagged.standing.other or "").number
    repair_in(case.ledger, MarkTakenOff(part_id=other, why=case.reason))


def _put_on_load(case: _Case) -> None:
    """The box stands on the load: it is planned for it, where it is not, and counts as loaded."""
    ledger, box = case.ledger, case.box
    load_id = read_code(case.flagged.standing.load or "").number
    if box.load_id != load_id:
        ledger.change(plan_on_load, [box.id], load_id)
        ledger.tell(PlannedForLoad(box_id=box.id, load_id=load_id))
    ledger.tell(LoadedAfterAll(box_id=box.id, load_id=load_id, why=case.reason))
    ledger.set_box(box, state=BoxState.LOADED)


_DO: Final[Mapping[Choice, Callable[[_Case], None]]] = {
    Choice.USE_OLD: _use_old,
    Choice.IN_BOX: _put_in_box,
    Choice.TAKE_OUT: _take_out,
    Choice.COUNT: _count,
    Choice.REPLACE: _make_anew,
    Choice.REPAIRED: _repaired,
    Choice.ON_LOAD: _put_on_load,
    Choice.MARK: _mark,
    Choice.UNMARK: _unmark,
}
