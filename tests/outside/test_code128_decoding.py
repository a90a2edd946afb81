"""The reference decode of Code 128 against ISO/IEC 15417 and an independent encoder (data/code128.json, zxing-cpp)."""

import json
from itertools import groupby
from pathlib import Path
from typing import Any

import pytest
import zxingcpp
from barcode.charsets.code128 import CODES, STOP
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from tracker.labels.code128 import decode
from tracker.labels.symbols import modules_of

DATA = json.loads((Path(__file__).parent / "data" / "code128.json").read_text())


def widths(modules: str) -> list[int]:
    return [len(list(run)) for _colour, run in groupby(modules)]


@pytest.mark.parametrize("symbol", DATA["symbols_by_reference_encoder"], ids=lambda symbol: str(symbol["data"]))
def test_the_widths_of_the_reference_symbols_decode_to_their_published_characters(symbol: dict[str, Any]) -> None:
    words = [*symbol["codes"], symbol["check"]]
    decoded = decode(widths("".join(CODES[word] for word in words) + STOP + "11"))
    assert decoded is not None
    assert list(decoded.words) == words
    assert decoded.decodability == pytest.approx(1.0)


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=20))
def test_what_another_encoder_drew_decodes_with_everything_to_spare(text: str) -> None:
    barcode: Any = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.Code128)
    picture = Image.fromarray(barcode.to_image(1))
    row = picture.crop((0, 0, picture.width, 1)).tobytes()
    runs = [len(list(run)) for dark, run in groupby(row, key=lambda grey: grey < 128)]
    trimmed = runs[row[0] >= 128 : len(runs) - (row[-1] >= 128)]
    decoded = decode(trimmed)
    assert decoded is not None
    assert decoded.decodability == pytest.approx(1.0)


def test_single_edges_moved_by_less_than_half_a_module_never_give_another_text() -> None:
    right = widths(modules_of("P0000123456"))
    for index in range(len(right) - 1):
        for by in (-0.45, 0.45):
            moved: list[float] = list(right)
            moved[index] += by
            moved[index + 1] -= by
            decoded, meant = decode(moved), decode(right)
            assert decoded is None or (meant is not None and decoded.words == meant.words)


@given(st.lists(st.floats(0.01, 100), max_size=80))
def test_whatever_the_widths_decoding_ends_in_a_symbol_or_none(any_widths: list[float]) -> None:
    decoded = decode(any_widths)
    assert decoded is None or 0 <= decoded.decodability <= 1


def test_a_last_bar_that_is_too_narrow_costs_decodability() -> None:
    # ISO/IEC 15417: the bar that ends the stop character belongs to it when it is met from the right
    narrow: list[float] = list(widths(modules_of("P0000123456")))
    narrow[-1] -= 0.25
    decoded = decode(narrow)
    assert decoded is not None
    assert decoded.decodability < 0.75
