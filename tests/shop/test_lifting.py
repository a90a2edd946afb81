"""Who may lift a box, by the assumptions that are printed with the grade."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.examples import examples
from tracker.shop.errors import InvalidInputError
from tracker.shop.lifting import Coupling, Duration, Handling, Lift, LiftingAssumptions, grade_lifting, multipliers


def test_a_light_box_is_for_one_a_heavier_for_two_and_a_heavy_one_for_a_machine() -> None:
    grades = [grade_lifting(mass, 750, 450).handling for mass in (8, 15, 35)]
    assert grades == [Handling.ONE_PERSON, Handling.TWO_PERSONS, Handling.MACHINE]


def test_the_limits_of_a_box_are_those_worked_by_hand() -> None:
    # 23 kg x 25/(20 + 22.5) x 1 x 1 x 1 x 0.95 x 0.9, and for two 4/3 x 23 kg x 25/30 x 0.95 x 0.9.
    grade = grade_lifting(11, 750, 450)
    assert grade.one_person_limit_kg == pytest.approx(23 * 25 / 42.5 * 0.95 * 0.9)
    assert grade.two_persons_limit_kg == pytest.approx(4 / 3 * 23 * 25 / 30 * 0.95 * 0.9)


def test_exactly_at_the_limit_one_person_may_lift() -> None:
    limit = grade_lifting(1, 750, 450).one_person_limit_kg
    assert grade_lifting(limit, 750, 450).handling is Handling.ONE_PERSON
    assert grade_lifting(math.nextafter(limit, 99), 750, 450).handling is Handling.TWO_PERSONS


def test_which_side_is_called_the_length_does_not_matter() -> None:
    assert grade_lifting(11, 450, 750) == grade_lifting(11, 750, 450)


def test_hands_near_the_floor_reach_farther_over_the_box() -> None:
    assert LiftingAssumptions(height_mm=250).reach_over_mm(400) == 400
    assert LiftingAssumptions(height_mm=249).reach_over_mm(400) == 450


def test_a_box_too_wide_for_the_equation_is_never_for_one_person() -> None:
    grade = grade_lifting(0.5, 1200, 900)
    assert grade.handling is Handling.TWO_PERSONS
    assert grade.one_person_limit_kg == 0


def test_the_assumptions_are_printed_with_the_grade() -> None:
    assumptions = LiftingAssumptions(
        height_mm=900, lifts_a_minute=1, duration=Duration.UP_TO_8_HOURS, coupling=Coupling.FAIR
    )
    printed = " ".join(grade_lifting(11, 750, 450, assumptions).assumptions.printed())
    for words in ("900 mm above", "1 lifts a minute", "up to 8 hours", "hold is fair", "1.33 of one", "local rules"):
        assert words in printed


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
def test_impossible_masses_and_assumptions_are_refused(bad: float) -> None:
    with pytest.raises(InvalidInputError, match="mass_kg"):
        grade_lifting(bad, 750, 450)
    with pytest.raises(InvalidInputError, match="height_mm"):
        LiftingAssumptions(height_mm=bad)
