"""What is done in the shop and kept in the log for ever: a closed set of acts, each a frozen value.

A field that is named as a column of the log is kept there; what the others hold is told in the sentence (``told``).
Who did it, when, and its number are the ledger's.
"""

from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import ClassVar, Final, NamedTuple, assert_never

from tracker.shop.codes import box_code, load_code, part_code
from tracker.shop.contradictions import Choice, Contradiction
from tracker.shop.outcomes import Outcome
from tracker.shop.reasons import Meaning, Reason, meaning
from tracker.shop.scans import Action
from tracker.shop.steps import Step


class Act(StrEnum):
    """What was done, as the log's ``action`` names it. The first four are also what a reading asks for."""

    PASS = "pass"  # noqa: S105 - a part passes a step, no password
    UNDO = "undo"
    DAMAGED = "damaged"
    PLACE = "place"
    ORDER = "order"
    PLAN = "plan"
    COUNT = "count"
    WEIGH = "weigh"
    SEAL = "seal"
    SHIP = "ship"
    LEAVE = "leave"
    HOLD = "hold"
    RESUME = "resume"
    CANCEL = "cancel"
    REPLACE = "replace"
    REPAIR = "repair"
    MOVE = "move"
    SETTLE = "settle"


class ScanJudged(NamedTuple):
    """A scan, where it was made, what it is about and what it came to. A tuple: there are many, and it is made quicker.

    ``undoes``, ``meant`` and ``would_change`` are numbers of other rows of the log; ``kind`` and ``flag`` say what a
    foreman must look at. ``opened_id`` is the box that the scan named.
    """

    action: Action
    outcome: Outcome
    told: Meaning
    at: datetime
    said_at: datetime | None
    code: str
    station_id: int | None
    step: Step | None
    infers: bool
    part_id: int | None
    job_id: int | None
    box_id: int | None
    load_id: int | None
    slot_id: int | None
    next_step: Step | None
    inferred: AbstractSet[Step]
    undoes: int | None
    kind: Contradiction | None
    flag: str | None
    meant: int | None
    would_change: int | None
    opened_id: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _OnJob:
    """An act on a job: its number and its code."""

    job_id: int
    job: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderTaken(_OnJob):
    """A job's order was taken: so many ``parts``."""

    parts: int


@dataclass(frozen=True, slots=True, kw_only=True)
class JobHeld(_OnJob):
    """A job was put on hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobResumed(_OnJob):
    """A held job goes on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobCancelled(_OnJob):
    """A job was cancelled, with its parts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardsPlanned(_OnJob):
    """So many ``boards`` were planned for so many ``parts`` of a job."""

    boards: int
    parts: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _OnBox:
    """An act on a box."""

    box_id: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemCounted(_OnBox):
    """``count`` of ``planned`` pieces of an item are in a box."""

    item: str
    count: int
    planned: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxWeighed(_OnBox):
    """A box was weighed."""

    mass_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxSealed(_OnBox):
    """A box was sealed.

    A foreman says ``why`` where it is short, then ``rest`` is the follow-up box, or where its mass is off, then
    ``masses_kg`` are the weighed and the expected one.
    """

    why: str
    rest: int | None
    masses_kg: tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxOpenedAgain(_OnBox):
    """A sealed box was opened again: ``undoes`` is the number of its sealing in the log."""

    outcome: ClassVar = Outcome.UNDONE
    undoes: int | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxHeld(_OnBox):
    """A box stays in the shop."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxLetGo(_OnBox):
    """A held box goes on."""


@dataclass(frozen=True, slots=True, kw_only=True)
class TakenOffLoad(_OnBox):
    """A box is planned for no load any more; ``load`` is the number of the one that it was planned for."""

    load: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _WithLoad(_OnBox):
    """An act on a box and a load."""

    load_id: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedForLoad(_WithLoad):
    """A box was planned for a load."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadedAfterAll(_WithLoad):
    """A foreman found a box on a load, that a late scan loaded."""

    step: ClassVar = Step.SHIP
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftBehind(_WithLoad):
    """A load left without this box of one of its jobs."""

    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxShipped(_WithLoad):
    """A box left on a load."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _OnPart:
    """An act on a part."""

    part_id: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PartReplaced(_OnPart):
    """Part ``new`` is made in place of this one."""

    new: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMadeAnew(_OnPart):
    """This part is made in place of part ``old``."""

    old: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRepaired(_OnPart):
    """A damaged part is good again."""

    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkTakenOff(_OnPart):
    """A part that was marked damaged is not: another one was meant."""

    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedAfterAll(_OnPart):
    """The damaged card was meant for this part when it was read."""

    outcome: ClassVar = Outcome.NOTED
    at: datetime
    station_id: int | None
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMoved(_OnPart):
    """A part is planned for another box than ``before``; a foreman says ``why``, or it is empty."""

    box_id: int
    before: int
    why: str = ""

    @property
    def code(self) -> str:
        """The box before: a late scan that packed the part there is told by it."""
        return box_code(self.before)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Passed(_OnPart):
    """A foreman lets a part pass a step, where and when a scan was made that did not count.

    The outcome counts, and no undo at that station takes it back.
    """

    outcome: ClassVar = Outcome.AGAIN
    step: Step
    at: datetime
    station_id: int | None
    infers: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class OldPieceUsed(_Passed):
    """The piece that was part ``old`` is used as this one, which replaced it."""

    old: int


