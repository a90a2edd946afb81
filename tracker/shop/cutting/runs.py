"""The boards of a whole job, however many parts it has: material by material, in runs of what one plan takes."""

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import replace

from tracker.shop.cutting.planner import MOST_BLANKS, need_of, plan_boards, share_of
from tracker.shop.cutting.values import Blank, CutBoard, CuttingPlan, CuttingRules, Stock, Uncuttable


def plan_all_boards(
    blanks: Sequence[Blank], stocks: Sequence[Stock], rules: CuttingRules | None = None, *, run: int = MOST_BLANKS
) -> CuttingPlan:
    """Return boards for any number of blanks; each run of a material may cost one board more than needed.

    Raises InvalidInputError like ``plan_boards``.
    """
    if len(blanks) <= run:
        return plan_boards(blanks, stocks, rules)
    by_material: dict[str, list[Blank]] = defaultdict(list)
    for blank in blanks:
        by_material[blank.material].append(blank)
    boards: list[CutBoard] = []
    unplaceable: list[Uncuttable] = []
    bound = 0
    left = {stock.id: stock for stock in stocks}
    for group in by_material.values():
        plans = []
        for start in range(0, len(group), run):
            plan = plan_boards(group[start : start + run], list(left.values()), rules)
            _take(left, plan)
            plans.append(plan)
            boards += plan.boards
            unplaceable += plan.unplaceable
        bound += max(plan.lower_bound for plan in plans)  # what one run needs, all of them need
    return CuttingPlan(
        boards=tuple(boards),
        lower_bound=bound,
        yield_share=share_of(boards, stocks),
        unplaceable=tuple(unplaceable),
        need=tuple(need_of(boards, stocks)),
    )


def _take(left: dict[str, Stock], plan: CuttingPlan) -> None:
    for name, count in Counter(board.stock for board in plan.boards).items():
        available = left[name].available
        left[name] = replace(left[name], available=None if available is None else available - count)
