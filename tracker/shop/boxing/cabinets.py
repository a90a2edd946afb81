"""Keeping a cabinet's parts in one box, where that costs no extra box."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Sequence

from tracker.shop.boxing.exact import ExactCarton, ExactPanel
from tracker.shop.boxing.filling import LAYING, Box, Panels
from tracker.shop.boxing.layers import fits
from tracker.shop.boxing.sums import fewer
from tracker.shop.searching import Effort, Shuffle

Family = str | int  # a cabinet's name, or the index of a panel that belongs to none


def pieces_of_cabinets(boxes: Iterable[Box]) -> int:
    """Return in how many boxes each cabinet lies, summed over the cabinets: the less the better."""
    return len({(place, panel.cabinet) for place, box in enumerate(boxes) for panel in box.panels if panel.cabinet})


def cabinets_in(panels: Iterable[ExactPanel]) -> int:
    """Return how many cabinets the panels belong to."""
    return len({panel.cabinet for panel in panels if panel.cabinet})


def by_cabinet(panels: Panels, carton: ExactCarton, *, breaking: bool) -> list[Box]:
    """Return boxes of one carton that takes all the panels, filled with whole cabinets, the largest first.

    A cabinet that fits no box whole is shared out. ``breaking`` shares out one more for each box that has room left.
    """
    groups = sorted(families(panels), key=lambda group: -sum(panel.volume for panel in group))
    boxes = []
    while groups:
        box = Box(carton, [])
        waiting = [group for group in groups if not _put(group, [box])]
        if waiting and (breaking or not box.panels):
            largest_first = sorted(waiting[0], key=lambda panel: -panel.volume)
            rest = [panel for panel in largest_first if not _put([panel], [box])]
            waiting[:1] = [rest] if rest else []
        boxes.append(box)
        groups = waiting
    return boxes


def gathered(boxes: list[Box], effort: Effort) -> list[Box]:
    """Return no more boxes than there were, with fewer cabinets spread over several of them."""
    panels = [panel for box in boxes for panel in box.panels]
    sizes = Counter(_family(panel) for panel in panels)
    shuffle, whole = Shuffle(), cabinets_in(panels)

    def togetherness(box: Box) -> float:
        counts = Counter(_family(panel) for panel in box.panels)
        return float(sum((count / sizes[family]) ** 2 for family, count in counts.items()) ** 0.5)

    def refill(opened: Sequence[Box]) -> list[Box] | None:
        pool = [panel for box in opened for panel in box.panels]
        effort.left -= 4 * LAYING * len(pool) * len(opened)
        groups = families(pool)
        chance = {id(group): shuffle.share() for group in groups}
        groups.sort(key=lambda group: chance[id(group)])
        return whole_first(groups, [box.carton for box in opened])

    return fewer(
        boxes,
        done=lambda boxes: pieces_of_cabinets(boxes) == whole,
        others=(1, 2),
        emptiest=1,
        load=togetherness,
        refill=refill,
        effort=effort,
        shuffle=shuffle,
    )


def whole_first(groups: Sequence[Panels], cartons: Sequence[ExactCarton]) -> list[Box] | None:
    """Return the cartons filled with whole groups where they fit, then with the single panels of the others."""
    boxes = [Box(carton, []) for carton in cartons]
    broken = [group for group in groups if not _put(group, boxes)]
    for panel in sorted((panel for group in broken for panel in group), key=lambda panel: -panel.volume):
        if not _put([panel], boxes):
            return None
    return boxes


def _put(group: Panels, boxes: Sequence[Box]) -> bool:
    for box in boxes:
        if fits(box.panels + group, box.carton):
            box.panels = box.panels + group
            return True
    return False


def _family(panel: ExactPanel) -> Family:
    return panel.cabinet or panel.index


def families(panels: Iterable[ExactPanel]) -> list[Panels]:
    """Return the panels of each cabinet; a panel that belongs to none stands alone."""
    found: dict[Family, Panels] = defaultdict(list)
    for panel in panels:
        found[_family(panel)].append(panel)
    return list(found.values())
