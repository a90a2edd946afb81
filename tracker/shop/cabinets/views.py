"""Looking at a cabinet: a view, the faces and creases of its panels, and the order in which to paint them.

A view is a parallel projection. What is nearer is painted later: of two convex solids that do not meet, the one beyond
a separating plane, seen from the viewer, goes first. Lengths in mm.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from heapq import heapify, heappop, heappush
from itertools import pairwise
from math import cos, radians, sin
from typing import Final

from tracker.shop.cabinets.panels import BACK, DOWN, RIGHT, UP, Vector, cross, dot, minus, moved
from tracker.shop.cabinets.solids import TOUCH_MM, Point, Prism, moved_by

_LEVEL: Final = 1e-6
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
STANDING: Final = view_from(UPRIGHT, 32, 27)
STANDING_FROM_BEHIND: Final = view_from(UPRIGHT, 148, 27)
LYING: Final = view_from(ON_LEFT_END, -32, 34)
LYING_FROM_BEHIND: Final = view_from(ON_LEFT_END, -148, 34)
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


@dataclass(frozen=True, slots=True)
class Crease:
    """A line to be drawn: where two sides meet that look ``one`` and ``other`` way."""

    start: Vector
    end: Vector
    one: Vector
    other: Vector


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
    low, high = _rims(solid)
    walls = []
    for i, normal in enumerate(_outward(solid.outline)):
        j = (i + 1) % len(low)
        walls.append(Side(normal, (low[i], low[j], high[j], high[i])))
    return (*walls, Side(UP, high), Side(DOWN, low[::-1]))


def _rims(solid: Prism) -> tuple[tuple[Vector, ...], tuple[Vector, ...]]:
    low = tuple((x, y, solid.low) for x, y in solid.outline)
    return low, tuple((x, y, solid.high) for x, y in solid.outline)


@lru_cache(maxsize=1024)
def _outward(outline: tuple[Point, ...]) -> tuple[Vector, ...]:
    """The way each side of an outline looks; none where two of its corners fall together."""
    normals: list[Vector] = []
    for (x0, y0), (x1, y1) in zip(outline, (*outline[1:], outline[0]), strict=True):
        length = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5
        normals.append(((y1 - y0) / length, (x0 - x1) / length, 0.0) if length > _LEVEL else (0.0, 0.0, 0.0))
    return tuple(normals)


def _creases(solid: Prism, solids: Sequence[Prism]) -> Iterator[Crease]:
    low, high = _rims(solid)
    normals = _outward(solid.outline)
    edges = []
    for i, normal in enumerate(normals):
        j = (i + 1) % len(low)
        edges += [(low[i], low[j], normal, DOWN), (high[i], high[j], normal, UP)]
        edges.append((low[j], high[j], normal, normals[j]))
    corners = [corner for each in solids for rim in _rims(each) for corner in rim]
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
    middle: Vector = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, (start[2] + end[2]) / 2)
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
        if abs(step) < _LEVEL:
            if not low < at < high:
                return False
            continue
        into, out = (low - at) / step, (high - at) / step
        near, far = max(near, min(into, out)), min(far, max(into, out))
        if near >= far:
            return False
    if len(solid.outline) == 4 and all(x in (solid.reach[0], solid.reach[3]) for x, _ in solid.outline):
        return True
    for (x, y), normal in zip(solid.outline, _outward(solid.outline), strict=True):
        away = (point[0] - x) * normal[0] + (point[1] - y) * normal[1]
        step = toward[0] * normal[0] + toward[1] * normal[1]
        if abs(step) < _LEVEL:
            if away > 0:
                return False
        elif step > 0:
            far = min(far, -away / step)
        else:
            near = max(near, -away / step)
    return near < far


@dataclass(frozen=True, slots=True)
class Shadow:
    """A prism as a view shows it: its corners, what they span, the ways of its edges, how near its middle is."""

    solid: Prism
    corners: tuple[Point, ...]
    span: tuple[float, float, float, float]
    ways: tuple[Point, ...]
    near: float


def shadow_of(solid: Prism, view: View) -> Shadow:
    rims = _rims(solid)
    corners = tuple(view.at(point) for rim in rims for point in rim)
    xs, ys = [corner[0] for corner in corners], [corner[1] for corner in corners]
    count = len(solid.outline)
    edges = [(corners[i], corners[(i + 1) % count]) for i in range(count)] + [(corners[0], corners[count])]
    ways = tuple((b[1] - a[1], a[0] - b[0]) for a, b in edges)
    reach = solid.reach
    middle: Vector = ((reach[0] + reach[3]) / 2, (reach[1] + reach[4]) / 2, (reach[2] + reach[5]) / 2)
    return Shadow(solid, corners, (min(xs), min(ys), max(xs), max(ys)), ways, dot(middle, view.toward))


def comes_first(one: Shadow, other: Shadow, view: View) -> int:
    """Return 1 when ``one`` must be painted before ``other``, -1 when after, 0 when it does not matter."""
    a, b = one.span, other.span
    if a[0] >= b[2] or b[0] >= a[2] or a[1] >= b[3] or b[1] >= a[3]:
        return 0
    signs = set(_signs(one.solid, other.solid, view.toward))
    if len(signs) != 1 or not _meet(one, other):
        return 0
    return signs.pop()


def _signs(one: Prism, other: Prism, toward: Vector) -> Iterator[int]:
    """Yield, for each plane that divides two prisms, which of them it puts behind."""
    a, b = one.reach, other.reach
    for axis in (0, 1, 2):
        if a[axis + 3] <= b[axis] + TOUCH_MM:
            yield _sign(toward[axis])
        elif b[axis + 3] <= a[axis] + TOUCH_MM:
            yield -_sign(toward[axis])
    for first, second, turn in ((one, other, 1), (other, one, -1)):
        for (x, y), normal in zip(first.outline, _outward(first.outline), strict=True):
            if (
                normal[0]
                and normal[1]
                and all((p[0] - x) * normal[0] + (p[1] - y) * normal[1] >= -TOUCH_MM for p in second.outline)
            ):
                yield turn * _sign(dot(normal, toward))


def _sign(value: float) -> int:
    return 0 if abs(value) < _LEVEL else (1 if value > 0 else -1)


def _meet(one: Shadow, other: Shadow) -> bool:
    """Whether two shadows overlap: no way of an edge divides them."""
    for x, y in (*one.ways, *other.ways):
        mine = [px * x + py * y for px, py in one.corners]
        theirs = [px * x + py * y for px, py in other.corners]
        size = (x * x + y * y) ** 0.5 * TOUCH_MM
        if max(mine) <= min(theirs) + size or max(theirs) <= min(mine) + size:
            return False
    return True


class Stage:
    """All pieces of a cabinet under one view; what stands in its own place is compared once for all drawings."""

    def __init__(self, view: View, pieces: Mapping[str, Sequence[Piece]]) -> None:
        self.view = view
        self._shadows = {
            (part, index): shadow_of(piece.solid, view)
            for part, each in pieces.items()
            for index, piece in enumerate(each)
        }
        self._order: dict[tuple[tuple[str, int], tuple[str, int]], int] = {}

    def painted(self, parts: Iterable[str], offsets: Mapping[str, Vector]) -> list[tuple[str, int]]:
        """Return the pieces of parts, some of them moved by an offset, as (part, index), the farthest first.

        Where no order exists (three that hide one another in a ring), the piece whose middle is farthest goes first.
        """
        shown = set(parts)
        keys = [key for key in self._shadows if key[0] in shown]
        shadows = {key: self._moved(key, offsets.get(key[0])) for key in keys}
        after: dict[tuple[str, int], list[tuple[str, int]]] = {key: [] for key in keys}
        waits = dict.fromkeys(keys, 0)
        for place, one in enumerate(keys):
            for other in keys[place + 1 :]:
                order = self._compare(one, other, shadows, offsets)
                if order:
                    first, second = (one, other) if order > 0 else (other, one)
                    after[first].append(second)
                    waits[second] += 1
        return _sorted(after, waits, {key: shadow.near for key, shadow in shadows.items()})

    def _moved(self, key: tuple[str, int], offset: Vector | None) -> Shadow:
        shadow = self._shadows[key]
        return shadow if offset is None else shadow_of(moved_by(shadow.solid, offset), self.view)

    def _compare(
        self,
        one: tuple[str, int],
        other: tuple[str, int],
        shadows: Mapping[tuple[str, int], Shadow],
        offsets: Mapping[str, Vector],
    ) -> int:
        if offsets.get(one[0]) != offsets.get(other[0]):
            return comes_first(shadows[one], shadows[other], self.view)
        found = self._order.get((one, other))
        if found is None:
            found = self._order[one, other] = comes_first(self._shadows[one], self._shadows[other], self.view)
        return found


def _sorted(
    after: Mapping[tuple[str, int], Sequence[tuple[str, int]]],
    waits: dict[tuple[str, int], int],
    near: Mapping[tuple[str, int], float],
) -> list[tuple[str, int]]:
    ready = [(near[key], key) for key, count in waits.items() if not count]
    heapify(ready)
    order: list[tuple[str, int]] = []
    done: set[tuple[str, int]] = set()
    while len(order) < len(waits):
        key = heappop(ready)[1] if ready else min((k for k in waits if k not in done), key=lambda k: near[k])
        if key in done:
            continue
        done.add(key)
        order.append(key)
        for later in after[key]:
            waits[later] -= 1
            if not waits[later] and later not in done:
                heappush(ready, (near[later], later))
    return order
