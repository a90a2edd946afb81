"""The sentences of the steps: how the fitter puts in a panel, hangs a door, fits a hinge plate, drives a pin."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from typing import Final

from tracker.shop.cabinets.assembly import STILL, Move, Posture, base_of
from tracker.shop.cabinets.carcass import LEFT_ID, RIGHT_ID
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.guide.moves import Moves
from tracker.shop.cabinets.guide.values import PartRow
from tracker.shop.cabinets.joints import Fastening, Joint
from tracker.shop.cabinets.panels import DOWN, UP, distance
from tracker.shop.cabinets.wording import (
    all_of,
    label_name,
    listed,
    measured,
    name_within,
    numbered,
    plain_name,
)
from tracker.shop.saying import Name, join, say, say_many
from tracker.shop.written import length_text, mass_text

_LEVELS_TOLD: Final = 4
_SQUARE_MM: Final = 2.0  # common practice, no source


class Sentences:
    """Says the steps of one cabinet; ``has_pull`` tells whether a part gets a pull."""

    def __init__(self, cabinet: Cabinet, rows: Sequence[PartRow], has_pull: Callable[[str], bool]) -> None:
        self._cabinet, self._has_pull = cabinet, has_pull
        self._parts = {part.id: part for part in cabinet.parts}
        self._letters = {own: row.letter for row in rows for own in row.ids}
        self._called = {
            own: say("%(letter)s (%(name)s)", letter=row.letter, name=name_within(row.name, row.name))
            for row in rows
            for own in row.ids
        }
        self._is_corner = base_of(cabinet) != LEFT_ID

    def called(self, parts: Iterable[str]) -> str:
        """Name parts by their letters: A (door) and B (shelf)."""
        return all_of(self._called[own] for own in parts)

    def lettered(self, parts: Iterable[str]) -> str:
        """Name parts by their letters alone: A and B."""
        return all_of(self._letters[own] for own in parts)

    # ------------------------------------------------------------------ something is moved
    def title(self, told: Moves) -> str:
        """Return the title of a step that moves something."""
        if told.pushes:
            return self._pushing_title(told)
        name, count = self._titled(told), len(told.moves)
        if told.starts:
            return say("Start with the %(part)s", part=name) if told.units else say("Lay down the %(part)s", part=name)
        if len(told.first.parts) > 1:
            return say_many("Slide in the drawer", "Slide in the %(num)d drawers", count)
        if told.held_by(Fastening.HINGE):
            return say_many("Hang the door", "Hang the %(num)d doors", count)
        if not told.joints:
            return say_many("Put in the shelf", "Put in the %(num)d shelves", count)
        if told.first.parts[0] == RIGHT_ID:
            return say("Close with the %(part)s", part=name)
        return say("Add the %(part)s", part=name)

    def _titled(self, told: Moves) -> Name:
        """The name of what a step moves, as it stands in its title."""
        parts = [self._parts[move.parts[0]] for move in told.moves]
        if told.units:
            return name_within(plain_name(parts[0]), label_name(parts))
        return name_within(parts[0].name, parts[0].id)

    def _pushing_title(self, told: Moves) -> str:
        parts = self.lettered(told.moves[-1].parts)
        if told.first.is_catch:
            return say("Let every lock catch, then push %(parts)s home", parts=parts)
        return say("Push %(parts)s home", parts=parts)

    def moving(self, told: Moves) -> Iterator[str]:
        """Yield the sentences of a step that moves something."""
        if told.pushes:
            yield from self._pushed(told)
        elif told.starts:
            yield from self._first(told)
        elif len(told.first.parts) > 1:
            yield from _drawers(told)
        elif told.held_by(Fastening.HINGE):
            yield from self._doors(told)
        elif not told.joints:
            yield from self._shelves(told)
        elif told.held_by(Fastening.LOCK) or told.held_by(Fastening.DOWEL):
            yield from self._set_on(told)
        else:
            yield from self._screwed(told)

    def _first(self, told: Moves) -> Iterator[str]:
        called, count = self.called(told.first.parts), len(told.units)
        if told.units:
            lay = say("Lay %(part)s on a clean, soft surface, the side with the slots up.", part=called)
            many = say("Make %(count)d of these.", count=count)
            yield join([many, lay], between=" ") if count > 1 else lay
            yield say("Its arrow points to the front.")
            return
        yield say("Lay %(part)s flat on a clean, soft surface, the side with the slots up.", part=called)
        if self._is_corner:
            yield say("The panels that come next stand on it.")
        else:
            floor = self._length(2 * self._cabinet.order.height_mm)
            yield say("You need a floor that is %(length)s long: the back slides in from the top.", length=floor)

    def _set_on(self, told: Moves) -> Iterator[str]:
        """Say how what has locks or dowels is set onto what lies: it is pushed home when all are on."""
        locks, dowels = told.held_by(Fastening.LOCK), told.held_by(Fastening.DOWEL)
        if not locks:
            yield say("Push a dowel into each hole in the ends of %(part)s.", part=self.called(told.first.parts))
        yield join([self._taking(told), self._meeting(told, [*locks, *dowels])], between=" ")
        flat = say("Press it on until it sits flat.")
        is_pushed = any(joint.part in told.first.parts for joint in locks)
        yield join([flat, say("Do not push it home yet.")], between=" ") if is_pushed else flat

    def _pushed(self, told: Moves) -> Iterator[str]:
        """Say how what stands is pushed: half its way, so that it holds, or home."""
        for move in told.pushes:
            parts, length = self.called(move.parts), self._length(distance(move.slide, STILL))
            way = _way(move)
            if move.is_catch:
                yield say("Push %(parts)s %(length)s %(way)s, half of their way.", parts=parts, length=length, way=way)
            elif told.first.is_catch:
                yield say("Every lock holds now. Push %(parts)s on, together, until they stop.", parts=parts)
            else:
                yield say(
                    "Push %(parts)s %(length)s %(way)s, together, until they stop.", parts=parts, length=length, way=way
                )
                if move.posture is Posture.ON_ITS_FACE:
                    yield self.squaring()

    def _taking(self, told: Moves) -> str:
        return say("Take %(part)s, its arrow to the front.", part=self.called(told.first.parts))

    def _meeting(self, told: Moves, joints: Sequence[Joint]) -> str:
        numbers = sorted({joint.number for joint in joints})
        if len(numbers) > 1:
            return say("Hold equal numbers together: %(numbers)s.", numbers=listed(numbers))
        if len(joints) > 1:
            return say("Hold each %(number)d on it at a %(number)d on the others.", number=numbers[0])
        other = joints[0].onto if joints[0].part in told.first.parts else joints[0].part
        return say("Hold %(number)d on it at %(number)d on %(other)s.", number=numbers[0], other=self.called([other]))

    def _screwed(self, told: Moves) -> Iterator[str]:
        own = told.first.parts[0]
        screws, grooves = told.held_by(Fastening.SCREW), told.held_by(Fastening.GROOVE)
        yield self._taking(told)
        slides_in = bool(screws) or told.first.approach in (UP, DOWN)
        if grooves:
            yield _grooved(grooves, slid=slides_in)
        if slides_in and not screws:
            yield say("Push it in from the top of the cabinet until it is level with the ends.")
        if screws:
            hold = say("Then hold equal numbers together.") if grooves else say("Hold equal numbers together.")
            yield join([hold, _screwing(screws)], between=" ")
            if any(joint.gap_mm for joint in screws):
                yield say("Put a spacer on each screw between the two.")
        if self._has_pull(own):
            if self._parts[own].unit:
                yield say("Screw on its pull, with the long screws through both boards.")
            else:
                yield say("Screw on its pull.")

    def _shelves(self, told: Moves) -> Iterator[str]:
        yield say("Push four shelf pins for each shelf into the holes inside, all at one height.")
        yield say(
            "Tilt %(parts)s, bring it in from the front and lay it on its pins. Its arrow points to the front.",
            parts=self.called(told.parts),
        )

    def _doors(self, told: Moves) -> Iterator[str]:
        numbers = listed(joint.number for joint in told.joints)
        called = self.called(told.parts)
        yield say("Press the hinges into the round holes of %(parts)s and screw them down.", parts=called)
        yield say("Clip each hinge onto its plate, equal numbers together: %(numbers)s.", numbers=numbers)
        stick = say("Stick the bumpers inside, at the corners away from the hinges.")
        pulls = any(self._has_pull(own) for own in told.parts)
        yield join([say("Screw on the pulls."), stick], between=" ") if pulls else stick
        yield say("Turn the hinge screws until the gaps are even.")

    # ------------------------------------------------------------------ a panel lies alone
    def fitting(self, own: str, sliding: Sequence[Joint], hinged: Sequence[Joint]) -> Iterator[str]:
        """Yield how slides and hinge plates are screwed to a panel that lies with its inner face up."""
        yield say("Lay %(part)s on a clean, soft surface, the side with the holes up.", part=self.called([own]))
        if sliding:
            yield say("Take the drawer slides apart. Screw an outer half on at the black holes for each drawer.")
        if hinged:
            yield say("Screw a hinge plate on at each pair of black holes for the door.")
        for few in self._levels(sliding):
            yield say("Slides, measured from the lower end: %(levels)s.", levels=few)
        for few in self._levels(hinged):
            yield say("Hinge plates, measured from the lower end: %(levels)s.", levels=few)

    def _levels(self, joints: Sequence[Joint]) -> Iterator[str]:
        """Say how high hinges or slides sit, lowest first, a few in a sentence."""
        said = []
        for joint in sorted(joints, key=lambda each: min(point[2] for point in each.points)):
            levels = all_of(self._length(level) for level in sorted({round(point[2], 1) for point in joint.points}))
            said.append(say("%(number)s at %(levels)s", number=joint.number, levels=levels))
        for start in range(0, len(said), _LEVELS_TOLD):
            yield join(said[start : start + _LEVELS_TOLD], between="; ")

    def _length(self, length_mm: float) -> str:
        return measured(length_text(length_mm, self._cabinet.order.units))

    # ------------------------------------------------------------------ the whole cabinet
    def squaring(self) -> str:
        """Say how the cabinet is made square before pins keep it as it is."""
        return say(
            "Measure both diagonals at the back. Push at the longer one until they differ by at most %(most)s.",
            most=self._length(_SQUARE_MM),
        )

    def turning(self, seated: Iterable[str]) -> tuple[str, ...]:
        """Say how the cabinet is laid on its face and what locks forward is seated."""
        return (
            say("Lay the cabinet on its front edges, on a clean, soft surface. Do not drag it."),
            say("Press %(parts)s down until they stop.", parts=self.called(seated)),
        )

    def pinning(self, pins: Sequence[Joint]) -> Iterator[str]:
        """Say how the spring pins are driven in: from behind, or through walls of a diagonal corner."""
        outer, inner = driven_from(pins), [joint.part for joint in pins if joint.part not in {j.onto for j in pins}]
        yield say(
            "Drive a spring pin into each of the %(count)d holes in %(part)s, from outside and level with the wood.",
            count=sum(joint.count for joint in outer),
            part=self.called(sorted((joint.onto for joint in outer), key=self._letters.__getitem__)),
        )
        levels = {round(joint.points[0][2], 3) for joint in pins if joint.part in inner}
        short = [joint.onto for joint in outer if round(joint.points[0][2], 3) not in levels]
        if short:
            yield say("The short pins go into %(part)s, which has no panel before it.", part=self.called(short))
        yield say(
            "They go through to %(part)s (%(numbers)s).",
            part=self.called(inner),
            numbers=numbered(joint.number for joint in pins if joint.part in inner),
        )

    def tied(self) -> Iterator[str]:
        """Say what holds when the pins are in, and what does not; those of a diagonal corner follow."""
        yield say("Pull at each panel: none may come off.")
        gripped = self._cabinet.held_by_grip
        for own in gripped:
            yield say("%(part)s is held by the lock's grip alone: do not pull it backward.", part=self.called([own]))
        if self._cabinet.is_tied and gripped:
            yield say("With its pins in, no other panel can slide out. That says nothing of strength.")
        elif self._cabinet.is_tied:
            yield say("With its pins in, no panel can slide out of the others. That says nothing of strength.")

    def hanging(self) -> Iterator[str]:
        """Say what a cabinet that hangs on the wall may hold by the word of its locks' maker."""
        locks, each, units = self._cabinet.hanging_locks, self._cabinet.lock_carries_kg, self._cabinet.order.units
        if locks:
            if each is None:
                yield say("Hanging load not checked: the maker's value for one lock is not known.")
            else:
                yield say(
                    "Its locks carry %(most)s. The cabinet weighs %(mass)s; load it with at most %(load)s.",
                    most=mass_text(locks * each, units),
                    mass=mass_text(self._cabinet.mass_kg, units),
                    load=mass_text(locks * each - self._cabinet.mass_kg, units),
                )

    def placing(self) -> str:
        """Say how the cabinet comes to its place."""
        if self._is_corner:
            return say("Put it in its place, level it, and screw it to the wall through the panels at its back.")
        return say("Put it in its place, level it, and screw it to the wall through the strips behind its back.")

    def fixing(self, through: Iterable[str]) -> tuple[str, ...]:
        """Say how the cabinet is fixed to the building through some of its panels."""
        return (
            say("Hold the cabinet in its place and level it."),
            say("Screw it to the studs or the masonry through %(parts)s.", parts=self.called(through)),
            say("Use screws that suit the wall; the cartons hold none. Pull hard at the cabinet before you go on."),
        )


