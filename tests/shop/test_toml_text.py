"""What is wrong with a TOML text is said as the standard library's reader says it, and can be said anew."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.errors import InvalidInputError
from tracker.shop.saying import Said, Tongue, spoken
from tracker.shop.toml_text import read_toml

# One text for each thing that the reader of Python 3.11 complains of.
BAD = [
    "= 1",
    "!",
    "a = 1 b = 2",
    "a = 1\r",
    "a = 'x\x01y'",
    "a = 1 # \x01",
    "[a]\n[a]",
    "a = 1\n[a]",
    "[a",
    "[[a]",
    "a = [1]\n[[a]]",
    "a = {b = 1}\na.c = 2",
    "a.b = 1\n[a]\n[a.b]",
    "[a.b]\n[a]\nb.c = 1",
    "a 1",
    "a = 1\na = 2",
    "a. = 1",
    "a = [1",
    "a = {b = 1",
    "a = {b = 1, b = 2}",
    'a = "\\q"',
    'a = "\\u12"',
    'a = "\\ud800"',
    'a = "x',
    'a = """x',
    "a = 'x",
    "a = 2027-02-30",
    "a = x",
    "a =",
]


def refused(text: str) -> InvalidInputError:
    with pytest.raises(InvalidInputError) as caught:
        read_toml(text)
    return caught.value


def all_named(said: str) -> list[str]:
    """A sentence as a reader is told it who has a word of their own for every pattern."""
    told: list[str] = []

    def pattern(one: str, _many: str, _num: int) -> str:
        told.append(one)
        return one

    spoken(said, Tongue(pattern=pattern, length=str))
    return told


def words_of_the_reader(told: str) -> object:
    """What the library's reader says of a text, without the place."""
    assert isinstance(told, Said)
    why = told.values["why"]
    assert isinstance(why, Said)
    return why.values["s0"]


@pytest.mark.parametrize("text", BAD)
def test_the_readers_complaint_is_kept_and_every_word_of_it_can_be_said_anew(text: str) -> None:
    with pytest.raises(tomllib.TOMLDecodeError) as complaint:
        tomllib.loads(text)
    told = refused(text).detail
    assert told == f"This is not TOML: {complaint.value}"
    assert isinstance(words_of_the_reader(told), Said), told
    assert any(part.startswith("(at ") for part in all_named(told))


def test_the_line_is_told_beside_the_words() -> None:
    (fault,) = refused("a = 1\nb 2").faults
    assert fault.where == {"line": 2}
    (fault,) = refused("a = 1\nb =").faults
    assert fault.where == {}


def test_what_no_reader_could_hold_is_refused_in_words() -> None:
    assert refused("a = " + "[" * 20_000).detail == "This is not TOML: it is nested too deeply"
    for digits in ("1" + "0" * 5_000, "0x1" + "0" * 5_000):
        assert refused(f"a = {digits}").detail == "This is not TOML: a number in it is too long"
    assert refused("#" * 200_001).detail == "Wanted: at most 200,000 characters."


@given(st.text(alphabet="ab=[]{}\"'\\.,# 1\n\x01", max_size=30))
def test_any_text_is_read_as_the_library_reads_it_or_refused_in_its_words(text: str) -> None:
    try:
        found = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        complaint = str(error)
    else:
        assert read_toml(text) == found
        return
    told = refused(text).detail
    assert told == f"This is not TOML: {complaint}"
    assert isinstance(words_of_the_reader(told), Said), told
