"""SSCCs and their GS1-128 symbols against GS1's examples (data/sscc.json), biip, python-stdnum and zxing-cpp."""

import json
from itertools import groupby
from pathlib import Path
from typing import Any

import biip
import pytest
import zxingcpp
from barcode.charsets.code128 import CODES, STOP
from biip.sscc import Sscc
from hypothesis import given
from hypothesis import strategies as st
from stdnum import ean

from tracker.labels.symbols import (
    DPIS,
    GS1_WIDEST_MODULE_MM,
    MM_PER_INCH,
    draw_gs1_128,
    gs1_modules_of,
)
from tracker.shop.codes import MisreadError
from tracker.shop.errors import InvalidInputError
from tracker.shop.sscc import Series, check_digit, element_string, find_sscc

DATA = json.loads((Path(__file__).parent / "data" / "sscc.json").read_text())
VALID = [each["sscc"] for each in DATA["valid"]]
QUIET_ZONE = 10  # modules on each side: GS1 General Specifications, section 5.4


def is_usable(prefix: str) -> bool:
    try:
        Series(prefix=prefix)
    except InvalidInputError:
        return False
    return True


PREFIXES = st.from_regex(r"[0-9]{4,12}", fullmatch=True).filter(is_usable)


@st.composite
def numbers(draw: st.DrawFn) -> str:
    series = Series(prefix=draw(PREFIXES), extension=draw(st.integers(0, 9)))
    return series.sscc(draw(st.integers(1, series.highest)))


@pytest.mark.parametrize("sscc", VALID)
def test_the_examples_are_read_as_they_are_and_by_biip(sscc: str) -> None:
    assert find_sscc(sscc) == sscc
    assert check_digit(sscc[:-1]) == sscc[-1] == ean.calc_check_digit(sscc[:-1])
    assert Sscc.parse(sscc).value == sscc


@pytest.mark.parametrize("example", DATA["invalid"], ids=lambda e: e["sscc"])
def test_an_example_with_a_wrong_check_digit_is_a_misread(example: dict[str, Any]) -> None:
    assert check_digit(example["sscc"][:-1]) == str(example["expected_check"])
    for text in (example["sscc"], "00" + example["sscc"], "]C100" + example["sscc"]):
        with pytest.raises(MisreadError):
            find_sscc(text)


@given(numbers())
def test_every_number_that_is_given_passes_the_reference_libraries(sscc: str) -> None:
    assert len(sscc) == 18
    assert ean.calc_check_digit(sscc[:-1]) == sscc[-1]
    assert Sscc.parse(sscc).extension_digit == int(sscc[0])


@given(numbers(), st.data())
def test_a_single_wrong_digit_never_passes(sscc: str, data: st.DataObject) -> None:
    place = data.draw(st.integers(0, 17))
    other = data.draw(st.sampled_from([digit for digit in "0123456789" if digit != sscc[place]]))
    with pytest.raises(MisreadError):
        find_sscc(sscc[:place] + other + sscc[place + 1 :])


@pytest.mark.parametrize("example", DATA["gs1_128"], ids=lambda e: e["element_string"])
def test_a_symbol_has_the_published_characters(example: dict[str, Any]) -> None:
    sscc = example["element_string"][2:]
    assert element_string(sscc) == example["element_string"]
    words = [*example["codewords"], example["check"]]
    assert gs1_modules_of(sscc) == "".join(CODES[word] for word in words) + STOP + "11"
    assert len(gs1_modules_of(sscc)) == example["modules"]


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("sscc", VALID)
def test_the_decoder_and_biip_read_a_symbol_as_gs1(sscc: str, dpi: int) -> None:
    (read,) = zxingcpp.read_barcodes(draw_gs1_128(sscc, width_mm=94, height_mm=32, dpi=dpi).convert("L"))
    assert (read.content_type, read.symbology_identifier) == (zxingcpp.ContentType.GS1, "]C1")
    sent = read.symbology_identifier + read.bytes.decode()
    message = biip.parse(sent).gs1_message
    assert message is not None
    (element,) = message.element_strings
    assert (element.ai.ai, element.value) == ("00", sscc)
    assert element.sscc == Sscc.parse(sscc)
    assert find_sscc(sent) == find_sscc(read.text) == sscc


@given(numbers(), st.sampled_from(DPIS), st.sampled_from([45, 60, 94, 150]))
def test_every_bar_is_a_whole_number_of_dots_and_the_quiet_zones_are_kept(sscc: str, dpi: int, width_mm: int) -> None:
    image = draw_gs1_128(sscc, width_mm=width_mm, height_mm=32, dpi=dpi)
    assert image.width <= width_mm * dpi / MM_PER_INCH
    row = [image.getpixel((x, 0)) for x in range(image.width)]
    runs = [len(list(run)) for _colour, run in groupby(row)]
    dots = image.width // (156 + 2 * QUIET_ZONE)
    assert 0.25 <= dots * MM_PER_INCH / dpi <= GS1_WIDEST_MODULE_MM
    assert all(run % dots == 0 for run in runs)
    assert runs[0] == runs[-1] == QUIET_ZONE * dots


@pytest.mark.parametrize("dpi", DPIS)
def test_on_a_box_label_the_symbol_is_as_large_as_gs1_wants(dpi: int) -> None:
    image = draw_gs1_128(VALID[0], width_mm=94, height_mm=32, dpi=dpi)
    module_mm = image.width / (156 + 2 * QUIET_ZONE) * MM_PER_INCH / dpi
    assert 0.495 <= module_mm <= 1.016  # GS1 General Specifications, symbol specification table 5
    assert image.height * MM_PER_INCH / dpi >= 31.75  # the same table


def test_a_symbol_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        draw_gs1_128(VALID[0], width_mm=40, height_mm=32, dpi=203)
