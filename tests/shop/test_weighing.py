"""What a scale can tell of a box: checked against the worked cases of the uncertainty model, and its own limits."""

import math
from statistics import NormalDist
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.errors import InvalidInputError
from tracker.shop.weighing import COVERAGE, Limit, Piece, Scale, Weight, expect, scatter_kg

# The worked cases, computed with the package "uncertainties" 3.2.3 (sd of a sum, d²/12 for the scale's division).
PARTS_KG = (4.7174, 4.7174, 3.6954, 0.6599, 0.6599, 3.485, 2.0736)
SCALE = Scale(scatter_kg=0.02, division_kg=0.05)
CASES = [
    {"share": 0.02, "sd": 0.1755, "false_alarm": 0.0301},
    {"share": 0.04, "sd": 0.34839, "false_alarm": 0.1718},
]


def pieces(*, one_board: bool) -> list[Piece]:
    return [
        Piece(name=f"part {index}", mass_kg=mass, material="white" if one_board else f"board {index}")
        for index, mass in enumerate(PARTS_KG)
    ]


@pytest.mark.parametrize("case", CASES)
def test_the_scatter_of_boards_that_vary_apart_is_that_of_the_worked_cases(case: dict[str, float]) -> None:
    boards = scatter_kg(pieces(one_board=False), share=case["share"])
    total = math.hypot(boards, SCALE.scatter_kg, SCALE.division_kg / math.sqrt(12))
    assert total == pytest.approx(case["sd"], abs=5e-5)
    lightest = min(PARTS_KG)
    assert NormalDist().cdf(-lightest / 2 / total) == pytest.approx(case["false_alarm"], abs=2e-4)


def test_the_scatter_of_parts_of_one_board_adds_up_as_in_the_worked_case() -> None:
    assert scatter_kg(pieces(one_board=True)) == pytest.approx(0.8003, abs=5e-5)


def test_the_tolerance_is_two_standard_deviations_of_boards_and_scale() -> None:
    expected = expect(pieces(one_board=False), besides_kg=1.5, scale=SCALE)
    assert expected.mass_kg == pytest.approx(sum(PARTS_KG) + 1.5)
    assert expected.tolerance_kg == pytest.approx(2 * 0.34839, abs=1e-4)


def test_it_says_which_parts_it_would_miss_and_which_it_would_notice() -> None:
    expected = expect(pieces(one_board=False), scale=SCALE)
    assert expected.lightest_noticed is not None
    assert expected.lightest_noticed.mass_kg == 2.0736
    assert [piece.mass_kg for piece in expected.unnoticed] == [0.6599, 0.6599]
    alone = expect([Piece(name="rail", mass_kg=0.01, material="white")], scale=SCALE)
    assert alone.lightest_noticed is None


@given(st.lists(st.builds(Piece, name=st.sampled_from("abc"), mass_kg=st.floats(0, 30), material=st.just("white"))))
def test_it_never_says_of_one_name_that_it_would_notice_it_and_that_it_may_not(some: list[Piece]) -> None:
    expected = expect(some, scale=SCALE)
    noticed = expected.lightest_noticed
    assert noticed is None or noticed.name not in {piece.name for piece in expected.unnoticed}


@given(st.floats(0, 500), st.floats(0, 100), st.floats(0, 20))
def test_the_limit_is_a_share_of_the_mass_and_at_least_so_many_kilograms(
    mass: float, percent: float, least: float
) -> None:
    limit = Limit(percent=percent, least_kg=least).of(mass)
    assert limit >= least
    assert limit >= mass * percent / 100
    assert limit in (least, mass * percent / 100)


def test_beyond_the_limit_a_foreman_decides_and_the_box_is_doubted_whatever_its_boards_may_scatter() -> None:
    expected = expect(pieces(one_board=True), scale=SCALE, limit=Limit(percent=5, least_kg=0.5))
    assert expected.tolerance_kg > expected.limit_kg == pytest.approx(sum(PARTS_KG) * 0.05)
    for off, beyond in ((0.99, False), (1.01, True)):
        for sign in (-1, 1):
            mass = expected.mass_kg + sign * off * expected.limit_kg
            assert (expected.beyond_limit(mass), expected.judge(mass) is not Weight.AGREES) == (beyond, beyond)


def test_a_right_box_agrees_and_one_that_lacks_a_heavy_part_is_too_light() -> None:
    expected = expect(pieces(one_board=False), scale=SCALE)
    assert expected.judge(sum(PARTS_KG)) is Weight.AGREES
    assert expected.judge(sum(PARTS_KG) - 0.6599) is Weight.AGREES  # the scale cannot tell: only scans prove it
    assert expected.judge(sum(PARTS_KG) - 2.0736) is Weight.TOO_LIGHT
    assert expected.judge(sum(PARTS_KG) + 2.0736) is Weight.TOO_HEAVY


def test_a_box_of_items_alone_is_held_to_what_the_scale_can_read() -> None:
    expected = expect([], besides_kg=0.4, scale=SCALE)
    assert expected.tolerance_kg == pytest.approx(COVERAGE * math.hypot(0.02, 0.05 / math.sqrt(12)))


@pytest.mark.parametrize("mass", [0, -1, math.nan, math.inf, 10_001])
def test_a_mass_that_no_scale_shows_is_refused_with_its_field(mass: float) -> None:
    with pytest.raises(InvalidInputError) as caught:
        expect(pieces(one_board=True)).judge(mass)
    assert caught.value.faults[0].where["field"] == "mass_kg"


@pytest.mark.parametrize(
    "make",
    [
        lambda: Piece(name="Deck", mass_kg=math.nan, material="white"),
        lambda: Piece(name="Deck", mass_kg=-0.1, material="white"),
        lambda: Scale(scatter_kg=-1),
        lambda: Scale(division_kg=math.inf),
        lambda: expect([], besides_kg=-1),
        lambda: expect([Piece(name="Deck", mass_kg=1, material="white")] * 10_001),
    ],
)
def test_what_cannot_be_is_refused(make: Any) -> None:
    with pytest.raises(InvalidInputError):
        make()


@given(
    st.lists(
        st.builds(Piece, name=st.just("part"), mass_kg=st.floats(0, 500), material=st.sampled_from(["a", "b", "c"])),
        max_size=40,
    )
)
def test_varying_together_is_never_less_than_varying_apart(parts: list[Piece]) -> None:
    apart = [Piece(name="part", mass_kg=part.mass_kg, material=str(index)) for index, part in enumerate(parts)]
    assert scatter_kg(parts) >= scatter_kg(apart) - 1e-9
    expected = expect(parts)
    assert set(map(id, expected.unnoticed)).isdisjoint({id(expected.lightest_noticed)})
