"""Blanks and boards in whole units, each side enlarged by one kerf, so that pieces lie side by side without gaps.

n pieces in a row need n - 1 cuts between them; with a kerf added to each piece and one to the board the two sums are
the same. One unit is 1e-9 mm. A board is widened by 1e-6 mm, so that six blanks of 16.666666667 mm still fit in 100.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from tracker.shop.cutting.values import SAME_THICKNESS_MM, Blank, CuttingRules, Stock

UNITS: Final = 10**9
_SLACK: Final = 1_000
_UNLIMITED: Final = 10**9

Way = tuple[int, int, bool]
"""One way for a piece to lie: its size along the board, its size across, and whether that is turned."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Kind:
    """One kind of board in a group: what is left of it after the trim, and one kerf.

    ``index`` is its place among the stocks that were given, ``position`` that in its group.
    """

    index: int
    position: int
    along: int
    across: int
    full_area: float
    available: int

    @property
    def area(self) -> int:
        return self.along * self.across

    def with_available(self, available: int) -> "Kind":
        """Return the same kind, of which there are so many."""
        return replace(self, available=available)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """A blank and one kerf; ``ways`` holds how it may lie on each kind of board of its group, by position."""

    index: int
    along: int
    across: int
    ways: tuple[tuple[Way, ...], ...]

    @property
    def area(self) -> int:
        return self.along * self.across

    @property
    def long(self) -> int:
        return max(self.along, self.across)

    @property
    def short(self) -> int:
        return min(self.along, self.across)

    def lies_on(self, kind: Kind) -> bool:
        """Whether the piece alone fits."""
        return bool(self.ways[kind.position])


def exact_kinds(stocks: Sequence[Stock], indexes: Sequence[int], rules: CuttingRules) -> list[Kind]:
    """Return the stocks at these indexes as one group of kinds."""
    kerf, trim = whole(rules.kerf_mm), whole(rules.trim_mm)
    return [
        Kind(
            index=index,
            position=position,
            along=whole(stocks[index].length_mm) - 2 * trim + kerf + _SLACK,
            across=whole(stocks[index].width_mm) - 2 * trim + kerf + _SLACK,
            full_area=stocks[index].length_mm * stocks[index].width_mm,
            available=_available(stocks[index]),
        )
        for position, index in enumerate(indexes)
    ]


def exact_piece(index: int, blank: Blank, stocks: Sequence[Stock], kinds: Sequence[Kind], rules: CuttingRules) -> Piece:
    """Return the blank with the ways in which it may lie on each of these kinds."""
    kerf = whole(rules.kerf_mm)
    along, across = whole(blank.length_mm) + kerf, whole(blank.width_mm) + kerf
    return Piece(
        index=index,
        along=along,
        across=across,
        ways=tuple(tuple(_ways(along, across, kind, blank, stocks[kind.index])) for kind in kinds),
    )


def same_thickness(blank: Blank, stock: Stock) -> bool:
    """Whether the two are as thick as each other, within SAME_THICKNESS_MM."""
    return abs(blank.thickness_mm - stock.thickness_mm) <= SAME_THICKNESS_MM + 1e-9


def whole(value: float) -> int:
    """Return a length in units."""
    return round(value * UNITS)


def _available(stock: Stock) -> int:
    return _UNLIMITED if stock.available is None else stock.available


def _ways(along: int, across: int, kind: Kind, blank: Blank, stock: Stock) -> list[Way]:
    if not same_thickness(blank, stock):
        return []
    ways = [(along, across, False)]
    if along != across and not (blank.grain and stock.grain):
        ways.append((across, along, True))
    return [way for way in ways if way[0] <= kind.along and way[1] <= kind.across]
