"""Why a blank comes off no board, in a sentence for the office."""

from collections.abc import Iterable, Sequence
from typing import Final

from tracker.shop.cutting.exact import same_thickness
from tracker.shop.cutting.values import Blank, CuttingRules, Stock
from tracker.shop.saying import Mm, Said, join, say

_MOST_NAMED: Final = 8


def why_not_cut(blank: Blank, stocks: Sequence[Stock], rules: CuttingRules, *, fits: bool) -> Said:
    """Return the reason; ``fits`` says that the blank alone lies on one of the stocks, so that they are used up."""
    right = [s for s in stocks if s.material == blank.material and same_thickness(blank, s)]
    if not right:
        return _no_stock(blank, stocks)
    if fits:
        named = _named(say("%(board)s (%(count)s there)", board=s.id, count=s.available or 0) for s in right)
        return say("every board that it fits is used up: %(boards)s; buy more", boards=named)
    if blank.grain and all(stock.grain for stock in right):
        return _too_large_with_grain(blank, right, rules)
    return _too_large(blank, right, rules)


def _no_stock(blank: Blank, stocks: Sequence[Stock]) -> Said:
    thick = Mm(blank.thickness_mm)
    wanted = say("there is no stock of %(material)s %(thick)s thick", material=blank.material, thick=thick)
    same = sorted({stock.thickness_mm for stock in stocks if stock.material == blank.material})
    if same:
        sizes = _named(say("%(thick)s", thick=Mm(each)) for each in same)
        return say(
            "%(wanted)s; %(material)s is there in %(sizes)s", wanted=wanted, material=blank.material, sizes=sizes
        )
    others = sorted({(stock.material, stock.thickness_mm) for stock in stocks})
    there = _named(say("%(board)s %(thick)s", board=name, thick=Mm(each)) for name, each in others)
    return say("%(wanted)s; there is %(there)s", wanted=wanted, there=there if others else say("no stock at all"))


def _too_large_with_grain(blank: Blank, stocks: Sequence[Stock], rules: CuttingRules) -> Said:
    longest = max(stock.length_mm for stock in stocks) - 2 * rules.trim_mm
    widest = max(stock.width_mm for stock in stocks) - 2 * rules.trim_mm
    if blank.length_mm > longest:
        return say(
            "it is %(size)s long with the grain and the longest board leaves %(room)s",
            size=Mm(blank.length_mm),
            room=_room(longest),
        )
    if blank.width_mm > widest:
        return say(
            "it is %(size)s wide across the grain and the widest board leaves %(room)s",
            size=Mm(blank.width_mm),
            room=_room(widest),
        )
    return say("no one board is both long and wide enough for it")


def _too_large(blank: Blank, stocks: Sequence[Stock], rules: CuttingRules) -> Said:
    long, short = max(blank.length_mm, blank.width_mm), min(blank.length_mm, blank.width_mm)
    longest = max(max(stock.length_mm, stock.width_mm) for stock in stocks) - 2 * rules.trim_mm
    widest = max(min(stock.length_mm, stock.width_mm) for stock in stocks) - 2 * rules.trim_mm
    if long > longest:
        return say("it is %(size)s long and the longest board leaves %(room)s", size=Mm(long), room=_room(longest))
    if short > widest:
        return say("it is %(size)s wide and the widest board leaves %(room)s", size=Mm(short), room=_room(widest))
    return say("no one board is both long and wide enough for it, as its grain asks")


def _room(size: float) -> Said:
    return say("%(size)s after the trim", size=Mm(size)) if size > 0 else say("nothing after the trim")


def _named(names: Iterable[str]) -> Said:
    found = list(names)
    shown = join(found[:_MOST_NAMED])
    if len(found) <= _MOST_NAMED:
        return shown
    return say("%(names)s and %(more)s more", names=shown, more=len(found) - _MOST_NAMED)
