"""Filling cartons from a pool of panels, as full as can be by one measure."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from tracker.shop.boxing.bounds import Spread, all_axes
from tracker.shop.boxing.exact import ExactCarton, ExactPanel
from tracker.shop.boxing.layers import Stack, surely_fit
from tracker.shop.boxing.sums import fullest, in_few_steps
from tracker.shop.searching import Effort, Shuffle

LAYING: Final = 12  # what it costs to find no place for a panel, in steps; to lay one costs some times more
_IN_VIEW: Final = 200  # how many panels of a pool are tried when one box is laid

Panels = list[ExactPanel]


@dataclass(slots=True)
class Box:
    """A carton and what lies in it, while boxes are still being planned."""

    carton: ExactCarton
    panels: Panels


@dataclass(frozen=True, slots=True)
class Measure:
    """One size of every panel and the room for it in every carton, each by its index; ``scarcity`` is how many
    boxes it asks for, were panels poured.
    """

    sizes: Mapping[int, int]
    rooms: Mapping[int, int]
    scarcity: float

    def load(self, panels: Sequence[ExactPanel]) -> int:
        return sum(self.sizes[panel.index] for panel in panels)

    def share(self, box: Box) -> float:
        """Return how full the box is, from 0 to 1."""
        return self.load(box.panels) / self.rooms[box.carton.index]


def measures(panels: Sequence[ExactPanel], cartons: Sequence[ExactCarton]) -> list[Measure]:
    """Return the measures that limit what one of these cartons holds, the scarcest first.

    They are the mass, the volume, and a side, a plane or the height where no two panels lie apart in any other way.
    """
    spread = Spread(panels, cartons)
    everyone = range(len(panels))
    limits = [([panel.mass for panel in panels], [carton.mass for carton in cartons])]
    limits += [
        (spread.sizes(everyone, axes), spread.rooms(axes))
        for axes in all_axes()
        if len(spread.crowded(axes)) == len(panels)
    ]
    found = []
    for sizes, rooms in limits:
        few, few_rooms = in_few_steps(sizes, rooms)
        of_panels = dict(zip([panel.index for panel in panels], few, strict=True))
        of_cartons = dict(zip([carton.index for carton in cartons], few_rooms, strict=True))
        found.append(Measure(of_panels, of_cartons, sum(sizes) / max(rooms)))
    return sorted(found, key=lambda measure: -measure.scarcity)


class Filler:
    """Fills cartons from a pool of panels, within an effort. What it takes is sure to fit."""

    __slots__ = ("effort", "measure", "shuffle")

    def __init__(self, measure: Measure, effort: Effort) -> None:
        self.measure = measure
        self.effort = effort
        self.shuffle = Shuffle()

    def fill(self, carton: ExactCarton, pool: Panels, skip: float = 0.0) -> tuple[Panels, Panels]:
        """Return what goes into the carton, the first in the pool first, and the rest."""
        self.effort.left -= len(pool)
        sizes, room = self.measure.sizes, self.measure.rooms[carton.index]
        chosen, others = fullest([sizes[panel.index] for panel in pool], room, self.shuffle, skip)
        taken, rest = [pool[position] for position in chosen], [pool[position] for position in others]
        if surely_fit(taken, carton):
            return taken, rest
        return self.lay(carton, taken + rest)

    def lay(self, carton: ExactCarton, pool: Panels) -> tuple[Panels, Panels]:
        """Lay what fits of the first in the pool, one panel after the other; return it and the rest."""
        stack = Stack(carton)
        rest = [panel for panel in pool[:_IN_VIEW] if not stack.add(panel)]
        self.effort.left -= LAYING * (len(rest) + 5 * len(stack.panels))
        return stack.panels, rest + pool[_IN_VIEW:]

    def fill_all(self, carton: ExactCarton, panels: Panels) -> list[Box]:
        """Return boxes of one carton, each filled from what the ones before it left; all panels fit the carton."""
        sizes = self.measure.sizes
        pool = sorted(panels, key=lambda panel: -sizes[panel.index])
        return self._all(carton, pool, self.fill)

    def lay_all(self, carton: ExactCarton, panels: Panels) -> list[Box]:
        """Return boxes of one carton, each laid from what the ones before it left, in the order of the panels."""
        return self._all(carton, panels, self.lay)

    def _all(
        self, carton: ExactCarton, pool: Panels, take: Callable[[ExactCarton, Panels], tuple[Panels, Panels]]
    ) -> list[Box]:
        boxes = []
        while pool:
            taken, pool = take(carton, pool)
            boxes.append(Box(carton, taken))
        return boxes
