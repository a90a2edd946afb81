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
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.lifting import Handling
from tracker.shop.written import length_number, length_text, mass_text

# Common practice, no source: what a part is, said to one who does not know its name in the trade.
_PLAIN: Final[Mapping[str, str]] = {
    "Left end": "left side of the cabinet",
    "Right end": "right side of the cabinet",
    "Toe kick": "board at the floor",
    "Deck": "bottom of the cabinet",
    "Top": "top of the cabinet",
    "Back": "thin panel at the back",
    "Left back": "panel against the left wall",
    "Right back": "panel against the right wall",
    "Bottom nailer": "strip behind the back, low",
    "Top nailer": "strip behind the back, high",
    "Drawer stretcher": "strip under the drawer",
    "Sink rail": "strip at the front, high",
    "Fixed shelf": "shelf that is locked in",
    "Oven shelf": "shelf that carries the oven",
    "Shelf": "loose shelf",
    "Fixed front": "front that does not open",
    "Blind stile": "upright strip beside the door",
    "Blind panel": "front that does not open",
    "Filler": "strip that closes a gap",
    "End panel": "panel for a side that is seen",
}
_PLAIN_DRAWER: Final[Mapping[str, str]] = {
    "box front": "front of the drawer's box",
    "box back": "back of the drawer's box",
    "bottom": "thin bottom of the drawer",
    "left side": "left side of the drawer's box",
    "right side": "right side of the drawer's box",
    "front": "front that is seen",
}
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
        return "mm" if self.units is Units.MM else "inches"

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
    Handling.ONE_PERSON: "one person",
    Handling.TWO_PERSONS: "two people",
    Handling.MACHINE: "two people and a lifting aid",
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


def plain_name(part: Part) -> str:
    """The name on the label without the number of the drawer."""
    if part.unit and part.name.startswith(f"{part.unit} "):
        return "Drawer " + part.name.removeprefix(f"{part.unit} ")
    return part.name


def label_name(parts: Sequence[Part]) -> str:
    """The name on the labels of parts that are alike; where only their numbers differ, all of these."""
    first = parts[0]
    if len(parts) == 1:
        return first.id
    if plain_name(first) != first.name:  # a drawer's part is numbered with its drawer
        numbers = listed(int(part.unit.rsplit(" ", 1)[1]) for part in parts)
        return f"Drawers {numbers}: {plain_name(first).removeprefix('Drawer ')}"
    numbers = listed(int(part.id.rsplit(" ", 1)[1]) for part in parts)
    return f"{first.name.replace('helf', 'helves')} {numbers}"


def _row(cabinet: Cabinet, letter: str, parts: Sequence[Part]) -> PartRow:
    first, name, units = parts[0], plain_name(parts[0]), cabinet.order.units
    plain = _PLAIN_DRAWER.get(name.removeprefix("Drawer ")) if name.startswith("Drawer ") else None
    return PartRow(
        letter=letter,
        name=label_name(parts),
        plain=plain or _PLAIN.get(name) or name.lower(),
        count=len(parts),
        size=" × ".join(length_number(round(size) if units is Units.MM else size, units) for size in first.sizes),
        mass_kg=first.mass_kg,
        numbers=tuple(sorted({mark.number for part in parts for mark in cabinet.marks(part)})),
        ids=tuple(part.id for part in parts),
    )


def _general_cautions(cabinet: Cabinet, limit: float) -> Iterator[str]:
    lifters = lifted_by(cabinet.mass_kg, limit)
    if lifters is not Handling.ONE_PERSON:
        mass = mass_text(cabinet.mass_kg, cabinet.order.units)
        yield f"{LIFTERS[lifters].capitalize()} move this cabinet: put together it weighs {mass}."
    if needs_wall_fixing(cabinet):
        yield FIX
    if cabinet.order.fronts in _TRADES:
        yield _TRADES[cabinet.order.fronts][1]


def _all_cautions(steps: Iterable[Step]) -> Iterator[str]:
    for step in steps:
        yield from (caution for caution in step.cautions if not caution.startswith("Two people"))


def listed(numbers: Iterable[int]) -> str:
    """Numbers in a sentence: 3, 5 and 7."""
    texts = [str(number) for number in sorted(set(numbers))]
    return texts[0] if len(texts) == 1 else f"{', '.join(texts[:-1])} and {texts[-1]}" if texts else ""


