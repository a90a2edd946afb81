"""Plans of cutting, seen by the witness; the sizes are invented unless a source is named."""

import pytest

from tests.shop.cutting.witness import Place, places_of, separable
from tracker.shop.cutting.planner import MOST_BLANKS, MOST_STOCKS, plan_boards
from tracker.shop.cutting.values import Blank, CuttingPlan, CuttingRules, Stock, StockNeed
from tracker.shop.errors import InvalidInputError

FEW_STEPS = 100_000
NO_LOSS = CuttingRules(kerf_mm=0, trim_mm=0)


def blank(name: str, length: float, width: float, thick: float = 18, **more: object) -> Blank:
    fields = {"material": "white", "length_mm": length, "width_mm": width, "thickness_mm": thick, **more}
    return Blank(id=name, **fields)  # type: ignore[arg-type]


def stock(name: str = "S", length: float = 2800, width: float = 2070, thick: float = 18, **more: object) -> Stock:
    fields = {"material": "white", "length_mm": length, "width_mm": width, "thickness_mm": thick, **more}
    return Stock(id=name, **fields)  # type: ignore[arg-type]


def whys(plan: CuttingPlan) -> dict[str, str]:
    return {left.id: left.why for left in plan.unplaceable}


def test_no_blanks_need_no_board() -> None:
    plan = plan_boards([], [stock()])
    assert (plan.boards, plan.lower_bound, plan.proved_least, plan.yield_share, plan.need) == ((), 0, True, 0.0, ())


@pytest.mark.parametrize(("kerf", "boards"), [(3.2, 1), (3.201, 2)])
def test_between_two_pieces_lies_one_kerf_and_none_beside_the_last(kerf: float, boards: int) -> None:
    # 2800 less two trims of 10 is 2780 = 1388.4 + 3.2 + 1388.4
    blanks = [blank("A", 1388.4, 2050, grain=True), blank("B", 1388.4, 2050, grain=True)]
    plan = plan_boards(blanks, [stock(grain=True)], CuttingRules(kerf_mm=kerf))
    assert (len(plan.boards), plan.lower_bound) == (boards, boards)


def test_the_first_piece_lies_in_the_corner_after_the_trim_and_the_next_a_kerf_on() -> None:
    plan = plan_boards([blank(n, 1388.4, 2050, grain=True) for n in "AB"], [stock(grain=True)])
    assert [(p.x_mm, p.y_mm, p.rotated) for p in plan.boards[0].pieces] == [(10, 10, False), (1401.6, 10, False)]


def test_a_full_sheet_of_quarters_is_one_board_without_loss() -> None:
    plan = plan_boards([blank(n, 500, 250) for n in "ABCD"], [stock("S", 1000, 500)], NO_LOSS)
    assert (len(plan.boards), plan.proved_least, plan.yield_share, plan.boards[0].offcut) == (1, True, 1.0, None)


def test_six_pieces_of_a_sixth_still_fit() -> None:
    plan = plan_boards([blank(f"P{n}", 100, 16.666666667) for n in range(6)], [stock("S", 100, 100)], NO_LOSS)
    assert len(plan.boards) == 1


def test_grain_keeps_a_blank_from_turning_only_on_a_board_with_grain() -> None:
    tall = [blank("A", 600, 900, grain=True)]
    assert plan_boards(tall, [stock("S", 1000, 700)], NO_LOSS).boards[0].pieces[0].rotated
    refused = plan_boards(tall, [stock("S", 1000, 700, grain=True)], NO_LOSS)
    assert whys(refused) == {
        "A": "it is 900 mm wide across the grain and the widest board leaves 700 mm after the trim"
    }


PINWHEEL = [blank("A", 3, 2), blank("B", 2, 3), blank("C", 3, 2), blank("D", 2, 3)]


def test_a_pinwheel_needs_a_router_and_costs_the_saw_a_second_board() -> None:
    # Four 3 x 2 rectangles around a hole fill a square of 5: the textbook layout that no edge-to-edge cut parts.
    # With each way of lying fixed by its grain, the saw cannot do it; checked by hand.
    blanks = [blank(p.id, p.length_mm, p.width_mm, grain=True) for p in PINWHEEL] + [blank("E", 1, 1)]
    board = [stock("S", 5, 5, grain=True)]
    sawn = plan_boards(blanks, board, NO_LOSS)
    routed = plan_boards(blanks, board, CuttingRules(kerf_mm=0, trim_mm=0, guillotine=False))
    assert (len(sawn.boards), len(routed.boards)) == (2, 1)
    assert not separable(places_of(routed.boards[0], blanks), 0)


def test_the_witness_knows_a_pinwheel() -> None:
    corners = [((0, 0), (3, 2)), ((3, 0), (5, 3)), ((2, 3), (5, 5)), ((0, 2), (2, 5))]
    places = [Place(one, False, near, far) for one, (near, far) in zip(PINWHEEL, corners, strict=True)]
    assert not separable(places, 0)
    assert separable(places[:3], 0)


def test_materials_and_thicknesses_are_never_cut_from_one_board() -> None:
    blanks = [blank("A", 100, 100), blank("B", 100, 100, 8), blank("C", 100, 100, material="oak")]
    stocks = [stock("W18"), stock("W8", thick=8), stock("O18", material="oak")]
    plan = plan_boards(blanks, stocks)
    assert plan.need == tuple(StockNeed(stock=s.id, boards=1) for s in stocks)
    assert plan.proved_least