@dataclass(frozen=True, slots=True, kw_only=True)
class FoundInBox(_Passed):
    """A part lies in a closed box."""

    box_id: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedAfterAll(_Passed):
    """A scan that was refused as too early counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanSettled:
    """A foreman chose ``kind`` of the flagged scan with the number ``settles``; ``why`` may be empty."""

    settles: int
    kind: Choice
    why: str
    part_id: int | None
    box_id: int | None


AnyAct = (
    ScanJudged
    | (OrderTaken | JobHeld | JobResumed | JobCancelled | BoardsPlanned)
    | (ItemCounted | BoxWeighed | BoxSealed | BoxOpenedAgain | BoxHeld | BoxLetGo)
    | (PlannedForLoad | TakenOffLoad | LoadedAfterAll | LeftBehind | BoxShipped)
    | (PartReplaced | PartMadeAnew | PartRepaired | MarkTakenOff | MarkedAfterAll | PartMoved)
    | (OldPieceUsed | FoundInBox | CountedAfterAll | ScanSettled)
)


def told(act: AnyAct) -> tuple[Act | Action, Meaning]:  # noqa: C901 - a case for each act, and no more
    """Return how the log names an act, and what it tells of it."""
    match act:
        case ScanJudged():
            return act.action, act.told
        case OrderTaken():
            return Act.ORDER, meaning(Reason.TOOK_ORDER, job=act.job, parts=act.parts)
        case JobHeld():
            return Act.HOLD, meaning(Reason.HELD_JOB, job=act.job)
        case JobResumed():
            return Act.RESUME, meaning(Reason.RESUMED_JOB, job=act.job)
        case JobCancelled():
            return Act.CANCEL, meaning(Reason.CANCELLED_JOB, job=act.job)
        case BoardsPlanned():
            return Act.PLAN, meaning(Reason.PLANNED_BOARDS, boards=act.boards, parts=act.parts, job=act.job)
        case ItemCounted():
            return Act.COUNT, meaning(Reason.COUNTED, item=act.item, count=act.count, quantity=act.planned)
        case BoxWeighed():
            return Act.WEIGH, meaning(Reason.WEIGHED, mass=f"{act.mass_kg:.2f}")
        case BoxSealed():
            return Act.SEAL, _sealing(act)
        case BoxOpenedAgain():
            return Act.UNDO, meaning(Reason.OPENED_AGAIN, box=box_code(act.box_id), reason=act.why)
        case BoxHeld():
            return Act.HOLD, meaning(Reason.HELD_BOX, box=box_code(act.box_id))
        case BoxLetGo():
            return Act.RESUME, meaning(Reason.LET_GO_BOX, box=box_code(act.box_id))
        case PlannedForLoad():
            return Act.PLAN, meaning(Reason.PLANNED_LOAD, box=box_code(act.box_id), load=load_code(act.load_id))
        case TakenOffLoad():
            return Act.PLAN, meaning(Reason.TOOK_OFF_LOAD, box=box_code(act.box_id), load=load_code(act.load))
        case LoadedAfterAll():
            return Act.PASS, meaning(Reason.ON_LOAD_AFTER_ALL, load=load_code(act.load_id), reason=act.why)
        case LeftBehind():
            left = meaning(Reason.LEFT_BEHIND, box=box_code(act.box_id), load=load_code(act.load_id), reason=act.why)
            return Act.LEAVE, left
        case BoxShipped():
            return Act.SHIP, meaning(Reason.SHIPPED, box=box_code(act.box_id), load=load_code(act.load_id))
        case PartReplaced():
            return Act.REPLACE, meaning(Reason.REPLACED_BY, part=part_code(act.new), reason=act.why)
        case PartMadeAnew():
            return Act.ORDER, meaning(Reason.MADE_IN_PLACE, part=part_code(act.old), reason=act.why)
        case PartRepaired():
            return Act.REPAIR, meaning(Reason.REPAIRED, reason=act.why)
        case MarkTakenOff():
            return Act.REPAIR, meaning(Reason.MARK_TAKEN_OFF, reason=act.why)
        case MarkedAfterAll():
            return Act.DAMAGED, meaning(Reason.MARKED_DAMAGED_FOR, reason=act.why)
        case PartMoved():
            return Act.MOVE, _moving(act)
        case OldPieceUsed():
            return Act.PASS, meaning(Reason.OLD_PIECE_USED, part=part_code(act.old))
        case FoundInBox():
            return Act.PASS, meaning(Reason.IN_BOX_AFTER_ALL, box=box_code(act.box_id), reason=act.why)
        case CountedAfterAll():
            return Act.PASS, meaning(Reason.COUNTED_AFTER_ALL)
        case ScanSettled():
            return Act.SETTLE, _settling(act)
        case _:
            assert_never(act)


def _sealing(act: BoxSealed) -> Meaning:
    short = {} if act.rest is None else {"rest": box_code(act.rest)}
    off = {} if act.masses_kg is None else {"mass": f"{act.masses_kg[0]:.2f}", "expected": f"{act.masses_kg[1]:.2f}"}
    why = {"reason": act.why} if short or off else {}
    return meaning(_SEALED[bool(short), bool(off)], box=box_code(act.box_id), **why, **off, **short)


# (is short, is off weight): what is told
_SEALED: Final = {
    (False, False): Reason.SEALED,
    (True, False): Reason.SEALED_SHORT,
    (False, True): Reason.SEALED_OFF_WEIGHT,
    (True, True): Reason.SEALED_SHORT_OFF_WEIGHT,
}


def _moving(act: PartMoved) -> Meaning:
    moved = {"box": box_code(act.box_id), "before": act.code}
    return meaning(Reason.MOVED_FOR, **moved, reason=act.why) if act.why else meaning(Reason.MOVED, **moved)


def _settling(act: ScanSettled) -> Meaning:
    if act.why:
        return meaning(Reason.SETTLED_FOR, choice=act.kind, reason=act.why)
    return meaning(Reason.SETTLED, choice=act.kind)
