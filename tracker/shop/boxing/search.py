"""The fewest boxes: first as sums, then as panels that must really lie there."""

from collections.abc import Sequence
from itertools import chain
from typing import Final

from tracker.shop.boxing.bounds import Least
from tracker.shop.boxing.exact import ExactCarton
from tracker.shop.boxing.filling import Box, Filler, Measure, Panels, measures
from tracker.shop.boxing.layers import ORDERS, fits
from tracker.shop.boxing.sums import fewer, pack
from tracker.shop.searching import Effort

_MOST_KINDS: Final = 6  # how many kinds of carton are tried for one box


def boxes_of_one_kind(panels: Panels, carton: ExactCarton, least: Least, effort: Effort) -> list[Box]:
    """Return boxes of one carton, which takes each of the panels; stops at the ``least`` boxes or without effort."""
    scales = measures(panels, [carton])
    fillers = [Filler(scale, effort) for scale in scales]
    best = fillers[0].fill_all(carton, panels)
    summed = False
    for scale in scales:
        if not summed and not least.reached_by(len(best)):
            boxes = _by_sums(panels, carton, scale, least.boxes, effort)
            summed = boxes is not None
            best = min(best, boxes or best, key=len)
    if summed or least.reached_by(len(best)):
        return best
    for boxes in chain(
        (fillers[0].lay_all(carton, sorted(panels, key=order)) for order in ORDERS),
        (filler.fill_all(carton, panels) for filler in fillers[1:]),
    ):
        best = min(best, boxes, key=len)
        if effort.left <= 0 or least.reached_by(len(best)):
            break
    return _relaid(best, scales[0], least, effort)


def _by_sums(panels: Panels, carton: ExactCarton, scale: Measure, target: int, effort: Effort) -> list[Box] | None:
    """Return boxes that were planned by one measure alone, or None when panels planned so do not lie in the carton."""
    sizes = [scale.sizes[panel.index] for panel in panels]
    for share in (0.0, 0.7):  # first quickly, to see whether such boxes lie in the carton at all
        bins = pack(sizes, scale.rooms[carton.index], target, effort.part(share))
        boxes = [Box(carton, [panels[position] for position in content]) for content in bins]
        if not all(fits(box.panels, carton) for box in boxes):
            return None
    return boxes


def boxes_of_many_kinds(panels: Panels, cartons: Sequence[ExactCarton], least: Least, effort: Effort) -> list[Box]:
    """Return boxes of several cartons, each panel fitting one of them. More boxes of a kind than there are cartons are
    planned only when every fitting kind is used up.
    """
    scale = measures(panels, cartons)[0]
    filler = Filler(scale, effort)
    largest_first = sorted(cartons, key=lambda carton: -carton.volume)
    left = {carton: carton.available for carton in cartons}
    choices = {panel: sum(carton.takes(panel) for carton in cartons) for panel in panels}
    pool = sorted(panels, key=lambda panel: (choices[panel], -scale.sizes[panel.index]))
    boxes = []
    while pool:
        fitting = [carton for carton in largest_first if carton.takes(pool[0])]
        kinds = [carton for carton in fitting if left[carton] > 0] or fitting
        tried = [Box(carton, filler.lay(carton, pool)[0]) for carton in kinds[:_MOST_KINDS]]
        box = max(tried, key=lambda box: (scale.load(box.panels), -box.carton.volume))
        left[box.carton] -= 1
        boxes.append(box)
        inside = set(box.panels)
        pool = [panel for panel in pool if panel not in inside]
    return _relaid(boxes, scale, least, effort)


def _relaid(boxes: list[Box], scale: Measure, least: Least, effort: Effort) -> list[Box]:
    """Return no more boxes than there were, after laying a few of them anew again and again."""
    filler = Filler(scale, effort)
    return fewer(
        boxes,
        done=lambda boxes: least.reached_by(len(boxes)),
        others=(1, 2, 3),
        emptiest=2,
        load=scale.share,
        refill=lambda opened: _refill(filler, opened),
        effort=effort,
        shuffle=filler.shuffle,
    )


def _refill(filler: Filler, boxes: Sequence[Box]) -> list[Box] | None:
    """Return the same cartons filled anew, the last ones perhaps empty, or None when the panels did not all go in."""
    sizes, shuffle = filler.measure.sizes, filler.shuffle
    pool = [panel for box in boxes for panel in box.panels]
    order = {panel: -sizes[panel.index] * (0.7 + 0.6 * shuffle.share()) for panel in pool}
    pool.sort(key=order.__getitem__)
    as_laid = shuffle.share() < 0.5
    refilled = []
    for box in boxes:
        taken, pool = filler.lay(box.carton, pool) if as_laid else filler.fill(box.carton, pool, 0.4)
        refilled.append(Box(box.carton, taken))
    return None if pool else refilled
