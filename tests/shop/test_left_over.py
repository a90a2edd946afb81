"""What found no place is told once for all cabinets of one reason."""

from tracker.shop.errors import gathered
from tracker.shop.left_over import in_words, told_with_first

LONG = "it is 3000 mm long and the longest board leaves 2800 mm after the trim"


def test_equal_parts_of_several_cabinets_are_one_sentence() -> None:
    faults = gathered(({"part": "Deck"}, cabinet, LONG) for cabinet in ("101", "102"))
    assert [in_words(fault) for fault in faults] == [f"Deck of cabinets 101, 102 (2 parts): {LONG}"]


def test_one_part_is_told_as_one() -> None:
    (fault,) = gathered([({"part": "Deck"}, "101", LONG)])
    assert in_words(fault) == f"Deck of cabinet 101 (1 part): {LONG}"


def test_very_many_cabinets_are_counted_rather_than_named() -> None:
    (fault,) = gathered(({"part": "Deck"}, str(number), LONG) for number in range(2_000))
    assert "0, 1, 2, 3, 4, 5, 6, 7 and 1992 more (2000 parts)" in in_words(fault)


def test_an_answer_tells_the_first_reason_and_how_many_more_there_are() -> None:
    faults = gathered(({"part": part}, "101", LONG) for part in ("Deck", "Top", "Back"))
    assert told_with_first("Not every part fits", faults[:1], "Nothing was stored.") == (
        f"Not every part fits: Deck of cabinet 101 (1 part): {LONG}. Nothing was stored."
    )
    assert " And 2 more reasons. Nothing" in told_with_first("Not every part fits", faults, "Nothing was stored.")
