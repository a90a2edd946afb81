"""The reference decode algorithm of Code 128 and what it leaves to spare (ISO/IEC 15417).

The algorithm is the one that the GS1 General Specifications print in section 5.4.5 for GS1-128: edge to similar edge.
Four distances, in eleven parts of the character's width, name the character; the sum of its bars must agree. How the
decodability is worked out is written from memory of ISO/IEC 15417; no copy was at hand:
V1 = K ÷ (S ÷ 2n), K the smallest distance of a measurement from a threshold, S the character's width, n = 11;
V2 = (1.75 − |11 W ÷ S − M|) ÷ 1.75, W the width of its bars and M the modules that they should have. The lesser counts.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Final

from barcode.charsets.code128 import CODES, STOP

MODULES: Final = 11  # of a character
ELEMENTS: Final = 6
_STARTS: Final = range(103, 106)
_STOP: Final = 106
_STOP_FROM_THE_RIGHT: Final = 107
_BAR_TOLERANCE: Final = 1.75  # modules
_LEAST, _MOST = 1.5, 7.5  # the thresholds at the ends


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """The characters of a symbol by their values, start and check in it, and its decodability from 0 to 1."""

    words: Sequence[int]
    decodability: float


def decode(widths: Sequence[float]) -> Decoded | None:
    """Decode the widths of a symbol's bars and spaces, from its first bar to its last, in any unit.

    Return None for what is no symbol: a number of elements that cannot be, a character that is none, no start, no
    stop, a wrong check character.
    """
    if len(widths) % ELEMENTS != 1 or len(widths) < 4 * ELEMENTS + 1:
        return None
    groups = [widths[start : start + ELEMENTS] for start in range(0, len(widths) - 1, ELEMENTS)]
    groups.append(widths[: -ELEMENTS - 1 : -1])  # the last bar belongs to the stop as a reader meets it from the right
    read = [_character(group) for group in groups]
    words = [each[0] for each in read if each is not None]
    if len(words) < len(read) or not _is_symbol(words):
        return None
    return Decoded(words=tuple(words[:-2]), decodability=min(each[1] for each in read if each is not None))


def _is_symbol(words: Sequence[int]) -> bool:
    start, *data, check, stop, from_the_right = words
    weighted = start + sum(place * word for place, word in enumerate(data, start=1))
    return (
        start in _STARTS
        and all(word < _STARTS.start for word in data)
        and check == weighted % 103
        and (stop, from_the_right) == (_STOP, _STOP_FROM_THE_RIGHT)
    )


def _character(widths: Sequence[float]) -> tuple[int, float] | None:
    """Return the value and the decodability of one character of six elements, or None for none."""
    module = sum(widths) / MODULES
    distances = [(one + other) / module for one, other in pairwise(widths[:5])]
    if not all(_LEAST <= distance < _MOST for distance in distances):
        return None
    found = _CHARACTERS.get(tuple(int(distance + 0.5) for distance in distances))
    if found is None:
        return None
    value, bar_modules = found
    doubt = abs(sum(widths[::2]) / module - bar_modules)
    if doubt >= _BAR_TOLERANCE:
        return None
    nearest = min(abs(distance - int(distance) - 0.5) for distance in distances)
    return value, min(2 * nearest, (_BAR_TOLERANCE - doubt) / _BAR_TOLERANCE)


def _by_distances() -> dict[tuple[int, ...], tuple[int, int]]:
    """Return the value and the bars' modules of each character by its four distances."""
    patterns = [*CODES, STOP, ("11" + STOP[::-1])[:MODULES]]
    table = {}
    for value, pattern in enumerate(patterns):
        widths = [len(list(run)) for _colour, run in groupby(pattern)]
        distances = tuple(one + other for one, other in pairwise(widths[:5]))
        table[distances] = (value, pattern.count("1"))
    return table


_CHARACTERS: Final = _by_distances()
