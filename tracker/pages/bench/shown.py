"""What the packer's screen says of the box on the bench: what it lacks, what the scale says, where the rest is."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection

from tracker.pages.bench import drawing as bench_drawing
from tracker.pages.bench.drawing import Bench
from tracker.pages.words.left_short import Rest, rests_of
from tracker.pages.words.signals import Sound
from tracker.records import packing
from tracker.records.box_contents import BoxView, Item, box_view
from tracker.records.follow_ups import follow_ups_of
from tracker.records.parts import SeenPart
from tracker.shop.box_states import BoxState
from tracker.shop.completeness import Lacks, lacks
from tracker.shop.job_states import JobStatus
from tracker.shop.reasons import Meaning, Reason, meaning
from tracker.shop.weighing import Expected, Piece, Weight, expect
from tracker.work.lists import weight_limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """All that the screen says of the box on the bench."""

    box: BoxView
    drawing: Bench | None
    lacks: Lacks[SeenPart, Item]
    expected: Expected | None
    knows_carton: bool
    closed: bool
    rests: Sequence[Rest]

    @property
    def missing(self) -> Sequence[SeenPart]:
        return self.lacks.parts

    @property
    def uncounted(self) -> Sequence[Item]:
        return self.lacks.items

    @property
    def complete(self) -> bool:
        return self.lacks.complete

    @property
    def weight(self) -> Weight | None:
        """What the scale says, where it was asked."""
        if self.expected is None or self.box.weighed_kg is None:
            return None
        return self.expected.judge(self.box.weighed_kg)

    @property
    def off_weight(self) -> bool:
        """The mass is off by more than a packer alone seals."""
        return (
            self.expected is not None
            and self.box.weighed_kg is not None
            and self.expected.beyond_limit(self.box.weighed_kg)
        )

    @property
    def sound(self) -> Sound:
        """How a weighing sounds, by what the scale says."""
        if self.off_weight:
            return Sound.STOP
        return Sound.OK if self.weight in (None, Weight.AGREES) else Sound.LOOK

    @property
    def stopped(self) -> Meaning | None:
        """Why the box goes no further, its job or it by itself; None where it does."""
        if self.box.job.status is JobStatus.CANCELLED:
            return meaning(Reason.CANCELLED, job=self.box.job.code)
        if self.box.job.status is JobStatus.HELD:
            return meaning(Reason.ON_HOLD, job=self.box.job.code)
        return meaning(Reason.BOX_ON_HOLD) if self.box.own_hold else None

    @property
    def may_be_sealed(self) -> bool:
        return self.complete and self.stopped is None

    @property
    def begun(self) -> bool:
        """Something is in the box, so that it may be sealed short."""
        return len(self.missing) < len(self.box.parts) or any(line.counted for line in self.box.items)

    @property
    def opens_again(self) -> bool:
        """Sealed and not yet on its load, so that a foreman may open it."""
        return self.box.state == BoxState.SEALED


def shown_at(connection: Connection, place: packing.Bench) -> Shown | None:
    """Return what is shown of the box on a bench, or None when there is none."""
    box_id = packing.box_on_bench(connection, place.id)
    return None if box_id is None else show(connection, box_id)


def show(connection: Connection, box_id: int) -> Shown | None:
    """Return what is shown of a box, or None when there is no such box."""
    box = box_view(connection, box_id)
    if box is None:
        return None
    pieces = [_piece(part) for part in box.parts if part.packed]
    expected = expect(pieces, besides_kg=box.empty_kg or 0.0, limit=weight_limit(connection)) if pieces else None
    return Shown(
        box=box,
        drawing=bench_drawing.draw_bench(box),
        lacks=lacks(bench_drawing.in_order(box), box.items),
        expected=expected,
        knows_carton=box.empty_kg is not None,
        closed=box.closed,
        rests=rests_of(follow_ups_of(connection, [box_id]).get(box_id, ()), box.load_code),
    )


def _piece(part: SeenPart) -> Piece:
    return Piece(name=part.name, mass_kg=part.mass_kg, material=part.material)
