"""What the fitter reads: the parts with their letters and numbers, the bag, and the steps, derived from the joints.

Letters name parts that are alike; numbers are those of the joints and stand on the panels' labels. Masses in kg.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from string import ascii_uppercase
from typing import Final

from tracker.shop.cabinets.assembly import STILL, Move, assembly_order, base_of, needs_wall_fixing
from tracker.shop.cabinets.carcass import LEFT_ID, STILE_ID
from tracker.shop.cabinets.design import Cabinet, kind_of
from tracker.shop.cabinets.joints import Fastening, Item, Joint
from tracker.shop.cabinets.orders import Fronts
from tracker.shop.cabinets.panels import Part, Vector, Work
from tracker.shop.cabinets.wording import (
    all_of,
    label_name,
    listed,
    measured,
    name_within,
    numbered,
    plain_name,
    plain_words,
    units_named,
)
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.lifting import Handling
from tracker.shop.saying import Name, join, say, say_many
from tracker.shop.written import length_number, length_text, mass_text

_LEVELS_TOLD: Final = 4
_STRAIGHT: Final = 0.9  # a direction is named by an axis when it runs along it


class Posture(StrEnum):
    """How the work lies while a step is done."""

    LYING = "lying on its base"  # the left end, or the left back of a diagonal corner
    STANDING = "standing"
    INSIDE_UP = "one panel, its inner face up"


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """Parts that are alike: their letter, how many, the name on their labels, what that is, and the numbers on them."""

    letter: str
    name: str
    plain: str
    count: int
    size: str
    mass_kg: float
    numbers: tuple[int, ...]
    ids: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """One step. Raises InvalidInputError when it has no number, title or sentence.

    ``moving`` are the parts that are put in now, over all steps each part once; ``standing`` those that are there.
    ``body`` are the parts that the drawing moves along ``approach`` and then by ``slide`` mm (the first of equal
    units, or a finished drawer); where nothing moves, ``shown`` are the parts to look at. ``numbers`` are those of the
    joints that the step closes, ``closed`` the joints that the drawing shows being closed; ``fitted`` are those of
    which the step fits the half that one panel carries.
    """

    number: int
    unit: str
    title: str
    sentences: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    moving: tuple[str, ...] = ()
    standing: tuple[str, ...] = ()
    body: tuple[str, ...] = ()
    shown: tuple[str, ...] = ()
    approach: Vector = STILL
    slide: Vector = STILL
    numbers: tuple[int, ...] = ()
    closed: tuple[Joint, ...] = ()
    fitted: tuple[Joint, ...] = ()
    items: tuple[Item, ...] = ()
    posture: Posture = Posture.STANDING
    from_behind: bool = False

    def __post_init__(self) -> None:
        if self.number < 1 or not self.title.strip() or not self.sentences:
            what = "wanted: a number from 1, a title and a sentence or more"
            raise InvalidInputError("A step says nothing.", [Fault(where={"field": "step"}, what=what)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Guide:
    """How one cabinet goes together. ``bag`` are the items that come in the bag; ``lifted_by`` says who moves it."""

    parts: tuple[PartRow, ...]
    bag: tuple[Item, ...]
    steps: tuple[Step, ...]
    cautions: tuple[str, ...]
    mass_kg: float
    mass: str
    lifted_by: Handling
    units: Units

    @property
    def size_unit(self) -> str:
        return "mm" if self.units is Units.MM else say("inches")

    @property
    def letters(self) -> dict[str, str]:
        """The letter of each part, by part id."""
        return {own: row.letter for row in self.parts for own in row.ids}


def guide_of(cabinet: Cabinet, *, one_person_kg: float) -> Guide:
    """Return the guide of a designed cabinet; what is heavier than ``one_person_kg`` is lifted by two, or with an aid.

    Raises InvalidInputError when the limit is not a mass.
    """
    if not 0 < one_person_kg < 1_000:
        fault = Fault(
            where={"field": "one_person_kg"}, what=f"{one_person_kg:g} kg; wanted: more than 0, less than 1000"
        )
        raise InvalidInputError("This is not a mass that one person lifts.", [fault])
    rows = part_rows(cabinet)
    writer = _Writer(cabinet, rows, one_person_kg)
    steps = writer.steps()
    return Guide(
        parts=rows,
        bag=tuple(item for item in cabinet.items if item.in_bag),
        steps=steps,
        cautions=tuple(dict.fromkeys((*_general_cautions(cabinet, one_person_kg), *_all_cautions(steps)))),
        mass_kg=cabinet.mass_kg,
        mass=mass_text(cabinet.mass_kg, cabinet.order.units),
        lifted_by=lifted_by(cabinet.mass_kg, one_person_kg),
        units=cabinet.order.units,
    )


def lifted_by(mass_kg: float, one_person_kg: float) -> Handling:
    """Return who lifts a mass: one person up to the limit, two up to twice that, beyond it a lifting aid."""
    if mass_kg <= one_person_kg:
        return Handling.ONE_PERSON
    return Handling.TWO_PERSONS if mass_kg <= 2 * one_person_kg else Handling.MACHINE


LIFTERS: Final = {
    Handling.ONE_PERSON: say("one person"),
    Handling.TWO_PERSONS: say("two people"),
    Handling.MACHINE: say("two people and a lifting aid"),
}


def part_rows(cabinet: Cabinet) -> tuple[PartRow, ...]:
    """Return one row for the parts of one name that are truly alike, lettered in the order of the cabinet's parts."""
    groups: dict[tuple[object, ...], list[Part]] = {}
    for part in cabinet.parts:
        groups.setdefault((plain_name(part), kind_of(part)), []).append(part)
    return tuple(_row(cabinet, letter_of(index), parts) for index, parts in enumerate(groups.values()))


