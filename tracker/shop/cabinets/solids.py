"""The material of a placed panel as upright prisms: what can meet what, and what a motion sweeps. Lengths in mm.

Every panel of a cabinet either lies flat or stands upright, so each piece of it is a convex outline in plan between two
heights. Grooves, notches and cut corners are taken off; holes are not.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from tracker.shop.cabinets.panels import SIDES, Feature, Part, Vector, Work, dot

Point = tuple[float, float]
TOUCH_MM: Final = 0.05  # what overlaps by less touches
Box = tuple[float, float, float, float, float, float]
Span = tuple[float, float, float, float]  # x, y from, x, y to


@dataclass(frozen=True, slots=True)
class Prism:
    """A convex outline in plan, anticlockwise, between two heights."""

    outline: tuple[Point, ...]
    low: float
    high: float
    reach: Box  # x, y, z from, x, y, z to

    @property
    def rims(self) -> tuple[tuple[Vector, ...], tuple[Vector, ...]]:
        """The corners of the bottom and those of the top."""
        low = tuple((x, y, self.low) for x, y in self.outline)
        return low, tuple((x, y, self.high) for x, y in self.outline)

    @property
    def corners(self) -> tuple[Vector, ...]:
        low, high = self.rims
        return (*low, *high)


def prism(outline: Sequence[Point], low: float, high: float) -> Prism:
    left, front, right, back = span_of(outline)
    return Prism(tuple(outline), low, high, (left, front, low, right, back, high))


def span_of(points: Sequence[Point]) -> Span:
    """Return the rectangle around points in plan, or on a page."""
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return (min(xs), min(ys), max(xs), max(ys))


def bounds(solids: Iterable[Prism]) -> tuple[Vector, Vector]:
    """Return the least and the greatest corner of the block around solids."""
    reaches = list(zip(*(solid.reach for solid in solids), strict=True))
    low, high = [min(each) for each in reaches[:3]], [max(each) for each in reaches[3:]]
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])


def farthest(solids: Iterable[Prism], way: Vector) -> float:
    """Return how far the farthest corner lies along a way from the origin."""
    return max(dot(corner, way) for solid in solids for corner in solid.corners)


def solids_of(part: Part) -> tuple[Prism, ...]:
    """Return the pieces of a panel's material."""
    blocks: list[Box] = [(0.0, 0.0, 0.0, part.length_mm, part.width_mm, part.thickness_mm)]
    for feature in part.features:
        if feature.work in (Work.GROOVE, Work.NOTCH):
            hole = _taken(part, feature)
            blocks = [rest for block in blocks for rest in _without(block, hole)]
    cuts = [feature for feature in part.features if feature.work is Work.CORNER_CUT]
    return tuple(_placed(part, block, cuts) for block in blocks)


def _taken(part: Part, feature: Feature) -> Box:
    """Return the block of a groove or a notch in the panel's own coordinates."""
    axis, far, first, second = SIDES[feature.face]
    low, high = [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]
    low[first], low[second] = feature.x_mm, feature.y_mm
    high[first], high[second] = feature.x_mm + feature.dx_mm, feature.y_mm + feature.dy_mm
    low[axis] = part.sizes[axis] - feature.depth_mm if far else 0.0
    high[axis] = low[axis] + feature.depth_mm
    return (low[0], low[1], low[2], high[0], high[1], high[2])


def _without(block: Box, hole: Box) -> Iterable[Box]:
    """Return what is left of a block when another is cut out of it, as blocks."""
    if any(hole[i] >= block[i + 3] or hole[i + 3] <= block[i] for i in range(3)):
        yield block
        return
    rest = list(block)
    for axis in range(3):
        if hole[axis] > rest[axis]:
            yield (*rest[: axis + 3], hole[axis], *rest[axis + 4 :])  # type: ignore[misc]
            rest[axis] = hole[axis]
        if hole[axis + 3] < rest[axis + 3]:
            yield (*rest[:axis], hole[axis + 3], *rest[axis + 1 :])  # type: ignore[misc]
            rest[axis + 3] = hole[axis + 3]


