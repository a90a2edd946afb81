"""What parts and items are called on the sheet, in English and to one who reads another language."""

import pytest

from tests.shop.cabinets.examples import ONE_OF_EACH, designed, guided, order
from tracker.shop.cabinets.guide.values import Guide
from tracker.shop.cabinets.wording import all_of, item_words, label_name, listed, measured, numbered, units_named
from tracker.shop.saying import Said, Tongue, spoken

SPANISH = {
    "Add the %(part)s": "Agregue «%(part)s»",
    "Drawers %(numbers)s: %(part)s": "Drawer %(numbers)s: %(part)s",
    "%(first)s and %(last)s": "%(first)s y %(last)s",
    "%(whole)s.%(rest)s": "%(whole)s,%(rest)s",
    "screw": "tornillo",
    "Take %(part)s, its arrow to the front.": "Tome %(part)s.",
}
IN_SPANISH = Tongue(
    pattern=lambda one, many, num: SPANISH.get(one if num == 1 else many, one if num == 1 else many),
    length=lambda mm: f"{mm} mm",
    language="es",
)


def guide(*wanted: object) -> Guide:
    return guided(order(*wanted))  # type: ignore[arg-type]


def test_english_writes_a_name_small_within_a_sentence_and_other_languages_as_the_label_has_it() -> None:
    step = next(each for each in guide("base", 400, 876, 600, "door", "right").steps if each.title == "Add the deck")
    assert spoken(step.title, IN_SPANISH) == "Agregue «Deck»"
    assert step.sentences[0].startswith("Take D (deck), its arrow to the front.")
    assert spoken(step.sentences[0], IN_SPANISH).startswith("Tome D (Deck).")


def test_the_label_of_a_drawers_part_has_the_drawers_number() -> None:
    titles = [each.title for each in guide("base", 600, 876, 600, "4 drawers").steps if each.unit]
    assert titles[1] == "Add the drawer box front"
    said = [spoken(title, IN_SPANISH) for title in titles]
    assert said[1] == "Agregue «Drawer 1 box front»"
    assert "Agregue «Drawer 2, 3 y 4: box front»" in said


def test_every_part_of_every_kind_of_cabinet_is_said_in_plain_words_that_can_be_translated() -> None:
    for ordered in ONE_OF_EACH:
        for row in guided(ordered).parts:
            assert isinstance(row.plain, Said), row.name


def test_every_item_of_every_kind_of_cabinet_has_words_that_can_be_translated() -> None:
    for ordered in ONE_OF_EACH:
        for item in designed(ordered).items:
            if item.in_bag:
                assert item_words(item.item) == item.item
                assert isinstance(item_words(item.item), Said), item.item


def test_an_item_keeps_its_size_and_one_that_nobody_knows_its_name() -> None:
    assert spoken(item_words("screw 3.5 mm"), IN_SPANISH) == "tornillo 3,5 mm"
    assert spoken(item_words("screwdriver"), IN_SPANISH) == "screwdriver"


def test_things_are_listed_each_once() -> None:
    assert (listed([]), listed([3]), listed([7, 3, 5, 3])) == ("", "3", "3, 5 and 7")
    assert (numbered([2]), numbered([2, 1])) == ("number 2", "numbers 1 and 2")
    assert all_of(["a", "b", "a"]) == "a and b"
    assert (units_named([]), units_named(["Drawer 1"])) == ("", "Drawer 1")
    assert units_named(["Drawer 2", "Drawer 3"]) == "Drawers 2 and 3"


@pytest.mark.parametrize(("text", "said"), [("763.4 mm", "763,4 mm"), ("4 mm", "4 mm"), ("16 1/2", "16 1/2")])
def test_decimals_are_written_as_the_language_does(text: str, said: str) -> None:
    assert measured(text) == text
    assert spoken(measured(text), IN_SPANISH) == said


def test_parts_that_are_alike_share_a_name() -> None:
    cabinet = designed(order("base", 600, 876, 600, "open"))
    shelves = [part for part in cabinet.parts if part.name == "Shelf"]
    assert label_name(shelves[:1]) == "Shelf 1"
    assert label_name(shelves[:2]) == "Shelves 1 and 2"