def letter_of(index: int) -> str:
    """A to Z, then AA, AB …"""
    first, last = divmod(index, len(ascii_uppercase))
    return (ascii_uppercase[first - 1] if first else "") + ascii_uppercase[last]


def _row(cabinet: Cabinet, letter: str, parts: Sequence[Part]) -> PartRow:
    first, units = parts[0], cabinet.order.units
    sizes = (length_number(round(size) if units is Units.MM else size, units) for size in first.sizes)
    return PartRow(
        letter=letter,
        name=label_name(parts),
        plain=plain_words(first),
        count=len(parts),
        size=join([measured(size) for size in sizes], between=" × "),
        mass_kg=first.mass_kg,
        numbers=tuple(sorted({mark.number for part in parts for mark in cabinet.marks(part)})),
        ids=tuple(part.id for part in parts),
    )


def _general_cautions(cabinet: Cabinet, limit: float) -> Iterator[str]:
    lifters = lifted_by(cabinet.mass_kg, limit)
    if lifters is not Handling.ONE_PERSON:
        mass = mass_text(cabinet.mass_kg, cabinet.order.units)
        if lifters is Handling.TWO_PERSONS:
            yield say("Two people move this cabinet: put together it weighs %(mass)s.", mass=mass)
        else:
            yield say("Two people and a lifting aid move this cabinet: put together it weighs %(mass)s.", mass=mass)
    if needs_wall_fixing(cabinet):
        yield FIX
    if cabinet.order.fronts in _TRADES:
        yield _TRADES[cabinet.order.fronts][1]


def _all_cautions(steps: Iterable[Step]) -> Iterator[str]:
    for step in steps:
        yield from (caution for caution in step.cautions if not caution.startswith("Two people"))


_TRADES: Final = {
    Fronts.SINK: (say("The sink"), say("Water and drain: a licensed plumber connects them.")),
    Fronts.OVEN: (say("The oven"), say("Power and gas: a licensed electrician or gas fitter connects them.")),
}
EYES: Final = say("Wear eye protection when you drive pins or strike with a mallet.")
FIX: Final = say("Fix the cabinet to the structure of the building before you load it. Follow the local code.")


