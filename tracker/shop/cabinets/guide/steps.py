"""Which steps a cabinet takes, and what each of them shows: from the moves of its assembly to the guide's steps."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from tracker.shop.cabinets.assembly import Move, assembly_order, needs_wall_fixing
from tracker.shop.cabinets.carcass import STILE_ID
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.guide.bag import Bag, items_of
from tracker.shop.cabinets.guide.cautions import EYES, FIX, TRADES, cabinet_cautions, part_cautions
from tracker.shop.cabinets.guide.moves import Moves, moves_of_cabinet, moves_of_units
from tracker.shop.cabinets.guide.sentences import Sentences, fitting_title
from tracker.shop.cabinets.guide.values import PartRow, Posture, Step
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.wording import name_within, units_named
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import say

_STRAIGHT: Final = 0.9  # a direction is named by an axis when it runs along it


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
        self.placed_last = STILE_ID in self.parts  # it is screwed on through the deck, from below
        self.pins = tuple(joint for joint in cabinet.joints if joint.fastening is Fastening.PIN)

    def steps(self) -> Iterator[Step]:
        if len(self.parts) == 1:
            yield self._single(self.cabinet.parts[0].id)
            return
        moves = assembly_order(self.cabinet)
        yield from (self._unit_step(told) for told in moves_of_units(moves, self.parts))
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
        carcass = 1 + max((i for i, each in enumerate(told) if _is_carcass(each)), default=0)
        yield from (self._step(each, Posture.LYING) for each in told[:carcass])
        present = tuple(own for each in told[:carcass] for own in each.parts)
        if self.pins:
            yield self._drive_pins(present)
        yield self._stand_up(present)
        if needs_wall_fixing(self.cabinet):
            yield self._fix(present)
        yield from (self._step(each, Posture.STANDING) for each in told[carcass:])
        present = tuple(own for each in told for own in each.parts)
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
    def _unit_step(self, told: Moves) -> Step:
        lies = told.starts or abs(told.first.approach[0]) > _STRAIGHT
        return self._step(told, Posture.LYING if lies else Posture.STANDING)

    def _step(self, told: Moves, posture: Posture) -> Step:
        shown, whole = told.moves[:1] if told.units else told.moves, len(told.first.parts) > 1
        return Step(
            unit=units_named(told.units),
            title=self.says.title(told),
            sentences=tuple(self.says.moving(told, posture)),
            cautions=() if whole else self._heavy(told.first.parts[0]),
            moving=() if whole else told.parts,
            standing=told.standing,
            body=tuple(own for move in shown for own in move.parts),
            approach=told.first.approach,
            slide=told.first.slide,
            numbers=tuple(sorted({joint.number for joint in told.joints})),
            closed=replace(told, moves=shown).joints,
            items=items_of(self.bag.take_used(told)),
            posture=posture,
        )

    # ------------------------------------------------------------------ the steps that move nothing
    def _drive_pins(self, present: tuple[str, ...]) -> Step:
        return Step(
            title=say("Drive the spring pins"),
            sentences=self.says.pinning(self.pins),
            cautions=(EYES,),
            standing=present,
            shown=tuple(dict.fromkeys(own for joint in self.pins for own in (joint.part, joint.onto))),
            numbers=tuple(sorted({joint.number for joint in self.pins})),
            closed=self.pins,
            items=items_of(self.bag.take_all("spring pin")),
            posture=Posture.LYING,
            from_behind=True,
        )

    def _stand_up(self, present: tuple[str, ...]) -> Step:
        sentences: list[str] = [
            say("Pull at each panel: none may come off."),
            say("Set the cabinet upright. Do not drag it on its edges."),
        ]
        if self.placed_last:
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
        through = nailers or tuple(own for own in present if "back" in own)
        step = self._heaved(say("Fix the cabinet to the building"), self.says.fixing(through), present)
        return replace(step, cautions=(*step.cautions, FIX), shown=through, from_behind=True)


def _is_carcass(told: Moves) -> bool:
    return bool(told.held_by(Fastening.LOCK)) and len(told.first.parts) == 1
