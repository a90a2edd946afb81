"""Lengths and masses as people read them."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.lengths import Units, read_length
from tracker.shop.written import length_number, length_text, mass_text, size_text


@pytest.mark.parametrize(
    ("mm", "in_mm", "in_inches"),
    [
        (19.05, "19.05 mm", "3/4 in"),
        (6.35, "6.35 mm", "1/4 in"),
        (18.0, "18 mm", "23/32 in"),
        (560.3875, "560.4 mm", "22 1/16 in"),
        (419.1, "419.1 mm", "16 1/2 in"),
        (4.0, "4 mm", "5/32 in"),
        (25.4, "25.4 mm", "1 in"),
        (0.0, "0 mm", "0 in"),
        (-12.7, "-12.7 mm", "-1/2 in"),
    ],
)
def test_a_length_is_written_as_a_rule_shows_it(mm: float, in_mm: str, in_inches: str) -> None:
    assert (length_text(mm, Units.MM), length_text(mm, Units.INCH)) == (in_mm, in_inches)


@given(st.floats(min_value=0, max_value=5_000))
def test_what_is_written_reads_back_within_half_of_the_finest_division(mm: float) -> None:
    """The reader of cut lists is the judge."""
    assert read_length(length_number(mm, Units.MM), Units.MM) == pytest.approx(mm, abs=0.051)
    assert read_length(length_number(mm, Units.INCH), Units.INCH) == pytest.approx(mm, abs=25.4 / 64 + 1e-9)


def test_a_size_names_its_unit_once() -> None:
    assert size_text((564.0, 560.5, 18.0), Units.MM) == "564 × 560.5 × 18 mm"


def test_a_mass_is_in_pounds_where_lengths_are_in_inches() -> None:
    """1 lb is 0.45359237 kg exactly: the international pound of 1959."""
    assert mass_text(45.359237, Units.INCH) == "100 lb"
    assert mass_text(45.359237, Units.MM, digits=1) == "45.4 kg"