def test_the_yield_of_a_plan_is_the_pieces_area_by_that_of_all_its_boards() -> None:
    """A square metre out of a board of one, and half a square metre out of one of two: 1.5 of 3."""
    blanks = [blank("A", 1000, 1000), blank("B", 500, 1000, material="oak")]
    plan = plan_boards(blanks, [stock("W", 1000, 1000), stock("O", 2000, 1000, material="oak")], NO_LOSS)
    assert [board.yield_share for board in plan.boards] == pytest.approx([1.0, 0.25])
    assert plan.yield_share == pytest.approx(0.5)


def test_a_blank_is_cut_from_a_board_a_twentieth_of_a_mm_off() -> None:
    assert not plan_boards([blank("A", 100, 100, 18.05)], [stock()]).unplaceable
    assert plan_boards([blank("A", 100, 100, 18.06)], [stock()]).unplaceable


def test_a_smaller_board_is_taken_where_it_does() -> None:
    plan = plan_boards([blank("A", 500, 400)], [stock("large"), stock("small", 600, 500)])
    assert plan.need == (StockNeed(stock="small", boards=1),)


def test_one_large_board_is_taken_before_two_small_ones() -> None:
    plan = plan_boards([blank("A", 500, 400), blank("B", 500, 400)], [stock("small", 600, 500), stock("large")])
    assert plan.need == (StockNeed(stock="large", boards=1),)


def test_a_board_that_only_some_blanks_need_is_kept_for_them() -> None:
    blanks = [blank("A", 900, 900), blank("B", 900, 900), blank("long", 2000, 300)]
    plan = plan_boards(blanks, [stock("long", 2100, 1000, available=1), stock("short", 1000, 1000)], NO_LOSS)
    assert not plan.unplaceable
    assert next(b.stock for b in plan.boards if any(p.id == "long" for p in b.pieces)) == "long"


def test_the_last_board_keeps_the_largest_offcut() -> None:
    plan = plan_boards([blank("A", 400, 100), blank("B", 400, 100)], [stock("S", 1000, 500)], NO_LOSS)
    offcut = plan.boards[0].offcut
    assert offcut is not None
    # A strip of both along the board leaves 1000 x 400, both turned side by side leave 800 x 500: as much (by hand).
    assert offcut.length_mm * offcut.width_mm == pytest.approx(400_000)


def test_a_reason_says_what_there_is() -> None:
    stocks = [stock("W8", thick=8), stock("O18", material="oak", available=0)]
    plan = plan_boards([blank("A", 9, 9), blank("B", 9, 9, material="ash"), blank("C", 9, 9, material="oak")], stocks)
    assert whys(plan) == {
        "A": "there is no stock of white 18 mm thick; white is there in 8 mm",
        "B": "there is no stock of ash 18 mm thick; there is oak 18 mm, white 8 mm",
        "C": "every board that it fits is used up: O18 (0 there); buy more",
    }
    assert whys(plan_boards([blank("A", 9, 9)], [])) == {
        "A": "there is no stock of white 18 mm thick; there is no stock at all"
    }


@pytest.mark.parametrize(
    ("length", "width", "grain", "why"),
    [
        (2781, 100, True, "it is 2781 mm long with the grain and the longest board leaves 2780 mm after the trim"),
        (2781, 100, False, "it is 2781 mm long and the longest board leaves 2780 mm after the trim"),
        (2060, 2051, False, "it is 2051 mm wide and the widest board leaves 2050 mm after the trim"),
        (2500, 2051, False, "it is 2051 mm wide and the widest board leaves 2050 mm after the trim"),
    ],
)
def test_a_blank_too_large_is_told_which_side(length: float, width: float, grain: bool, why: str) -> None:
    plan = plan_boards([blank("A", length, width, grain=grain)], [stock(grain=True)])
    assert whys(plan) == {"A": why}


def test_a_board_that_the_trim_eats_up_takes_nothing() -> None:
    plan = plan_boards([blank("A", 1, 1)], [stock("S", 15, 15)])
    assert whys(plan) == {"A": "it is 1 mm long and the longest board leaves nothing after the trim"}


def test_boards_that_run_out_leave_the_rest_to_be_bought() -> None:
    plan = plan_boards([blank(f"P{n}", 900, 900) for n in range(5)], [stock("S", 1000, 1000, available=3)])
    assert (len(plan.boards), len(plan.unplaceable), plan.lower_bound) == (3, 2, 3)
    assert set(whys(plan).values()) == {"every board that it fits is used up: S (3 there); buy more"}


@pytest.mark.parametrize(
    ("blanks", "stocks"),
    [
        ([blank("A", 9, 9)] * 2, [stock()]),
        ([], [stock("S"), stock("S")]),
        ([blank(f"P{n}", 9, 9) for n in range(MOST_BLANKS + 1)], [stock()]),
        ([], [stock(f"S{n}") for n in range(MOST_STOCKS + 1)]),
    ],
)
def test_ids_that_stand_twice_and_far_too_much_are_refused(blanks: list[Blank], stocks: list[Stock]) -> None:
    with pytest.raises(InvalidInputError, match="the boards cannot be planned"):
        plan_boards(blanks, stocks)