def _placed(part: Part, block: Box, cuts: Sequence[Feature]) -> Prism:
    place = part.place
    if abs(place.thickness[2]) > 0.5:
        outline: list[Point] = [(block[0], block[1]), (block[3], block[1]), (block[3], block[4]), (block[0], block[4])]
        for cut in cuts:
            outline = _cut(outline, cut)
        corners = [place.to_cabinet(x, y, block[2]) for x, y in outline]
        ends = [place.to_cabinet(0.0, 0.0, z)[2] for z in (block[2], block[5])]
    else:
        low, high = (block[0], block[1], block[2]), (block[3], block[4], block[5])
        upright = 0 if abs(place.length[2]) > 0.5 else 1
        level = 1 - upright
        corners = []
        for a, b in ((low, low), (high, low), (high, high), (low, high)):
            own = [0.0, 0.0, 0.0]
            own[level], own[2] = a[level], b[2]
            corners.append(place.to_cabinet(own[0], own[1], own[2]))
        origin, up = place.origin[2], place.axes[upright][2]
        ends = [origin + up * value for value in (low[upright], high[upright])]
    return prism(_anticlockwise([(corner[0], corner[1]) for corner in corners]), min(ends), max(ends))


def _cut(outline: Sequence[Point], cut: Feature) -> list[Point]:
    """Cut the triangle of a corner cut off an outline: keep what lies beyond its long side."""
    x, y, dx, dy = cut.x_mm, cut.y_mm, cut.dx_mm, cut.dy_mm

    def beyond(point: Point) -> float:
        return (point[0] - x) / dx + (point[1] - y) / dy - 1.0

    kept: list[Point] = []
    for here, there in zip(outline, [*outline[1:], outline[0]], strict=True):
        one, other = beyond(here), beyond(there)
        if one >= 0:
            kept.append(here)
        if one * other < 0:
            share = one / (one - other)
            kept.append((here[0] + (there[0] - here[0]) * share, here[1] + (there[1] - here[1]) * share))
    return kept


def _anticlockwise(points: Sequence[Point]) -> list[Point]:
    area = sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True))
    return list(points) if area > 0 else list(reversed(points))


def moved_by(piece: Prism, way: Vector) -> Prism:
    outline = [(x + way[0], y + way[1]) for x, y in piece.outline]
    return prism(outline, piece.low + way[2], piece.high + way[2])


def swept(piece: Prism, way: Vector) -> Prism:
    """Return all the space that a piece takes while it moves along ``way``, which is level or upright."""
    if way[0] == 0.0 and way[1] == 0.0:
        return prism(piece.outline, min(piece.low, piece.low + way[2]), max(piece.high, piece.high + way[2]))
    gone = moved_by(piece, way)
    return prism(_hull([*piece.outline, *gone.outline]), piece.low, piece.high)


def _hull(points: Sequence[Point]) -> list[Point]:
    """Return the convex outline of points, anticlockwise (Andrew's monotone chain, 1979)."""
    ordered = sorted(set(points))
    halves: list[list[Point]] = []
    for row in (ordered, ordered[::-1]):
        chain: list[Point] = []
        for point in row:
            while len(chain) > 1 and _turn(chain[-2], chain[-1], point) <= 0:
                chain.pop()
            chain.append(point)
        halves.append(chain[:-1])
    return halves[0] + halves[1]


def _turn(a: Point, b: Point, c: Point) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def overlap(one: Prism, other: Prism) -> bool:
    """Whether two pieces share more than a touch: tried along each axis and each side of the outlines."""
    a, b = one.reach, other.reach
    for i in (0, 1, 2):
        if a[i + 3] - b[i] <= TOUCH_MM or b[i + 3] - a[i] <= TOUCH_MM:
            return False
    return not (_apart(one.outline, other.outline) or _apart(other.outline, one.outline))


def _apart(one: Sequence[Point], other: Sequence[Point]) -> bool:
    for a, b in zip(one, [*one[1:], one[0]], strict=True):
        nx, ny = b[1] - a[1], a[0] - b[0]
        length = (nx * nx + ny * ny) ** 0.5
        if length and min((p[0] - a[0]) * nx + (p[1] - a[1]) * ny for p in other) >= -TOUCH_MM * length:
            return True
    return False
