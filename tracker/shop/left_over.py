"""What found no place, in a carton or on a board, said in a sentence for the office."""

from collections.abc import Sequence
from typing import Final

from tracker.shop.errors import Fault

_MOST_NAMED: Final = 8


def told_with_first(said: str, faults: Sequence[Fault], then: str) -> str:
    """Return what is said of an order with its first fault in words, and how many more there are.

    The faults are those of ``errors.gathered``: each names a part, its cabinets and how many there are.
    """
    more = len(faults) - 1
    others = f" And {more} more reason{'s' if more > 1 else ''}." if more else ""
    return f"{said}: {in_words(faults[0])}.{others} {then}"


def in_words(fault: Fault) -> str:
    """Return a gathered fault as a sentence: Deck of cabinets 101, 102 (2 parts): it is 3000 mm long …"""
    names, count = fault.where["cabinets"], fault.where["count"]
    more = f" and {len(names) - _MOST_NAMED} more" if len(names) > _MOST_NAMED else ""
    cabinets = f"cabinet{'s' if len(names) > 1 else ''} {', '.join(names[:_MOST_NAMED])}{more}"
    return f"{fault.where['part']} of {cabinets} ({count} part{'s' if count > 1 else ''}): {fault.what}"
