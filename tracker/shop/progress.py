"""How far a part has come: a fold over what happened to it.

The log is the truth and this is its meaning: ``fold`` works a part's progress out from its happenings in the order of
their own times; ``advance`` takes one more. A scan that arrives late from an offline station takes its place in the
order and the result is the one that it would have had on time.

A part that is marked damaged is as good as in no box (``Progress.counted``) and is refused at every station. It is
cleared by undo, by a repair, or by replacing it.
"""

from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from enum import StrEnum

from tracker.shop.steps import Route, Step


class Happening(StrEnum):
    """What can happen to one part. The last two are done at a desk: nobody sees the part."""

    PASS = "pass"  # noqa: S105 - a scan that passes the part through a step, no password
    DAMAGED = "damaged"
    PLACE = "place"
    SEEN = "seen"  # a scan that was refused: it changes nothing but says where the part is
    REPAIR = "repair"
    MOVE = "move"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighting:
    """One thing that happened to a part: a fact from the log.

    ``seq`` is its number there, ``undone`` the time and the number of the undo that took it back.
    """

    seq: int
    at: datetime
    what: Happening
    station: int | None = None
    step: Step | None = None
    infers: bool = False
    slot: int | None = None
    undone: tuple[datetime, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Progress:
    """Where a part stands. ``done`` holds the inferred steps too."""

    done: frozenset[Step] = frozenset()
    inferred: frozenset[Step] = frozenset()
    damaged: bool = False
    at: datetime | None = None
    station: int | None = None
    slot: int | None = None

    @property
    def counted(self) -> frozenset[Step]:
        """The steps that count: a part found damaged before it shipped is as good as in no box."""
        return self.done - {Step.PACK} if self.damaged and Step.SHIP not in self.done else self.done

    def next_step(self, route: Route) -> Step | None:
        """The first step of the route that is not done."""
        return next((step for step in route if step not in self.counted), None)

    def open_before(self, step: Step, route: Route) -> tuple[Step, ...]:
        """The steps of the route before ``step`` that nothing has shown to be done."""
        return tuple(s for s in route[: route.index(step)] if s not in self.done)


NOT_STARTED = Progress()


class PartStatus(StrEnum):
    """Where a part stands, in one word."""

    WAITING = "waiting"
    WORKING = "working"
    PACKED = "packed"
    SHIPPED = "shipped"
    REPLACED = "replaced"
    CANCELLED = "cancelled"


DEAD_STATUSES = frozenset({PartStatus.REPLACED, PartStatus.CANCELLED})


def status_of(progress: Progress) -> PartStatus:
    """The status of a living part."""
    if Step.SHIP in progress.done:
        return PartStatus.SHIPPED
    if Step.PACK in progress.counted:
        return PartStatus.PACKED
    return PartStatus.WORKING if progress.done else PartStatus.WAITING


def advance(progress: Progress, sighting: Sighting, route: Route) -> Progress:
    """Return the progress after one more scan, the latest so far by its own time."""
    step = sighting.step if sighting.what is Happening.PASS and sighting.step in route else None
    passed = frozenset() if step is None else frozenset({step})
    inferred = frozenset() if step is None or not sighting.infers else frozenset(progress.open_before(step, route))
    return Progress(
        done=progress.done | inferred | passed,
        inferred=(progress.inferred | inferred) - passed,
        damaged=progress.damaged or sighting.what is Happening.DAMAGED,
        at=sighting.at,
        station=sighting.station,
        slot=sighting.slot,
    )


def in_order(happened: Collection[Sighting]) -> list[Sighting]:
    """Return the scans that still hold, in the order of their own times.

    An undo takes back the scan that it names and the repeats of that scan at the same station up to the undo: the
    second beep of a double scan is not a second opinion. A repair takes back the damage, and a move to a follow-up box
    the packing, that were known when they were decided: a desk goes by what had arrived, not by a station's clock.
    """
    repaired = _last_seq(happened, Happening.REPAIR)
    moved = _last_seq(happened, Happening.MOVE)
    undone = [s for s in happened if s.undone is not None and s.what is Happening.PASS]

    def holds(sighting: Sighting) -> bool:
        match sighting.what:
            case Happening.REPAIR | Happening.MOVE:
                return False
            case Happening.DAMAGED:
                return sighting.undone is None and sighting.seq > repaired
            case Happening.PASS if sighting.step is Step.PACK and sighting.seq < moved:
                return False
            case _:
                return sighting.undone is None and not any(_repeats(sighting, other) for other in undone)

    return sorted(filter(holds, happened), key=lambda sighting: (sighting.at, sighting.seq))


def stands_first(sighting: Sighting, happened: Collection[Sighting]) -> bool:
    """Say whether a sighting is its station's own word, for an undo there to take back.

    It holds, and where it passes the part through a step, no earlier one at the station that holds said so already.
    """
    same = [s for s in in_order(happened) if _is_same(s, sighting)]
    return bool(same) and same[0].seq == sighting.seq


def _is_same(one: Sighting, other: Sighting) -> bool:
    if other.what is not Happening.PASS:
        return one.seq == other.seq
    return one.what is Happening.PASS and (one.station, one.step) == (other.station, other.step)


def holder_of(step: Step, happened: Collection[Sighting], route: Route) -> Sighting | None:
    """Return the reading by which a step is done: the first of the step itself, else one that infers it; or None."""
    holding = in_order(happened)
    passes = [s for s in holding if s.what is Happening.PASS]
    progress = NOT_STARTED
    for sighting in sorted(passes, key=lambda each: each.step is not step):  # stable: those at the step itself first
        progress = advance(progress, sighting, route)
        if step in progress.done:
            return sighting
    return None


def marked_by(happened: Collection[Sighting]) -> Sighting | None:
    """Return the mark that holds a part for damaged, or None."""
    return next((s for s in in_order(happened) if s.what is Happening.DAMAGED), None)


def _last_seq(happened: Iterable[Sighting], what: Happening) -> int:
    return max((s.seq for s in happened if s.what is what), default=-1)


def _repeats(sighting: Sighting, undone: Sighting) -> bool:
    return (
        sighting.what is Happening.PASS
        and (sighting.station, sighting.step) == (undone.station, undone.step)
        and undone.undone is not None
        and (undone.at, undone.seq) <= (sighting.at, sighting.seq) < undone.undone
    )


def known_at(happened: Iterable[Sighting], at: datetime) -> list[Sighting]:
    """Return what had happened by ``at``, with nothing undone yet that was undone later; desk work holds as it is."""
    by_then = (s for s in happened if s.at <= at or s.what in (Happening.REPAIR, Happening.MOVE))
    return [replace(s, undone=None) if s.undone is not None and s.undone[0] > at else s for s in by_then]


def fold(happened: Collection[Sighting], route: Route) -> Progress:
    """Work a part's progress out from all that happened to it."""
    progress = NOT_STARTED
    for sighting in in_order(happened):
        progress = advance(progress, sighting, route)
    return progress
