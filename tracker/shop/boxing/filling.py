"""Filling one box as full as can be by one measure: its mass, its height, its volume or a row of lengths."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tracker.shop.boxing.exact import ExactCarton, ExactPanel
from tracker.shop.boxing.layers import Stack, extent_along, surely_fit

FINEST: Final = 1 << 16  # room for the sums of one measure; finer sizes are rounded up to this many steps
_LAYING: Final = 40  # what laying a panel costs, beside weighing it in a sum


class Effort:
    """How much work is left to spend. Counted in steps, not seconds, so that the same input gives the same plan."""

    __slots__ = ("left",)

    def __init__(self, steps: int) -> None:
        self.left = steps

    def part(self, share: float) -> "Effort":
        """Set a share of what is left aside for one attempt; what it leaves over is lost."""
        steps = int(self.left * share)
        self.left -= steps
        return Effort(steps)


class Shuffle:
    """An even, repeatable spread of numbers (a linear congruential sequence), since the trade knows no chance."""

    __slots__ = ("_state",)

    def __init__(self, start: int = 1) -> None:
        self._state = start

    def share(self) -> float:
        """Return a number from 0 up to 1."""
        self._state = (self._state * 1103515245 + 12345) & 0x7FFFFFFF
        return (self._state >> 7) / 0x1000000

    def below(self, count: int) -> int:
        """Return a whole number from 0 up to ``count``."""
        return int(self.share() * count)


@dataclass(frozen=True, slots=True)
class Measure:
    """One size of every panel, by its index, and the room for it in every carton, by its index."""

    sizes: tuple[int, ...]
    rooms: tuple[int, ...]

    def load(self, panels: Sequence[ExactPanel]) -> int:
        return sum(self.sizes[panel.index] for panel in panels)


def measure(sizes: Sequence[int], rooms: Sequence[int]) -> Measure:
    """Return the measure in as few steps as the sizes allow, at most FINEST; rounding is to the safe side."""
    step = math.gcd(*sizes) or 1
    if max(rooms) // step <= FINEST:
        return Measure(tuple(size // step for size in sizes), tuple(room // step for room in rooms))
    most = max(rooms)
    return Measure(
        tuple(-(-size * FINEST // most) for size in sizes), tuple(room * FINEST // most for room in rooms)
    )


def measures(panels: Sequence[ExactPanel], cartons: Sequence[ExactCarton]) -> list[Measure]:
    """Return the measures by which boxes may be full, the scarcest first.

    ``panels`` are indexed as they stand, and so are ``cartons``.
    """
    widest = max(cartons, key=lambda carton: carton.short)
    candidates = [
        ([panel.mass for panel in panels], [carton.mass for carton in cartons]),
        ([panel.tall for panel in panels], [carton.tall for carton in cartons]),
        ([panel.area * panel.tall for panel in panels], [carton.volume for carton in cartons]),
        ([extent_along(panel, widest) for panel in panels], [carton.long for carton in cartons]),
        ([panel.short for panel in panels], [carton.short for carton in cartons]),
    ]
    return [measure(*candidate) for candidate in candidates]


def fullest(sizes: Sequence[int], room: int, shuffle: Shuffle, skip: float) -> list[bool]:
    """Return which of ``sizes`` fill ``room`` best, the first of them first.

    All reachable sums stand as bits of one whole number. ``skip`` is how often a size that could be taken is passed
    over when the same sum can be reached without it.
    """
    reach, reaches, mask = 1, [1], (1 << (room + 1)) - 1
    for size in reversed(sizes):
        reach = (reach | reach << size) & mask
        reaches.append(reach)
    wanted = reach.bit_length() - 1
    reaches.pop()
    chosen = []
    for size in sizes:
        reach = reaches.pop()
        taken = size <= wanted and reach >> (wanted - size) & 1 == 1
        if taken and skip and reach >> wanted & 1 and shuffle.share() < skip:
            taken = False
        if taken:
            wanted -= size
        chosen.append(taken)
    return chosen
