"""A part of a cabinet: a panel with its edges, its machining and its place. Lengths in mm.

Axes of the cabinet, seen by one who stands before it: x to the right, y to the back, z up. The origin is the left front
bottom corner of the carcass, so fronts that lie on the carcass have negative y.

Axes of a panel: along its length from edge W1 to edge W2, along its width from edge L1 to edge L2, through its
thickness from face B to face A. A place on face A or B is (along the length, along the width), on an edge L1 or L2
(along the length, through the thickness), on an edge W1 or W2 (along the width, through the thickness): the same corner
is 0, 0 for all of them.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import dist
from typing import Final

from tracker.shop.cabinets.standard import Board

Vector = tuple[float, float, float]

RIGHT: Final[Vector] = (1.0, 0.0, 0.0)
LEFT: Final[Vector] = (-1.0, 0.0, 0.0)
BACK: Final[Vector] = (0.0, 1.0, 0.0)
FRONT: Final[Vector] = (0.0, -1.0, 0.0)
UP: Final[Vector] = (0.0, 0.0, 1.0)
DOWN: Final[Vector] = (0.0, 0.0, -1.0)


def dot(one: Vector, other: Vector) -> float:
    return one[0] * other[0] + one[1] * other[1] + one[2] * other[2]


def minus(one: Vector, other: Vector) -> Vector:
    return (one[0] - other[0], one[1] - other[1], one[2] - other[2])


def distance(one: Vector, other: Vector) -> float:
    """Return how far two points are from each other."""
    return dist(one, other)


def moved(point: Vector, direction: Vector, by: float) -> Vector:
    return (point[0] + direction[0] * by, point[1] + direction[1] * by, point[2] + direction[2] * by)


def middle_of(points: Sequence[Vector]) -> Vector:
    """Return the mean of points: the middle of a line, of a side, of a block."""
    x, y, z = (sum(each) / len(points) for each in zip(*points, strict=True))
    return (x, y, z)


def reverse(direction: Vector) -> Vector:
    return (-direction[0], -direction[1], -direction[2])


class Face(StrEnum):
    """The six sides of a panel: two faces, and the edges by the names that the cut list uses."""

    A = "A"
    B = "B"
    L1 = "L1"
    L2 = "L2"
    W1 = "W1"
    W2 = "W2"


# For each side: the axis through it (0 length, 1 width, 2 thickness), whether it is the far one, the two axes on it.
SIDES: Final[dict[Face, tuple[int, bool, int, int]]] = {
    Face.A: (2, True, 0, 1),
    Face.B: (2, False, 0, 1),
    Face.L1: (1, False, 0, 2),
    Face.L2: (1, True, 0, 2),
    Face.W1: (0, False, 1, 2),
    Face.W2: (0, True, 1, 2),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a panel stands: its corner W1-L1-B, and its three axes as unit vectors, right-handed in this order."""

    origin: Vector
    length: Vector
    width: Vector
    thickness: Vector

    @property
    def axes(self) -> tuple[Vector, Vector, Vector]:
        return (self.length, self.width, self.thickness)

    def to_cabinet(self, along: float, across: float, through: float) -> Vector:
        """Return the point of the cabinet that the panel's own coordinates name."""
        origin, length, width, thickness = self.origin, self.length, self.width, self.thickness
        return (
            origin[0] + length[0] * along + width[0] * across + thickness[0] * through,
            origin[1] + length[1] * along + width[1] * across + thickness[1] * through,
            origin[2] + length[2] * along + width[2] * across + thickness[2] * through,
        )

    def to_panel(self, point: Vector) -> Vector:
        """Return the panel's own coordinates of a point of the cabinet."""
        away = minus(point, self.origin)
        return (dot(away, self.length), dot(away, self.width), dot(away, self.thickness))


class Work(StrEnum):
    """The kinds of machining."""

    LOCK_BORE = "lock bore"
    LOCK_SLOT = "lock slot"
    PIN_HOLE = "pin hole"
    DOWEL_HOLE = "dowel hole"
    LINE_HOLE = "line hole"
    HINGE_CUP = "hinge cup"
    SLIDE_HOLE = "slide hole"
    PULL_HOLE = "pull hole"
    SCREW_HOLE = "screw hole"
    PILOT_HOLE = "pilot hole"
    GROOVE = "groove"
    NOTCH = "notch"
    CORNER_CUT = "corner cut"


