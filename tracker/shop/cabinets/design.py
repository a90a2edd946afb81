"""From an order to a designed cabinet: its parts in their places, its joints with their numbers, and its hardware.

Joints that start at the same place of truly alike parts share a number, so such parts may be swapped.

Axes: x right, y back, z up. A panel's length runs along its grain; its face A looks into the cabinet, forward or up; L1
of what lies or stands as an end is in front. Everything locks downward, so load tightens it: that is why the right end
goes on last and up.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tracker.shop.cabinets.building import Build, met
from tracker.shop.cabinets.corner import OUTWARD, build_diagonal
from tracker.shop.cabinets.joints import Item, Joint
from tracker.shop.cabinets.orders import CabinetOrder, Family
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A joint's number where it stands on a part: on which side, and where in the panel's length and width, in mm."""

    number: int
    side: Face
    along_mm: float
    across_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Cabinet:
    """A designed cabinet. ``standard`` names the construction standard and its version."""

    order: CabinetOrder
    standard: str
    version: int
    parts: tuple[Part, ...]
    joints: tuple[Joint, ...]
    items: tuple[Item, ...]

    @property
    def front(self) -> Vector:
        """The direction in which the cabinet's front looks."""
        return OUTWARD if self.order.family is Family.DIAGONAL_CORNER else FRONT

    @property
    def mass_kg(self) -> float:
        return sum(part.mass_kg for part in self.parts)

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
        return tuple(sorted(found, key=lambda mark: (mark.number, mark.along_mm, mark.across_mm)))


def design_cabinet(order: CabinetOrder, standard: Standard) -> Cabinet:
    """Return the designed cabinet. Raises InvalidInputError with the rule of the standard that the order breaks."""
    build = Build(order, standard)
    _BUILDERS[order.family](build)
    parts = build.finished_parts()
    return Cabinet(
        order=order,
        standard=standard.name,
        version=standard.version,
        parts=parts,
        joints=_numbered(build.joints, {part.id: part for part in parts}),
        items=build.finished_items(),
    )


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
