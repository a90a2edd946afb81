"""The order in which the pieces of a cabinet are painted under a view.

What is nearer is painted later: of two convex solids that do not meet, the one beyond a separating plane, seen from the
viewer, goes first.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from tracker.shop.cabinets.drawing.views import LEVEL, Piece, View, outward
from tracker.shop.cabinets.panels import Vector, dot, middle_of
from tracker.shop.cabinets.solids import TOUCH_MM, Point, Prism, Span, bounds, moved_by, span_of


@dataclass(frozen=True, slots=True)
class Shadow:
    """A prism as a view shows it: its corners, what they span, the ways of its edges, how near its middle is."""

    solid: Prism
    corners: tuple[Point, ...]
    span: Span
    ways: tuple[Point, ...]
    near: float


def shadow_of(solid: Prism, view: View) -> Shadow:
    corners = tuple(map(view.at, solid.corners))
    count = len(solid.outline)
    edges = [(corners[i], corners[(i + 1) % count]) for i in range(count)] + [(corners[0], corners[count])]
    ways = tuple((b[1] - a[1], a[0] - b[0]) for a, b in edges)
    middle = middle_of(bounds([solid]))
    return Shadow(solid, corners, span_of(corners), ways, dot(middle, view.toward))


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
        for (x, y), normal in zip(first.outline, outward(first.outline), strict=True):
            if (
                normal[0]
                and normal[1]
                and all((p[0] - x) * normal[0] + (p[1] - y) * normal[1] >= -TOUCH_MM for p in second.outline)
            ):
                yield turn * _sign(dot(normal, toward))


def _sign(value: float) -> int:
    return 0 if abs(value) < LEVEL else (1 if value > 0 else -1)


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