@dataclass(frozen=True, slots=True, kw_only=True)
class Feature:
    """One piece of machining on a side of a panel.

    A hole stands at ``x_mm``, ``y_mm``. A slot is a hole drawn on by ``dx_mm``, ``dy_mm``; its fastener rests at
    ``x_mm``, ``y_mm``. A groove or a notch fills the rectangle from ``x_mm``, ``y_mm`` to ``x_mm + dx_mm``,
    ``y_mm + dy_mm``; a corner cut takes off the triangle with its right angle at ``x_mm``, ``y_mm``. These have no
    diameter.
    """

    work: Work
    face: Face
    x_mm: float
    y_mm: float
    depth_mm: float
    diameter_mm: float = 0.0
    dx_mm: float = 0.0
    dy_mm: float = 0.0


class Grain(StrEnum):
    """The direction of the grain; none where the board has none."""

    LENGTH = "length"
    NONE = "none"


class Hand(StrEnum):
    """Whether a part belongs to one side: a left one is the mirror image of a right one."""

    LEFT = "left"
    RIGHT = "right"
    NONE = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One panel of a cabinet. Its sizes are finished sizes, edge tape included.

    ``id`` is its own within the cabinet; parts that are alike share a ``name``. ``unit`` names the sub-assembly that is
    put together on its own (a drawer), or is empty. ``front`` marks a panel whose face is seen, not to be scratched.
    """

    id: str
    name: str
    length_mm: float
    width_mm: float
    board: Board
    grain: Grain
    edges: tuple[str, ...]
    tape_mm: float
    hand: Hand
    unit: str
    front: bool
    features: tuple[Feature, ...]
    place: Place

    @property
    def thickness_mm(self) -> float:
        return self.board.thickness_mm

    @property
    def sizes(self) -> Vector:
        return (self.length_mm, self.width_mm, self.board.thickness_mm)

    @property
    def blank_mm(self) -> tuple[float, float]:
        """Length and width as they are sawn, before the edges are banded."""
        ends = sum(edge in self.edges for edge in ("W1", "W2"))
        sides = sum(edge in self.edges for edge in ("L1", "L2"))
        return (self.length_mm - ends * self.tape_mm, self.width_mm - sides * self.tape_mm)

    @property
    def mass_kg(self) -> float:
        """The mass of the outline; grooves and holes, some hundredths of it, are not taken off."""
        area = self.length_mm * self.width_mm
        for feature in self.features:
            if feature.work is Work.NOTCH:
                area -= abs(feature.dx_mm * feature.dy_mm)
            elif feature.work is Work.CORNER_CUT:
                area -= abs(feature.dx_mm * feature.dy_mm) / 2
        return area * self.board.thickness_mm * self.board.density / 1e9

    def corners(self) -> Iterator[Vector]:
        """The eight corners of its smallest enclosing block, in the cabinet."""
        for along in (0.0, self.length_mm):
            for across in (0.0, self.width_mm):
                for through in (0.0, self.thickness_mm):
                    yield self.place.to_cabinet(along, across, through)

    def on_side(self, face: Face, point: Vector) -> tuple[float, float]:
        """Return the coordinates on a side (see above) of a point of the cabinet."""
        _, _, first, second = SIDES[face]
        own = self.place.to_panel(point)
        return (own[first], own[second])

    def from_side(self, face: Face, x: float, y: float) -> Vector:
        """Return the point of the cabinet at coordinates of a side."""
        axis, far, first, second = SIDES[face]
        own = [0.0, 0.0, 0.0]
        own[axis] = self.sizes[axis] if far else 0.0
        own[first], own[second] = x, y
        return self.place.to_cabinet(own[0], own[1], own[2])

    def side_sizes(self, face: Face) -> tuple[float, float]:
        """The two sizes of a side, in the order of its coordinates."""
        _, _, first, second = SIDES[face]
        return (self.sizes[first], self.sizes[second])


def cross(one: Vector, other: Vector) -> Vector:
    return (
        one[1] * other[2] - one[2] * other[1],
        one[2] * other[0] - one[0] * other[2],
        one[0] * other[1] - one[1] * other[0],
    )


def normal_of(place: Place, face: Face) -> Vector:
    """The outward direction of a panel's side, in the cabinet."""
    axis, far, _, _ = SIDES[face]
    return place.axes[axis] if far else reverse(place.axes[axis])
