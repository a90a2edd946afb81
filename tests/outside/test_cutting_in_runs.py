"""Boards of a whole job, planned in runs: nothing is lost between them."""

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.cutting.runs import plan_all_boards
from tracker.shop.cutting.values import Blank, Stock

STOCKS = (
    Stock(id="white", material="white", length_mm=2800, width_mm=2070, thickness_mm=18, available=4),
    Stock(id="oak", material="oak", length_mm=2800, width_mm=2070, thickness_mm=18),
)


@st.composite
def blanks(draw: st.DrawFn) -> list[Blank]:
    sizes = draw(st.lists(st.tuples(st.integers(100, 1500), st.integers(100, 900), st.booleans()), max_size=30))
    return [
        Blank(
            id=str(number),
            material="oak" if oak else "white",
            length_mm=length,
            width_mm=width,
            thickness_mm=18,
        )
        for number, (length, width, oak) in enumerate(sizes)
    ]


@given(blanks(), st.integers(1, 12))
def test_every_blank_is_on_one_board_or_named_and_no_more_boards_are_taken_than_there_are(
    given_blanks: list[Blank], run: int
) -> None:
    plan = plan_all_boards(given_blanks, STOCKS, run=run)
    told = [piece.id for board in plan.boards for piece in board.pieces] + [left.id for left in plan.unplaceable]
    assert sorted(told) == sorted(blank.id for blank in given_blanks)
    counts = Counter(board.stock for board in plan.boards)
    assert counts["white"] <= 4
    assert {need.stock: need.boards for need in plan.need} == dict(counts)
    whole = plan_all_boards(given_blanks, STOCKS)
    if not plan.unplaceable and not whole.unplaceable:
        assert plan.lower_bound <= min(len(whole.boards), len(plan.boards))


def test_a_later_run_takes_no_board_that_an_earlier_one_has_taken() -> None:
    board = Stock(id="white", material="white", length_mm=1000, width_mm=1000, thickness_mm=18, available=1)
    large = [Blank(id=name, material="white", length_mm=900, width_mm=900, thickness_mm=18) for name in ("1", "2")]
    plan = plan_all_boards(large, [board], run=1)
    assert [[piece.id for piece in each.pieces] for each in plan.boards] == [["1"]]
    assert [left.id for left in plan.unplaceable] == ["2"]
