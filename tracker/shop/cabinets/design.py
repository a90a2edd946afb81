"""From an order to a designed cabinet: its parts in their places, its joints with their numbers, and its hardware.

Joints that start at the same place of truly alike parts share a number, so such parts may be swapped.

Axes: x right, y back, z up. A panel's length runs along its grain; its face A looks into the cabinet, forward or up; L1
of what lies or stands as an end is in front. The locks cross and pins tie them, so that nothing can slide out of the
rest: see `carcass.join_ends`, and `corner` where they cannot cross.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tracker.shop.cabinets.building import Build, met, refuse
from tracker.shop.cabinets.carcass import LEFT_BACK_ID, NAILER_IDS, RIGHT_BACK_ID
from tracker.shop.cabinets.corner import OUTWARD, build_diagonal
from tracker.shop.cabinets.joints import Fastening, Item, Joint
from tracker.shop.cabinets.orders import CabinetOrder, Family, Fronts
from tracker.shop.cabinets.panels import FRONT, SIDES, Face, Part, Vector, dot, normal_of
from tracker.shop.cabinets.standard import Standard
from tracker.shop.cabinets.straight import (
    build_base,
    build_blind,
    build_end_panel,
    build_filler,
    build_tall,
    build_wall,
)
from tracker.shop.saying import say
from tracker.shop.written import mass_text

_BUILDERS: Final[Mapping[Family, Callable[[Build], None]]] = {
    Family.BASE: build_base,
    Family.WALL: build_wall,
    Family.TALL: build_tall,
    Family.BLIND_CORNER: build_blind,
    Family.DIAGONAL_CORNER: build_diagonal,
    Family.FILLER: build_filler,
    Family.END_PANEL: build_end_panel,
}
_DIGITS: Final = 3
_SAME_PLANE_MM: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A joint's number where it stands on a part: on which side, and where in the panel's length and width, in mm."""

    number: int
    side: Face
    along_mm: float
    across_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cabinet:
    """A designed cabinet. ``standard`` names the construction standard and its version.

    ``lock_carries_kg`` is what that standard lets one lock carry on the wall (None where it does not say).
    """

    order: CabinetOrder
    standard: str
    version: int
    parts: tuple[Part, ...]
    joints: tuple[Joint, ...]
    items: tuple[Item, ...]
    lock_carries_kg: float | None = None

    @property
    def front(self) -> Vector:
        """The direction in which the cabinet's front looks."""
        return OUTWARD if self.order.family is Family.DIAGONAL_CORNER else FRONT

    @property
    def mass_kg(self) -> float:
        return sum(part.mass_kg for part in self.parts)

    @property
    def held_by_grip(self) -> tuple[str, ...]:
        """What locks forward and has no back behind it: the grip of its locks alone keeps it from sliding back."""
        forward = dict.fromkeys(joint.part for joint in self.joints if joint.slide[1] < 0)
        rear = {own: max(corner[1] for corner in self.part(own).corners()) for own in forward}
        return tuple(own for own in forward if rear[own] < max(rear.values()) - _SAME_PLANE_MM)

    @property
    def is_tied(self) -> bool:
        """Whether pins and crossed locks keep all else together; in designs of old, everything could rise."""
        if self.order.family is Family.DIAGONAL_CORNER:
            return any(joint.fastening is Fastening.PIN for joint in self.joints)
        return any(joint.slide[2] > 0 for joint in self.joints)

    @property
    def hanging_locks(self) -> int:
        """How many locks carry a cabinet that hangs on the wall: those of the panels that are screwed to it."""
        if not (self.order.family is Family.WALL or self.order.fronts is Fronts.WALL):
            return 0
        fixed = {*NAILER_IDS, LEFT_BACK_ID, RIGHT_BACK_ID}
        return sum(
            joint.count
            for joint in self.joints
            if joint.fastening is Fastening.LOCK and {joint.part, joint.onto} & fixed
        )

    def part(self, own: str) -> Part:
        return next(part for part in self.parts if part.id == own)

    def front_side(self, part: Part) -> Face:
        """The side of a part that looks to the front of the cabinet: where the arrow on its label points."""
        edges_first = sorted(Face, key=lambda face: face in (Face.A, Face.B))
        return max(edges_first, key=lambda face: round(dot(normal_of(part.place, face), self.front), 6))

    def marks(self, part: Part) -> tuple[Mark, ...]:
        """The joint numbers of a part, in the order of their numbers."""
        found = []
        for joint in self.joints:
            if joint.part == part.id:
                found.append(_mark(joint.number, part, joint.side, self.part(joint.onto), joint.onto_side))
            if joint.onto == part.id:
                found.append(_mark(joint.number, part, joint.onto_side, self.part(joint.part), joint.side))
        return tuple(sorted(dict.fromkeys(found), key=lambda mark: (mark.number, mark.along_mm, mark.across_mm)))