@dataclass(slots=True, kw_only=True)
class _Purse:
    """The bag's items, taken out step by step; no more can be taken than is there."""

    left: Counter[str]
    full: Mapping[str, int] = field(init=False)

    def __post_init__(self) -> None:
        self.full = dict(self.left)

    def named(self, start: str) -> list[str]:
        return [name for name in self.full if name == start or name.startswith(f"{start} ")]

    def take(self, name: str, count: int) -> Counter[str]:
        given = min(count, self.left[name])
        self.left[name] -= given
        return Counter({name: given}) if given else Counter()

    def take_all(self, *starts: str) -> Counter[str]:
        taken: Counter[str] = Counter()
        for start in starts:
            for name in self.named(start):
                taken += self.take(name, self.left[name])
        return taken

    def take_each(self, start: str, count: int, sharers: int) -> Counter[str]:
        """Take ``count`` shares of what ``sharers`` share."""
        taken: Counter[str] = Counter()
        for name in self.named(start):
            taken += self.take(name, self.full[name] * count // max(1, sharers))
        return taken


def _items(counts: Mapping[str, int]) -> tuple[Item, ...]:
    return tuple(Item(item=name, quantity=count, in_bag=True) for name, count in sorted(counts.items()) if count)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Act:
    """Moves that are told as one step; ``first`` is the one that the drawing shows where equal units are made."""

    moves: tuple[Move, ...]
    units: tuple[str, ...] = ()
    standing: tuple[str, ...] = ()

    @property
    def first(self) -> Move:
        return self.moves[0]

    @property
    def parts(self) -> tuple[str, ...]:
        return tuple(own for move in self.moves for own in move.parts)

    @property
    def joints(self) -> tuple[Joint, ...]:
        """The joints that the moves themselves close: pins come later."""
        return tuple(joint for move in self.moves for joint in move.joints if joint.fastening is not Fastening.PIN)

    def has(self, fastening: Fastening) -> bool:
        return any(joint.fastening is fastening for joint in self.joints)


class _Writer:
    """Writes the steps of one cabinet."""

    def __init__(self, cabinet: Cabinet, rows: Sequence[PartRow], limit: float) -> None:
        self.cabinet = cabinet
        self.letters = {own: row.letter for row in rows for own in row.ids}
        self.limit = limit
        self.parts = {part.id: part for part in cabinet.parts}
        self.names = {own: name_within(row.name, row.name) for row in rows for own in row.ids}
        self.purse = _Purse(left=Counter({item.item: item.quantity for item in cabinet.items if item.in_bag}))
        self.is_corner = base_of(cabinet) != LEFT_ID
        self.placed_last = STILE_ID in self.parts  # it is screwed on through the deck, from below
        self.pins = tuple(joint for joint in cabinet.joints if joint.fastening is Fastening.PIN)

    # ------------------------------------------------------------------ which steps there are
    def steps(self) -> tuple[Step, ...]:
        moves = assembly_order(self.cabinet)
        if len(self.parts) == 1:
            drafts = [self._single()]
        else:
            drafts = [self._unit_step(act) for act in _unit_acts(moves, self.parts)]
            drafts += self._ready_steps()
            drafts += self._cabinet_steps([move for move in moves if not move.unit])
        last = drafts[-1]
        rest = self.purse.take_all(*self.purse.full)
        drafts[-1] = replace(last, items=(*last.items, *_items(rest)))
        return tuple(replace(step, number=number) for number, step in enumerate(drafts, 1))

    def _single(self) -> Step:
        own = self.cabinet.parts[0].id
        sentences = [
            say("This carton holds one panel, %(part)s. There is nothing to put together.", part=self._called(own)),
            say("Trim it on site if it must be, and screw it to the cabinet beside it from the inside."),
        ]
        return Step(
            number=1,
            unit="",
            title=say("Fit the panel"),
            sentences=tuple(sentences),
            moving=(own,),
            shown=(own,),
            cautions=self._heavy(own),
        )

    def _cabinet_steps(self, moves: Sequence[Move]) -> list[Step]:
        acts = _cabinet_acts(moves, self.parts)
        carcass = 1 + max((i for i, act in enumerate(acts) if self._is_carcass(act)), default=0)
        steps = [self._step(act, self._posture(act, built=i >= carcass)) for i, act in enumerate(acts[:carcass])]
        present = tuple(own for act in acts[:carcass] for own in act.parts)
        if self.pins:
            steps.append(self._drive_pins(present))
        steps.append(self._stand_up(present))
        if needs_wall_fixing(self.cabinet):
            steps.append(self._fix(present))
        steps += [self._step(act, Posture.STANDING) for act in acts[carcass:]]
        present = tuple(own for act in acts for own in act.parts)
        if self.placed_last:
            steps.append(self._put_in_place(present))
        return [*steps, *self._trades(present)]

    def _is_carcass(self, act: _Act) -> bool:
        return act.has(Fastening.LOCK) and len(act.first.parts) == 1

    def _posture(self, act: _Act, *, built: bool) -> Posture:
        return Posture.STANDING if built else Posture.LYING

    # ------------------------------------------------------------------ the ends, before they are joined
    def _ready_steps(self) -> Iterator[Step]:
        """Screw hinge plates and slides to each end while it lies alone with its inner face up."""
        for own in self.parts:
            joints = [
                joint
                for joint in self.cabinet.joints
                if joint.onto == own and joint.fastening in (Fastening.HINGE, Fastening.SLIDE)
            ]
            if joints:
                yield self._ready(own, joints)

    def _ready(self, own: str, joints: Sequence[Joint]) -> Step:
        hinged = [joint for joint in joints if joint.fastening is Fastening.HINGE]
        sliding = [joint for joint in joints if joint.fastening is Fastening.SLIDE]
        surface = say("Lay %(part)s on a clean, soft surface, the side with the holes up.", part=self._called(own))
        sentences: list[str] = [surface]
        items: Counter[str] = Counter()
        if sliding:
            each = say("Take the drawer slides apart. Screw an outer half on at the black holes for each drawer.")
            sentences.append(each)
            items += self._opened("slide pair", Fastening.SLIDE)
        if hinged:
            sentences.append(say("Screw a hinge plate on at each pair of black holes for the door."))
            items += self._opened("hinge", Fastening.HINGE)
        sentences += [
            say("Slides, measured from the lower end: %(levels)s.", levels=few) for few in self._levels(sliding)
        ]
        sentences += [
            say("Hinge plates, measured from the lower end: %(levels)s.", levels=few) for few in self._levels(hinged)
        ]
        return Step(
            number=1,
            unit="",
            title=_fitting(name_within(self.parts[own].name, own), slides=bool(sliding), plates=bool(hinged)),
            sentences=tuple(sentences),
            cautions=self._heavy(own),
            shown=(own,),
            fitted=tuple(joints),
            items=_items(items),
            posture=Posture.INSIDE_UP,
        )

    def _levels(self, joints: Sequence[Joint]) -> Iterator[str]:
        """Say how high hinges or slides sit, lowest first, a few in a sentence."""
        said = []
        for joint in sorted(joints, key=lambda each: min(point[2] for point in each.points)):
            levels = all_of(self._length(level) for level in sorted({round(point[2], 1) for point in joint.points}))
            said.append(say("%(number)s at %(levels)s", number=joint.number, levels=levels))
        for start in range(0, len(said), _LEVELS_TOLD):
            yield join(said[start : start + _LEVELS_TOLD], between="; ")

    def _opened(self, item: str, fastening: Fastening) -> Counter[str]:
        """Hinges and slides are taken out of the bag where the first of their halves is screwed on."""
        kind = {joint.onto for joint in self.cabinet.joints if joint.fastening is fastening}
        return self.purse.take_each(item, 1, len(kind)) if fastening is Fastening.HINGE else self.purse.take_all(item)

    # ------------------------------------------------------------------ the steps that move something
    def _unit_step(self, act: _Act) -> Step:
        lies = abs(act.first.approach[0]) > _STRAIGHT or act.first.approach == STILL
        step = self._step(act, Posture.LYING if lies else Posture.STANDING)
        if len(act.units) < 2 or act.first.approach != STILL:
            return step
        many = say("Make %(count)d of these.", count=len(act.units))
        return replace(step, sentences=(join([many, step.sentences[0]], between=" "), *step.sentences[1:]))

    def _step(self, act: _Act, posture: Posture) -> Step:
        shown = act.moves[:1] if act.units else act.moves
        return Step(
            number=1,
            unit=units_named(act.units),
            title=self._title(act),
            sentences=tuple(self._sentences(act, posture)),
            cautions=tuple(self._cautions(act)),
            moving=() if len(act.first.parts) > 1 else act.parts,
            standing=act.standing,
            body=tuple(own for move in shown for own in move.parts),
            approach=act.first.approach,
            slide=act.first.slide,
            numbers=tuple(sorted({joint.number for joint in act.joints})),
            closed=tuple(joint for move in shown for joint in move.joints if joint.fastening is not Fastening.PIN),
            items=_items(self._used(act)),
            posture=posture,
        )

    def _title(self, act: _Act) -> str:
        part = self.parts[act.first.parts[0]]
        name, count = self._titled(act), len(act.moves)
        if act.first.approach == STILL:
            return say("Start with the %(part)s", part=name) if act.units else say("Lay down the %(part)s", part=name)
        if len(act.first.parts) > 1:
            return say_many("Slide in the drawer", "Slide in the %(num)d drawers", count)
        if act.has(Fastening.HINGE):
            return say_many("Hang the door", "Hang the %(num)d doors", count)
        if not act.joints:
            return say_many("Put in the shelf", "Put in the %(num)d shelves", count)
        if part.name == "Right end":
            return say("Close with the %(part)s", part=name)
        return say("Add the %(part)s", part=name)

    def _titled(self, act: _Act) -> Name:
        """The name of what a step moves, as it stands in its title."""
        parts = [self.parts[move.parts[0]] for move in act.moves]
        if act.units:
            return name_within(plain_name(parts[0]), label_name(parts))
        return name_within(parts[0].name, parts[0].id)

    def _sentences(self, act: _Act, posture: Posture) -> Iterator[str]:
        if act.first.approach == STILL:
            yield from self._first(act)
        elif len(act.first.parts) > 1:
            yield from self._drawers(act)
        elif act.has(Fastening.HINGE):
            yield from self._doors(act)
        elif not act.joints:
            yield from self._shelves(act)
        elif act.has(Fastening.LOCK):
            yield from self._lock(act, posture)
        else:
            yield from self._screwed(act)

    def _first(self, act: _Act) -> Iterator[str]:
        own = act.first.parts[0]
        if act.units:
            yield say("Lay %(part)s on a clean, soft surface, the side with the slots up.", part=self._called(own))
            yield say("Its arrow points to the front.")
            return
        yield say("Lay %(part)s flat on a clean, soft surface, the side with the slots up.", part=self._called(own))
        if self.is_corner:
            yield say("The panels that come next stand on it.")

    def _lock(self, act: _Act, posture: Posture) -> Iterator[str]:
        own, locks = act.first.parts[0], [joint for joint in act.joints if joint.fastening is Fastening.LOCK]
        yield join([self._taking(own), self._meeting(act, locks)], between=" ")
        slots = [joint for joint in act.joints if joint.fastening is Fastening.GROOVE]
        if slots:
            numbers = listed(joint.number for joint in slots)
            yield say("Let the thin panel run into its groove at %(numbers)s.", numbers=numbers)
        yield say(
            "Press it on until it sits flat. Then push it %(length)s %(way)s until it stops.",
            length=self._length(abs(act.first.slide[2])),
            way=_way(act, posture),
        )

    def _taking(self, own: str) -> str:
        return say("Take %(part)s, its arrow to the front.", part=self._called(own))

    def _meeting(self, act: _Act, joints: Sequence[Joint]) -> str:
        numbers = sorted({joint.number for joint in joints})
        if len(numbers) > 1:
            return say("Hold equal numbers together: %(numbers)s.", numbers=listed(numbers))
        if len(joints) > 1:
            return say("Hold each %(number)d on it at a %(number)d on the others.", number=numbers[0])
        other = joints[0].onto if joints[0].part in act.first.parts else joints[0].part
        return say("Hold %(number)d on it at %(number)d on %(other)s.", number=numbers[0], other=self._called(other))

    def _screwed(self, act: _Act) -> Iterator[str]:
        own = act.first.parts[0]
        screws = [joint for joint in act.joints if joint.fastening is Fastening.SCREW]
        grooves = [joint for joint in act.joints if joint.fastening is Fastening.GROOVE]
        yield self._taking(own)
        if grooves:
            yield _grooved(grooves, slid=bool(screws))
        if screws:
            hold = say("Then hold equal numbers together.") if grooves else say("Hold equal numbers together.")
            yield join([hold, self._screwing(screws)], between=" ")
            if any(joint.gap_mm for joint in screws):
                yield say("Put a spacer on each screw between the two.")
        if self._has_pull(own):
            if self.parts[own].unit:
                yield say("Screw on its pull, with the long screws through both boards.")
            else:
                yield say("Screw on its pull.")

    def _screwing(self, joints: Sequence[Joint]) -> str:
        """Say which screw goes where, and from which side where a front is screwed on from both."""
        kinds = dict.fromkeys(joint.item for joint in joints)
        if len(kinds) < 2:
            return say("Screw it on at %(numbers)s.", numbers=numbered(joint.number for joint in joints))
        said = [
            say(
                "at %(numbers)s with the %(size)s screws",
                numbers=numbered(joint.number for joint in joints if joint.item == kind),
                size=measured(kind.removeprefix("screw ")),
            )
            for kind in kinds
        ]
        return say("Screw it on %(places)s.", places=all_of(said))

    def _shelves(self, act: _Act) -> Iterator[str]:
        names = all_of(self._called(own) for own in act.parts)
        yield say("Push four shelf pins for each shelf into the holes inside, all at one height.")
        yield say(
            "Tilt %(parts)s, bring it in from the front and lay it on its pins. Its arrow points to the front.",
            parts=names,
        )

    def _doors(self, act: _Act) -> Iterator[str]:
        called = all_of(self._called(own) for own in act.parts)
        numbers = listed(joint.number for joint in act.joints)
        yield say("Press the hinges into the round holes of %(parts)s and screw them down.", parts=called)
        yield say("Clip each hinge onto its plate, equal numbers together: %(numbers)s.", numbers=numbers)
        stick = say("Stick the bumpers inside, at the corners away from the hinges.")
        pulls = any(self._has_pull(own) for own in act.parts)
        yield join([say("Screw on the pulls."), stick], between=" ") if pulls else stick
        yield say("Turn the hinge screws until the gaps are even.")

    def _drawers(self, act: _Act) -> Iterator[str]:
        if len(act.moves) == 1:
            yield say("Screw the inner halves of the slides to the sides of the drawer.")
        else:
            yield say("Screw the inner halves of the slides to the sides of each drawer.")
        numbers = numbered(joint.number for joint in act.joints)
        yield say("Pull the outer halves out, set the drawer on them and push it in: %(numbers)s.", numbers=numbers)

    # ------------------------------------------------------------------ the steps that move nothing
    def _drive_pins(self, present: tuple[str, ...]) -> Step:
        near = tuple(dict.fromkeys(own for joint in self.pins for own in (joint.part, joint.onto)))
        numbers = tuple(sorted({joint.number for joint in self.pins}))
        outer = max(self.pins, key=lambda joint: joint.points[0][1])
        sentences = [
            say(
                "Go to the back of the cabinet. Find the %(count)d holes in %(part)s.",
                count=outer.count,
                part=self._called(outer.onto),
            ),
            say("Drive a spring pin into each with a mallet, until its end is level with the wood."),
            say("It goes through to %(part)s (%(numbers)s).", part=self._called(near[0]), numbers=numbered(numbers)),
        ]
        pins = self.purse.take_all("spring pin")
        return Step(
            number=1,
            unit="",
            title=say("Drive the spring pins"),
            sentences=tuple(sentences),
            cautions=(EYES,),
            standing=present,
            shown=near,
            numbers=numbers,
            closed=self.pins,
            items=_items(pins),
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
            sentences.append(self._placing())
        return Step(
            number=1,
            unit="",
            title=say("Stand the cabinet up"),
            sentences=tuple(sentences),
            cautions=tuple(self._two_people()),
            standing=present,
        )

    def _placing(self) -> str:
        if self.is_corner:
            return say("Put it in its place, level it, and screw it to the wall through the panels at its back.")
        return say("Put it in its place, level it, and screw it to the wall through the strips behind its back.")

    def _put_in_place(self, present: tuple[str, ...]) -> Step:
        loose = any(part.name == "Shelf" for part in self.parts.values())
        first = (
            say("Lay the loose shelves flat on the bottom before you move it. Set them on their pins afterwards."),
        )
        return Step(
            number=1,
            unit="",
            title=say("Put the cabinet in its place"),
            sentences=(*(first if loose else ()), self._placing()),
            cautions=tuple(self._two_people()),
            standing=present,
        )

    def _fix(self, present: tuple[str, ...]) -> Step:
        through = tuple(own for own in present if own.endswith("nailer")) or tuple(
            own for own in present if "back" in own
        )
        sentences = (
            say("Hold the cabinet in its place and level it."),
            say(
                "Screw it to the studs or the masonry through %(parts)s.",
                parts=all_of(self._called(own) for own in through),
            ),
            say("Use screws that suit the wall; the cartons hold none. Pull hard at the cabinet before you go on."),
        )
        return Step(
            number=1,
            unit="",
            title=say("Fix the cabinet to the building"),
            sentences=sentences,
            cautions=(*self._two_people(), FIX),
            standing=present,
            shown=through,
            from_behind=True,
        )

    def _trades(self, present: tuple[str, ...]) -> Iterator[Step]:
        if self.cabinet.order.fronts in _TRADES:
            title, caution = _TRADES[self.cabinet.order.fronts]
            sentences = (say("The cabinet is ready."), say("Do not connect pipes, wires or gas yourself."))
            yield Step(
                number=1,
                unit="",
                title=title,
                sentences=sentences,
                cautions=(caution,),
                standing=present,
            )

    # ------------------------------------------------------------------ words and counts
    def _called(self, own: str) -> str:
        return say("%(letter)s (%(name)s)", letter=self.letters[own], name=self.names[own])

    def _length(self, length_mm: float) -> str:
        return measured(length_text(length_mm, self.cabinet.order.units))

    def _cautions(self, act: _Act) -> Iterator[str]:
        if len(act.first.parts) == 1:
            yield from self._heavy(act.first.parts[0])

    def _heavy(self, own: str) -> tuple[str, ...]:
        mass = self.parts[own].mass_kg
        match lifted_by(mass, self.limit):
            case Handling.TWO_PERSONS:
                return (say("Two people: this part weighs %(mass)s.", mass=self._mass(mass)),)
            case Handling.MACHINE:
                return (say("Two people and a lifting aid: this part weighs %(mass)s.", mass=self._mass(mass)),)
            case _:
                return ()

    def _two_people(self) -> Iterator[str]:
        mass = self.cabinet.mass_kg
        match lifted_by(mass, self.limit):
            case Handling.TWO_PERSONS:
                yield say("Two people: the whole cabinet weighs %(mass)s.", mass=self._mass(mass))
            case Handling.MACHINE:
                yield say("Two people and a lifting aid: the whole cabinet weighs %(mass)s.", mass=self._mass(mass))

    def _mass(self, mass_kg: float) -> str:
        return mass_text(mass_kg, self.cabinet.order.units)

    def _has_pull(self, own: str) -> bool:
        part = self.parts[own]
        return bool(self.purse.named("pull")) and part.front and any(f.work is Work.PULL_HOLE for f in part.features)

    def _used(self, act: _Act) -> Counter[str]:
        """Take out of the bag what a step uses."""
        purse, used = self.purse, Counter[str]()
        for joint in act.joints:
            if joint.fastening is Fastening.SCREW:
                used += purse.take(joint.item, joint.count)
                if joint.gap_mm:
                    used += sum((purse.take(name, joint.count) for name in purse.named("spacer")), Counter())
        doors = sum(joint.fastening is Fastening.HINGE for joint in self.cabinet.joints)
        used += purse.take_each("door bumper", sum(j.fastening is Fastening.HINGE for j in act.joints), doors)
        if len(act.first.parts) > 1:
            return used
        pulls = sum(self._has_pull(own) for own in self.parts)
        used += purse.take_each("pull", sum(self._has_pull(own) for own in act.parts), pulls)
        drawers = [own for own in self.parts if self._has_pull(own) and self.parts[own].unit]
        used += purse.take_each("drawer pull screw", sum(own in drawers for own in act.parts), len(drawers))
        shelves = sum(part.name == "Shelf" for part in self.parts.values())
        mine = sum(self.parts[own].name == "Shelf" for own in act.parts)
        used += purse.take_each("shelf pin", mine, shelves)
        return used


def _fitting(part: Name, *, slides: bool, plates: bool) -> str:
    if slides and plates:
        return say("Fit the slides and hinge plates to the %(part)s", part=part)
    if slides:
        return say("Fit the slides to the %(part)s", part=part)
    return say("Fit the hinge plates to the %(part)s", part=part)


def _way(act: _Act, posture: Posture) -> str:
    """Say which way a part is pushed until it locks: by the cabinet or drawer itself while that lies."""
    down = act.first.slide[2] < 0
    if act.units:
        return say("towards the lower edge of the drawer") if down else say("towards the upper edge of the drawer")
    if posture is Posture.LYING:
        return say("towards the floor end of the cabinet") if down else say("towards the top of the cabinet")
    return say("down") if down else say("up")


def _grooved(grooves: Sequence[Joint], *, slid: bool) -> str:
    """Say that a panel's edges go into grooves: slid along them, or set into them."""
    numbers = numbered(joint.number for joint in grooves)
    if slid:
        return say_many(
            "Slide its edge into the groove at %(numbers)s.",
            "Slide its edges into the grooves at %(numbers)s.",
            len(grooves),
            numbers=numbers,
        )
    return say_many(
        "Set its edge into the groove at %(numbers)s.",
        "Set its edges into the grooves at %(numbers)s.",
        len(grooves),
        numbers=numbers,
    )


def _unit_acts(moves: Sequence[Move], parts: Mapping[str, Part]) -> Iterator[_Act]:
    """Yield the moves on the bench; units that are put together alike are told together."""
    by_unit: dict[str, list[Move]] = {}
    for move in moves:
        if move.unit:
            by_unit.setdefault(move.unit, []).append(move)
    alike: dict[tuple[object, ...], list[str]] = {}
    for unit, own in by_unit.items():
        key = tuple(
            (*(kind_of(parts[part]) for part in m.parts), m.approach, m.slide, *sorted(j.number for j in m.joints))
            for m in own
        )
        alike.setdefault(key, []).append(unit)
    for units in alike.values():
        standing: tuple[str, ...] = ()
        for same in zip(*(by_unit[unit] for unit in units), strict=True):
            yield _Act(moves=same, units=tuple(units), standing=standing)
            standing += same[0].parts


def _cabinet_acts(moves: Sequence[Move], parts: Mapping[str, Part]) -> list[_Act]:
    """Return the moves of the cabinet itself; loose shelves, doors and drawers that follow each other are one act."""
    acts: list[_Act] = []
    standing: tuple[str, ...] = ()
    for move in moves:
        last = acts[-1] if acts else None
        if (
            last
            and _sort(move, parts)
            and (_sort(move, parts), move.approach) == (_sort(last.first, parts), last.first.approach)
        ):
            acts[-1] = replace(last, moves=(*last.moves, move))
        else:
            acts.append(_Act(moves=(move,), standing=standing))
        standing += move.parts
    return acts


def _sort(move: Move, parts: Mapping[str, Part]) -> str:
    if move.approach == STILL:
        return ""
    if len(move.parts) > 1:
        return "drawer"
    if any(joint.fastening is Fastening.HINGE for joint in move.joints):
        return "door"
    return "shelf" if not move.joints and parts[move.parts[0]].name == "Shelf" else ""
