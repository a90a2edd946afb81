"""Why a blank comes off no board, in a sentence for the office."""

from collections.abc import Iterable, Sequence
from typing import Final

from tracker.shop.cutting.exact import same_thickness
from tracker.shop.cutting.values import Blank, CuttingRules, Stock

_MOST_NAMED: Final = 8


def why_not_cut(blank: Blank, stocks: Sequence[Stock], rules: CuttingRules, *, fits: bool) -> str:
    """Return the reason; ``fits`` says that the blank alone lies on one of the stocks, so that they are used up."""
    right = [s for s in stocks if s.material == blank.material and same_thickness(blank, s)]
    if not right:
        return _no_stock(blank, stocks)
    if fits:
        named = _named(f"{stock.id} ({stock.available or 0} there)" for stock in right)
        return f"every board that it fits is used up: {named}; buy more"
    if blank.grain and all(stock.grain for stock in right):
        return _too_large_with_grain(blank, right, rules)
    return _too_large(blank, right, rules)


def _no_stock(blank: Blank, stocks: Sequence[Stock]) -> str:
    wanted = f"there is no stock of {blank.material} {blank.thickness_mm:g} mm thick"
    same = sorted({stock.thickness_mm for stock in stocks if stock.material == blank.material})
    if same:
        return f"{wanted}; {blank.material} is there in " + _named(f"{thick:g} mm" for thick in same)
    others = sorted({(stock.material, stock.thickness_mm) for stock in stocks})
    return f"{wanted}; there is " + (_named(f"{name} {thick:g} mm" for name, thick in others) or "no stock at all")


def _too_large_with_grain(blank: Blank, stocks: Sequence[Stock], rules: CuttingRules) -> str:
    longest = max(stock.length_mm for stock in stocks) - 2 * rules.trim_mm
    widest = max(stock.width_mm for stock in stocks) - 2 * rules.trim_mm
    if blank.length_mm > longest:
        return f"it is {blank.length_mm:g} mm long with the grain and the longest board leaves {_room(longest)}"
    if blank.width_mm > widest:
        return f"it is {blank.width_mm:g} mm wide across the grain and the widest board leaves {_room(widest)}"
    return "no one board is both long and wide enough for it"


def _too_large(blank: Blank, stocks: Sequence[Stock], rules: CuttingRules) -> str:
    long, short = max(blank.length_mm, blank.width_mm), min(blank.length_mm, blank.width_mm)
    longest = max(max(stock.length_mm, stock.width_mm) for stock in stocks) - 2 * rules.trim_mm
    widest = max(min(stock.length_mm, stock.width_mm) for stock in stocks) - 2 * rules.trim_mm
    if long > longest:
        return f"it is {long:g} mm long and the longest board leaves {_room(longest)}"
    if short > widest:
        return f"it is {short:g} mm wide and the widest board leaves {_room(widest)}"
    return "no one board is both long and wide enough for it, as its grain asks"


def _room(size: float) -> str:
    return f"{size:g} mm after the trim" if size > 0 else "nothing after the trim"


def _named(names: Iterable[str]) -> str:
    found = list(names)
    more = f" and {len(found) - _MOST_NAMED} more" if len(found) > _MOST_NAMED else ""
    return ", ".join(found[:_MOST_NAMED]) + more
