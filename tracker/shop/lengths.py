"""Numbers as shops write them: 560.5, 560,5, 23 1/4, 23-1/4, 3/4". Lengths are read exactly and kept in mm."""

import re
from enum import StrEnum
from fractions import Fraction
from typing import Final

from tracker.shop.saying import say

MM_PER_INCH: Final = Fraction(254, 10)  # exactly, by the international yard of 1959
LONGEST_TEXT: Final = 30

_DECIMAL: Final = re.compile(r"(\d{1,7})(?:[.,](\d{1,9}))?|[.,](\d{1,9})", re.ASCII)
_FRACTION: Final = re.compile(r"(?:(\d{1,6})(?: | ?- ?))?(\d{1,4}) ?/ ?(\d{1,4})", re.ASCII)
_COUNT: Final = re.compile(r"(\d{1,7})(?:[.,]0{1,2})?", re.ASCII)


class Units(StrEnum):
    """The units of a job's lengths."""

    MM = "mm"
    INCH = "in"


_MARKS: Final = {Units.MM: ("mm",), Units.INCH: ('"', "in.", "in", "″", "”", "''")}
_WANTED: Final = {
    Units.MM: say("wanted: a number of mm above 0, such as 560.5"),
    Units.INCH: say("wanted: a number of in above 0, such as 23.25 or 23 1/4"),
}


def read_length(text: str, units: Units) -> float:
    """Return the length in mm that ``text`` spells in ``units``; a unit mark may follow when it agrees with them.

    Raises ValueError saying what is wanted. Signs, exponents and thousands separators are refused: a comma and a point
    in one number cannot be told apart from a slip.
    """
    spelled = " ".join(text.split())
    if len(spelled) > LONGEST_TEXT:
        raise ValueError(say("longer than any length; %(wanted)s", wanted=_WANTED[units]))
    number = _number(_without_mark(spelled, units), units)
    return float(number * MM_PER_INCH if units is Units.INCH else number)


def read_marked_length(text: str, units: Units) -> float:
    """Return the length in mm that ``text`` spells in the units of its mark, without one in ``units``.

    Raises ValueError like ``read_length``.
    """
    lowered = text.rstrip().lower()
    marked = [each for each, marks in _MARKS.items() if lowered.endswith(marks)]
    return read_length(text, marked[0] if marked else units)


def _without_mark(spelled: str, units: Units) -> str:
    lowered = spelled.lower()
    for mark in _MARKS[units]:
        if lowered.endswith(mark):
            return spelled[: -len(mark)].rstrip()
    return spelled


def _number(spelled: str, units: Units) -> Fraction:
    decimal = _DECIMAL.fullmatch(spelled)
    if decimal:
        whole, places, only_places = decimal.groups()
        return Fraction(f"{whole or 0}.{places or only_places or 0}")
    fraction = _FRACTION.fullmatch(spelled) if units is Units.INCH else None
    if fraction is None:
        raise ValueError(_WANTED[units])
    whole, above, below = fraction.groups()
    # 231/4 is 23 1/4 with its space lost far more often than 57 3/4: asking costs less than a panel.
    if int(above) >= int(below):
        raise ValueError(say("the fraction is not less than 1; %(wanted)s", wanted=_WANTED[units]))
    return int(whole or 0) + Fraction(int(above), int(below))


def read_count(text: str, *, highest: int) -> int:
    """Return the whole number that ``text`` spells, 1 when it is empty; ``2.0``, as spreadsheets write it, is 2.

    Raises ValueError when it is no whole number from 1 to ``highest``. ``1.000`` is refused: it may mean a thousand.
    """
    spelled = text.strip()
    if not spelled:
        return 1
    match = _COUNT.fullmatch(spelled)
    if match is None or not 1 <= int(match.group(1)) <= highest:
        raise ValueError(say("wanted: a whole number from 1 to %(most)d, in digits alone", most=highest))
    return int(match.group(1))


def spell_number(number: int | float) -> str:
    """Spell a number as a cut list would: no exponent below 1e9 and no float noise, so 0.1 + 0.2 is ``0.3``."""
    if isinstance(number, float) and abs(number) < 1e9:
        return f"{number:.9f}".rstrip("0").rstrip(".")
    return str(number)
