"""What a scan means: the one place where its outcome and its reason are decided.

Everything is given: the part, the station, the progress as it stood at the scan's own time, the box or load that the
station has open. Nothing is looked up and nothing is written here.

A replaced label is asked for first: it never counts. A scan made before a hold counts when it arrives later; one made
during a hold stays on hold. A box with all parts in takes no more: the next part at that bench opens its own box.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import Progress
from tracker.shop.reasons import Meaning, Reason, full_box, meaning
from tracker.shop.steps import Route, Step


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

    ``job_held`` and ``resumed`` are as of a part; ``own_hold`` says that the box itself was on hold at the scan's time,
    ``missing`` parts that it lacks so many, and ``uncounted`` that so many kinds of its items are not counted in full.
    Of the missing parts ``ready`` only wait to be packed, ``damaged`` are marked so, the rest waits for ``awaited``.
    """

    code: str
    name: str
    state: BoxState
    job: str
    job_held: bool = False
    resumed: bool = False
    own_hold: bool = False
    missing: int = 0
    uncounted: int = 0
    ready: int = 0
    damaged: int = 0
    awaited: Sequence[Step] = ()
    cancelled: bool = False
    load: str | None = None

    @property
    def closed(self) -> bool:
        return self.state in CLOSED_STATES


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFacts:
    """A part as a verdict needs it; ``now`` is its progress today.

    ``job_held`` says that its job was on hold at the scan's own time, ``resumed`` that it goes on today.
    """

    code: str
    name: str
    cabinet: str
    job: str
    route: Route
    box: BoxFacts
    now: Progress
    job_held: bool = False
    resumed: bool = False
    cancelled: bool = False
    replaced_by: str | None = None

    @property
    def title(self) -> str:
        return f"{self.name}, cabinet {self.cabinet}"


@dataclass(frozen=True, slots=True)
class Verdict:
    """The outcome and what is told of it; the thing that was scanned is named by whoever shows it."""

    outcome: Outcome
    meaning: Meaning

    def with_values(self, **values: Any) -> "Verdict":
        """Return the verdict with more values beside its own."""
        return replace(self, meaning=replace(self.meaning, values={**self.meaning.values, **values}))


def verdict(outcome: Outcome, reason: Reason, /, **values: Any) -> Verdict:
    """Return a verdict: ``verdict(Outcome.WRONG_BOX, Reason.OTHER_BOX, box="2")``."""
    return Verdict(outcome, meaning(reason, **values))


def judge_part(part: PartFacts, station: StationFacts, before: Progress, open_box: BoxFacts | None) -> Verdict:
    """Say what passing ``part`` at ``station`` means, given where the part stood before and the station's open box."""
    stopped = _judge_standing(part) or _judge_damage(part, before)
    if stopped:
        return stopped
    if station.step not in part.route:
        return verdict(Outcome.OFF_ROUTE, Reason.NO_SUCH_STEP, step=station.step)
    if station.step is Step.SHIP:
        return verdict(Outcome.EARLY, Reason.SHIPS_IN_BOX, box=part.box.name)
    if station.step is Step.PACK:
        packed = Step.PACK in before.counted & part.now.counted
        stopped = _judge_packing(part, open_box or part.box, packed=packed)
        if stopped:
            return stopped
    if station.step in before.counted - before.inferred:
        return verdict(Outcome.AGAIN, Reason.STEP_AGAIN, step=station.step)
    still_open = before.open_before(station.step, part.route)
    if still_open and not station.infers:
        return _judge_early(part, still_open)
    return verdict(Outcome.DONE, Reason.STEP_DONE, step=station.step)


def _judge_early(part: PartFacts, still_open: Collection[Step]) -> Verdict:
    """Name what is open today; a scan that arrives late may have been early though nothing is open any more."""
    open_today = [step for step in still_open if step not in part.now.done]
    if not open_today:
        return verdict(Outcome.EARLY, Reason.WAS_TOO_EARLY)
    return verdict(Outcome.EARLY, Reason.TOO_EARLY, steps=open_today)


def _judge_standing(part: PartFacts) -> Verdict | None:
    if part.replaced_by:
        return verdict(Outcome.REPLACED, Reason.REPLACED, new=part.replaced_by)
    if part.cancelled:
        return verdict(Outcome.CANCELLED, Reason.CANCELLED, job=part.job)
    if part.job_held:
        return verdict(Outcome.ON_HOLD, _of_hold(part), job=part.job)
    return None


def _of_hold(part: PartFacts) -> Reason:
    if not part.resumed:
        return Reason.ON_HOLD
    return Reason.DAMAGED_ON_HOLD if part.now.damaged else Reason.WAS_ON_HOLD


def _judge_damage(part: PartFacts, before: Progress) -> Verdict | None:
    """A damaged part is worked on no further, wherever it is scanned: each step would be spent on waste."""
    if not before.damaged:
        return None
    return verdict(Outcome.ON_HOLD, Reason.DAMAGED if part.now.damaged else Reason.WAS_DAMAGED)


