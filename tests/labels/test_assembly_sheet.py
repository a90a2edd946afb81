"""The carton's sheet: its text is read back by poppler, its code by zxing-cpp from the printed page."""

import io
import re
import shutil
import subprocess
import xml.etree.ElementTree as ET
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import pypdf
import pytest
import zxingcpp
from jinja2 import ChoiceLoader, DictLoader, Environment, FileSystemLoader
from PIL import Image

from tests.conftest import missing_tool
from tests.labels.printed_sheets import BASE, IN_ENGLISH_ON, LINK, TALL, made, pages_of, pdf_of, read
from tests.shop.cabinets.examples import ONE_OF_EACH, name_of
from tracker.labels.assembly_sheet import LONGEST_LINK, OVERVIEW_FRAME, STEP_FRAME, Sheet, pictures_of, symbol_of
from tracker.labels.assembly_sheet_pdf import Paper, write_sheet
from tracker.labels.svg import svg_of
from tracker.labels.tongues import IN_ENGLISH
from tracker.shop.cabinets.drawing.shapes import Drawing, Frame, Label
from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.errors import InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.saying import say, say_many, spoken
from tracker.translations.catalogues import LANGUAGES

NASTY = '<script>alert("x")</script> & „Ölmühle“ **bold** __x__'
# ISO 216 and ANSI/ASME Y14.1 (A), in mm.
SIZES = {Paper.A4: (210.0, 297.0), Paper.LETTER: (215.9, 279.4)}
TEMPLATES = Path("tracker/pages")
PRINTED_DPI = 100


@pytest.mark.parametrize(("ordered", "paper"), IN_ENGLISH_ON, ids=name_of)
def test_a_sheet_says_all_that_the_fitter_needs_in_black_and_white(ordered: CabinetOrder, paper: Paper) -> None:
    sheet = made(ordered)
    text = " ".join(pages_of(ordered, paper))
    wanted = ["Cabinet 101-2", "Job J-1042", "101 A, 101 B", "R-7K2Q", "missing or damaged"]
    wanted += [row.name for row in sheet.guide.parts] + [item.item for item in sheet.guide.bag]
    wanted += [sentence for step in sheet.guide.steps for sentence in step.sentences]
    wanted += [step.title for step in sheet.guide.steps]
    wanted += [f"{item.quantity} × {item.item}" for step in sheet.guide.steps for item in step.items]
    wanted += [f"CAUTION {caution}" for caution in sheet.guide.cautions]
    assert [words for words in wanted if re.sub(r"\s+", " ", words) not in text] == []
    check_that_a_page_holds_two_to_four_steps(sheet, pages_of(ordered, paper))
    check_that_it_is_black_white_and_grey_and_loads_nothing(pdf_of(ordered, paper))


@pytest.mark.parametrize("paper", Paper)
def test_pages_have_the_size_of_the_paper_and_are_counted(paper: Paper) -> None:
    stream = io.BytesIO()
    count = write_sheet(made(BASE), stream, paper=paper)
    pages = pypdf.PdfReader(stream).pages
    assert len(pages) == count
    for page in pages:
        size = (float(page.mediabox.width) / 72 * 25.4, float(page.mediabox.height) / 72 * 25.4)
        assert size == pytest.approx(SIZES[paper], abs=0.2)


def check_that_a_page_holds_two_to_four_steps(sheet: Sheet, pages: tuple[str, ...]) -> None:
    """Each step's title stands on some page; no page but the last of them has fewer than two."""
    counts = [sum(step.sentences[0] in page and step.title in page for step in sheet.guide.steps) for page in pages]
    with_steps = [count for count in counts if count]
    assert all(2 <= count <= 6 for count in with_steps[:-1])


def check_that_it_is_black_white_and_grey_and_loads_nothing(pdf: bytes) -> None:
    for page in pypdf.PdfReader(io.BytesIO(pdf)).pages:
        content = page.get_contents()
        assert content is not None
        words = content.get_data().split()
        colours = [words[place - 3 : place] for place, word in enumerate(words) if word in (b"rg", b"RG")]
        assert all(len(set(colour)) == 1 for colour in colours)
        resources: Any = page["/Resources"]
        assert not resources.get("/XObject"), "a picture"
        assert b"BI" not in words, "a picture within the page"
        assert "/Annots" not in page


