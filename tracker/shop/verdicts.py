"""What a scan means: the one place where an outcome and its sentence are decided.

Everything is given: the part, the station, the progress as it stood at the scan's own time, the box or load that the
station has open. Nothing is looked up and nothing is written here.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from tracker.shop.lacking import lack_in_words
from tracker.shop.progress import Progress
from tracker.shop.steps import Route, Step


class Outcome(StrEnum):
    """What a worker is told. The contract's closed set."""

    DONE = "done"
    AGAIN = "again"
    EARLY = "early"
    OFF_ROUTE = "off_route"
    WRONG_BOX = "wrong_box"
    BOX_CLOSED = "box_closed"
    ON_HOLD = "on_hold"
    REPLACED = "replaced"
    CANCELLED = "cancelled"
    UNKNOWN = "unknown"
    MISREAD = "misread"
    UNDONE = "undone"
    NOTHING_TO_UNDO = "nothing_to_undo"
    NOTED = "noted"


OK_OUTCOMES = frozenset({Outcome.DONE, Outcome.AGAIN, Outcome.UNDONE, Outcome.NOTED})

# A station's scans that an undo can take back.
COUNTING_OUTCOMES = frozenset({Outcome.DONE, Outcome.NOTED})


class BoxState(StrEnum):
    """Where a box stands."""

    OPEN = "open"
    PACKING = "packing"
    COMPLETE = "complete"
    SEALED = "sealed"
    LOADED = "loaded"
    SHIPPED = "shipped"


CLOSED_STATES = frozenset({BoxState.SEALED, BoxState.LOADED, BoxState.SHIPPED})


def filling_state(*, packed: int, parts_total: int) -> BoxState:
    """The state of a box that is not yet sealed, from how much is in. One of items alone is counted at the end."""
    if packed and packed == parts_total:
        return BoxState.COMPLETE
    return BoxState.PACKING if packed else BoxState.OPEN


@dataclass(frozen=True, slots=True, kw_only=True)
class StationFacts:
    """A station as a verdict needs it. ``infers``: a missed earlier step is taken as done."""

    id: int
    name: str
    step: Step
    infers: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxFacts:
    """A box as a verdict needs it; ``load`` is the code of the load that it is planned for.

    ``held`` and ``resumed`` are its job's hold, as of a part; ``kept`` says that a foreman keeps this box in the shop,
    ``missing`` parts that it lacks so many, and ``uncounted`` that so many kinds of its items are not counted in full.
    """

    code: str
    state: BoxState
    job: str
    held: bool = False
    resumed: bool = False
    kept: bool = False
    missing: int = 0
    uncounted: int = 0
    cancelled: bool = False
    load: str | None = None

    @property
    def closed(self) -> bool:
        return self.state in CLOSED_STATES


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFacts:
    """A part as a verdict needs it; ``now`` is its progress today.

    ``held`` is the state of its job at the scan's own time; ``resumed`` says that it was held then and goes on today.
    """

    code: str
    name: str
    cabinet: str
    job: str
    route: Route
    box: BoxFacts
    now: Progress
    held: bool = False
    resumed: bool = False
    cancelled: bool = False
    replaced_by: str | None = None

    @property
    def title(self) -> str:
        return f"{self.name}, cabinet {self.cabinet}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The outcome and the sentence for the worker."""

    outcome: Outcome
    message: str


def judge_part(part: PartFacts, station: StationFacts, before: Progress, open_box: BoxFacts | None) -> Verdict:
    """Say what passing ``part`` at ``station`` means, given where the part stood before and the station's open box."""
    stopped = _judge_standing(part) or _judge_damage(part, before)
    if stopped:
        return stopped
    if station.step not in part.route:
        return Verdict(outcome=Outcome.OFF_ROUTE, message=f"{part.title}: this part has no step {station.step}.")
    if station.step is Step.SHIP:
        return _judge_loose_part(part)
    if station.step is Step.PACK:
        stopped = _judge_packing(part, open_box or part.box)
        if stopped:
            return stopped
    if station.step in before.counted - before.inferred:
        return Verdict(outcome=Outcome.AGAIN, message=f"{part.title}: {station.step} was already done.")
    still_open = before.open_before(station.step, part.route)
    if still_open and not station.infers:
        return _judge_early(part, still_open)
    return Verdict(outcome=Outcome.DONE, message=f"{part.title}: {station.step} done.")