def _judge_packing(part: PartFacts, open_box: BoxFacts, *, packed: bool) -> Verdict | None:
    """Refuse a part that the open box does not take. One that is packed is told where, whatever box is open."""
    own = part.box
    other = open_box.code != own.code
    if not (other or own.closed):
        return None
    outcome = Outcome.WRONG_BOX if other and not open_box.closed else Outcome.BOX_CLOSED
    if packed and own.closed:
        return verdict(outcome, Reason.IN_CLOSED_BOX, box=own.name, state=own.state)
    if other:
        reason = Reason.IN_OTHER_BOX if packed else Reason.OTHER_BOX
        return verdict(outcome, reason, box=own.name, other=open_box.name)
    return _closed(own)


def _closed(box: BoxFacts) -> Verdict:
    return verdict(Outcome.BOX_CLOSED, Reason.BOX_CLOSED, box=box.name, state=box.state)


def judge_box(box: BoxFacts, station: StationFacts, open_load: str | None) -> Verdict:
    """Say what scanning a box means: at ``pack`` it opens, at ``ship`` it goes onto the load."""
    if station.step not in (Step.PACK, Step.SHIP):
        return verdict(Outcome.OFF_ROUTE, Reason.BOX_ELSEWHERE)
    if box.cancelled:
        return verdict(Outcome.CANCELLED, Reason.CANCELLED, job=box.job)
    if box.job_held:
        return verdict(Outcome.ON_HOLD, Reason.WAS_ON_HOLD if box.resumed else Reason.ON_HOLD, job=box.job)
    if station.step is Step.SHIP:
        return _judge_loading(box, open_load)
    if box.closed:
        return _closed(box)
    if box.ready:
        return verdict(Outcome.DONE, Reason.BOX_OPENED)
    if box.missing:
        lack = [box.missing, box.uncounted]
        return verdict(Outcome.DONE, Reason.BOX_WAITS, lack=lack, awaited=list(box.awaited), damaged=box.damaged)
    return verdict(Outcome.DONE, full_box(box.uncounted, own_hold=box.own_hold))


def _judge_loading(box: BoxFacts, open_load: str | None) -> Verdict:
    if box.state is BoxState.SHIPPED:
        return _closed(box)
    if box.load is None:
        return verdict(Outcome.OFF_ROUTE, Reason.NO_LOAD)
    if open_load is not None and open_load != box.load:
        return verdict(Outcome.WRONG_BOX, Reason.OTHER_LOAD, load=box.load, other=open_load)
    if box.own_hold:
        return verdict(Outcome.ON_HOLD, Reason.BOX_ON_HOLD)
    if box.state is BoxState.LOADED:
        return verdict(Outcome.AGAIN, Reason.BOX_LOADED_AGAIN, load=box.load)
    if box.closed:
        return verdict(Outcome.DONE, Reason.BOX_LOADED, load=box.load)
    if box.missing or box.uncounted:
        return verdict(Outcome.EARLY, Reason.NOT_SEALED_LACKING, lack=[box.missing, box.uncounted])
    return verdict(Outcome.EARLY, Reason.NOT_SEALED)


def judge_late_loading(box: BoxFacts, then: str, *, opened: bool) -> Verdict:
    """Say what scanning a box onto load ``then`` means when its plan changed, or it was ``opened``, since the scan."""
    if opened:
        return verdict(Outcome.EARLY, Reason.OPENED_SINCE)
    if box.load is None or box.load == then:
        return verdict(Outcome.OFF_ROUTE, Reason.OFF_LOAD_SINCE)
    return verdict(Outcome.WRONG_BOX, Reason.OTHER_LOAD_SINCE, load=box.load, other=then)


def judge_load(*, shipped: bool, station: StationFacts) -> Verdict:
    """Say what scanning a load's code means: at ``ship`` it opens."""
    if station.step is not Step.SHIP:
        return verdict(Outcome.OFF_ROUTE, Reason.LOAD_ELSEWHERE)
    if shipped:
        return verdict(Outcome.BOX_CLOSED, Reason.LOAD_GONE)
    return verdict(Outcome.DONE, Reason.LOAD_OPENED)


def with_loading(
    judged: Verdict, *, load: str, day: date, on: int, boxes: int, keeping: int, staying: Sequence[str]
) -> Verdict:
    """Say beside a verdict on a load, or on what went onto it, how far it is loaded, and what keeps it or stays behind.

    ``keeping`` so many boxes on it keep it from leaving all the same, as one of which a part was found damaged.
    """
    reason = judged.meaning.reason
    values = {"load": load, "day": day.isoformat(), "on": on, "boxes": boxes, "staying": list(staying)}
    if on and on == boxes:
        reason = Reason.LOADED_BUT_STAYING if staying or keeping else Reason.ALL_LOADED
        values |= {"keeping": keeping} if keeping else {}
    return verdict(judged.outcome, reason, **values)


def judge_note(part: PartFacts) -> Verdict | None:
    """Say why a part's damage or place cannot be noted, or None when it can."""
    if part.replaced_by:
        return _judge_standing(part)
    if part.cancelled:
        return verdict(Outcome.CANCELLED, Reason.CANCELLED, job=part.job)
    return None