@lru_cache(maxsize=8)
def printed(ordered: CabinetOrder, paper: Paper, page: int) -> Image.Image:
    """One page as a printer would lay it down, drawn by poppler."""
    tool = shutil.which("pdftoppm")
    if tool is None:
        missing_tool("pdftoppm")
    command = [str(tool), "-r", str(PRINTED_DPI), "-gray", "-f", str(page), "-l", str(page), "-png", "-"]
    done = subprocess.run(command, input=pdf_of(ordered, paper), capture_output=True, check=True)
    return Image.open(io.BytesIO(done.stdout))


@pytest.mark.parametrize("paper", Paper)
def test_the_printed_code_leads_to_the_report(paper: Paper) -> None:
    found = zxingcpp.read_barcodes(printed(BASE, paper, 1))
    assert [code.text for code in found] == [LINK]
    assert "QR" in str(found[0].format)


@pytest.mark.parametrize("paper", Paper)
@pytest.mark.parametrize("ordered", [BASE, TALL], ids=name_of)
def test_nothing_is_printed_in_the_outer_margin(ordered: CabinetOrder, paper: Paper, tmp_path: Path) -> None:
    tool = shutil.which("pdftoppm")
    if tool is None:
        missing_tool("pdftoppm")
    command = [str(tool), "-r", "50", "-gray", "-png", "-", str(tmp_path / "page")]
    subprocess.run(command, input=pdf_of(ordered, paper), check=True)
    edge = round(9 / 25.4 * 50)
    for path in tmp_path.iterdir():
        page = Image.open(path)
        ink = page.point(lambda level: 255 if level < 250 else 0).getbbox()
        assert ink is not None
        assert ink[0] >= edge
        assert ink[1] >= edge
        assert ink[2] <= page.width - edge
        assert ink[3] <= page.height - edge


def test_the_code_as_a_drawing_reads_and_keeps_its_quiet_zone() -> None:
    """Four modules of quiet zone: ISO/IEC 18004, from memory."""
    drawing = symbol_of(LINK)
    points = [point for shape in drawing.shapes if hasattr(shape, "points") for point in shape.points]
    assert min(x for x, _ in points) == min(y for _, y in points) == 4
    assert max(x for x, _ in points) == drawing.width - 4
    image = Image.new("L", (int(drawing.width) * 4, int(drawing.height) * 4), 255)
    for shape in drawing.shapes:
        (x0, y0), _, (x1, y1), _ = shape.points  # type: ignore[union-attr]
        image.paste(0, (int(x0) * 4, int(y0) * 4, int(x1) * 4, int(y1) * 4))
    assert [code.text for code in zxingcpp.read_barcodes(image)] == [LINK]


@pytest.mark.parametrize("length", [1, 100, LONGEST_LINK])
def test_links_of_any_length_allowed_make_a_code(length: int) -> None:
    link = ("https://tracker.example/" + "r" * LONGEST_LINK)[:length]
    assert symbol_of(link).width > 20


def test_odd_texts_are_written_as_they_are() -> None:
    stream = io.BytesIO()
    write_sheet(replace(made(BASE), cabinet=NASTY[:60], note=NASTY, boxes=()), stream)
    text = " ".join(read(stream.getvalue()))
    assert "Ölmühle" in text
    assert "<script>" in text
    assert "**bold**" in text


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("job", " "),
        ("cabinet", ""),
        ("report_code", ""),
        ("report_link", ""),
        ("report_link", "x" * (LONGEST_LINK + 1)),
    ],
)
def test_a_sheet_without_its_texts_is_refused_by_name(field: str, value: str) -> None:
    with pytest.raises(InvalidInputError) as caught:
        replace(made(BASE), **{field: value})  # type: ignore[arg-type]
    assert [fault.where for fault in caught.value.faults] == [{"field": field}]


