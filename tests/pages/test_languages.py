"""Every text of the screens is spoken in Spanish too, and says the same things in both languages."""

import re
from gettext import GNUTranslations
from pathlib import Path

import pytest
from babel.messages.catalog import Catalog, Message
from babel.messages.extract import extract_from_dir
from babel.messages.pofile import read_po

HOUSE = Path("tracker")
SPANISH = HOUSE / "translations" / "es" / "LC_MESSAGES"
KEYWORDS = {
    "_": None,
    "gettext": None,
    "_l": None,
    "ngettext": (1, 2),
    "say": None,
    "say_many": (1, 2),
    "later": None,
    "pgettext": ((1, "c"), 2),
}
_PLACES = re.compile(r"%\(\w+\)[sd]|\{\w+\}")


def used() -> set[str]:
    """The texts that the pages and templates use, and what the shop says to people."""
    mapping = [(f"{room}/**.py", "python") for room in ("pages", "shop", "work", "records", "labels")]
    mapping.append(("pages/**.html", "jinja2"))
    found = extract_from_dir(str(HOUSE), method_map=mapping, keywords=KEYWORDS)
    return {text if isinstance(text, str) else text[0] for _file, _line, text, _comments, _context in found if text}


@pytest.fixture(scope="module")
def spanish() -> Catalog:
    with (SPANISH / "messages.po").open("rb") as file:
        return read_po(file, locale="es")


def ways(message: Message) -> list[tuple[str, str]]:
    """Each form of a text with its translation."""
    if isinstance(message.id, str):
        return [(message.id, str(message.string))]
    return list(zip(message.id, message.string or (), strict=True))


def test_every_text_of_the_screens_is_translated_and_nothing_else_is_kept(spanish: Catalog) -> None:
    known = {message.id if isinstance(message.id, str) else message.id[0] for message in spanish if message.id}
    assert used() - known == set(), "translate these: see DEVELOPERS.md"
    assert known - used() == set(), "no page says these any more"
    assert [message.id for message in spanish if message.id and not all(text for _, text in ways(message))] == []


def test_a_translation_fills_in_the_same_things(spanish: Catalog) -> None:
    for message in spanish:
        if message.id:
            for one, other in ways(message):
                assert sorted(set(_PLACES.findall(one))) == sorted(set(_PLACES.findall(other))), one


def test_the_compiled_catalogue_is_in_step_with_its_text(spanish: Catalog) -> None:
    with (SPANISH / "messages.mo").open("rb") as file:
        compiled = GNUTranslations(file)
    for message in spanish:
        if not message.id:
            continue
        if isinstance(message.id, str):
            context = message.context
            said = [compiled.pgettext(context, message.id) if context else compiled.gettext(message.id)]
        else:
            one, many = message.id
            said = [compiled.ngettext(one, many, num) for num in (1, 2)]
        assert said == [text for _, text in ways(message)], "pybabel compile -d tracker/translations"


# Words of the trade that a reader must not have to guess from two names: see DEVELOPERS.md, "Words".
ONE_NAME = {r"items?": "herraje", r"panels?": "panel", r"jobs?": "trabajo|pedido", r"boards?": "tablero|panel"}


def test_items_panels_and_boards_have_one_spanish_name_each(spanish: Catalog) -> None:
    for message in spanish:
        for one, other in ways(message) if message.id else ():
            english, said = _PLACES.sub("", one).lower(), _PLACES.sub("", other).lower()
            for word, name in ONE_NAME.items():
                if re.search(rf"\b{word}\b", english):
                    assert re.search(name, said), one
            assert "artículo" not in said, one
            assert "tablero" not in said or re.search(r"\b(boards?|stock)\b", english), one


def test_what_is_counted_on_the_board_stands_in_the_singular_for_one(spanish: Catalog) -> None:
    for one, many in (("atrasado", "atrasados"), ("se atrasará", "se atrasarán")):
        message = next(each for each in spanish if f"%(num)d {one}" in (each.string or ()))
        assert message.string == (f"%(num)d {one}", f"%(num)d {many}")


def test_a_number_alone_stands_before_no_word_that_only_many_have(spanish: Catalog) -> None:
    """ "1 enviadas": such a text has a form for one, or names the number after the word."""
    for message in spanish:
        if isinstance(message.id, str) and message.id:
            alone = re.search(r"(?<!de )%\(\w+\)s \w+(?:ad|id)[oa]s\b", str(message.string))
            assert alone is None, message.string


def test_a_job_is_called_otherwise_than_a_box_where_the_language_does(spanish: Catalog) -> None:
    for word, of_box, of_job in (
        ("on hold", "detenida", "detenido"),
        ("shipped", "enviada", "enviado"),
        ("cancelled", "cancelada", "cancelado"),
    ):
        both = spanish.get(word), spanish.get(word, context="job")
        assert [each and each.string for each in both] == [of_box, of_job]


def test_a_print_is_called_as_it_is_in_spanish(spanish: Catalog) -> None:
    said = [spanish.get(word) for word in ("printed", "not printed", "cancelled")]
    assert [each and each.string for each in said] == ["impresa", "no impresa", "cancelada"]
