"""Numbers of boards below which no plan can go."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import product
from math import isqrt
from typing import Final

from tracker.shop.cutting.exact import Kind, Piece

_MOST_SUMS: Final = 200_000  # how many sizes are weighed for one bound
_MOST_THRESHOLDS: Final = 16

_Ways = tuple[tuple[int, int], ...]


def lower_bound(pieces: Sequence[Piece], kinds: Sequence[Kind]) -> int:
    """Return a number of boards that the pieces need at least, however they are laid.

    It is the larger of two: the area poured into the largest boards, and the area weighed by dual feasible functions,
    which count a piece of more than the board less e as the whole board and one of less than e as nothing (S. P.
    Fekete and J. Schepers, "A general framework for bounds for higher-dimensional orthogonal packing problems",
    Mathematical Methods of Operations Research 60, 2004; cited from memory). Two pieces that cannot lie on one board
    are the case of e at half the board. Each piece must lie on at least one of the kinds.
    """
    if not pieces:
        return 0
    used = [kind for kind in kinds if any(piece.lies_on(kind) for piece in pieces)]
    return max(_by_area(pieces, used), _by_weights(pieces, used))


def _by_area(pieces: Sequence[Piece], kinds: Sequence[Kind]) -> int:
    left, boards = sum(piece.area for piece in pieces), 0
    for kind in sorted(kinds, key=lambda kind: -kind.area):
        count = min(-(-max(left, 0) // kind.area), kind.available)
        boards, left = boards + count, left - count * kind.area
    return boards


def _by_weights(pieces: Sequence[Piece], kinds: Sequence[Kind]) -> int:
    """Weigh on one board as long as the longest and as wide as the widest: what fits a kind fits that."""
    along, across = max(kind.along for kind in kinds), max(kind.across for kind in kinds)
    ways = Counter(_distinct_ways(piece) for piece in pieces)
    tries = max(2, min(_MOST_THRESHOLDS, isqrt(_MOST_SUMS // len(ways))))
    lengths = list(_thresholds({size[0] for one in ways for size in one}, along, tries))
    widths = list(_thresholds({size[1] for one in ways for size in one}, across, tries))
    heaviest = max(_weight(ways, (along, e), (across, d)) for e, d in product(lengths, widths))
    return -(-heaviest // (along * across))


def _distinct_ways(piece: Piece) -> _Ways:
    return tuple(sorted({(way[0], way[1]) for ways in piece.ways for way in ways}))


def _thresholds(sizes: set[int], room: int, tries: int) -> Iterator[int]:
    """Return values of e that are worth trying: none, the half, and some of the sizes or of what they leave."""
    half = room // 2
    yield from (0, half)
    found = sorted({min(size, room - size + 1) for size in sizes if 0 < min(size, room - size + 1) <= half})
    step = max(1, len(found) // (tries - 1))
    yield from found[::step][: tries - 1]


def _weight(ways: Counter[_Ways], length: tuple[int, int], width: tuple[int, int]) -> int:
    return sum(
        count * min(_weighed(along, *length) * _weighed(across, *width) for along, across in one)
        for one, count in ways.items()
    )


def _weighed(size: int, room: int, least: int) -> int:
    """Return the size as the function for ``least`` (e, at most half the room) sees it."""
    if size > room - least:
        return room
    return size if size >= least else 0