def test_a_sheet_with_a_drawing_too_few_is_refused() -> None:
    sheet = made(BASE)
    with pytest.raises(InvalidInputError):
        replace(sheet, drawings=replace(sheet.drawings, steps=sheet.drawings.steps[1:]))


# ---------------------------------------------------------------------- SVG
def test_each_picture_is_well_formed_svg_with_a_title_and_without_script() -> None:
    for drawing in pictures_of(made(BASE)):
        root = ET.fromstring(svg_of(drawing))  # noqa: S314 - our own text
        names = {element.tag.split("}")[1] for element in root.iter()}
        assert names <= {"svg", "title", "rect", "g", "path", "circle", "text"}
        title = root.find("{http://www.w3.org/2000/svg}title")
        assert title is not None
        assert title.text == drawing.title
        assert root.get("role") == "img"
        assert root.get("aria-label") == drawing.title


def test_svg_escapes_what_it_writes() -> None:
    label = Label(at=(5, 5), text='<b>"&', size=3, frame=Frame.BOX)
    svg = svg_of(Drawing(width=10, height=10, title='<script>"', shapes=(label,)))
    root = ET.fromstring(svg)  # noqa: S314 - our own text
    assert root.get("aria-label") == '<script>"'
    assert [element.text for element in root.iter() if element.tag.endswith("}text")] == ['<b>"&']


# ---------------------------------------------------------------------- the page
def page_of(sheet: Sheet) -> str:
    frame = "<!doctype html><title>{% block title %}{% endblock %}</title><main>{% block main %}{% endblock %}</main>"
    loader = ChoiceLoader([DictLoader({"frame/frame.html": frame}), FileSystemLoader(TEMPLATES)])
    environment = Environment(loader=loader, autoescape=True)
    environment.globals |= {"_": say, "ngettext": say_many, "url_for": lambda endpoint, /, **_values: f"/{endpoint}"}
    environment.filters["spoken"] = lambda text: spoken(text, IN_ENGLISH)
    return environment.get_template("site/assembly_sheet.html").render(
        sheet=sheet,
        svgs=[svg_of(drawing) for drawing in pictures_of(sheet)],
        languages=LANGUAGES,
        language="en",
        papers=list(Paper),
    )


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_the_page_says_the_same_as_the_print(ordered: CabinetOrder) -> None:
    sheet = made(ordered)
    html = page_of(sheet)
    assert html.count("<svg") == len(sheet.guide.steps) + 1 + (len(sheet.guide.parts) > 1)
    assert "<script" not in html
    for step in sheet.guide.steps:
        assert step.title in html
        for caution in step.cautions:
            assert caution in html


def test_the_page_escapes_texts() -> None:
    html = page_of(replace(made(BASE), note=NASTY, cabinet=NASTY))
    assert "<script" not in html
    assert "&lt;script&gt;" in html


def test_each_part_is_named_with_its_box_where_there_are_several() -> None:
    sheet = made(BASE)
    rows = {row.name: row for row in sheet.guide.parts}
    assert (sheet.boxes_of(rows["Deck"]), sheet.boxes_of(rows["Top"])) == ("101 A", "101 B")
    alone = replace(sheet, boxes=("101",))
    assert alone.boxes_of(rows["Deck"]) == ""
    assert '<th scope="col">Box</th>' in page_of(sheet)
    assert '<th scope="col">Box</th>' not in page_of(alone)


def test_a_sheet_of_an_order_in_inches_says_inches_and_pounds_throughout() -> None:
    stream = io.BytesIO()
    ordered = replace(BASE, units=Units.INCH)
    write_sheet(made(ordered), stream)
    text = " ".join(read(stream.getvalue()))
    assert "Size in inches" in text
    assert "16 1/2 × " in text
    assert " lb put together" in text
    assert not re.search(r"\d kg\b", text)


def test_drawings_are_made_for_the_frames_that_the_sheet_has() -> None:
    sheet = made(BASE)
    assert (sheet.drawings.overview.width, sheet.drawings.overview.height) == OVERVIEW_FRAME
    assert {(drawing.width, drawing.height) for drawing in sheet.drawings.steps} == {STEP_FRAME}
