"""One plan of boxes for panels that may lie together: the fewest, then whole cabinets, then the least volume."""

from collections.abc import Sequence
from dataclasses import dataclass

from tracker.shop.boxing.bounds import Least
from tracker.shop.boxing.cabinets import by_cabinet, cabinets_in, gathered, pieces_of_cabinets
from tracker.shop.boxing.exact import ExactCarton
from tracker.shop.boxing.filling import Box, Panels, measures
from tracker.shop.boxing.search import boxes_of_many_kinds, boxes_of_one_kind
from tracker.shop.boxing.supply import in_smaller_cartons, supplied
from tracker.shop.searching import Effort


@dataclass(frozen=True, slots=True)
class _Draft:
    """Boxes as they were planned, the same in the smallest cartons that there are, and what is left without one."""

    planned: list[Box]
    boxes: list[Box]
    without: Panels

    @property
    def rank(self) -> tuple[int, int, int, int]:
        """Return what makes a plan good, the most important first; less is better."""
        volume = sum(box.carton.volume for box in self.boxes)
        return len(self.without), len(self.boxes), pieces_of_cabinets(self.boxes), volume


def drafted(panels: Panels, kinds: Sequence[ExactCarton], effort: Effort) -> list[Box]:
    """Return boxes for those of the panels that one of the kinds takes, as few as the effort allows.

    What no carton is left for lies in none of them.
    """
    fitting = [panel for panel in panels if any(kind.takes(panel) for kind in kinds)]
    useful = [kind for kind in kinds if any(map(kind.takes, fitting))]
    return _best_draft(fitting, useful, effort).boxes if fitting else []


def _best_draft(panels: Panels, kinds: Sequence[ExactCarton], effort: Effort) -> _Draft:
    best = _fewest(panels, kinds, effort)
    if pieces_of_cabinets(best.boxes) > cabinets_in(panels):
        best = _whole_cabinets(best, panels, kinds, effort.part(0.7))
    if len(kinds) == 1:
        return best
    boxes = in_smaller_cartons(list(best.boxes), kinds, measures(panels, kinds)[0], effort)
    return _Draft(best.planned, boxes, best.without)


def _fewest(panels: Panels, kinds: Sequence[ExactCarton], effort: Effort) -> _Draft:
    least = Least(panels, kinds)
    drafts: list[_Draft] = []
    for kind in _for_all(panels, kinds):
        of_kind = Least(panels, [kind], at_least=least)
        if not drafts or of_kind.boxes <= min(len(draft.boxes) for draft in drafts):
            drafts.append(_draft(boxes_of_one_kind(panels, kind, of_kind, effort.part(0.6)), kinds))
    enough = any(not draft.without and least.reached_by(len(draft.boxes)) for draft in drafts)
    if not enough and (len(kinds) > 1 or not drafts):
        drafts.append(_draft(boxes_of_many_kinds(panels, kinds, least, effort.part(0.5)), kinds))
    return min(drafts, key=lambda draft: draft.rank)


def _whole_cabinets(best: _Draft, panels: Panels, kinds: Sequence[ExactCarton], effort: Effort) -> _Draft:
    largest = _for_all(panels, kinds)[:1]
    drafts = [best, *(_draft(by_cabinet(panels, kind, breaking=b), kinds) for kind in largest for b in (False, True))]
    best = min(drafts, key=lambda draft: draft.rank)
    drafts.append(_draft(gathered(list(best.planned), effort), kinds))
    return min(drafts, key=lambda draft: draft.rank)


def _for_all(panels: Panels, kinds: Sequence[ExactCarton]) -> list[ExactCarton]:
    """Return the kinds of carton that take every one of the panels, the largest first."""
    fitting = [kind for kind in kinds if all(kind.takes(panel) for panel in panels)]
    return sorted(fitting, key=lambda kind: -kind.volume)


def _draft(planned: list[Box], kinds: Sequence[ExactCarton]) -> _Draft:
    return _Draft(planned, *supplied(planned, kinds))
