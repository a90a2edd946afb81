"""Symbols against ISO/IEC 15417 (data/code128.json) and an independent decoder, zxing-cpp."""

import json
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.reading import codes_in
from tracker.labels.symbols import DPIS, dots_per_module, draw_code128, modules_of
from tracker.shop.codes import HIGHEST_NUMBER, Code, Kind

DATA = json.loads((Path(__file__).parent / "data" / "code128.json").read_text())
QUIET_ZONE = DATA["width"]["quiet_zone_modules_each_side"]  # ISO/IEC 15417: 10X


@pytest.mark.parametrize("example", DATA["check_character"], ids=lambda e: f"{e['data']} {e['start']}")
def test_the_published_check_characters_follow_from_the_published_weights(example: dict[str, Any]) -> None:
    first, *rest = example["codewords"]
    weighted = first + sum(place * word for place, word in enumerate(rest, start=1))
    assert (weighted, weighted % 103) == (example["weighted_sum"], example["check"])


SYMBOLS = [symbol for symbol in DATA["symbols_by_reference_encoder"] if symbol["symbology"] == "Code128"]


@pytest.mark.parametrize("symbol", SYMBOLS, ids=lambda s: s["data"])
def test_a_symbol_is_as_wide_as_the_standard_says(symbol: dict[str, Any]) -> None:
    modules = modules_of(symbol["data"])
    words = len(symbol["codes"]) - 1  # between start and check
    assert len(modules) == 11 * words + 35 == symbol["modules"]
    assert modules.startswith("11")
    assert modules.endswith("1100011101011")  # the stop pattern of ISO/IEC 15417


@pytest.mark.parametrize("example", DATA["width"]["examples"], ids=lambda e: str(e["N"]))
def test_the_width_formula_gives_the_published_widths(example: dict[str, Any]) -> None:
    assert 11 * example["N"] + 35 == example["modules"]


def test_a_shop_code_is_one_letter_one_switch_and_five_pairs() -> None:
    assert len(modules_of(str(Code(Kind.PART, 1234)))) == 11 * 7 + 35


@given(st.sampled_from(Kind), st.integers(0, HIGHEST_NUMBER), st.sampled_from(DPIS))
def test_whatever_the_code_the_decoder_reads_it_and_every_bar_is_whole_dots(kind: Kind, number: int, dpi: int) -> None:
    code = str(Code(kind, number))
    image = draw_code128(code, width_mm=72, height_mm=8, dpi=dpi)
    assert codes_in(image) == [code]
    dots = dots_per_module(len(modules_of(code)), 72, dpi)
    assert dots * 25.4 / dpi >= 0.25
    row = [image.getpixel((x, 0)) for x in range(image.width)]
    runs = [len(list(run)) for _colour, run in groupby(row)]
    assert all(run % dots == 0 for run in runs)
    assert runs[0] == runs[-1] == QUIET_ZONE * dots


def test_data_that_the_library_would_draw_wrongly_is_refused() -> None:
    with pytest.raises(ValueError, match="would not say"):
        modules_of("99123456")


def test_a_symbol_that_does_not_fit_is_refused() -> None:
    with pytest.raises(ValueError, match="does not fit"):
        draw_code128(str(Code(Kind.PART, 1)), width_mm=20, height_mm=8, dpi=203)
