"""Bounds worked by hand, and of boards that are known to hold their pieces."""

import pytest

from tests.shop.cutting.test_planner import NO_LOSS, blank, stock
from tracker.shop.cutting.planner import plan_boards


def test_pieces_of_more_than_half_a_board_each_way_need_a_board_each() -> None:
    plan = plan_boards([blank(f"P{n}", 51, 51) for n in range(7)], [stock("S", 100, 100)], NO_LOSS)
    assert (plan.lower_bound, len(plan.boards)) == (7, 7)


def test_exact_halves_are_no_more_than_area_asks_for() -> None:
    plan = plan_boards([blank(f"P{n}", 50, 50) for n in range(8)], [stock("S", 100, 100)], NO_LOSS)
    assert (plan.lower_bound, len(plan.boards)) == (2, 2)


def test_pieces_over_a_third_both_ways_lie_four_to_a_board() -> None:
    # 34 of 100 lies twice along and twice across, so 12 need 3 boards (by hand); the bound knows only of 2.
    plan = plan_boards([blank(f"P{n}", 34, 34) for n in range(12)], [stock("S", 100, 100)], NO_LOSS)
    assert (plan.lower_bound, len(plan.boards)) == (2, 3)


@pytest.mark.parametrize("count", [1, 9, 97])
def test_a_board_that_is_filled_by_one_blank_is_needed_for_each(count: int) -> None:
    plan = plan_boards([blank(f"P{n}", 2780, 2050) for n in range(count)], [stock()])
    assert (plan.lower_bound, len(plan.boards)) == (count, count)
