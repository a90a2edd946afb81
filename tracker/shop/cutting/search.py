"""Pieces onto as few boards as can be: many simple ways of laying them, the best kept, then bettered board by board."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final

from tracker.shop.cutting.exact import Kind, Piece, Way
from tracker.shop.cutting.open_boards import BoardMaker, Free, OpenBoard, RoutedBoard, SawnBoard, Split
from tracker.shop.searching import Effort, Shuffle

_IN_VIEW: Final = 300  # boards that are still looked at for room
_LAYING: Final = 20  # what it costs to lay a piece, in looks at a free rectangle
_MOST_WITHOUT: Final = 50  # pieces without a board that are tried again in one round
_AMONG_EMPTIEST: Final = 3
_NOISE: Final = 0.5
_ROUNDS_WITHOUT_GAIN: Final = 2_000

Pieces = Sequence[Piece]
Order = Callable[[Piece], tuple[int, int]]
Score = Callable[[Free, Way], int]

# The largest first: by area, by the longer or shorter side, by half the way round, across or along the board.
_ORDERS: Final[tuple[Order, ...]] = (
    lambda piece: (piece.area, piece.long),
    lambda piece: (piece.long, piece.short),
    lambda piece: (piece.short, piece.long),
    lambda piece: (piece.along + piece.across, piece.long),
    lambda piece: (piece.across, piece.along),
    lambda piece: (piece.along, piece.across),
)
# What is left of a free place: the shorter rest, the area.
_RESTS: Final[tuple[Score, ...]] = (
    lambda free, way: min(free[2] - way[0], free[3] - way[1]),
    lambda free, way: free[2] * free[3] - way[0] * way[1],
)


@dataclass(frozen=True, slots=True)
class Recipe:
    """One simple way of laying pieces: in which order, in the tightest place by which score, and how the rest splits.

    ``anywhere`` looks at all boards for the tightest place, otherwise the first board with a place is taken.
    """

    order: Order
    split: Split
    score: Score
    anywhere: bool
    board: BoardMaker


@dataclass(frozen=True, slots=True)
class Draft:
    """Boards with their pieces, and the pieces for which there was no board."""

    boards: list[OpenBoard]
    without: list[Piece]

    @property
    def rank(self) -> tuple[int, int, float, float]:
        """Return what makes a draft good, the most important first; less is better.

        The last is how evenly the boards are filled: full boards and one nearly empty leave the better offcut.
        """
        spread = sum((board.used / board.kind.area) ** 2 for board in self.boards)
        return len(self.without), len(self.boards), sum(board.kind.full_area for board in self.boards), -spread


def best_draft(pieces: Pieces, kinds: Sequence[Kind], bound: int, kerf: int, effort: Effort, *, sawn: bool) -> Draft:
    """Return the best draft that this effort finds; each piece must lie on at least one of the kinds.

    Without ``sawn`` the boards are cut by a router. ``bound`` ends the search early; ``kerf`` is for the offcuts.
    """
    recipes = list(_recipes(sawn))
    tidying = effort.part(0.1)
    best = _first_drafts(pieces, kinds, recipes, bound, effort.part(0.5))
    best = _bettered(best, kinds, recipes, bound, effort)
    tidying.left += effort.left
    boards = list(best.boards)
    if len(kinds) > 1:
        _in_smaller_kinds(boards, kinds, recipes, tidying)
    if boards:
        emptiest = min(range(len(boards)), key=lambda number: _filled(boards[number]))
        boards[emptiest] = _with_largest_offcut(boards[emptiest], recipes, kerf, tidying)
    return Draft(boards, best.without)


def _recipes(sawn: bool) -> Iterator[Recipe]:
    makers: tuple[BoardMaker, ...] = (SawnBoard,) if sawn else (RoutedBoard, SawnBoard)
    for maker, anywhere, score in product(makers, (True, False), _RESTS):
        for split, order in product(Split if maker is SawnBoard else (Split.ALONG,), _ORDERS):
            yield Recipe(order, split, score, anywhere, maker)


def _first_drafts(pieces: Pieces, kinds: Sequence[Kind], recipes: list[Recipe], bound: int, effort: Effort) -> Draft:
    """Try the recipes in turn; the first is always carried through, coarsely where the effort does not last."""
    openings = [sorted(kinds, key=lambda kind: -kind.area)]
    if len(kinds) > 1:
        openings.append(openings[0][::-1])
    best: Draft | None = None
    for opening, recipe in product(openings, recipes):
        ordered = _ordered(pieces, recipe.order, len(kinds))
        draft = _laid(ordered, opening, recipe, effort, to_the_end=best is None)
        if draft is not None and (best is None or draft.rank < best.rank):
            best = draft
        if best is not None and (effort.left <= 0 or (len(kinds) == 1 and _least(best, bound))):
            break
    return best or Draft([], list(pieces))


def _ordered(pieces: Pieces, order: Order, kinds: int) -> list[Piece]:
    """Return the largest first; before them those that lie on fewer kinds of board."""
    if kinds == 1:
        return sorted(pieces, key=order, reverse=True)
    return sorted(pieces, key=lambda piece: (-sum(map(bool, piece.ways)), *order(piece)), reverse=True)


def _least(draft: Draft, bound: int) -> bool:
    return not draft.without and len(draft.boards) <= bound


def _laid(
    pieces: Iterable[Piece], kinds: Sequence[Kind], recipe: Recipe, effort: Effort, *, to_the_end: bool = False
) -> Draft | None:
    """Lay the pieces in this order; a new board is of the first of ``kinds`` that takes the piece.

    Returns None when the effort is used up, unless it goes ``to_the_end``: then only the last board is looked at.
    """
    left = {kind: kind.available for kind in kinds}
    boards: list[OpenBoard] = []
    view: list[OpenBoard] = []
    without: list[Piece] = []
    for piece in pieces:
        if effort.left <= 0:
            if not to_the_end:
                return None
            view = view[-1:]
        if _lay_in_view(piece, view, recipe, effort):
            continue
        kind = next((kind for kind in kinds if left[kind] > 0 and piece.lies_on(kind)), None)
        if kind is None:
            without.append(piece)
            continue
        left[kind] -= 1
        board = recipe.board(kind)
        _lay_in_view(piece, [board], recipe, effort)
        boards.append(board)
        view.append(board)
        if len(view) > _IN_VIEW:
            view.remove(min(view, key=lambda board: board.room))
            effort.left -= _IN_VIEW
    return Draft(boards, without)


def _lay_in_view(piece: Piece, view: Iterable[OpenBoard], recipe: Recipe, effort: Effort) -> bool:
    """Lay the piece in the tightest place in view; False where there is none."""
    best: tuple[int, OpenBoard, Free, Way] | None = None
    looks, area, score = _LAYING, piece.area, recipe.score
    for board in view:
        looks += 1
        if board.room < area:
            continue
        ways = piece.ways[board.kind.position]
        looks += len(board.free)
        for free in board.free:
            for way in ways:
                if way[0] <= free[2] and way[1] <= free[3]:
                    rest = score(free, way)
                    if best is None or rest < best[0]:
                        best = rest, board, free, way
        if best is not None and not recipe.anywhere:
            break
    effort.left -= looks
    if best is None:
        return False
    _, board, free, way = best
    effort.left -= board.lay(piece, free, way, recipe.split)
    return True


def _bettered(draft: Draft, kinds: Sequence[Kind], recipes: list[Recipe], bound: int, effort: Effort) -> Draft:
    """Take one of the emptiest boards and a few others apart again and again; keep what is no worse."""
    shuffle = Shuffle()
    boards, without, idle = list(draft.boards), list(draft.without), 0
    while effort.left > 0 and idle < _ROUNDS_WITHOUT_GAIN and not _least(Draft(boards, without), bound):
        effort.left -= len(boards)
        taken = _to_take_apart(boards, shuffle)
        old = Draft([boards[number] for number in taken], without[:_MOST_WITHOUT])
        new = _laid_anew(old, _still_there(kinds, boards, old.boards), recipes, shuffle, effort)
        idle += 1
        if new is not None and new.rank <= old.rank:
            idle = 0 if new.rank < old.rank else idle
            boards = [board for number, board in enumerate(boards) if number not in taken] + new.boards
            without = new.without + without[_MOST_WITHOUT:]
    return Draft(boards, without)


def _to_take_apart(boards: list[OpenBoard], shuffle: Shuffle) -> set[int]:
    """Return the numbers of one of the emptiest boards and of up to three others."""
    emptiest = sorted(range(len(boards)), key=lambda number: _filled(boards[number]))[:_AMONG_EMPTIEST]
    if not emptiest:
        return set()
    first = emptiest[min(shuffle.below(len(emptiest)), shuffle.below(len(emptiest)))]
    return {first, *(shuffle.below(len(boards)) for _ in range(1 + shuffle.below(3)))}


def _laid_anew(
    old: Draft, kinds: Sequence[Kind], recipes: list[Recipe], shuffle: Shuffle, effort: Effort
) -> Draft | None:
    """Lay the pieces of a few boards again by one of the recipes, not quite in its order."""
    recipe = recipes[shuffle.below(len(recipes))]
    pieces = [piece for board in old.boards for piece in board.pieces] + old.without
    weights = {piece: _weight(piece, recipe) * (1 - _NOISE * shuffle.share()) for piece in pieces}
    pieces.sort(key=lambda piece: -weights[piece])
    return _laid(pieces, kinds, recipe, effort)


def _weight(piece: Piece, recipe: Recipe) -> float:
    return float(recipe.order(piece)[0])


def _still_there(kinds: Sequence[Kind], boards: list[OpenBoard], taken: list[OpenBoard]) -> list[Kind]:
    """Return the kinds, the largest first, with as many boards as may be opened when these are given back."""
    used = Counter(board.kind.index for board in boards)
    used.subtract(board.kind.index for board in taken)
    return [
        kind.with_available(kind.available - used[kind.index]) for kind in sorted(kinds, key=lambda kind: -kind.area)
    ]


def _filled(board: OpenBoard) -> float:
    return board.used / board.kind.area


def _in_smaller_kinds(boards: list[OpenBoard], kinds: Sequence[Kind], recipes: list[Recipe], effort: Effort) -> None:
    """Move the pieces of each board, the emptiest first, to the smallest kind of board that takes them all."""
    for number in sorted(range(len(boards)), key=lambda number: boards[number].used):
        board = boards[number]
        there = [kind for kind in _still_there(kinds, boards, [board]) if kind.available > 0]
        smaller = [kind for kind in there if kind.full_area < board.kind.full_area and board.used <= kind.area]
        for kind, recipe in product(reversed(smaller), recipes):
            if effort.left <= 0:
                return
            draft = _on_one(board.pieces, kind, recipe, effort)
            if draft is not None:
                boards[number] = draft
                break


def _with_largest_offcut(board: OpenBoard, recipes: list[Recipe], kerf: int, effort: Effort) -> OpenBoard:
    """Lay the pieces of one board in every way; return the one that leaves the largest rectangle whole."""
    others = (_on_one(board.pieces, board.kind, recipe, effort) for recipe in recipes)
    return max([board, *(other for other in others if other is not None)], key=lambda one: _offcut(one, kerf))


def _on_one(pieces: list[Piece], kind: Kind, recipe: Recipe, effort: Effort) -> OpenBoard | None:
    """Return one board with all of the pieces, None where the recipe needs more."""
    if any(not piece.lies_on(kind) for piece in pieces):
        return None
    ordered = sorted(pieces, key=recipe.order, reverse=True)
    draft = _laid(ordered, [kind.with_available(1)], recipe, effort)
    return draft.boards[0] if draft is not None and not draft.without else None


def _offcut(board: OpenBoard, kerf: int) -> int:
    free = board.largest_free(kerf)
    return free[2] * free[3] if free else 0
