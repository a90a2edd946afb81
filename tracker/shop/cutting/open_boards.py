"""Boards that are being cut: where a piece may lie, and what is left free."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from enum import Enum
from typing import Final

from tracker.shop.cutting.exact import Kind, Piece, Way

_MOST_FREE: Final = 100  # free places kept on one board, the largest
_ROOT: Final = 0

Free = tuple[int, int, int, int, int]
"""A free rectangle: its corner along and across, its size along and across, and the number of the cut it waits for."""


class Split(Enum):
    """How the rest beside a piece falls apart: which of its two cuts goes through."""

    SHORTER_REST = "shorter rest"
    LARGER_OFFCUT = "larger offcut"
    ALONG = "along"
    ACROSS = "across"
    LONGER_REST = "longer rest"

    def cuts_along(self, free: Free, way: Way) -> bool:
        """Whether the cut along the board goes through, so that what lies beside the piece stays in its strip."""
        along, across = free[2] - way[0], free[3] - way[1]
        match self:
            case Split.SHORTER_REST:
                return along <= across
            case Split.LONGER_REST:
                return along > across
            case Split.LARGER_OFFCUT:
                return free[2] * across >= along * free[3]
            case Split.ALONG:
                return True
            case Split.ACROSS:
                return False


@dataclass(frozen=True, slots=True)
class Laid:
    """A piece and where it lies, in units from the corner after the trim."""

    piece: Piece
    x: int
    y: int
    rotated: bool


class OpenBoard:
    """A board of one kind, the pieces that lie on it, and its free rectangles.

    ``room`` is the area of the largest free rectangle; no larger piece needs to be tried.
    """

    __slots__ = ("free", "kind", "laid", "room", "used")

    def __init__(self, kind: Kind) -> None:
        self.kind = kind
        self.free: list[Free] = [(0, 0, kind.along, kind.across, _ROOT)]
        self.laid: list[Laid] = []
        self.used = 0
        self.room = kind.area

    @property
    def pieces(self) -> list[Piece]:
        return [laid.piece for laid in self.laid]

    def lay(self, piece: Piece, free: Free, way: Way, split: Split) -> int:
        """Lay the piece in the near corner of this free rectangle; return what that cost, in looks at a rectangle."""
        self.laid.append(Laid(piece, free[0], free[1], way[2]))
        self.used += piece.area
        cost = self._cut(free, way, split)
        if len(self.free) > _MOST_FREE:
            self.free = sorted(self.free, key=_area, reverse=True)[:_MOST_FREE]
        self.room = max(map(_area, self.free), default=0)
        return cost

    def in_order(self) -> list[Laid]:
        """Return the pieces in the order in which they are cut."""
        return sorted(self.laid, key=lambda laid: (laid.x, laid.y))

    def largest_free(self, kerf: int) -> Free | None:
        """Return the largest free rectangle less the kerf at its far sides, None where nothing is left."""
        offcuts = [(x, y, along - kerf, across - kerf, cut) for x, y, along, across, cut in self.free]
        return max((one for one in offcuts if one[2] > 0 and one[3] > 0), key=_area, default=None)

    def _cut(self, free: Free, way: Way, split: Split) -> int:
        raise NotImplementedError


class SawnBoard(OpenBoard):
    """A board that is cut from edge to edge.

    Every piece takes the corner of a free rectangle, and two cuts, one of them through, leave two others: ``inner``
    in the piece's own strip, ``outer`` beside it. The tree of these cuts gives the order at the saw.
    """

    __slots__ = ("_cuts", "_numbers")

    def __init__(self, kind: Kind) -> None:
        super().__init__(kind)
        self._cuts: dict[int, tuple[Laid, int, int]] = {}
        self._numbers = _ROOT

    def in_order(self) -> list[Laid]:
        """Return the pieces strip by strip: what shares a strip with a piece comes off before the next strip."""
        found, waiting = [], [_ROOT]
        while waiting:
            cut = self._cuts.get(waiting.pop())
            if cut is not None:
                laid, inner, outer = cut
                found.append(laid)
                waiting += (outer, inner)
        return found

    def _cut(self, free: Free, way: Way, split: Split) -> int:
        x, y, along, across, number = free
        wide, high, _ = way
        inner, outer = self._numbers + 1, self._numbers + 2
        self._numbers = outer
        self._cuts[number] = (self.laid[-1], inner, outer)
        if split.cuts_along(free, way):
            rests = (
                (x + wide, y, along - wide, high, inner),
                (x, y + high, along, across - high, outer),
            )
        else:
            rests = (
                (x, y + high, wide, across - high, inner),
                (x + wide, y, along - wide, across, outer),
            )
        self.free.remove(free)
        self.free += [rest for rest in rests if rest[2] > 0 and rest[3] > 0]
        return len(self.free) // 2


class RoutedBoard(OpenBoard):
    """A board that is cut around each piece: its free rectangles overlap, each as large as can be."""

    __slots__ = ()

    def _cut(self, free: Free, way: Way, split: Split) -> int:
        taken = (free[0], free[1], way[0], way[1], _ROOT)
        kept: list[Free] = []
        parts: list[Free] = []
        for one in self.free:
            if _apart(one, taken):
                kept.append(one)
            else:
                parts += _around(one, taken)
        parts.sort(key=lambda part: (-_area(part), part))
        for part in parts:
            if not any(_inside(part, other) for other in kept):
                kept.append(part)
        self.free = kept
        return len(kept) * (2 + len(parts))


BoardMaker = Callable[[Kind], OpenBoard]


def _area(free: Free) -> int:
    return free[2] * free[3]


def _apart(one: Free, other: Free) -> bool:
    return (
        one[0] + one[2] <= other[0]
        or other[0] + other[2] <= one[0]
        or one[1] + one[3] <= other[1]
        or other[1] + other[3] <= one[1]
    )


def _inside(one: Free, other: Free) -> bool:
    return (
        one[0] >= other[0]
        and one[1] >= other[1]
        and one[0] + one[2] <= other[0] + other[2]
        and one[1] + one[3] <= other[1] + other[3]
    )


def _around(one: Free, taken: Free) -> Iterator[Free]:
    """Return what is left of a free rectangle on each side of the taken one, as large as can be."""
    x, y, along, across, _ = one
    near_x, near_y = taken[0] - x, taken[1] - y
    far_x, far_y = taken[0] + taken[2], taken[1] + taken[3]
    if near_x > 0:
        yield x, y, near_x, across, _ROOT
    if near_y > 0:
        yield x, y, along, near_y, _ROOT
    if far_x < x + along:
        yield far_x, y, x + along - far_x, across, _ROOT
    if far_y < y + across:
        yield x, far_y, along, y + across - far_y, _ROOT