_TRADES: Final = {
    Fronts.SINK: ("The sink", "Water and drain: a licensed plumber connects them."),
    Fronts.OVEN: ("The oven", "Power and gas: a licensed electrician or gas fitter connects them."),
}
EYES: Final = "Wear eye protection when you drive pins or strike with a mallet."
FIX: Final = "Fix the cabinet to the structure of the building before you load it. Follow the local code."


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
        self.names = {own: row.name.lower() for row in rows for own in row.ids}
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
        sentences = [f"This carton holds one panel, {self._called(own)}. There is nothing to put together."]
        sentences.append("Trim it on site if it must be, and screw it to the cabinet beside it from the inside.")
        return Step(
            number=1,
            unit="",
            title="Fit the panel",
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
        sentences = [f"Lay {self._called(own)} on a clean, soft surface, the side with the holes up."]
        items: Counter[str] = Counter()
        if sliding:
            sentences.append("Take the drawer slides apart. Screw an outer half on at the black holes for each drawer.")
            items += self._opened("slide pair", Fastening.SLIDE)
        if hinged:
            sentences.append("Screw a hinge plate on at each pair of black holes for the door.")
            items += self._opened("hinge", Fastening.HINGE)
        sentences += self._levels("Slides", sliding)
        sentences += self._levels("Hinge plates", hinged)
        return Step(
            number=1,
            unit="",
            title=f"Fit the {_and(self._fitted(sliding, hinged))} to the {self.parts[own].name.lower()}",
            sentences=tuple(sentences),
            cautions=self._heavy(own),
            shown=(own,),
            fitted=tuple(joints),
            items=_items(items),
            posture=Posture.INSIDE_UP,
        )

    def _fitted(self, sliding: Sequence[Joint], hinged: Sequence[Joint]) -> Iterator[str]:
        if sliding:
            yield "slides"
        if hinged:
            yield "hinge plates"

    def _levels(self, what: str, joints: Sequence[Joint]) -> Iterator[str]:
        """Say how high hinges or slides sit, lowest first, a few in a sentence."""
        units, said = self.cabinet.order.units, []
        for joint in sorted(joints, key=lambda each: min(point[2] for point in each.points)):
            levels = sorted({round(point[2], 1) for point in joint.points})
            said.append(f"{joint.number} at {_and(length_text(level, units) for level in levels)}")
        for start in range(0, len(said), _LEVELS_TOLD):
            yield f"{what}, measured from the lower end: {'; '.join(said[start : start + _LEVELS_TOLD])}."

    def _opened(self, item: str, fastening: Fastening) -> Counter[str]:
        """Hinges and slides are taken out of the bag where the first of their halves is screwed on."""
        kind = {joint.onto for joint in self.cabinet.joints if joint.fastening is fastening}
        return self.purse.take_each(item, 1, len(kind)) if fastening is Fastening.HINGE else self.purse.take_all(item)

    # ------------------------------------------------------------------ the steps that move something
    def _unit_step(self, act: _Act) -> Step:
        lies = abs(act.first.approach[0]) > _STRAIGHT or act.first.approach == STILL
        step = self._step(act, Posture.LYING if lies else Posture.STANDING)
        many = f"Make {len(act.units)} of these. " if len(act.units) > 1 and act.first.approach == STILL else ""
        return replace(step, sentences=(many + step.sentences[0], *step.sentences[1:])) if many else step

    def _step(self, act: _Act, posture: Posture) -> Step:
        shown = act.moves[:1] if act.units else act.moves
        return Step(
            number=1,
            unit=_units_named(act.units),
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
        name = plain_name(part).lower() if act.units else part.name.lower()
        count = len(act.moves)
        if act.first.approach == STILL:
            verb = "Start with" if act.units else "Lay down"
            return f"{verb} the {name}"
        if len(act.first.parts) > 1:
            return "Slide in the drawer" if count == 1 else f"Slide in the {count} drawers"
        if act.has(Fastening.HINGE):
            return "Hang the door" if count == 1 else f"Hang the {count} doors"
        if not act.joints:
            return "Put in the shelf" if count == 1 else f"Put in the {count} shelves"
        if part.name == "Right end":
            return "Close with the right end"
        return f"Add the {name}"

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
            yield f"Lay {self._called(own)} on a clean, soft surface, the side with the slots up."
            yield "Its arrow points to the front."
            return
        yield f"Lay {self._called(own)} flat on a clean, soft surface, the side with the slots up."
        if self.is_corner:
            yield "The panels that come next stand on it."

    def _lock(self, act: _Act, posture: Posture) -> Iterator[str]:
        own, locks = act.first.parts[0], [joint for joint in act.joints if joint.fastening is Fastening.LOCK]
        yield f"Take {self._called(own)}, its arrow to the front. {self._meeting(act, locks)}"
        slots = [joint for joint in act.joints if joint.fastening is Fastening.GROOVE]
        if slots:
            yield f"Let the thin panel run into its groove at {listed(joint.number for joint in slots)}."
        down = act.first.slide[2] < 0
        if act.units:
            way = f"towards the {'lower' if down else 'upper'} edge of the drawer"
        elif posture is Posture.LYING:
            way = "towards the floor end of the cabinet" if down else "towards the top of the cabinet"
        else:
            way = "down" if down else "up"
        push = length_text(abs(act.first.slide[2]), self.cabinet.order.units)
        yield f"Press it on until it sits flat. Then push it {push} {way} until it stops."

    def _meeting(self, act: _Act, joints: Sequence[Joint]) -> str:
        numbers = sorted({joint.number for joint in joints})
        if len(numbers) == 1:
            joint = joints[0]
            other = joint.onto if joint.part in act.first.parts else joint.part
            if len(joints) == 1:
                return f"Hold {numbers[0]} on it at {numbers[0]} on {self._called(other)}."
            return f"Hold each {numbers[0]} on it at a {numbers[0]} on the others."
        return f"Hold equal numbers together: {listed(numbers)}."

    def _screwed(self, act: _Act) -> Iterator[str]:
        own = act.first.parts[0]
        screws = [joint for joint in act.joints if joint.fastening is Fastening.SCREW]
        grooves = [joint for joint in act.joints if joint.fastening is Fastening.GROOVE]
        yield f"Take {self._called(own)}, its arrow to the front."
        if grooves:
            edges = "its edge into the groove" if len(grooves) == 1 else "its edges into the grooves"
            numbers = _numbered(joint.number for joint in grooves)
            yield f"{'Slide' if screws else 'Set'} {edges} at {numbers}."
        if screws:
            yield f"{'Then hold' if grooves else 'Hold'} equal numbers together. {self._screwing(screws)}"
            if any(joint.gap_mm for joint in screws):
                yield "Put a spacer on each screw between the two."
        if self._has_pull(own):
            behind = ", with the long screws through both boards" if self.parts[own].unit else ""
            yield f"Screw on its pull{behind}."

    def _screwing(self, joints: Sequence[Joint]) -> str:
        """Say which screw goes where, and from which side where a front is screwed on from both."""
        kinds = dict.fromkeys(joint.item for joint in joints)
        if len(kinds) < 2:
            return f"Screw it on at {_numbered(joint.number for joint in joints)}."
        said = []
        for kind in kinds:
            numbers = _numbered(joint.number for joint in joints if joint.item == kind)
            said.append(f"{numbers} with the {kind.removeprefix('screw ')} screws")
        return f"Screw it on at {' and at '.join(said)}."

    def _shelves(self, act: _Act) -> Iterator[str]:
        names = _and(dict.fromkeys(self._called(own) for own in act.parts))
        yield "Push four shelf pins for each shelf into the holes inside, all at one height."
        yield f"Tilt {names}, bring it in from the front and lay it on its pins. Its arrow points to the front."

    def _doors(self, act: _Act) -> Iterator[str]:
        called = _and(self._called(own) for own in act.parts)
        yield f"Press the hinges into the round holes of {called} and screw them down."
        yield f"Clip each hinge onto its plate, equal numbers together: {listed(j.number for j in act.joints)}."
        pulls = any(self._has_pull(own) for own in act.parts)
        yield f"{'Screw on the pulls. ' if pulls else ''}Stick the bumpers inside, at the corners away from the hinges."
        yield "Turn the hinge screws until the gaps are even."

    def _drawers(self, act: _Act) -> Iterator[str]:
        yield f"Screw the inner halves of the slides to the sides of {'the' if len(act.moves) == 1 else 'each'} drawer."
        numbers = _numbered(joint.number for joint in act.joints)
        yield f"Pull the outer halves out, set the drawer on them and push it in: {numbers}."

    # ------------------------------------------------------------------ the steps that move nothing
    def _drive_pins(self, present: tuple[str, ...]) -> Step:
        near = tuple(dict.fromkeys(own for joint in self.pins for own in (joint.part, joint.onto)))
        numbers = tuple(sorted({joint.number for joint in self.pins}))
        outer = max(self.pins, key=lambda joint: joint.points[0][1])
        sentences = [
            f"Go to the back of the cabinet. Find the {outer.count} holes in {self._called(outer.onto)}.",
            "Drive a spring pin into each with a mallet, until its end is level with the wood.",
            f"It goes through to {self._called(near[0])} ({_numbered(numbers)}).",
        ]
        pins = self.purse.take_all("spring pin")
        return Step(
            number=1,
            unit="",
            title="Drive the spring pins",
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
        sentences = ["Pull at each panel: none may come off.", "Set the cabinet upright. Do not drag it on its edges."]
        if self.placed_last:
            sentences.append("Leave room under and over it for a screwdriver: it goes to its place last.")
        elif not needs_wall_fixing(self.cabinet):
            sentences.append(self._placing())
        return Step(
            number=1,
            unit="",
            title="Stand the cabinet up",
            sentences=tuple(sentences),
            cautions=tuple(self._two_people()),
            standing=present,
        )

    def _placing(self) -> str:
        through = "panels at its back" if self.is_corner else "strips behind its back"
        return f"Put it in its place, level it, and screw it to the wall through the {through}."

    def _put_in_place(self, present: tuple[str, ...]) -> Step:
        loose = any(part.name == "Shelf" for part in self.parts.values())
        first = ("Lay the loose shelves flat on the bottom before you move it. Set them on their pins afterwards.",)
        return Step(
            number=1,
            unit="",
            title="Put the cabinet in its place",
            sentences=(*(first if loose else ()), self._placing()),
            cautions=tuple(self._two_people()),
            standing=present,
        )

    def _fix(self, present: tuple[str, ...]) -> Step:
        through = tuple(own for own in present if own.endswith("nailer")) or tuple(
            own for own in present if "back" in own
        )
        sentences = (
            "Hold the cabinet in its place and level it.",
            f"Screw it to the studs or the masonry through {_and(self._called(own) for own in through)}.",
            "Use screws that suit the wall; the cartons hold none. Pull hard at the cabinet before you go on.",
        )
        return Step(
            number=1,
            unit="",
            title="Fix the cabinet to the building",
            sentences=sentences,
            cautions=(*self._two_people(), FIX),
            standing=present,
            shown=through,
            from_behind=True,
        )

    def _trades(self, present: tuple[str, ...]) -> Iterator[Step]:
        if self.cabinet.order.fronts in _TRADES:
            title, caution = _TRADES[self.cabinet.order.fronts]
            sentences = ("The cabinet is ready.", "Do not connect pipes, wires or gas yourself.")
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
        return f"{self.letters[own]} ({self.names[own]})"

    def _cautions(self, act: _Act) -> Iterator[str]:
        if len(act.first.parts) == 1:
            yield from self._heavy(act.first.parts[0])

    def _heavy(self, own: str) -> tuple[str, ...]:
        return tuple(self._lifting(self.parts[own].mass_kg, "this part"))

    def _two_people(self) -> Iterator[str]:
        yield from self._lifting(self.cabinet.mass_kg, "the whole cabinet")

    def _lifting(self, mass_kg: float, what: str) -> Iterator[str]:
        lifters = lifted_by(mass_kg, self.limit)
        if lifters is not Handling.ONE_PERSON:
            mass = mass_text(mass_kg, self.cabinet.order.units)
            yield f"{LIFTERS[lifters].capitalize()}: {what} weighs {mass}."

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


def _and(texts: Iterable[str]) -> str:
    each = list(dict.fromkeys(texts))
    return each[0] if len(each) == 1 else f"{', '.join(each[:-1])} and {each[-1]}"


def _numbered(numbers: Iterable[int]) -> str:
    each = sorted(set(numbers))
    return f"number{'s' if len(each) > 1 else ''} {listed(each)}"


def _units_named(units: Sequence[str]) -> str:
    """Drawer 1, or: Drawers 2, 3 and 4."""
    if len(units) < 2:
        return "".join(units)
    return f"{units[0].rsplit(' ', 1)[0]}s {listed(int(unit.rsplit(' ', 1)[1]) for unit in units)}"


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
