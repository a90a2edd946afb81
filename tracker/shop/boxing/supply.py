"""Which carton each box gets: the smallest that holds its panels, of those that there are."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations, combinations_with_replacement, islice, permutations
from typing import Final

from tracker.shop.boxing.cabinets import families, pieces_of_cabinets, whole_first
from tracker.shop.boxing.exact import ExactCarton
from tracker.shop.boxing.filling import LAYING, Box, Filler, Measure, Panels
from tracker.shop.boxing.layers import ORDERS, fits
from tracker.shop.searching import Effort

_MOST_PAIRS: Final = 12  # how many pairs of smaller cartons are tried for two boxes
_MOST_TURNS: Final = 6  # in how many orders of their cabinets two boxes are filled anew


def supplied(boxes: Sequence[Box], cartons: Sequence[ExactCarton]) -> tuple[list[Box], Panels]:
    """Return the boxes in the smallest cartons that there are, and the panels for which none is left.

    What has the largest volume chooses first, since the fewest kinds fit it.
    """
    left = {carton: carton.available for carton in cartons}
    smallest_first = sorted(cartons, key=lambda carton: carton.volume)
    given: list[Box] = []
    without: Panels = []
    for box in sorted(boxes, key=lambda box: -sum(panel.volume for panel in box.panels)):
        kinds = [kind for kind in smallest_first if left[kind] > 0]
        carton = next((kind for kind in kinds if kind is box.carton or fits(box.panels, kind)), None)
        if carton is None:
            without.extend(box.panels)
        else:
            left[carton] -= 1
            given.append(Box(carton, box.panels))
    return given, without


def in_smaller_cartons(boxes: list[Box], cartons: Sequence[ExactCarton], scale: Measure, effort: Effort) -> list[Box]:
    """Return as many boxes, in cartons of less volume where two of them can share their panels out better.

    No cabinet is spread over more boxes than before.
    """
    filler = Filler(scale, effort)
    used = Counter(box.carton for box in boxes)
    left = {carton: carton.available - used[carton] for carton in cartons}
    for places in combinations(range(len(boxes)), 2):
        effort.left -= len(cartons) ** 2
        if effort.left <= 0:
            break
        pair = [boxes[place] for place in places]
        pieces = pieces_of_cabinets(pair)
        better = next((new for new in _better_pairs(pair, left, filler) if pieces_of_cabinets(new) <= pieces), None)
        if better:
            for place, old, new in zip(places, pair, better, strict=True):
                left[old.carton] += 1
                left[new.carton] -= 1
                boxes[place] = new
    return boxes


def _better_pairs(pair: Sequence[Box], left: Mapping[ExactCarton, int], filler: Filler) -> Iterator[list[Box]]:
    """Return the two boxes' panels in cartons of less volume, one way after the other, the least volume first."""
    panels = [panel for box in pair for panel in box.panels]
    for large, small in _smaller_pairs(pair, left)[:_MOST_PAIRS]:
        for order in ORDERS[:2]:
            taken, rest = filler.lay(large, sorted(panels, key=order))
            if rest and fits(rest, small):
                yield [Box(large, taken), Box(small, rest)]
        for groups in islice(permutations(families(panels)), _MOST_TURNS):
            filler.effort.left -= 16 * LAYING * len(panels)
            shared = whole_first(groups, [large, small])
            if shared and all(box.panels for box in shared):
                yield shared


def _smaller_pairs(pair: Sequence[Box], left: Mapping[ExactCarton, int]) -> list[tuple[ExactCarton, ExactCarton]]:
    """Return the pairs of cartons that there are and that could do, the least volume first, the larger carton first."""
    volume_now = sum(box.carton.volume for box in pair)
    content = sum(panel.volume for box in pair for panel in box.panels)
    mass = sum(panel.mass for box in pair for panel in box.panels)
    back = Counter(box.carton for box in pair)
    found = []
    for kinds in combinations_with_replacement(left, 2):
        large, small = sorted(kinds, key=lambda carton: -carton.volume)
        enough = all(left[kind] + back[kind] >= count for kind, count in Counter(kinds).items())
        if enough and content <= large.volume + small.volume < volume_now and mass <= large.mass + small.mass:
            found.append((large, small))
    return sorted(found, key=lambda kinds: kinds[0].volume + kinds[1].volume)