def _judge_early(part: PartFacts, still_open: Collection[Step]) -> Verdict:
    """Name what is open today; a scan that arrives late may have been early though nothing is open any more."""
    listed = " and ".join(step for step in still_open if step not in part.now.done)
    told = f"{listed} not done yet. Bring it there first."
    if not listed:
        told = f"this scan was made before {' and '.join(still_open)} was done. Scan it again."
    return Verdict(outcome=Outcome.EARLY, message=f"{part.title}: {told}")


def _judge_standing(part: PartFacts) -> Verdict | None:
    if part.replaced_by:
        message = f"{part.title}: this label is dead. The part was replaced by {part.replaced_by}; put this one aside."
        return Verdict(outcome=Outcome.REPLACED, message=message)
    if part.cancelled:
        return Verdict(outcome=Outcome.CANCELLED, message=f"{part.title}: job {part.job} is cancelled.")
    if part.held:
        return Verdict(outcome=Outcome.ON_HOLD, message=f"{part.title}: {_told_of_hold(part)}")
    return None


_WAS_ON_HOLD = "was on hold when this was scanned and goes on now. Scan it again."
_ASK_ABOUT_DAMAGE = "marked damaged. Ask the foreman to replace it or to record the repair."


def _told_of_hold(part: PartFacts) -> str:
    if not part.resumed:
        return f"job {part.job} is on hold. Put the part aside and ask the foreman."
    if part.now.damaged:
        return f"job {part.job} was on hold when this was scanned; the part is {_ASK_ABOUT_DAMAGE}"
    return f"job {part.job} {_WAS_ON_HOLD}"


def _judge_damage(part: PartFacts, before: Progress) -> Verdict | None:
    """A damaged part is worked on no further, wherever it is scanned: each step would be spent on waste."""
    if not before.damaged:
        return None
    told = (
        _ASK_ABOUT_DAMAGE
        if part.now.damaged
        else "marked damaged when this was scanned, and good again. Scan it again."
    )
    return Verdict(outcome=Outcome.ON_HOLD, message=f"{part.title}: {told}")


def _judge_loose_part(part: PartFacts) -> Verdict:
    message = f"{part.title}: a part ships in its box. Scan the label of box {part.box.code} when it is sealed."
    return Verdict(outcome=Outcome.EARLY, message=message)


def _judge_packing(part: PartFacts, open_box: BoxFacts) -> Verdict | None:
    if open_box.code != part.box.code:
        message = f"{part.title}: not for box {open_box.code}. It belongs in box {part.box.code}."
        closed = open_box.closed
        return Verdict(outcome=Outcome.BOX_CLOSED if closed else Outcome.WRONG_BOX, message=message)
    if part.box.closed:
        return Verdict(outcome=Outcome.BOX_CLOSED, message=f"{part.title}: box {part.box.code} is {part.box.state}.")
    return None


def judge_box(box: BoxFacts, station: StationFacts, open_load: str | None) -> Verdict:
    """Say what scanning a box means: at ``pack`` it opens, at ``ship`` it goes onto the load."""
    if station.step not in (Step.PACK, Step.SHIP):
        message = f"Box {box.code}: boxes are scanned where they are packed or loaded."
        return Verdict(outcome=Outcome.OFF_ROUTE, message=message)
    if box.cancelled:
        return Verdict(outcome=Outcome.CANCELLED, message=f"Box {box.code}: job {box.job} is cancelled.")
    if box.held:
        told = _WAS_ON_HOLD if box.resumed else "is on hold."
        return Verdict(outcome=Outcome.ON_HOLD, message=f"Box {box.code}: job {box.job} {told}")
    if station.step is Step.SHIP:
        return _judge_loading(box, open_load)
    if box.closed:
        return Verdict(outcome=Outcome.BOX_CLOSED, message=f"Box {box.code} is {box.state}.")
    if not box.missing:
        message = f"All parts of box {box.code} are in. {'Count the items and seal' if box.uncounted else 'Seal'} it."
        return Verdict(outcome=Outcome.DONE, message=message)
    return Verdict(outcome=Outcome.DONE, message=f"Box {box.code} is open. Scan its parts.")


