"""Any plan of cutting keeps every rule, by a witness that knows nothing of the planner; the sizes are invented."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.examples import examples
from tests.shop.cutting.test_planner import FEW_STEPS, NO_LOSS, blank, stock, whys
from tests.shop.cutting.witness import complaints
from tracker.shop.cutting.planner import MOST_BLANKS, plan_boards
from tracker.shop.cutting.values import Blank, CuttingRules, Stock

SIZES = st.integers(20, 900) | st.floats(20, 900).map(lambda size: round(size, 1))
MATERIALS = st.sampled_from(["white", "white", "white", "oak"])
BLANKS = st.lists(
    st.tuples(SIZES, SIZES, st.sampled_from([18, 18, 18.04, 17.95, 8]), MATERIALS, st.booleans()), max_size=25
)
STOCKS = st.lists(
    st.builds(
        stock,
        name=st.sampled_from("ABCD"),
        length=st.integers(300, 1500),
        width=st.integers(300, 1500),
        thick=st.sampled_from([18, 18, 17.97, 18.08, 8]),
        material=MATERIALS,
        grain=st.booleans(),
        available=st.none() | st.integers(0, 4),
    ),
    max_size=4,
    unique_by=lambda kind: kind.id,
)
RULES = st.builds(
    CuttingRules,
    kerf_mm=st.sampled_from([0, 3.2, 4.4, 12]),
    trim_mm=st.sampled_from([0, 10, 12.5]),
    guillotine=st.booleans(),
)


@examples(50)
@given(BLANKS, STOCKS, RULES)
def test_every_plan_keeps_every_rule_of_cutting(
    sizes: list[tuple[float, float, float, str, bool]], stocks: list[Stock], rules: CuttingRules
) -> None:
    blanks = [
        blank(f"P{number}", long, wide, thick, material=material, grain=grain)
        for number, (long, wide, thick, material, grain) in enumerate(sizes)
    ]
    plan = plan_boards(blanks, stocks, rules, steps=FEW_STEPS)
    assert complaints(plan, blanks, stocks, rules) == []
    assert plan == plan_boards(blanks, stocks, rules, steps=FEW_STEPS)


@examples(40)
@given(BLANKS, STOCKS, RULES)
def test_with_boards_as_many_as_wanted_a_blank_is_left_out_only_if_it_fits_none(
    sizes: list[tuple[float, float, float, str, bool]], stocks: list[Stock], rules: CuttingRules
) -> None:
    stocks = [stock(s.id, s.length_mm, s.width_mm, s.thickness_mm, material=s.material, grain=s.grain) for s in stocks]
    blanks = [blank(f"P{n}", *size[:3], material=size[3], grain=size[4]) for n, size in enumerate(sizes)]
    plan = plan_boards(blanks, stocks, rules, steps=FEW_STEPS)
    assert set(whys(plan)) == {b.id for b in blanks if not any(_fits(b, s, rules) for s in stocks)}


def _fits(one: Blank, board: Stock, rules: CuttingRules) -> bool:
    room = (board.length_mm - 2 * rules.trim_mm, board.width_mm - 2 * rules.trim_mm)
    straight = one.length_mm <= room[0] and one.width_mm <= room[1]
    turned = one.width_mm <= room[0] and one.length_mm <= room[1] and not (one.grain and board.grain)
    same = one.material == board.material and abs(one.thickness_mm - board.thickness_mm) < 0.051
    return same and (straight or turned)


@pytest.mark.parametrize("guillotine", [True, False])
def test_the_most_blanks_that_are_taken_are_planned(guillotine: bool) -> None:
    blanks = [blank(f"P{n}", 100 + n * 7919 % 1400, 60 + n * 104729 % 800, grain=n % 2 > 0) for n in range(MOST_BLANKS)]
    rules = CuttingRules(guillotine=guillotine)
    plan = plan_boards(blanks, [stock(grain=True)], rules, steps=200_000)
    assert complaints(plan, blanks, [stock(grain=True)], rules) == []


def test_absurdly_many_crumbs_on_one_board_are_planned() -> None:
    blanks = [blank(f"P{n}", 5 + n % 97 / 10, 4 + n % 89 / 10) for n in range(2_000)]
    plan = plan_boards(blanks, [stock()], CuttingRules(guillotine=False), steps=100_000)
    assert len(plan.boards) == 1


@examples(40)
@given(st.data())
def test_boards_cut_up_at_will_are_never_bounded_above_their_number(data: st.DataObject) -> None:
    """Pieces made by parting whole boards: a plan of so many boards is known beforehand."""
    boards = data.draw(st.integers(1, 4))
    pieces = [(0, 0)] * 0
    for _ in range(boards):
        parts = [(120, 90)]
        for _ in range(data.draw(st.integers(0, 5))):
            length, width = parts.pop(data.draw(st.integers(0, len(parts) - 1)))
            at = data.draw(st.integers(1, 9))
            if data.draw(st.booleans()):
                parts += [(length * at // 10, width), (length - length * at // 10, width)]
            else:
                parts += [(length, width * at // 10), (length, width - width * at // 10)]
        pieces += [part for part in parts if min(part) > 0]
    blanks = [blank(f"P{n}", *part) for n, part in enumerate(pieces)]
    plan = plan_boards(blanks, [stock("S", 120, 90)], NO_LOSS, steps=200_000)
    assert plan.lower_bound <= boards
    assert len(plan.boards) <= boards + 1