def driven_from(pins: Sequence[Joint]) -> list[Joint]:
    """Return the joints at which pins are driven in: of a pin through two panels, at the outer one."""
    return [joint for joint in pins if joint.onto not in {each.part for each in pins}]


def fitting_title(part: Name, *, slides: bool, plates: bool) -> str:
    """Return the title of a step that screws slides or hinge plates to a panel."""
    if slides and plates:
        return say("Fit the slides and hinge plates to the %(part)s", part=part)
    if slides:
        return say("Fit the slides to the %(part)s", part=part)
    return say("Fit the hinge plates to the %(part)s", part=part)


def _drawers(told: Moves) -> Iterator[str]:
    if len(told.moves) == 1:
        yield say("Screw the inner halves of the slides to the sides of the drawer.")
    else:
        yield say("Screw the inner halves of the slides to the sides of each drawer.")
    numbers = numbered(joint.number for joint in told.joints)
    yield say("Pull the outer halves out, set the drawer on them and push it in: %(numbers)s.", numbers=numbers)


def _screwing(joints: Sequence[Joint]) -> str:
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


def _way(push: Move) -> str:
    """Say which way parts are pushed until they lock: by the cabinet or drawer itself, however it lies."""
    _, forth, up = push.slide
    if push.unit:
        return say("towards the lower edge of the drawer")
    if forth:
        return say("towards the front of the cabinet")
    return say("towards the top of the cabinet") if up > 0 else say("towards the floor end of the cabinet")


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
