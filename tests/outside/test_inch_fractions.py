"""Lengths against exact values: 1 in = 25.4 mm exactly (international yard and pound agreement, 1959)."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.lengths import Units, read_count, read_length

# Common practice for writing inches, no source; the values in mm are exact arithmetic.
WRITTEN = [
    ("23 1/4", 590.55),
    ("23-1/4", 590.55),
    ('3/4"', 19.05),
    ("23.25", 590.55),
    ("23,25 in", 590.55),
    ("18", 457.2),
    ("16 1/2", 419.1),
    (" 1/64 ", 0.396875),
    ('23 1/4"', 590.55),
]


@pytest.mark.parametrize(("text", "mm"), WRITTEN)
def test_inches_as_shops_write_them(text: str, mm: float) -> None:
    assert read_length(text, Units.INCH) == mm


@given(st.integers(0, 200), st.sampled_from([2, 4, 8, 16, 32, 64]), st.data())
def test_every_fraction_is_exact(whole: int, below: int, data: st.DataObject) -> None:
    above = data.draw(st.integers(1, below - 1))
    exact = (whole + Fraction(above, below)) * Fraction(254, 10)
    for spelled in (f"{whole} {above}/{below}", f'{whole}-{above}/{below}"', f"{whole}  {above} / {below} in"):
        assert read_length(spelled, Units.INCH) == float(exact)


@given(st.decimals(0, 6000, places=3))
def test_decimals_with_point_or_comma_are_the_same(value: object) -> None:
    text = f"{value:f}"
    assert read_length(text, Units.MM) == read_length(text.replace(".", ","), Units.MM) == float(Fraction(text))


@pytest.mark.parametrize(
    "text",
    ["", "-3", "+3", "1e3", "nan", "inf", "1.234,5", "1,234.5", "3/0", "1/2/3", "3/4", "12 mm mm", '5"', "٣", "9" * 40],
)
def test_what_is_no_length_in_mm_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"wanted|longer|over 0"):
        read_length(text, Units.MM)


@pytest.mark.parametrize("text", ["5 mm", "1/0", "3//4", "1 2 3/4", "-1/2"])
def test_what_is_no_length_in_inches_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"wanted|over 0"):
        read_length(text, Units.INCH)


def test_counts_are_whole() -> None:
    assert [read_count(text, highest=10) for text in ("", " 3 ", "2.0", "10")] == [1, 3, 2, 10]
    for wrong in ("2.5", "0", "-1", "11", "two", ".", ",5"):
        with pytest.raises(ValueError, match="wanted"):
            read_count(wrong, highest=10)
