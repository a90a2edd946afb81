"""Below how many boxes no plan can come: true for every packing by the rules, whoever makes it."""

import math
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from functools import cached_property
from itertools import accumulate, combinations
from typing import Final

from tracker.shop.boxing.exact import ExactCarton, ExactPanel

_MOST_PARTS: Final = 24
_PIVOT_WORK: Final = 8_000  # how many sizes are rounded by pivots; with many sizes fewer pivots are tried
_MOST_FOR_CLIQUE: Final = 300

Sizes = tuple[list[int], int]  # sizes and the room that a bin has for them


def least_bins(sizes: Sequence[int], room: int) -> int:
    """Return a lower bound for packing ``sizes`` into bins of ``room``; each size is from 1 to ``room``.

    The bound L2 of Martello and Toth (1990), also after the dual feasible functions u(k) of Fekete and Schepers (2001)
    and the one of Carlier, Clautiaux and Moukrim (2007); the formulas are written from memory and are checked in the
    tests against proved optima.
    """
    step = math.gcd(*sizes)
    sizes, room = [size // step for size in sizes], room // step
    best = _l2(sizes, room)
    for parts in range(2, _MOST_PARTS):
        best = max(best, _l2(*_in_parts(sizes, room, parts)))
    pivots = sorted(
        {size for size in sizes if 2 * size <= room} | {room - size + 1 for size in sizes if 2 * size > room}
    )
    pivots = [pivot for pivot in pivots if 0 < 2 * pivot <= room]
    for pivot in pivots[:: 1 + len(pivots) * len(sizes) // _PIVOT_WORK]:
        best = max(best, _l2(*_in_pivots(sizes, room, pivot)))
    return best


def _l2(sizes: Sequence[int], room: int) -> int:
    """L2: for each threshold, what is too large for it has a bin of its own, and the small ones fill what is left."""
    ascending = sorted(sizes)
    sums = [0, *accumulate(ascending)]
    half = bisect_right(ascending, room // 2)
    best = -(-sums[-1] // room)
    for threshold in {*ascending[:half], room // 2 + 1}:
        start = bisect_left(ascending, threshold)
        lonely = max(half, bisect_right(ascending, room - threshold))
        left_over = (lonely - half) * room - (sums[lonely] - sums[half])
        small = sums[half] - sums[start]
        best = max(best, len(ascending) - half + max(0, -(-(small - left_over) // room)))
    return best


def _in_parts(sizes: Sequence[int], room: int, parts: int) -> Sizes:
    """u(k): what is an exact multiple of a (k+1)-th of the room stays, all else is rounded down to a k-th."""
    rounded = []
    for size in sizes:
        count, rest = divmod((parts + 1) * size, room)
        rounded.append(count * room if rest else size * parts)
    return [size for size in rounded if size], parts * room


def _in_pivots(sizes: Sequence[int], room: int, pivot: int) -> Sizes:
    """Count how many pivots a small size holds, and how many a large one leaves no place for."""
    most = room // pivot
    rounded = [
        2 * (most - (room - size) // pivot) if 2 * size > room else most if 2 * size == room else 2 * (size // pivot)
        for size in sizes
    ]
    return [size for size in rounded if size], 2 * most


def lower_bound(panels: Sequence[ExactPanel], cartons: Sequence[ExactCarton]) -> int:
    """Return a number of boxes below which the panels cannot be packed; each panel fits into one of the cartons.

    The largest of: bounds on the mass; on the volume; on every side, plane and height for panels that cannot lie
    beside one another any other way; the number of panels no two of which can share a box; and what the largest
    cartons that there are can carry.
    """
    if not panels:
        return 0
    best = max(_by_supply(panels, cartons), _apart(panels, cartons))
    for sizes, room in _measures(panels, cartons):
        best = max(best, least_bins(sizes, room))
    return best


class Least:
    """The lower bound of a plan, worked out only as far as it is asked for; ``at_least`` is known beforehand."""

    def __init__(
        self, panels: Sequence[ExactPanel], cartons: Sequence[ExactCarton], at_least: "Least | None" = None
    ) -> None:
        self._panels, self._cartons, self._at_least = panels, cartons, at_least

    @cached_property
    def boxes(self) -> int:
        """The bound, as ``lower_bound`` has it."""
        return max(lower_bound(self._panels, self._cartons), self._at_least.boxes if self._at_least else 0)

    def reached_by(self, boxes: int) -> bool:
        """Whether there are no more boxes than the bound; panels that are poured often say so at once."""
        return boxes <= self._poured or boxes <= self.boxes

    def of(self, boxes: int) -> int:
        """Return the bound for panels that lie in so many boxes."""
        return boxes if self.reached_by(boxes) else self.boxes

    @cached_property
    def _poured(self) -> int:
        return _by_supply(self._panels, self._cartons) if self._panels else 0


def _by_supply(panels: Sequence[ExactPanel], cartons: Sequence[ExactCarton]) -> int:
    """Fill the cartons that carry most first, as many as there are, as if panels could be poured."""
    mass = sum(panel.mass for panel in panels)
    volume = sum(panel.volume for panel in panels)
    masses = [(carton.mass, carton.available) for carton in cartons]
    volumes = [(carton.volume, carton.available) for carton in cartons]
    return max(_poured(mass, masses), _poured(volume, volumes))


def _poured(total: int, rooms: Sequence[tuple[int, int]]) -> int:
    boxes = 0
    for room, available in sorted(rooms, reverse=True):
        needed = max(0, -(-total // room)) if room > 0 else 0
        boxes += min(needed, available)
        total -= room * min(needed, available)
    return boxes


def _measures(panels: Sequence[ExactPanel], cartons: Sequence[ExactCarton]) -> Iterator[Sizes]:
    yield [panel.mass for panel in panels], max(carton.mass for carton in cartons)
    spread = Spread(panels, cartons)
    for axes in all_axes():
        members = spread.crowded(axes)
        if members:
            yield spread.sizes(members, axes), max(spread.rooms(axes))


def all_axes() -> list[tuple[int, ...]]:
    """Return every choice of axes along which panels may lie apart: 0 along, 1 across, 2 up."""
    return [axes for count in (1, 2, 3) for axes in combinations(range(3), count)]


class Spread:
    """How far panels reach along, across and up in the most roomy cartons, each turned so that it reaches least."""

    def __init__(self, panels: Sequence[ExactPanel], cartons: Sequence[ExactCarton]) -> None:
        self._cartons = [(carton.long, carton.short, carton.tall) for carton in cartons]
        self._widest = tuple(max(sides) for sides in zip(*self._cartons, strict=True))
        self._panels = panels
        across = self._widest[1]
        self._reach = [(panel.least_along(across), panel.short, panel.tall) for panel in panels]

    def rooms(self, axes: tuple[int, ...]) -> list[int]:
        """Return what each carton offers along these axes: a length, an area or a volume."""
        return [_product(sides, axes) for sides in self._cartons]

    def sizes(self, members: Sequence[int], axes: tuple[int, ...]) -> list[int]:
        """Return what each of these panels takes along the axes; in plan its area, however it is turned."""
        if {0, 1} <= set(axes):
            heights = [self._panels[index].tall if 2 in axes else 1 for index in members]
            return [self._panels[index].area * height for index, height in zip(members, heights, strict=True)]
        return [_product(self._reach[index], axes) for index in members]

    def crowded(self, axes: tuple[int, ...]) -> list[int]:
        """Return panels no two of which can lie apart along any other axis than these, found largest first."""
        closed = [axis for axis in range(3) if axis not in axes]
        order = sorted(range(len(self._panels)), key=lambda index: [-self._reach[index][axis] for axis in closed])
        least = list(self._widest)
        members: list[int] = []
        for index in order:
            reach = self._reach[index]
            if not members or all(reach[axis] + least[axis] > self._widest[axis] for axis in closed):
                members.append(index)
                least = [min(least[axis], reach[axis]) for axis in range(3)]
        return members


def _product(sides: Sequence[int], axes: tuple[int, ...]) -> int:
    product = 1
    for axis in axes:
        product *= sides[axis]
    return product


def _apart(panels: Sequence[ExactPanel], cartons: Sequence[ExactCarton]) -> int:
    """Return how many panels were found of which no two can share a box."""
    orders = (
        lambda panel: -panel.mass,
        lambda panel: -panel.tall,
        lambda panel: -panel.volume,
    )
    best = 1
    for order in orders:
        group: list[ExactPanel] = []
        for panel in sorted(panels, key=order)[:_MOST_FOR_CLIQUE]:
            if not any(_can_share(panel, other, cartons) for other in group):
                group.append(panel)
        best = max(best, len(group))
    return best


def _can_share(one: ExactPanel, other: ExactPanel, cartons: Sequence[ExactCarton]) -> bool:
    return any(
        carton.takes(one)
        and carton.takes(other)
        and one.mass + other.mass <= carton.mass
        and _lie_apart(one, other, carton)
        for carton in cartons
    )


def _lie_apart(one: ExactPanel, other: ExactPanel, carton: ExactCarton) -> bool:
    if one.tall + other.tall <= carton.tall or one.short + other.short <= carton.short:
        return True
    return one.least_along(carton.short) + other.least_along(carton.short) <= carton.long
