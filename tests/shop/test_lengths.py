"""Numbers as people and spreadsheets write them: read exactly, or refused with what is wanted."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.lengths import Units, read_count, read_length, spell_number


@given(st.decimals(0, 6000, places=3))
def test_decimals_with_point_or_comma_are_the_same(value: object) -> None:
    text = f"{value:f}"
    assert read_length(text, Units.MM) == read_length(text.replace(".", ","), Units.MM) == float(Fraction(text))


@given(st.integers(0, 200), st.integers(2, 9999), st.data())
def test_every_fraction_is_exact_and_rounded_once_at_the_end(whole: int, below: int, data: st.DataObject) -> None:
    above = data.draw(st.integers(1, below - 1))
    exact = float((whole + Fraction(above, below)) * Fraction(254, 10))
    for spelled in (f"{whole} {above}/{below}", f'{whole}-{above}/{below}"', f"{whole}  {above} / {below} in"):
        assert read_length(spelled, Units.INCH) == exact


@pytest.mark.parametrize("text", ["700", " 700 ", "700mm", "700 MM", "700.0", "\u00a0700\u00a0mm"])
def test_a_mark_that_agrees_with_the_units_may_follow_in_mm(text: str) -> None:
    assert read_length(text, Units.MM) == 700


@pytest.mark.parametrize("mark", ["", '"', " in", "in.", " IN", "″", "”", "''"])
def test_a_mark_that_agrees_with_the_units_may_follow_in_inches(mark: str) -> None:
    assert read_length("23\u00a01/4" + mark, Units.INCH) == 590.55


@pytest.mark.parametrize(
    "text",
    [
        *("", "-3", "+3", "1e3", "nan", "inf", "1.234,5", "1,234.5", "1 234", "0x10", "٣", "9" * 8, "9" * 5_000),
        *("3/0", "1/2/3", "3/4", "12 mm mm", '5"', "5 in", "mm", ".", ",", "5.", "5..5", "560·5", "1_000"),
        "2026-03-04 00:00:00",
    ],
)
def test_what_is_no_length_in_mm_is_refused_with_what_is_wanted(text: str) -> None:
    with pytest.raises(ValueError, match=r"wanted: a number of mm"):
        read_length(text, Units.MM)


@pytest.mark.parametrize(
    "text", ["5 mm", "1/0", "0/0", "3//4", "1 2 3/4", "-1/2", "23 -", "1/2 1/4", "23.5 1/4", "3/4 1", "1' 6\""]
)
def test_what_is_no_length_in_inches_is_refused_with_what_is_wanted(text: str) -> None:
    with pytest.raises(ValueError, match=r"wanted: a number of in"):
        read_length(text, Units.INCH)


def test_a_text_that_no_length_is_as_long_as_is_told_so() -> None:
    assert read_length("9" * 7, Units.MM) == 9_999_999
    with pytest.raises(ValueError, match=r"longer than any length; wanted: a number of mm"):
        read_length("1." + "0" * 29, Units.MM)


@pytest.mark.parametrize("text", ["231/4", "23 5/4", "4/4"])
def test_a_fraction_that_may_have_lost_its_space_is_not_guessed_at(text: str) -> None:
    with pytest.raises(ValueError, match=r"not less than 1; wanted: .* 23 1/4"):
        read_length(text, Units.INCH)


@pytest.mark.parametrize(("text", "count"), [("", 1), ("  ", 1), (" 3 ", 3), ("2.0", 2), ("2,00", 2), ("10", 10)])
def test_counts_are_whole_and_one_when_nothing_is_written(text: str, count: int) -> None:
    assert read_count(text, highest=10) == count


@pytest.mark.parametrize("text", ["2.5", "0", "-1", "11", "two", ".", ",5", "2.", "1e1", "1.000", "1,000", "9" * 5000])
def test_a_count_that_is_not_whole_or_may_mean_thousands_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="wanted: a whole number from 1 to 10,"):
        read_count(text, highest=10)


@given(st.integers(-(10**9), 10**9), st.integers(0, 3))
def test_a_number_is_spelled_without_noise_and_reads_as_itself(thousandths: int, places: int) -> None:
    number = round(thousandths / 1000, places)
    spelled = spell_number(number)
    assert float(spelled) == number
    assert "e" not in spelled
    assert len(spelled.partition(".")[2]) <= places


def test_the_noise_of_binary_fractions_is_not_spelled() -> None:
    spelled = [spell_number(number) for number in (0.1 + 0.2, 560.5, 564.0, 564, 23.25 * 25.4, 100)]
    assert spelled == ["0.3", "560.5", "564", "564", "590.55", "100"]
