"""Looking at a cabinet: a view, the sides and creases of its panels that it shows, and what it hides. Lengths in mm.

A view is a parallel projection.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from math import cos, radians, sin
from typing import Final

from tracker.shop.cabinets.panels import BACK, DOWN, LEFT, RIGHT, UP, Vector, cross, dot, middle_of, minus, moved
from tracker.shop.cabinets.solids import TOUCH_MM, Point, Prism

LEVEL: Final = 1e-6
_NEXT_TO_MM: Final = 0.3  # how far beside an edge is asked for material: less than any groove's play


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """Where the page's axes lie in the cabinet, as unit vectors; ``toward`` the viewer, ``above`` the floor."""

    right: Vector
    up: Vector
    toward: Vector
    above: Vector

    def at(self, point: Vector) -> Point:
        """Return where a point of the cabinet is seen, in mm, the second coordinate upward."""
        return (dot(point, self.right), dot(point, self.up))


def view_from(frame: tuple[Vector, Vector, Vector], turned: float, raised: float) -> View:
    """Return a view at what has right, back and up in ``frame``, from ``turned``° to the right, ``raised``° high."""
    across, back, above = frame
    level = cos(radians(raised))
    toward = _sum(
        (across, sin(radians(turned)) * level), (back, -cos(radians(turned)) * level), (above, sin(radians(raised)))
    )
    right = _sum((across, cos(radians(turned))), (back, sin(radians(turned))))
    return View(right=right, up=cross(toward, right), toward=toward, above=above)


def view_onto(up: Vector, front: Vector) -> View:
    """Return a view down onto a face that looks ``up``, its side to the ``front`` nearest to the viewer."""
    right = next(way for way in (DOWN, UP) if dot(cross(up, way), front) < 0)
    return view_from((right, cross(up, right), up), -20, INSIDE_RAISED)


def _sum(*terms: tuple[Vector, float]) -> Vector:
    total: Vector = (0.0, 0.0, 0.0)
    for direction, by in terms:
        total = moved(total, direction, by)
    return total


UPRIGHT: Final = (RIGHT, BACK, UP)
ON_LEFT_END: Final = (DOWN, BACK, RIGHT)  # the floor end to the right, the right end on top
ON_FRONT: Final = (DOWN, LEFT, BACK)  # the floor end to the right, the back on top
STANDING: Final = view_from(UPRIGHT, 32, 27)
STANDING_FROM_BEHIND: Final = view_from(UPRIGHT, 148, 27)
LYING: Final = view_from(ON_LEFT_END, -32, 34)
LYING_FROM_BEHIND: Final = view_from(ON_LEFT_END, -148, 34)
ON_ITS_FACE: Final = view_from(ON_FRONT, -32, 42)
WALLS_FROM_BEHIND: Final = view_from(UPRIGHT, -135, 27)  # those of a diagonal corner
INSIDE_RAISED: Final = 52.0  # degrees: one panel that lies with its inner face up
ROUND: Final = (STANDING, *(view_from(UPRIGHT, turned, 33) for turned in (75, 120, 150, -30, -60)))
ROUND_LYING: Final = (
    LYING,
    *(view_from(ON_LEFT_END, turned, raised) for raised in (34, 58) for turned in (-32, 32, -75, 75, -120, 120)),
)


@dataclass(frozen=True, slots=True)
class Side:
    """One flat side of a piece: the way it looks, and its corners in order."""

    normal: Vector
    corners: tuple[Vector, ...]

    def faces(self, viewer: Vector) -> bool:
        """Whether it looks towards the viewer."""
        return dot(self.normal, viewer) > LEVEL


@dataclass(frozen=True, slots=True)
class Crease:
    """A line to be drawn: where two sides meet that look ``one`` and ``other`` way."""

    start: Vector
    end: Vector
    one: Vector
    other: Vector

    def faces(self, viewer: Vector) -> bool:
        """Whether one of its sides looks towards the viewer."""
        return max(dot(self.one, viewer), dot(self.other, viewer)) > LEVEL


@dataclass(frozen=True, slots=True)
class Piece:
    """A convex piece of a panel's material, with what there is to draw of it."""

    solid: Prism
    sides: tuple[Side, ...]
    creases: tuple[Crease, ...]


def pieces_of(solids: Sequence[Prism]) -> tuple[Piece, ...]:
    """Return the pieces of one panel; no line is drawn where two of them only continue each other."""
    return tuple(Piece(solid, sides_of(solid), tuple(_creases(solid, solids))) for solid in solids)


