"""An independent look at a plan: it knows the blanks, the stocks and the laid pieces, and nothing of the planner."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

from tracker.shop.cutting.values import Blank, CutBoard, CuttingPlan, CuttingRules, Stock

NEARLY = 1e-5


class Place(NamedTuple):
    """A laid piece with its near and far corner on the board, in mm."""

    blank: Blank
    rotated: bool
    near: tuple[float, float]
    far: tuple[float, float]


def complaints(plan: CuttingPlan, blanks: Sequence[Blank], stocks: Sequence[Stock], rules: CuttingRules) -> list[str]:
    """Return everything about the plan that breaks a rule of cutting."""
    kinds = {stock.id: stock for stock in stocks}
    found = list(_whole_plan(plan, blanks, kinds))
    for number, board in enumerate(plan.boards):
        places = places_of(board, blanks)
        found += [f"board {number}: {what}" for what in _board(board, places, kinds[board.stock], rules)]
        if rules.guillotine and not separable(places, rules.kerf_mm):
            found.append(f"board {number}: no cut from edge to edge parts its pieces")
        if rules.guillotine and not _comes_off_in_order(places, rules.kerf_mm):
            found.append(f"board {number}: its pieces are not in an order of sawing")
    return found


def places_of(board: CutBoard, blanks: Sequence[Blank]) -> list[Place]:
    """Return the board's pieces as rectangles, in the plan's order."""
    known = {blank.id: blank for blank in blanks}
    places = []
    for piece in board.pieces:
        blank = known[piece.id]
        along, across = (blank.width_mm, blank.length_mm) if piece.rotated else (blank.length_mm, blank.width_mm)
        far = (piece.x_mm + along, piece.y_mm + across)
        places.append(Place(blank, piece.rotated, (piece.x_mm, piece.y_mm), far))
    return places


def separable(places: Sequence[Place], kerf: float) -> bool:
    """Whether cuts from edge to edge, each a kerf wide, part the pieces: any cut may come first, so take the next."""
    if len(places) <= 1:
        return True
    for axis in (0, 1):
        ordered = sorted(places, key=lambda place: place.near[axis])
        reach = ordered[0].far[axis]
        for count, place in enumerate(ordered[1:], start=1):
            if place.near[axis] >= reach + kerf - NEARLY:
                return separable(ordered[:count], kerf) and separable(ordered[count:], kerf)
            reach = max(reach, place.far[axis])
    return False


def _comes_off_in_order(places: Sequence[Place], kerf: float) -> bool:
    """Whether some sequence of cuts yields the pieces in just this order: each part's pieces follow each other."""
    if len(places) <= 1:
        return True
    for axis in (0, 1):
        for count in range(1, len(places)):
            reach = max(place.far[axis] for place in places[:count])
            if all(place.near[axis] >= reach + kerf - NEARLY for place in places[count:]):
                return _comes_off_in_order(places[:count], kerf) and _comes_off_in_order(places[count:], kerf)
    return False


def _whole_plan(plan: CuttingPlan, blanks: Sequence[Blank], kinds: dict[str, Stock]) -> Iterator[str]:
    told = Counter(piece.id for board in plan.boards for piece in board.pieces)
    told.update(left.id for left in plan.unplaceable)
    if told != Counter(blank.id for blank in blanks):
        yield "not every blank stands once, on a board or among the unplaceable"
    used = Counter(board.stock for board in plan.boards)
    if {need.stock: need.boards for need in plan.need} != used:
        yield "the need is not the number of boards of each stock"
    for name, count in used.items():
        available = kinds[name].available
        if available is not None and count > available:
            yield f"{count} boards {name} are used and there are {available}"
    if not 0 <= plan.lower_bound <= len(plan.boards):
        yield f"the lower bound {plan.lower_bound} is over the {len(plan.boards)} boards"
    if any(not left.why for left in plan.unplaceable):
        yield "a blank is left out for no reason"


def _board(board: CutBoard, places: Sequence[Place], stock: Stock, rules: CuttingRules) -> Iterator[str]:
    sizes = (stock.length_mm, stock.width_mm)
    for place in places:
        if place.blank.material != stock.material or abs(place.blank.thickness_mm - stock.thickness_mm) > 0.05 + 1e-6:
            yield f"{place.blank.id} is of another material"
        if place.rotated and place.blank.grain and stock.grain:
            yield f"{place.blank.id} lies across the grain"
        for axis in (0, 1):
            if place.near[axis] < rules.trim_mm - NEARLY or place.far[axis] > sizes[axis] - rules.trim_mm + NEARLY:
                yield f"{place.blank.id} lies in the trim"
    bodies = [(place.blank.id, place.near, place.far) for place in places]
    if board.offcut is not None:
        cut = board.offcut
        bodies.append(("offcut", (cut.x_mm, cut.y_mm), (cut.x_mm + cut.length_mm, cut.y_mm + cut.width_mm)))
    for (name, near, far), (other, other_near, other_far) in combinations(bodies, 2):
        gaps = [max(other_near[a] - far[a], near[a] - other_far[a]) for a in (0, 1)]
        if max(gaps) < rules.kerf_mm - 0.002:  # offcuts are told to a thousandth of a mm
            yield f"{name} and {other} are less than a kerf apart"
    area = sum(place.blank.length_mm * place.blank.width_mm for place in places)
    if abs(area / (sizes[0] * sizes[1]) - board.yield_share) > NEARLY:
        yield "its yield is told wrong"
