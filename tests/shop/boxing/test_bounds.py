"""Lower bounds: never over what can be done, and as high as the rules of packing make them."""

from itertools import permutations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.examples import examples
from tests.shop.boxing.test_planner import carton, panel
from tracker.shop.boxing.bounds import least_bins
from tracker.shop.boxing.planner import plan_boxes
from tracker.shop.boxing.sums import pack
from tracker.shop.searching import Effort


def fewest_by_trying_all(sizes: list[int], room: int) -> int:
    """Return the fewest bins: first fit finds them in one of all orders."""
    return min(_first_fit(order, room) for order in permutations(sizes))


def _first_fit(sizes: tuple[int, ...], room: int) -> int:
    left: list[int] = []
    for size in sizes:
        place = next((index for index, rest in enumerate(left) if rest >= size), None)
        if place is None:
            left.append(room - size)
        else:
            left[place] -= size
    return len(left)


@examples(150)
@given(
    st.integers(5, 60).flatmap(
        lambda room: st.tuples(st.lists(st.integers(1, room), min_size=1, max_size=6), st.just(room))
    )
)
def test_the_bound_is_never_over_and_the_packing_never_under_the_fewest_bins(case: tuple[list[int], int]) -> None:
    sizes, room = case
    fewest = fewest_by_trying_all(sizes, room)
    bound = least_bins(sizes, room)
    bins = pack(sizes, room, target=bound, effort=Effort(20_000))
    assert bound <= fewest == len(bins)
    assert sorted(position for content in bins for position in content) == list(range(len(sizes)))
    assert all(sum(sizes[position] for position in content) <= room for content in bins)


def test_sizes_finer_than_can_be_told_apart_are_packed_on_the_safe_side() -> None:
    sizes = [10**9 + 7, 10**9 + 9, 10**9 - 3, 10**9 + 21]
    bins = pack(sizes, 2 * 10**9 + 20, target=2, effort=Effort(20_000))
    assert all(sum(sizes[position] for position in content) <= 2 * 10**9 + 20 for content in bins)


@pytest.mark.parametrize(
    ("sizes", "height", "bound"),
    [
        ([(500, 450)] * 3, 18, 3),  # no two lie side by side, none on another
        ([(500, 450)] * 3, 36, 2),
        ([(390, 290)] * 9, 18, 3),  # four to a layer
        ([(790, 250)] * 5, 18, 3),  # two to a layer, only across
        ([(420, 590), (420, 590), (390, 590)], 18, 3),
        ([(410, 590), (410, 590), (390, 590)], 18, 2),
    ],
)
def test_panels_that_cannot_lie_side_by_side_or_on_each_other_need_their_own_boxes(
    sizes: list[tuple[int, int]], height: float, bound: int
) -> None:
    panels = [panel(f"P{n}", *size) for n, size in enumerate(sizes)]
    plan = plan_boxes(panels, [carton(size=(800, 600, height))])
    assert plan.lower_bound == bound
    assert plan.proved_least


def test_panels_that_fit_different_cartons_only_cannot_share_a_box() -> None:
    cartons = [carton("long", (2000, 200, 100)), carton("wide", (900, 900, 100))]
    plan = plan_boxes([panel("post", 1900, 100), panel("top", 850, 850)], cartons)
    assert plan.lower_bound == 2


def test_the_bound_counts_the_large_cartons_that_there_are() -> None:
    cartons = [carton("large", (800, 600, 180), 100, available=1), carton("small", (800, 600, 36), 100)]
    plan = plan_boxes([panel(f"P{n}", 800, 600, 18, 1) for n in range(14)], cartons)
    assert (plan.lower_bound, len(plan.boxes)) == (3, 3)