def _judge_loading(box: BoxFacts, open_load: str | None) -> Verdict:
    if box.state is BoxState.SHIPPED:
        return Verdict(outcome=Outcome.BOX_CLOSED, message=f"Box {box.code} has shipped.")
    if box.load is None:
        return Verdict(outcome=Outcome.OFF_ROUTE, message=f"Box {box.code}: no load is planned for it.")
    if open_load is not None and open_load != box.load:
        message = f"Box {box.code}: not for load {open_load}. It belongs on load {box.load}."
        return Verdict(outcome=Outcome.WRONG_BOX, message=message)
    if box.kept:
        message = f"Box {box.code} is on hold: it stays in the shop. Ask the foreman."
        return Verdict(outcome=Outcome.ON_HOLD, message=message)
    if box.state is BoxState.LOADED:
        return Verdict(outcome=Outcome.AGAIN, message=f"Box {box.code} is already on load {box.load}.")
    if not box.closed:
        lack = lack_in_words(parts=box.missing, items=box.uncounted)
        message = f"Box {box.code} is not sealed yet{lack and f': {lack}'}. Take it back to packing."
        return Verdict(outcome=Outcome.EARLY, message=message)
    return Verdict(outcome=Outcome.DONE, message=f"Box {box.code} is on load {box.load}.")


def judge_late_loading(box: BoxFacts, then: str, *, opened: bool) -> Verdict:
    """Say what scanning a box onto load ``then`` means when its plan changed, or it was ``opened``, since the scan."""
    if opened:
        message = f"Box {box.code} was opened again after this scan. Seal it, then scan it onto its load."
        return Verdict(outcome=Outcome.EARLY, message=message)
    if box.load is None or box.load == then:
        message = f"Box {box.code} was taken off load {then} after this scan. Look whether it is on it."
        return Verdict(outcome=Outcome.OFF_ROUTE, message=message)
    message = f"Box {box.code}: not for load {then} any more. It belongs on load {box.load}."
    return Verdict(outcome=Outcome.WRONG_BOX, message=message)


def judge_load(load: str, *, shipped: bool, station: StationFacts) -> Verdict:
    """Say what scanning a load's code means: at ``ship`` it opens."""
    if station.step is not Step.SHIP:
        return Verdict(outcome=Outcome.OFF_ROUTE, message=f"Load {load}: loads are scanned at a ship station.")
    if shipped:
        return Verdict(outcome=Outcome.BOX_CLOSED, message=f"Load {load} has shipped.")
    return Verdict(outcome=Outcome.DONE, message=f"Load {load} is open. Scan its boxes.")


def with_those_that_stay(verdict: Verdict, boxes: Sequence[str]) -> Verdict:
    """Say beside a verdict about a load which boxes of its jobs would stay behind, by their codes."""
    if not boxes:
        return verdict
    more = f" and {len(boxes) - _NAMED} more" if len(boxes) > _NAMED else ""
    named = ", ".join(boxes[:_NAMED])
    return replace(verdict, message=f"{verdict.message} Stays behind: {named}{more}. Ask the foreman.")


def with_where_it_was_read(verdict: Verdict, station: str) -> Verdict:
    """Say beside a verdict about what was done before at which station that was read."""
    return replace(verdict, message=f"{verdict.message} It was read at {station}.")


_NAMED = 3


def judge_note(part: PartFacts) -> Verdict | None:
    """Say why a part's damage or place cannot be noted, or None when it can."""
    if part.replaced_by:
        return _judge_standing(part)
    if part.cancelled:
        return Verdict(outcome=Outcome.CANCELLED, message=f"{part.title}: job {part.job} is cancelled.")
    return None
