"""Lengths as shops write them: 560.5, 560,5, 23 1/4, 23-1/4, 3/4" — read exactly, kept in mm."""

import re
from enum import StrEnum
from fractions import Fraction
from typing import Final

MM_PER_INCH: Final = Fraction(254, 10)  # exactly, by the international yard of 1959
LONGEST_TEXT: Final = 30

_DECIMAL: Final = re.compile(r"(\d{1,7})(?:[.,](\d{1,9}))?|[.,](\d{1,9})", re.ASCII)
_FRACTION: Final = re.compile(r"(?:(\d{1,6})(?:\s+|\s*-\s*))?(\d{1,4})\s*/\s*(\d{1,4})", re.ASCII)


class Units(StrEnum):
    """The units of a job's lengths."""

    MM = "mm"
    INCH = "in"


_MARKS: Final = {Units.MM: ("mm",), Units.INCH: ('"', "in.", "in", "″", "''")}


def read_length(text: str, units: Units) -> float:
    """Return the length in mm that ``text`` spells in ``units``; a unit mark may follow when it agrees with them.

    Raises ValueError saying what is wanted. Signs, exponents and thousands separators are refused: a comma and a point
    in one number cannot be told apart from a slip.
    """
    spelled = text.strip()
    if len(spelled) > LONGEST_TEXT:
        raise ValueError("longer than any length")
    number = _number(_without_mark(spelled, units), units)
    return float(number * MM_PER_INCH if units is Units.INCH else number)


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
    if fraction:
        whole, above, below = fraction.groups()
        if int(below) == 0:
            raise ValueError("a fraction over 0")
        return int(whole or 0) + Fraction(int(above), int(below))
    raise ValueError(f"wanted: a number of {units}, such as {'560.5' if units is Units.MM else '23.25 or 23 1/4'}")


def read_count(text: str, *, highest: int) -> int:
    """Return the whole number that ``text`` spells, 1 when it is empty; ``2.0``, as spreadsheets write it, is 2.

    Raises ValueError when it is no whole number from 1 to ``highest``.
    """
    spelled = text.strip()
    if not spelled:
        return 1
    match = _DECIMAL.fullmatch(spelled)
    if match is None or not match.group(1) or int(match.group(2) or 0) or not 1 <= int(match.group(1)) <= highest:
        raise ValueError(f"wanted: a whole number from 1 to {highest}")
    return int(match.group(1))
