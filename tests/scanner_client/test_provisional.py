"""What is said about a reading with the server's word outstanding."""

import pytest

from scanner_client.provisional import NO_GUESS, Expected, ListHead, Look, guess
from tracker.shop.codes import Code, Kind, box_code, part_code, read_code

BENCH = ListHead(step="pack", strict=False, complete=True)
SHIP = ListHead(step="ship", strict=False, complete=True)
BOX = box_code(7)
DECK = Expected(code=part_code(1), name="Deck", cabinet="101", job="J-1", box=BOX, box_name="1", next="pack")
LOADED = Expected(code=BOX, name="1", job="J-1", load=str(Code(Kind.LOAD, 3)), next="ship")
PART = read_code(DECK.code)


def _with(row: Expected, **more: object) -> Expected:
    from dataclasses import replace

    return replace(row, **more)  # type: ignore[arg-type]


def test_what_is_on_the_list_looks_right_and_says_what_it_is() -> None:
    said = guess(PART, BENCH, DECK)
    assert (said.look, said.word, said.message) == (Look.RIGHT, "LOOKS RIGHT", "Deck, cabinet 101, box 1")


def test_what_is_not_on_a_whole_list_is_doubted_and_on_a_part_of_one_nothing_is_said() -> None:
    assert guess(PART, BENCH, None).look is Look.DOUBT
    assert "not on this station's list" in guess(PART, BENCH, None).message
    assert guess(PART, ListHead(step="pack", strict=False, complete=False), None) == NO_GUESS
    assert guess(PART, None, None) == NO_GUESS


@pytest.mark.parametrize(
    ("row", "head", "word"),
    [
        (_with(DECK, held=True), BENCH, "ON HOLD"),
        (DECK, ListHead(step="pack", strict=False, complete=True, open_box=box_code(8)), "WRONG BOX"),
        (_with(DECK, next="cut"), ListHead(step="band", strict=True, complete=True), "TOO EARLY"),
        (_with(LOADED, next="pack"), SHIP, "TOO EARLY"),
    ],
)
def test_a_hold_another_box_and_a_step_that_is_open_are_doubted(row: Expected, head: ListHead, word: str) -> None:
    said = guess(read_code(row.code), head, row)
    assert (said.look, said.word) == (Look.DOUBT, word)


def test_a_station_that_infers_takes_a_part_whose_earlier_step_is_open() -> None:
    head = ListHead(step="band", strict=False, complete=True)
    assert guess(PART, head, _with(DECK, next="cut")).look is Look.RIGHT


def test_the_box_on_the_bench_and_what_was_read_before_are_right() -> None:
    assert guess(PART, ListHead(step="pack", strict=False, complete=True, open_box=BOX), DECK).word == "LOOKS RIGHT"
    assert guess(PART, BENCH, _with(DECK, passed=True)).word == "ALREADY COUNTED"


def test_boxes_are_right_where_they_are_packed_or_loaded() -> None:
    box = read_code(BOX)
    assert guess(box, BENCH, None, box_on_list=True).look is Look.RIGHT
    assert guess(box, BENCH, None) == NO_GUESS
    assert guess(box, SHIP, LOADED).message == f"Box 1, load {LOADED.load}"
    assert guess(box, SHIP, None).look is Look.DOUBT
    assert guess(PART, SHIP, None).word == "NOT HERE"


def test_of_cards_and_boards_nothing_is_said() -> None:
    for kind in (Kind.COMMAND, Kind.BOARD, Kind.SLOT):
        assert guess(Code(kind, 1), BENCH, None) == NO_GUESS
