"""The sheet in another language: read back from the PDF by poppler, and every one of its sentences is translated."""

import io
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass, replace
from datetime import date
from pathlib import Path

import pypdf
import pytest

from tests.labels.printed_sheets import (
    BASE,
    DRAWERS,
    IN_SPANISH_ON,
    LINK,
    SPANISH,
    TALL,
    made,
    pages_of,
    pdf_of,
    read,
    words_at,
)
from tests.labels.test_assembly_sheet import SIZES
from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, designed, name_of, order
from tracker.labels.assembly_sheet import HOW_TO_READ, Sheet, pictures_of, sheet_of
from tracker.labels.assembly_sheet_pdf import Paper, write_sheet
from tracker.labels.svg import svg_of
from tracker.labels.tongues import IN_ENGLISH, tongue_of
from tracker.shop.cabinets.design import Cabinet, design_cabinet
from tracker.shop.cabinets.guide.cautions import LIFTERS
from tracker.shop.cabinets.guide.writing import guide_of
from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.errors import InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import Count, Mm, Name, Said, say, say_many, spoken
from tracker.translations.catalogues import LANGUAGES
from tracker.work.intake import read_order_table
from tracker.work.lists import shipped_standard

SEED = Path("seed_data")
DEMO = tomllib.loads((SEED / "shop.toml").read_text(encoding="utf-8"))["job"]
# Words that any English sentence has and no name of a part.
ENGLISH_WORDS = re.compile(
    r"\b(the|and|with|of|to|its|it|your|until|this|each|number|numbers|page|job)\b", re.IGNORECASE
)


def sentences(value: object) -> Iterator[Said]:
    """Yield every sentence in a value, and those that it names."""
    match value:
        case Said():
            yield value
            yield from sentences(value.values)
        case Name():
            yield from sentences(value.printed)
        case str():
            return
        case Mapping():
            yield from sentences(tuple(value.values()))
        case tuple() | list():
            for each in value:
                yield from sentences(each)
        case _ if is_dataclass(value):
            yield from sentences([getattr(value, own.name) for own in fields(value)])


def untranslated(sheet: Sheet) -> set[str]:
    """Return the English patterns of a sheet that the catalogue lacks; one without words needs no translation."""
    said = [*sentences(sheet), *sentences([sheet.counted(item) for item in sheet.guide.bag]), *sentences(sheet.weight)]
    return {
        each.pattern for each in said if _has_words(each.pattern) and _in_spanish(each) in (each.pattern, each.many)
    }


def _in_spanish(said: Said) -> str:
    return SPANISH.pattern(said.pattern, said.many, said.num)


def _has_words(pattern: str) -> bool:
    return bool(re.search(r"[A-Za-z]", re.sub(r"%\(\w+\)[sd]", "", pattern)))


@pytest.mark.parametrize("units", Units)
@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_every_sentence_of_every_kind_of_cabinet_has_a_translation(ordered: CabinetOrder, units: Units) -> None:
    ordered = replace(ordered, units=units)
    assert untranslated(made(ordered)) == set()
    for marks in (LiftingMarks(), LiftingMarks(two_people_kg=5), LiftingMarks(trolley_kg=5)):
        guide = guide_of(designed(ordered), marks)
        assert untranslated(replace(made(ordered), guide=guide)) == set()


def sheet_of_designed(cabinet: Cabinet) -> Sheet:
    return sheet_of(
        cabinet, job="J-1", name="1", boxes=("1",), marks=LiftingMarks(), report_code="B1", report_link=LINK
    )


@pytest.mark.parametrize("job", DEMO, ids=lambda job: str(job["file"]))
def test_every_sentence_of_the_demos_cabinets_has_a_translation(job: Mapping[str, str]) -> None:
    table = io.BytesIO((SEED / f"{job['file']}.csv").read_bytes())
    due, units, standard = date(2027, 1, 1), Units(job["units"]), shipped_standard()
    taken = read_order_table(table, None, job="J-1", customer="A", due=due, units=units, standard=standard)
    assert taken.designs
    for design in taken.designs:
        assert untranslated(sheet_of_designed(design.cabinet)) == set()


