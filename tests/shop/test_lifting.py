"""Who carries a box by the shop's marks, and the advice that stands beside."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.examples import examples
from tracker.shop.errors import InvalidInputError
from tracker.shop.lifting import Coupling, Duration, Handling, Lift, LiftingMarks, lifting_index, multipliers


def test_above_the_shops_marks_two_people_carry_and_then_a_trolley() -> None:
    masses = [0, 25, math.nextafter(25, 99), 40, math.nextafter(40, 99)]
    assert [LiftingMarks().handling(mass).value for mass in masses] == [
        *("one person", "one person", "two people", "two people", "trolley")
    ]
    assert LiftingMarks(two_people_kg=10, trolley_kg=8).handling(9) is Handling.TROLLEY


@pytest.mark.parametrize("bad", [0, -1, math.nan, math.inf])
def test_a_mark_that_is_no_mass_is_refused(bad: float) -> None:
    with pytest.raises(InvalidInputError, match="trolley_kg"):
        LiftingMarks(trolley_kg=bad)


def test_the_index_of_a_box_is_the_one_worked_by_hand() -> None:
    # 23 kg x 25/(20 + 22.5) x 1 x 1 x 1 x 0.95 x 0.9
    assert lifting_index(11, 750, 450) == pytest.approx(11 / (23 * 25 / 42.5 * 0.95 * 0.9))


def test_which_side_is_called_the_length_does_not_matter() -> None:
    assert lifting_index(11, 450, 750) == lifting_index(11, 750, 450)


def test_a_box_too_wide_for_the_equation_is_over_any_limit() -> None:
    assert lifting_index(0.5, 1200, 900) == math.inf


LIFTS = st.builds(
    Lift,
    reach_mm=st.floats(0, 700),
    height_mm=st.floats(0, 1900),
    travel_mm=st.floats(0, 1900),
    twist_deg=st.floats(0, 180),
    lifts_a_minute=st.floats(0, 20),
    duration=st.sampled_from(Duration),
    coupling=st.sampled_from(Coupling),
)


@examples(200)
@given(LIFTS)
def test_every_multiplier_lies_between_never_and_best(lift: Lift) -> None:
    found = multipliers(lift)
    six = (found.reach, found.height, found.travel, found.twist, found.frequency, found.coupling)
    assert all(0 <= multiplier <= 1 for multiplier in six)


@examples(100)
@given(LIFTS, st.floats(0, 300))
def test_reaching_farther_never_allows_more(lift: Lift, farther: float) -> None:
    beyond = Lift(reach_mm=lift.reach_mm + farther, height_mm=lift.height_mm)
    assert multipliers(beyond).reach <= multipliers(lift).reach


@pytest.mark.parametrize("bad", [-1, math.nan, math.inf])
def test_impossible_masses_and_lifts_are_refused(bad: float) -> None:
    with pytest.raises(InvalidInputError, match="mass_kg"):
        lifting_index(bad, 750, 450)
    with pytest.raises(InvalidInputError, match="height_mm"):
        Lift(reach_mm=300, height_mm=bad)
