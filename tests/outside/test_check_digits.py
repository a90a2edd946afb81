"""Check digits against ISO/IEC 7064:2003 vectors (data/iso7064.json, reckoned with python-stdnum) and python-stdnum."""

import json
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stdnum.iso7064 import mod_97_10

from tracker.shop.codes import HIGHEST_NUMBER, Code, Kind, MisreadError, check_digits, read_code

VECTORS = json.loads((Path(__file__).parent / "data" / "iso7064.json").read_text())["vectors"]
CODES = st.builds(Code, st.sampled_from(Kind), st.integers(0, HIGHEST_NUMBER))


@pytest.mark.parametrize("vector", [v for v in VECTORS if v["system"] == "MOD 97-10"], ids=lambda v: v["payload"])
def test_the_published_vectors_come_out(vector: dict[str, str]) -> None:
    assert check_digits(vector["payload"]) == vector["check"]


@given(CODES)
def test_every_code_satisfies_the_reference_library(code: Code) -> None:
    assert mod_97_10.is_valid(str(code))
    assert mod_97_10.calc_check_digits(str(code)[:9]) == str(code)[9:]
    assert read_code(str(code)) == code


@given(CODES, st.data())
def test_a_single_wrong_character_or_a_swap_of_neighbours_is_a_misread(code: Code, data: st.DataObject) -> None:
    text = str(code)
    place = data.draw(st.integers(0, 9))
    alphabet = "".join(kind.value for kind in Kind) if place == 0 else "0123456789"
    other = data.draw(st.sampled_from([character for character in alphabet if character != text[place]]))
    wrong = {text[:place] + other + text[place + 1 :]}
    if place > 0 and text[place] != text[place + 1]:
        wrong.add(text[:place] + text[place + 1] + text[place] + text[place + 2 :])
    for spelled in wrong:
        with pytest.raises(MisreadError):
            read_code(spelled)


@pytest.mark.parametrize("text", ["", "P", "P0000123421X", "ſ0000123421", "P٠٠٠٠123421", "X0000123421", "P 0000123421"])
def test_what_is_no_code_is_a_misread(text: str) -> None:
    with pytest.raises(MisreadError):
        read_code(text)