@pytest.mark.parametrize(("ordered", "paper"), IN_SPANISH_ON, ids=name_of)
def test_a_spanish_sheet_says_everything_in_spanish_but_for_the_names_on_the_labels(
    ordered: CabinetOrder, paper: Paper
) -> None:
    sheet, pages = made(ordered), pages_of(ordered, paper, SPANISH)
    text = " ".join(pages)
    assert [words for words in (HOW_TO_READ, sheet.weight, *sheet.guide.cautions) if _one_line(words) not in text] == []
    in_cells = [word for row in sheet.guide.parts for each in (row.name, row.plain) for word in _words(each)]
    assert [word for word in in_cells if word not in text] == [], "cells of the table are broken into lines"
    assert ENGLISH_WORDS.findall(text) == []
    for step in sheet.guide.steps:
        words = [step.title, *step.sentences, *(sheet.counted(item) for item in step.items), *step.cautions]
        said = [_one_line(each) for each in (*words, step.unit)]
        assert any(all(each in page for each in said) for page in pages), f"{step.title} is not all on one page"
    assert len(pages) <= 14
    assert all(len(page) > 150 for page in pages), "no page holds only what the one before had no room for"


def _one_line(text: str) -> str:
    return re.sub(r"\s+", " ", spoken(text, SPANISH))


def _words(text: str) -> list[str]:
    return spoken(text, SPANISH).split()


def test_a_sheet_says_in_what_language_it_is() -> None:
    assert str(pypdf.PdfReader(io.BytesIO(pdf_of(BASE, Paper.A4, SPANISH))).root_object["/Lang"]) == "es"


def test_a_fitter_reads_the_sheet_of_a_drawer_cabinet_in_spanish() -> None:
    text = " ".join(pages_of(BASE, Paper.A4, SPANISH))
    for words in (
        "Gabinete 101-2",
        "Cajas 101 A, 101 B",
        "27 kg ya armado, dos personas",
        "PRECAUCIÓN Use protección para los ojos",
        "Antes de empezar",
        "Medidas en mm",
        "Deck fondo del gabinete 1 419 × 431 × 19 2,2",
        "4 pasador elástico 8 mm",
        "Cajón 1 Agregue «Drawer 1 box front»",
        "Tome D (Deck), con la flecha hacia el frente. Junte su 6 con el 6 de A (Left end).",
        "Correderas, medidas desde el extremo inferior: 25 a 763,4 mm.",
        "Atorníllelo en el número 24.",
        "en los números 21, 22 y 23.",
        "página 1",
    ):
        assert words in text


def test_parts_that_are_alike_are_named_by_the_names_on_their_labels() -> None:
    text = " ".join(pages_of(DRAWERS, Paper.A4, SPANISH))
    assert "Cajones 2, 3 y 4 Agregue «Drawer 2, 3 y 4: box front»" in text
    assert "Haga 3 de estos." in text


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("ordered", [TALL, DRAWERS], ids=name_of)
def test_every_word_of_a_spanish_sheet_stands_within_the_margins(ordered: CabinetOrder, paper: Paper) -> None:
    width, height = SIZES[paper]
    found = words_at(pdf_of(ordered, paper, SPANISH))
    assert found
    for left, top, right, bottom in found:
        assert 9 < left < right < width - 9
        assert 9 < top < bottom < height - 9


def test_pictures_speak_to_who_does_not_see_them() -> None:
    ordered = order("base", 600, 876, 600, "door", "right")
    drawings = pictures_of(sheet_of_designed(design_cabinet(ordered, STANDARD)))
    assert "<title>Todas las piezas del gabinete 1, separadas</title>" in svg_of(drawings[0], SPANISH)
    assert "<title>Paso 1: Monte las placas de bisagra en «Right end»</title>" in svg_of(drawings[1], SPANISH)
    assert "<title>Step 1: Fit the hinge plates to the right end</title>" in svg_of(drawings[1])
    assert f"<title>Código para escanear: {LINK}</title>" in svg_of(drawings[-1], SPANISH)


def test_a_sheet_in_inches_says_so_in_spanish() -> None:
    stream = io.BytesIO()
    write_sheet(made(replace(order("base", 600, 876, 600, "open"), units=Units.INCH)), stream, tongue=SPANISH)
    text = " ".join(read(stream.getvalue()))
    assert "Medidas en pulgadas" in text
    assert "3/32 in hacia" in text


def test_english_is_said_as_the_shop_says_it() -> None:
    for text in (*LIFTERS.values(), say_many("%(num)d part", "%(num)d parts", 2), say("%(far)s", far=Mm(1.5))):
        assert spoken(text, IN_ENGLISH) == text
    assert tongue_of("en") is IN_ENGLISH


def test_lengths_and_counts_are_spelled_by_the_language() -> None:
    assert SPANISH.length(1.5) == "1,5 mm"
    assert SPANISH.bare(763.44) == "763,4"
    assert spoken(say("%(many)s", many=Count(12345)), SPANISH) == "12.345"


def test_a_language_that_nobody_speaks_here_is_refused() -> None:
    with pytest.raises(InvalidInputError) as caught:
        tongue_of("xx")
    assert caught.value.faults[0].where == {"field": "language"}
    assert list(LANGUAGES) == ["en", "es"]