def design_cabinet(order: CabinetOrder, standard: Standard) -> Cabinet:
    """Return the designed cabinet. Raises InvalidInputError with the rule of the standard that the order breaks."""
    build = Build(order, standard)
    _BUILDERS[order.family](build)
    parts = build.finished_parts()
    cabinet = Cabinet(
        order=order,
        standard=standard.name,
        version=standard.version,
        parts=parts,
        joints=_numbered(build.joints, {part.id: part for part in parts}),
        items=build.finished_items(),
        lock_carries_kg=standard.lock.hanging_kg,
    )
    _check_hanging(cabinet)
    return cabinet


def _check_hanging(cabinet: Cabinet) -> None:
    """Refuse a cabinet whose locks do not carry its own mass, where their maker says what they do."""
    most = cabinet.hanging_locks * (cabinet.lock_carries_kg or 0.0)
    if most and cabinet.mass_kg >= most:
        units = cabinet.order.units
        what = say(
            "empty it weighs %(mass)s, and its locks carry %(most)s",
            mass=mass_text(cabinet.mass_kg, units),
            most=mass_text(most, units),
        )
        raise refuse("width", "lock.hanging", what)


def kind_of(part: Part) -> tuple[object, ...]:
    """Return what makes two parts truly alike: the same panel, edges and machining, whatever it is called."""
    features = sorted(
        (
            feature.work.value,
            feature.face.value,
            *(
                _rounded(value)
                for value in (
                    feature.x_mm,
                    feature.y_mm,
                    feature.dx_mm,
                    feature.dy_mm,
                    feature.depth_mm,
                    feature.diameter_mm,
                )
            ),
        )
        for feature in part.features
    )
    size = (_rounded(part.length_mm), _rounded(part.width_mm))
    return (part.board, size, part.grain, frozenset(part.edges), part.tape_mm, tuple(features))


def _rounded(value: float) -> float:
    """Round away the noise first: equal measures that lie at half a digit must not part ways."""
    return round(round(value, 2 * _DIGITS), _DIGITS) + 0.0


def _numbered(joints: Sequence[Joint], parts: Mapping[str, Part]) -> tuple[Joint, ...]:
    """Number the joints from 1.

    Joints that start at the same place of parts that are truly alike have the same number, so that such parts may be
    swapped: one drawer's bottom fits another's groove. All others differ.
    """
    kinds = {own: kind_of(part) for own, part in parts.items()}
    leaders: dict[object, object] = {}

    def leader(end: object) -> object:
        while leaders.setdefault(end, end) != end:
            end = leaders[end]
        return end

    starts = []
    for joint in joints:
        one = _end_of(kinds, parts[joint.part], joint.side, parts[joint.onto], joint.onto_side)
        other = _end_of(kinds, parts[joint.onto], joint.onto_side, parts[joint.part], joint.side)
        leaders[leader(other)] = leader(one)
        starts.append(one)
    numbers: dict[object, int] = {}
    return tuple(
        replace(joint, number=numbers.setdefault(leader(start), len(numbers) + 1))
        for joint, start in zip(joints, starts, strict=True)
    )


def _end_of(kinds: Mapping[str, object], part: Part, side: Face, other: Part, other_side: Face) -> object:
    """Return what tells one end of a joint from another: the kind of part, the side, and where on it."""
    mark = _mark(0, part, side, other, other_side)
    return (kinds[part.id], side, _rounded(mark.along_mm), _rounded(mark.across_mm))


def _mark(number: int, part: Part, side: Face, other: Part, other_side: Face) -> Mark:
    low, high = met(part, side, other, other_side)
    own = [0.0, 0.0, 0.0]
    axis, far, first, second = SIDES[side]
    own[axis] = part.sizes[axis] if far else 0.0
    own[first], own[second] = (low[0] + high[0]) / 2, (low[1] + high[1]) / 2
    return Mark(number=number, side=side, along_mm=own[0], across_mm=own[1])