def sides_of(solid: Prism) -> tuple[Side, ...]:
    """Return the flat sides of a prism: its outline's, then top and bottom."""
    low, high = solid.rims
    walls = []
    for i, normal in enumerate(outward(solid.outline)):
        j = (i + 1) % len(low)
        walls.append(Side(normal, (low[i], low[j], high[j], high[i])))
    return (*walls, Side(UP, high), Side(DOWN, low[::-1]))


@lru_cache(maxsize=1024)
def outward(outline: tuple[Point, ...]) -> tuple[Vector, ...]:
    """The way each side of an outline looks; none where two of its corners fall together."""
    normals: list[Vector] = []
    for (x0, y0), (x1, y1) in zip(outline, (*outline[1:], outline[0]), strict=True):
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        normals.append(((y1 - y0) / length, (x0 - x1) / length, 0.0) if length > LEVEL else (0.0, 0.0, 0.0))
    return tuple(normals)


def _creases(solid: Prism, solids: Sequence[Prism]) -> Iterator[Crease]:
    low, high = solid.rims
    normals = outward(solid.outline)
    edges = []
    for i, normal in enumerate(normals):
        j = (i + 1) % len(low)
        edges += [(low[i], low[j], normal, DOWN), (high[i], high[j], normal, UP)]
        edges.append((low[j], high[j], normal, normals[j]))
    corners = [corner for each in solids for corner in each.corners]
    for start, end, one, other in edges:
        if len(solids) == 1:
            yield Crease(start, end, one, other)
            continue
        stops = _stops(start, end, corners)
        for a, b in pairwise(stops):
            if _is_crease(a, b, one, other, solids):
                yield Crease(a, b, one, other)


def _stops(start: Vector, end: Vector, corners: Sequence[Vector]) -> list[Vector]:
    """Divide an edge where the corner of another piece lies on it."""
    way = minus(end, start)
    length = dot(way, way) ** 0.5
    if length < TOUCH_MM:
        return []
    along = (way[0] / length, way[1] / length, way[2] / length)
    places = {0.0, length}
    for corner in corners:
        away = minus(corner, start)
        place = dot(away, along)
        if TOUCH_MM < place < length - TOUCH_MM and dot(away, away) - place * place < TOUCH_MM**2:
            places.add(round(place, 3))
    return [moved(start, along, place) for place in sorted(places)]


def _is_crease(start: Vector, end: Vector, one: Vector, other: Vector, solids: Sequence[Prism]) -> bool:
    """Whether the material turns at an edge, judged by what lies in the other three quarters around its middle."""
    middle = middle_of((start, end))
    beyond = moved(middle, one, _NEXT_TO_MM)
    within = moved(middle, one, -_NEXT_TO_MM)
    outer = _filled(solids, moved(beyond, other, _NEXT_TO_MM))
    beside = _filled(solids, moved(beyond, other, -_NEXT_TO_MM))
    above = _filled(solids, moved(within, other, _NEXT_TO_MM))
    return (outer, beside, above) not in ((True, True, True), (False, True, False), (False, False, True))


def _filled(solids: Iterable[Prism], point: Vector) -> bool:
    return any(
        solid.low <= point[2] <= solid.high
        and all(
            (b[0] - a[0]) * (point[1] - a[1]) >= (b[1] - a[1]) * (point[0] - a[0])
            for a, b in zip(solid.outline, (*solid.outline[1:], solid.outline[0]), strict=True)
        )
        for solid in solids
    )


def hides(solid: Prism, point: Vector, toward: Vector) -> bool:
    """Whether a prism stands between a point and the viewer: the line of sight is cut by each of its sides in turn."""
    near, far = 1.0, 1e9
    for low, high, at, step in (
        (solid.reach[0], solid.reach[3], point[0], toward[0]),
        (solid.reach[1], solid.reach[4], point[1], toward[1]),
        (solid.low, solid.high, point[2], toward[2]),
    ):
        if abs(step) < LEVEL:
            if not low < at < high:
                return False
            continue
        into, out = (low - at) / step, (high - at) / step
        near, far = max(near, min(into, out)), min(far, max(into, out))
        if near >= far:
            return False
    if len(solid.outline) == 4 and all(x in (solid.reach[0], solid.reach[3]) for x, _ in solid.outline):
        return True
    for (x, y), normal in zip(solid.outline, outward(solid.outline), strict=True):
        away = (point[0] - x) * normal[0] + (point[1] - y) * normal[1]
        step = toward[0] * normal[0] + toward[1] * normal[1]
        if abs(step) < LEVEL:
            if away > 0:
                return False
        elif step > 0:
            far = min(far, -away / step)
        else:
            near = max(near, -away / step)
    return near < far
