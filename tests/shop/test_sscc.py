"""SSCCs: what a company prefix is, and the ways in which a number is read."""

import pytest

from tracker.shop.codes import MisreadError
from tracker.shop.errors import InvalidInputError
from tracker.shop.sscc import Series, find_sscc, leap, numbers_from, overlap, read_series, series_text

SSCC = "340123450000000017"  # extension digit 3, prefix 4012345, serial number 1


@pytest.mark.parametrize(
    "text",
    [
        SSCC,
        "00" + SSCC,
        "]C100" + SSCC,
        "]c100" + SSCC,
        "]C1\x1d00" + SSCC,
        "\x1d00" + SSCC,
        "(00)" + SSCC,
        "(00) 3 4012345 000000001 7",
        f"  00{SSCC}\r\n",
        f"]C100{SSCC}3712\x1d10AB",
        f"]d2\x1d00{SSCC}",
        f"]Q300{SSCC}",
    ],
)
def test_an_sscc_is_read_however_a_scanner_or_a_person_sends_it(text: str) -> None:
    assert find_sscc(text) == SSCC


@pytest.mark.parametrize(
    "text",
    ["", "P0000123421", SSCC[:-1], "01" + SSCC, "]C101" + SSCC, "]A000" + SSCC, SSCC + "12345", "٣" * 18, "0" * 5000],
)
def test_what_is_no_sscc_is_left_to_the_other_codes(text: str) -> None:
    assert find_sscc(text) is None


def test_a_wrong_check_digit_is_a_misread_and_never_the_nearest_box() -> None:
    with pytest.raises(MisreadError, match="scan the label again"):
        find_sscc("00" + SSCC[:-1] + "8")


def test_a_number_is_made_of_extension_prefix_serial_and_check_digit() -> None:
    assert Series(prefix="4012345", extension=3).sscc(1) == SSCC
    assert Series(prefix="0614141", extension=1).sscc(234567890) == "106141412345678908"  # GS1's example


@pytest.mark.parametrize(("prefix", "highest"), [("4012", 10**12 - 1), ("4012345", 10**9 - 1), ("401234567890", 9_999)])
def test_the_prefix_says_how_many_numbers_there_are(prefix: str, highest: int) -> None:
    series = Series(prefix=prefix)
    assert series.highest == highest
    assert len(series.sscc(highest)) == 18
    for serial in (0, highest + 1):
        with pytest.raises(ValueError, match="serial number"):
            series.sscc(serial)


@pytest.mark.parametrize(
    "prefix", ["", "401", "4012345678901", "40 12345", "٤٠١٢٣٤٥", "40A2345", "0000000", "0212345", "0412345", "2012345"]
)
def test_what_is_no_companys_prefix_is_refused_with_what_is_wanted(prefix: str) -> None:
    with pytest.raises(InvalidInputError, match="wanted") as refused:
        Series(prefix=prefix)
    assert [fault.where["field"] for fault in refused.value.faults] == ["prefix"]


@pytest.mark.parametrize("extension", [-1, 10])
def test_the_extension_is_one_digit(extension: int) -> None:
    with pytest.raises(InvalidInputError, match="0 to 9"):
        Series(prefix="4012345", extension=extension)


def test_a_series_is_read_back_as_it_was_kept() -> None:
    series = Series(prefix="0614141", extension=7)
    assert read_series(series_text(series)) == series
    for text in ("prefix", 'prefix = "4012345"', "prefix = 4012345\nextension = 1"):
        with pytest.raises(InvalidInputError):
            read_series(text)


def test_the_numbers_of_a_prefix_lie_among_those_of_its_first_digits() -> None:
    long, short = numbers_from("34012345", 1, 5), numbers_from("34012", 1, 10**12 - 1)
    assert overlap(long, short)
    assert not overlap(long, numbers_from("34012", 1, 10))
    assert not overlap(long, numbers_from("44012345", 1, 5))
    assert not overlap(long, numbers_from("34012345", 1, 0))


@pytest.mark.parametrize(("series", "left_out"), [("3401234567890", 1_000), ("34012345", 10_000_000)])
def test_after_a_restore_many_numbers_are_left_out_but_never_all(series: str, left_out: int) -> None:
    assert leap(series) == left_out
