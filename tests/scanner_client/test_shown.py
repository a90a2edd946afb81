"""Which part a card means, by what the station has read. Pure."""

from datetime import UTC, datetime, timedelta

import pytest

from scanner_client.shown import HELD_FOR, NONE, ShownPart
from tracker.shop.codes import Code, Kind, box_code, part_code

START = datetime(2027, 3, 1, 8, tzinfo=UTC)
DECK, END = part_code(1), part_code(2)
CARD, UNDO = str(Code(Kind.COMMAND, 2)), str(Code(Kind.COMMAND, 1))
SLOT, BOARD, BADGE = (str(Code(kind, 1)) for kind in (Kind.SLOT, Kind.BOARD, Kind.WORKER))
SECOND = timedelta(seconds=1)


def marked(*texts: str, card: str = CARD, pause: timedelta = SECOND) -> str:
    """The part that a card marks after these readings, each a pause after the one before."""
    shown, at = ShownPart(), START
    for text in texts:
        shown.read(text, at)
        at += pause
    return shown.read(card, at)


@pytest.mark.parametrize("card", [CARD, SLOT])
def test_a_card_and_a_slot_mean_the_last_part_whatever_else_was_read_since(card: str) -> None:
    assert marked(DECK, END, card=card) == END
    assert marked(DECK, UNDO, BADGE, box_code(1), CARD, SLOT, card=card) == DECK


@pytest.mark.parametrize("last", [BOARD, ""], ids=["a board", "a misread"])
def test_after_a_board_or_a_misread_they_mean_none_until_a_part_is_read(last: str) -> None:
    assert marked(DECK, last) == marked(last) == NONE
    assert marked(DECK, last, END) == END


def test_until_a_part_is_read_nothing_is_known() -> None:
    assert marked() == marked(BADGE, box_code(1)) == marked(BADGE, pause=HELD_FOR + SECOND) == ""


def test_they_mean_none_after_ten_minutes_without_a_reading() -> None:
    assert marked(DECK, pause=HELD_FOR) == DECK
    assert marked(DECK, pause=HELD_FOR + SECOND) == NONE
    assert marked(DECK, BADGE, BADGE, pause=HELD_FOR) == DECK


def test_nothing_else_marks_a_part() -> None:
    assert [marked(DECK, card=code) for code in (END, UNDO, BADGE, box_code(1), BOARD, "")] == [""] * 6


def test_after_an_unknown_code_they_mean_none_but_for_a_part_that_was_read_later() -> None:
    shown = ShownPart()
    shown.read(DECK, START)
    shown.answered(START - SECOND, "unknown")
    assert shown.read(CARD, START + SECOND) == DECK
    shown.answered(START, "done")
    assert shown.read(CARD, START + SECOND) == DECK
    shown.answered(START + SECOND, "unknown")
    assert shown.read(CARD, START + SECOND) == NONE
