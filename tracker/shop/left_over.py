"""What found no place, in a carton or on a board, said in a sentence for the office."""

from collections.abc import Sequence
from typing import Final

from tracker.shop.errors import Fault
from tracker.shop.saying import Said, join, say, say_many

_MOST_NAMED: Final = 8


def told_with_first(said: str, faults: Sequence[Fault], then: str) -> Said:
    """Return what is said of an order with its first fault in words, and how many more there are.

    The faults are those of ``errors.gathered``: each names a part, its cabinets and how many there are.
    """
    more = len(faults) - 1
    others = [say_many("And %(num)d more reason.", "And %(num)d more reasons.", more)] if more else []
    return join([say("%(said)s: %(first)s.", said=said, first=in_words(faults[0])), *others, then], between=" ")


def in_words(fault: Fault) -> Said:
    """Return a gathered fault as a sentence: Deck of cabinets 101, 102 (2 parts): it is 3000 mm long …"""
    names, count = fault.where["cabinets"], fault.where["count"]
    shown: str = ", ".join(names[:_MOST_NAMED])
    if len(names) > _MOST_NAMED:
        shown = say("%(names)s and %(more)s more", names=shown, more=len(names) - _MOST_NAMED)
    return say(
        "%(part)s of %(cabinets)s (%(count)s): %(what)s",
        part=fault.where["part"],
        cabinets=say_many("cabinet %(names)s", "cabinets %(names)s", len(names), names=shown),
        count=say_many("%(num)d part", "%(num)d parts", count),
        what=fault.what,
    )
