"""Which steps a cabinet takes, and what each of them shows: from the moves of its assembly to the guide's steps."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from tracker.shop.cabinets.assembly import Move, Posture, assembly_order, base_of, needs_wall_fixing
from tracker.shop.cabinets.carcass import LEFT_BACK_ID, RIGHT_BACK_ID, STILE_ID
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.guide.bag import Bag, items_of
from tracker.shop.cabinets.guide.cautions import EYES, FIX, TRADES, cabinet_cautions, part_cautions
from tracker.shop.cabinets.guide.moves import Moves, moves_of_cabinet, moves_of_units
from tracker.shop.cabinets.guide.sentences import Sentences, driven_from, fitting_title
from tracker.shop.cabinets.guide.values import PartRow, Step
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.wording import name_within, units_named
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import say


def steps_of(cabinet: Cabinet, rows: Sequence[PartRow], marks: LiftingMarks) -> tuple[Step, ...]:
    """Return the steps in order; all that is left in the bag is used in the last. ``marks`` say who carries."""
    bag = Bag(cabinet)
    writer = _Writer(cabinet, bag, Sentences(cabinet, rows, bag.has_pull), marks)
    *before, last = writer.steps()
    steps = (*before, replace(last, items=(*last.items, *items_of(bag.take_all()))))
    return tuple(replace(step, number=number) for number, step in enumerate(steps, 1))


class _Writer:
    """Writes the steps of one cabinet."""

    def __init__(self, cabinet: Cabinet, bag: Bag, says: Sentences, marks: LiftingMarks) -> None:
        self.cabinet, self.bag, self.says, self.marks = cabinet, bag, says, marks
        self.parts = {part.id: part for part in cabinet.parts}
        self.is_corner = base_of(cabinet) == LEFT_BACK_ID
        # A blind stile is screwed on from below, and the pins of a diagonal corner are driven from all sides.
        self.placed_last = STILE_ID in self.parts or (self.is_corner and not needs_wall_fixing(cabinet))
        self.pins = tuple(joint for joint in cabinet.joints if joint.fastening is Fastening.PIN)

    def steps(self) -> Iterator[Step]:
        if len(self.parts) == 1:
            yield self._single(self.cabinet.parts[0].id)
            return
        moves = assembly_order(self.cabinet)
        yield from (self._step(told) for told in moves_of_units(moves, self.parts))
        yield from self._fittings()
        yield from self._cabinet_steps([move for move in moves if not move.unit])

    def _single(self, own: str) -> Step:
        called = self.says.called([own])
        return Step(
            title=say("Fit the panel"),
            sentences=(
                say("This carton holds one panel, %(part)s. There is nothing to put together.", part=called),
                say("Trim it on site if it must be, and screw it to the cabinet beside it from the inside."),
            ),
            moving=(own,),
            shown=(own,),
            cautions=self._heavy(own),
        )

    def _heavy(self, own: str) -> tuple[str, ...]:
        return part_cautions(self.cabinet, self.parts[own], self.marks)

    def _cabinet_steps(self, moves: Sequence[Move]) -> Iterator[Step]:
        told = moves_of_cabinet(moves, self.parts)
        carcass = [each for each in told if each.first.posture is not Posture.STANDING]
        present = tuple(own for each in carcass if not each.pushes for own in each.parts)
        posture = Posture.LYING
        for each in carcass:
            if each.first.posture is not posture:
                posture = each.first.posture
                yield self._turn(each.standing)
            yield self._step(each)
        if self.is_corner:
            yield self._stand_up(present)
            yield from self._drive_pins(present, Posture.STANDING)
        else:
            yield from self._drive_pins(present, posture)
            yield self._stand_up(present)
        if needs_wall_fixing(self.cabinet):
            yield self._fix(present)
        yield from (self._step(each) for each in told if each not in carcass)
        present = tuple(self.parts)
        if self.placed_last:
            yield self._put_in_place(present)
        if self.cabinet.order.fronts in TRADES:
            title, caution = TRADES[self.cabinet.order.fronts]
            sentences = (say("The cabinet is ready."), say("Do not connect pipes, wires or gas yourself."))
            yield Step(title=title, sentences=sentences, cautions=(caution,), standing=present)

    # ------------------------------------------------------------------ the ends, before they are joined
    def _fittings(self) -> Iterator[Step]:
        """Screw hinge plates and slides to each panel while it lies alone with its inner face up."""
        for own in self.parts:
            joints = [joint for joint in self.cabinet.joints if joint.onto == own]
            hinged = [joint for joint in joints if joint.fastening is Fastening.HINGE]
            sliding = [joint for joint in joints if joint.fastening is Fastening.SLIDE]
            if not (hinged or sliding):
                continue
            items = self.bag.take_fitted(Fastening.SLIDE) if sliding else Counter[str]()
            items += self.bag.take_fitted(Fastening.HINGE) if hinged else Counter[str]()
            name = name_within(self.parts[own].name, own)
            yield Step(
                title=fitting_title(name, slides=bool(sliding), plates=bool(hinged)),
                sentences=tuple(self.says.fitting(own, sliding, hinged)),
                cautions=self._heavy(own),
                shown=(own,),
                fitted=tuple(joint for joint in joints if joint in (*hinged, *sliding)),
                items=items_of(items),
                posture=Posture.INSIDE_UP,
            )

    # ------------------------------------------------------------------ the steps that move something
    def _step(self, told: Moves) -> Step:
        shown = told.moves[:1] if told.units else told.moves
        whole = len(told.first.parts) > 1 and not told.pushes
        return Step(
            unit=units_named(told.units),
            title=self.says.title(told),
            sentences=tuple(self.says.moving(told)),
            cautions=() if whole or told.pushes else self._heavy(told.first.parts[0]),
            moving=() if whole or told.pushes else told.parts,
            standing=told.standing,
            body=tuple(dict.fromkeys(own for move in shown for own in move.parts)),
            approach=told.first.approach,
            pushes=tuple(move for move in told.pushes if move.is_catch) or told.pushes,
            numbers=tuple(sorted({joint.number for joint in told.joints})),
            closed=replace(told, moves=shown).joints,
            items=items_of(self.bag.take_used(told)),
            posture=told.first.posture,
            from_behind=bool(told.pushes) and told.first.slide[1] < 0,
        )

    # ------------------------------------------------------------------ the steps that move nothing
    def _turn(self, present: tuple[str, ...]) -> Step:
        """Lay the cabinet on its face, so that what locks forward seats itself."""
        forward = {joint.part for joint in self.cabinet.joints if joint.slide[1] < 0}
        seated = tuple(own for own in present if own in forward)
        return replace(
            self._heaved(say("Turn the cabinet on its face"), self.says.turning(seated), present),
            shown=seated,
            posture=Posture.ON_ITS_FACE,
        )

    def _drive_pins(self, present: tuple[str, ...], posture: Posture) -> Iterator[Step]:
        """Drive the pins from behind; through the walls of a diagonal corner side by side, as far as one sees."""
        backs = tuple(joint for joint in self.pins if joint.onto in (LEFT_BACK_ID, RIGHT_BACK_ID))
        for pins in (backs, tuple(pin for pin in self.pins if pin not in backs)):
            if not pins:
                continue
            outer = driven_from(pins)
            into = [own for own in present if any(joint.onto == own for joint in outer)]
            yield Step(
                title=say("Drive the spring pins into %(parts)s", parts=self.says.lettered(into)),
                sentences=tuple(self.says.pinning(pins)),
                cautions=(EYES,),
                standing=present,
                shown=tuple(dict.fromkeys(own for joint in pins for own in (joint.part, joint.onto))),
                numbers=tuple(sorted({joint.number for joint in pins})),
                closed=pins,
                items=items_of(self.bag.take("spring pin", sum(joint.count for joint in outer))),
                posture=posture,
                from_behind=pins == backs or not backs,
            )

    def _stand_up(self, present: tuple[str, ...]) -> Step:
        sentences: list[str] = [
            *self.says.tied(),
            say("Set the cabinet upright. Do not drag it on its edges."),
        ]
        if self.is_corner:
            sentences.append(say("Leave room for a mallet on all its sides: pins come next."))
        elif self.placed_last:
            sentences.append(say("Leave room under and over it for a screwdriver: it goes to its place last."))
        elif not needs_wall_fixing(self.cabinet):
            sentences.append(self.says.placing())
        return self._heaved(say("Stand the cabinet up"), sentences, present)

    def _put_in_place(self, present: tuple[str, ...]) -> Step:
        sentences = [self.says.placing()]
        if any(part.name == "Shelf" for part in self.parts.values()):
            sentences = [
                say("Lay the loose shelves flat on the bottom before you move it. Set them on their pins afterwards."),
                *sentences,
            ]
        return self._heaved(say("Put the cabinet in its place"), sentences, present)

    def _heaved(self, title: str, sentences: Sequence[str], present: tuple[str, ...]) -> Step:
        """A step that moves the whole cabinet."""
        cautions = cabinet_cautions(self.cabinet, self.marks)
        return Step(title=title, sentences=tuple(sentences), cautions=cautions, standing=present)

    def _fix(self, present: tuple[str, ...]) -> Step:
        nailers = tuple(own for own in present if own.endswith("nailer"))
        through = nailers or (LEFT_BACK_ID, RIGHT_BACK_ID)
        sentences = (*self.says.fixing(through), *self.says.hanging())
        step = self._heaved(say("Fix the cabinet to the building"), sentences, present)
        return replace(step, cautions=(*step.cautions, FIX), shown=through, from_behind=True)
