"""What a row of the log tells: each reason has a sentence, and says its values in words."""

import re

import pytest

from tracker.shop.reasons import Meaning, Reason, meaning, meaning_kept
from tracker.shop.saying import Tongue, spoken


def test_no_two_reasons_have_one_name_or_one_sentence() -> None:
    assert len({reason.value for reason in Reason}) == len(Reason)
    assert len({reason.pattern for reason in Reason}) == len(Reason)
    assert all(len(reason.value) <= 32 for reason in Reason), "the log's column holds so many"


def test_every_sentence_is_short_enough_to_be_read_at_a_station_and_ends_as_one() -> None:
    for reason in Reason:
        told = re.sub(r"%\(\w+\)s", "12345678", reason.pattern)
        assert len(told) <= 130, told
        assert told.endswith(".") or reason is Reason.NO_SCAN, told


@pytest.mark.parametrize(
    ("told", "says"),
    [
        (meaning(Reason.STEP_DONE, step="cut", next="band"), "cut. Next: band."),
        (
            meaning(Reason.STEP_DONE, step="pack", packed=2, missing=1, uncounted=1),
            "pack. 2 in, 1 more for this box.",
        ),
        (
            meaning(Reason.STEP_DONE, step="pack", packed=3, missing=0, uncounted=1),
            "pack. All parts are in. Count the items and seal the box.",
        ),
        (
            meaning(Reason.STEP_DONE, step="pack", packed=3, missing=0, uncounted=0),
            "pack. Everything is in. Seal the box.",
        ),
        (
            meaning(Reason.STEP_DONE, step="pack", packed=3, missing=0, uncounted=0, kept=True),
            "pack. All parts are in. The box is on hold: ask the foreman.",
        ),
        (
            meaning(Reason.STEP_DONE, step="band", next="pack", inferred=["cut", "machine"]),
            "band. Next: pack. Taken as done too: cut, machine.",
        ),
        (meaning(Reason.BOARD_CUT, parts=3, refused=0), "Cut: 3 parts of the board."),
        (
            meaning(Reason.BOARD_CUT, parts=3, refused=1),
            "Cut: 3 parts of the board. 1 part of the board was refused: scan it by itself.",
        ),
        (meaning(Reason.TOO_EARLY, steps=["cut", "machine"]), "Not done yet: cut, machine. Bring it there first."),
        (meaning(Reason.BOX_CLOSED, box="101", state="sealed"), "Box 101 is sealed. Ask the foreman."),
        (
            meaning(Reason.NOT_SEALED_LACKING, lack=[1, 2]),
            "The box is not sealed: lacks 1 part, 2 kinds of items not counted. Take it back to packing.",
        ),
        (
            meaning(Reason.LOADED_BUT_STAYING, load="L1", day="2027-03-05", on=2, boxes=2, staying=["B1", "B2"]),
            (
                "All boxes are on load L1 of 2027-03-05: 2. The truck does not leave yet. Stays behind: B1, B2. "
                "Ask the foreman."
            ),
        ),
        (
            meaning(Reason.LOAD_OPENED, load="L1", day="2027-03-05", on=0, boxes=9, staying=["B1", "B2", "B3", "B4"]),
            (
                "The load of 2027-03-05 is open: 0 of 9 boxes are on it. Scan the boxes. Stays behind: B1, B2, B3 and "
                "1 more. Ask the foreman."
            ),
        ),
        (
            meaning(Reason.MARKED_DAMAGED_FOR, reason="wrong_holes"),
            "Marked damaged: Wrong holes. Put it aside: the foreman decides.",
        ),
        (meaning(Reason.REPAIRED, reason="filled and sanded"), "Repaired: filled and sanded."),
        (meaning(Reason.SETTLED_FOR, choice="leave", reason="looked"), "Left as it is: looked."),
        (
            meaning(Reason.MOVED, box="B2", before="B1"),
            "Planned for box B2 instead of B1.",
        ),
    ],
)
def test_a_sentence_says_its_values_in_words(told: Meaning, says: str) -> None:
    assert told.sentence() == says


def test_beside_the_word_done_nothing_is_said_but_what_else_is_taken_as_done() -> None:
    assert meaning(Reason.STEP_DONE, step="cut", next="band").beside_the_word() == ""
    told = meaning(Reason.STEP_DONE, step="band", next="pack", inferred=["cut"])
    assert told.beside_the_word() == "Taken as done too: cut."
    assert meaning(Reason.STEP_AGAIN, step="cut").beside_the_word() == "It counts once: cut."


def test_what_is_kept_is_what_was_told_and_an_older_row_tells_nothing() -> None:
    told = meaning(Reason.OTHER_BOX, box="2")
    assert meaning_kept(told.reason.value, told.values) == told
    assert meaning_kept(None, None) is None
    assert meaning_kept("of a later program", {}) is None


def test_a_reader_of_another_language_gets_every_word_in_it() -> None:
    words = {"machine": "mecanizar", Reason.TOO_EARLY.pattern: "Falta: %(steps)s."}
    tongue = Tongue(pattern=lambda one, _many, _num: words.get(one, one), length=str)
    assert spoken(meaning(Reason.TOO_EARLY, steps=["machine"]).sentence(), tongue) == "Falta: mecanizar."


def test_nothing_is_said_as_nothing_in_every_language() -> None:
    tongue = Tongue(pattern=lambda _one, _many, _num: "the head of a catalogue", length=str)
    assert spoken(meaning(Reason.STEP_DONE, step="cut").beside_the_word(), tongue) == ""


def test_a_mass_of_the_log_has_the_readers_decimal_mark() -> None:
    tongue = Tongue(pattern=lambda one, _many, _num: one, length=str, decimal=lambda number: number.replace(".", ","))
    assert spoken(meaning(Reason.WEIGHED, mass="10.80").sentence(), tongue) == "10,80 kg weighed."
    off = meaning(Reason.SEALED_OFF_WEIGHT, box="B1", mass="9.90", expected="8.10", reason="1.5 mm more")
    told = "Box B1 sealed at 9,90 kg where 8,10 kg were expected: 1.5 mm more."
    assert spoken(off.sentence(), tongue) == told
