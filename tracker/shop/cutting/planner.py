"""Blanks out of boards: the fewest boards, then the least board area, then the largest offcut on the last board."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from tracker.shop.cutting.bounds import lower_bound
from tracker.shop.cutting.exact import UNITS, Kind, Piece, exact_kinds, exact_piece, same_thickness, whole
from tracker.shop.cutting.open_boards import Laid, OpenBoard
from tracker.shop.cutting.reasons import why_not_cut
from tracker.shop.cutting.search import Draft, best_draft
from tracker.shop.cutting.values import (
    SAME_THICKNESS_MM,
    Blank,
    CutBoard,
    CutPiece,
    CuttingPlan,
    CuttingRules,
    Offcut,
    Stock,
    StockNeed,
    Uncuttable,
)
from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.saying import Count, join, say
from tracker.shop.searching import Effort

MOST_BLANKS: Final = 10_000
MOST_STOCKS: Final = 200
STEPS: Final = 30_000_000  # looks at a free place; some seconds


@dataclass(frozen=True, slots=True)
class _Group:
    """Kinds of board of one material and about one thickness, and the pieces that lie on at least one of them."""

    kinds: list[Kind]
    pieces: list[Piece]

    @property
    def there(self) -> list[Kind]:
        return [kind for kind in self.kinds if kind.available > 0]


def plan_boards(
    blanks: Sequence[Blank], stocks: Sequence[Stock], rules: CuttingRules | None = None, *, steps: int = STEPS
) -> CuttingPlan:
    """Return boards from which the blanks are cut, each from stock of its material and thickness.

    The boards are made as few as ``steps`` of search allow; then small boards are taken for large ones, then the
    pieces of the emptiest board are pushed together for the largest offcut. The boards of one material follow each
    other, the fullest first. The same input gives the same plan. Raises InvalidInputError for too many blanks or
    stocks, or an id that stands twice.
    """
    rules = rules or CuttingRules()
    _check(blanks, stocks)
    boards: list[CutBoard] = []
    uncut = set(range(len(blanks)))
    bound = 0
    groups = list(_groups(blanks, stocks, rules))
    count = sum(len(group.pieces) for group in groups)
    for group in groups:
        draft = _draft(group, rules, steps * len(group.pieces) // count)
        placed = [piece for board in draft.boards for piece in board.pieces]
        uncut.difference_update(piece.index for piece in placed)
        bound += lower_bound(placed, group.there)
        boards += [_board(board, blanks, stocks, rules) for board in _fullest_first(draft)]
    fitting = {piece.index for group in groups for piece in group.pieces}
    return CuttingPlan(
        boards=tuple(boards),
        lower_bound=bound,
        yield_share=share_of(boards, stocks),
        unplaceable=tuple(
            Uncuttable(id=blanks[index].id, why=why_not_cut(blanks[index], stocks, rules, fits=index in fitting))
            for index in sorted(uncut)
        ),
        need=tuple(need_of(boards, stocks)),
    )


def _draft(group: _Group, rules: CuttingRules, steps: int) -> Draft:
    there = group.there
    pieces = [piece for piece in group.pieces if any(map(piece.lies_on, there))]
    if not pieces:
        return Draft([], [])
    bound = lower_bound(pieces, there)
    return best_draft(pieces, there, bound, whole(rules.kerf_mm), Effort(steps), sawn=rules.guillotine)


def _groups(blanks: Sequence[Blank], stocks: Sequence[Stock], rules: CuttingRules) -> Iterator[_Group]:
    """Return the groups in the order of their first blanks; a blank that fits no board is in none."""
    families = [exact_kinds(stocks, indexes, rules) for indexes in _families(stocks)]
    of_stock = {kind.index: number for number, kinds in enumerate(families) for kind in kinds}
    by_material = defaultdict(list)
    for index, stock in enumerate(stocks):
        by_material[stock.material].append(index)
    members: dict[int, list[Piece]] = defaultdict(list)
    for index, blank in enumerate(blanks):
        match = next((i for i in by_material.get(blank.material, ()) if same_thickness(blank, stocks[i])), None)
        if match is None:
            continue
        piece = exact_piece(index, blank, stocks, families[of_stock[match]], rules)
        if any(piece.ways):
            members[of_stock[match]].append(piece)
    for number, pieces in members.items():
        yield _Group(families[number], pieces)


def _families(stocks: Sequence[Stock]) -> list[list[int]]:
    """Return the stocks of one material in runs of thickness; no blank is as thick as stocks of two runs."""
    families: list[list[int]] = []
    for index in sorted(range(len(stocks)), key=lambda i: (stocks[i].material, stocks[i].thickness_mm)):
        before = stocks[families[-1][-1]] if families else None
        same = before is not None and before.material == stocks[index].material
        if before is None or not same or stocks[index].thickness_mm - before.thickness_mm > 3 * SAME_THICKNESS_MM:
            families.append([])
        families[-1].append(index)
    return families


def _fullest_first(draft: Draft) -> list[OpenBoard]:
    return sorted(draft.boards, key=lambda board: (-board.used / board.kind.area, min(p.index for p in board.pieces)))


def _board(board: OpenBoard, blanks: Sequence[Blank], stocks: Sequence[Stock], rules: CuttingRules) -> CutBoard:
    area = sum(blanks[piece.index].length_mm * blanks[piece.index].width_mm for piece in board.pieces)
    return CutBoard(
        stock=stocks[board.kind.index].id,
        pieces=tuple(_cut_piece(laid, blanks, rules) for laid in board.in_order()),
        yield_share=area / board.kind.full_area,
        offcut=_offcut(board, rules),
    )


def _cut_piece(laid: Laid, blanks: Sequence[Blank], rules: CuttingRules) -> CutPiece:
    return CutPiece(
        id=blanks[laid.piece.index].id,
        x_mm=_from_corner(laid.x, rules),
        y_mm=_from_corner(laid.y, rules),
        rotated=laid.rotated,
    )


def _offcut(board: OpenBoard, rules: CuttingRules) -> Offcut | None:
    free = board.largest_free(whole(rules.kerf_mm))
    if free is None:
        return None
    x, y, along, across, _ = free
    length, width = round(along / UNITS, 3), round(across / UNITS, 3)
    if not (length and width):
        return None
    return Offcut(x_mm=_from_corner(x, rules), y_mm=_from_corner(y, rules), length_mm=length, width_mm=width)


def _from_corner(units: int, rules: CuttingRules) -> float:
    return (units + whole(rules.trim_mm)) / UNITS


def share_of(boards: Sequence[CutBoard], stocks: Sequence[Stock]) -> float:
    """Return the pieces' part of all the boards' area, 0 where there is no board."""
    areas = {stock.id: stock.length_mm * stock.width_mm for stock in stocks}
    total = sum(areas[board.stock] for board in boards)
    return sum(board.yield_share * areas[board.stock] for board in boards) / total if boards else 0.0


def need_of(boards: Sequence[CutBoard], stocks: Sequence[Stock]) -> Iterator[StockNeed]:
    """Yield how many boards of each stock that is used there are."""
    counts = Counter(board.stock for board in boards)
    for stock in stocks:
        if counts[stock.id]:
            yield StockNeed(stock=stock.id, boards=counts[stock.id])


def _check(blanks: Sequence[Blank], stocks: Sequence[Stock]) -> None:
    faults = []
    if len(blanks) > MOST_BLANKS:
        what = say("at most %(most)s in one plan; send them in parts", most=Count(MOST_BLANKS))
        faults.append(fault_at("blanks", what))
    if len(stocks) > MOST_STOCKS:
        faults.append(fault_at("stocks", say("at most %(most)s kinds of board are wanted", most=MOST_STOCKS)))
    for field, ids in (("blanks", [blank.id for blank in blanks]), ("stocks", [stock.id for stock in stocks])):
        twice = [name for name, count in Counter(ids).items() if count > 1]
        faults += [Fault(where={"field": field, "id": name}, what=say("each id stands once")) for name in twice[:20]]
    if faults:
        first = join([str(faults[0].where["field"]), faults[0].what], between=": ")
        raise InvalidInputError(say("the boards cannot be planned: %(first)s", first=first), faults)
