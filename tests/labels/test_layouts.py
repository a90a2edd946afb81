"""Labels: whatever stands on them, their symbol reads, and nothing runs out of its place."""

import io
import os
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import date
from itertools import combinations
from pathlib import Path

import pypdf
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageChops

from tests.conftest import missing_tool
from tests.examples import examples
from tests.reading import codes_in
from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, name_of, order
from tracker.labels.contents import SAMPLES, BoxLabel, JointMark, Label, LabelKind, PartLabel
from tracker.labels.documents import png_bytes, write_pdf
from tracker.labels.layout import draw_label
from tracker.labels.layout_reading import read_layout
from tracker.labels.panel_outline import lay_out_marks
from tracker.labels.symbols import DPIS, gs1_modules_of
from tracker.shop.cabinets.design import Cabinet, design_cabinet
from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.cabinets.panels import Part
from tracker.shop.codes import box_code, part_code
from tracker.shop.lifting import Handling
from tracker.work.label_setup import shipped_layouts, usual_setup

PART = PartLabel(
    code=part_code(1234),
    job="J-1042",
    cabinet="101",
    name="Deck",
    material="White melamine",
    length_mm=564,
    width_mm=560.5,
    thickness_mm=18,
    edges=("L1",),
    route=("cut", "machine", "band", "pack"),
    box="101",
)
BOX = BoxLabel(
    code=box_code(77),
    job="J-1042",
    customer="Larch Court (invented)",
    due=date(2027, 3, 5),
    name="101",
    number=3,
    of=7,
    cabinets=("101", "102"),
    parts=12,
    mass_kg=31.2,
    handling=Handling.TWO_PEOPLE,
)
SETUP = usual_setup()


def drawn(label: Label, dpi: int) -> Image.Image:
    return SETUP.draw(label, dpi)[0].image


AWKWARD = ["", "x" * 500, "Türgriff", "Дверь", "باب", "门板", "🚪🪵", "a\u202eb", "word " * 100, "\n\t"]


@pytest.mark.parametrize("dpi", DPIS)
@pytest.mark.parametrize("name", shipped_layouts())
def test_every_layout_reads_at_every_resolution_by_its_bars_and_by_its_qr_code(name: str, dpi: int) -> None:
    layout = read_layout(shipped_layouts()[name])
    label = SAMPLES[layout.kind]
    image = draw_label(layout, label, dpi).image
    read = {str(found.format): found.text for found in zxingcpp.read_barcodes(image.convert("L"))}
    assert read == {"Code 128": label.code, "QR Code": label.code}


@pytest.mark.parametrize("kind", LabelKind)
def test_what_a_layout_of_a_kind_says_is_all_drawn_and_nothing_lacks(kind: LabelKind) -> None:
    found, stock = SETUP.draw(SAMPLES[kind], 203)
    assert found.lacking == ""
    assert stock.holds((found.image.width / 203 * 25.4, found.image.height / 203 * 25.4))
    assert {symbol.text for symbol in found.symbols} == {SAMPLES[kind].code}


def test_an_urgent_part_says_so_and_still_reads() -> None:
    urgent = drawn(replace(PART, urgent=True), 203)
    assert codes_in(urgent) == [PART.code]
    assert _difference(urgent, drawn(PART, 203)).getbbox() is not None


@pytest.mark.parametrize("text", AWKWARD)
def test_any_text_is_drawn_and_leaves_the_margin_and_the_symbol_alone(text: str) -> None:
    label = replace(PART, name=text, material=text, cabinet=text, job=text, box=text)
    image = drawn(label, 203)
    assert codes_in(image) == [PART.code]
    margin = image.crop((image.width - 12, 0, image.width, image.height))
    assert margin.getextrema() == (255, 255) or margin.getextrema() == (1, 1)
    assert codes_in(drawn(replace(BOX, customer=text, cabinets=(text, text)), 203)) == [BOX.code]


@examples(20)
@given(
    st.text(max_size=80), st.floats(10, 6000), st.floats(10, 6000), st.sets(st.sampled_from(["L1", "L2", "W1", "W2"]))
)
def test_whatever_the_part_its_label_reads(name: str, length: float, width: float, edges: set[str]) -> None:
    label = replace(PART, name=name, length_mm=length, width_mm=width, edges=tuple(sorted(edges)))
    assert codes_in(drawn(label, 203)) == [PART.code]


@pytest.mark.parametrize(("edge", "side"), [("L1", "bottom"), ("L2", "top"), ("W1", "left"), ("W2", "right")])
def test_a_banded_edge_is_the_heavy_line_on_its_side_of_the_outline(edge: str, side: str) -> None:
    plain = drawn(replace(PART, edges=()), 203)
    banded = drawn(replace(PART, edges=(edge,)), 203)
    changed = Image.composite(
        Image.new("L", plain.size, 255), Image.new("L", plain.size, 0), _difference(plain, banded)
    ).getbbox()
    assert changed is not None
    left, top, right, bottom = changed
    middle_x, middle_y = (61.5 + 18.75) * 203 / 25.4, (1.5 + 14.25) * 203 / 25.4
    where = {
        "left": right < middle_x,
        "right": left > middle_x,
        "top": bottom < middle_y,
        "bottom": top > middle_y,
    }
    assert [name for name, there in where.items() if there] == [side]


def _difference(one: Image.Image, other: Image.Image) -> Image.Image:
    return ImageChops.difference(one.convert("L"), other.convert("L")).convert("1")


def test_a_box_that_one_person_may_not_lift_says_so() -> None:
    light, heavy = (drawn(replace(BOX, handling=how), 203) for how in (Handling.ONE_PERSON, Handling.TROLLEY))
    banner = (40, 728, 760, 798)
    assert light.crop(banner).convert("L").histogram()[0] == 0
    assert heavy.crop(banner).convert("L").histogram()[0] > 10_000


def test_a_box_names_the_rooms_and_the_drop_of_its_cabinets_where_it_has_any() -> None:
    plain, placed = drawn(BOX, 203), drawn(replace(BOX, rooms=("kitchen", "scullery"), drop="north door"), 203)
    rooms, drop = (32, 376, 400, 424), (272, 672, 535, 720)
    assert plain.crop(rooms).convert("L").histogram()[0] == 0
    assert placed.crop(rooms).convert("L").histogram()[0] > 500
    changed = _difference(plain.crop(drop), placed.crop(drop)).getbbox()
    assert changed is not None
    assert changed[2] > 200, "the drop stands beside the day"


@pytest.mark.parametrize("dpi", DPIS)
def test_a_page_is_as_large_as_its_label_and_nothing_is_scaled_or_lost(dpi: int, tmp_path: Path) -> None:
    path = tmp_path / "labels.pdf"
    with path.open("wb") as stream:
        assert write_pdf([SETUP.draw(PART, dpi), SETUP.draw(BOX, dpi)], stream, title="Labels") == 2
    document = pypdf.PdfReader(path)
    for page, wanted in zip(document.pages, ((100, 50), (100, 150)), strict=True):
        sizes = (float(page.mediabox.width) / 72 * 25.4, float(page.mediabox.height) / 72 * 25.4)
        assert sizes == pytest.approx(wanted, abs=0.07)  # half a dot of 203 dpi
    assert b"/PrintScaling /None" in path.read_bytes()
    assert b"DCTDecode" not in path.read_bytes()
    if shutil.which("pdftoppm") is None:
        missing_tool("pdftoppm")
    subprocess.run(["pdftoppm", "-r", str(dpi), "-gray", str(path), str(tmp_path / "page")], check=True)
    pages = sorted(tmp_path.glob("page*.pgm"))
    assert [codes_in(Image.open(page)) for page in pages] == [[PART.code], [BOX.code]]


def test_a_long_document_takes_little_memory() -> None:
    stream = io.BytesIO()
    many = (SETUP.draw(replace(PART, code=part_code(number)), 203) for number in range(1, 201))
    assert write_pdf(many, stream, title="Labels") == 200
    assert len(stream.getvalue()) < 200 * 8_000


def test_a_picture_says_its_resolution() -> None:
    image = Image.open(io.BytesIO(png_bytes(drawn(PART, 300), dpi=300)))
    assert image.mode == "1"
    assert image.info["dpi"] == pytest.approx((300, 300), abs=0.1)


def test_the_fonts_come_with_their_licence() -> None:
    import tracker.labels

    folder = Path(os.fspath(tracker.labels.__path__[0])) / "fonts"
    assert {path.suffix for path in folder.iterdir()} == {".ttf", ".txt"}
    assert re.search("Bitstream", (folder / "LICENCE.txt").read_text())


OUTLINE_MM = (61.5, 1.5, 99.0, 30.0)
MARKED = replace(
    PART,
    length_mm=700,
    width_mm=500,
    front="L1",
    marks=[
        JointMark(number=7, side="W1", along_mm=0, across_mm=250),
        JointMark(number=12, side="A", along_mm=350, across_mm=400),
    ],
)


def _outline(label: PartLabel, dpi: int = 300) -> Image.Image:
    image = drawn(label, dpi)
    assert codes_in(image) == [label.code]
    return image.crop(tuple(round(mm * dpi / 25.4) for mm in OUTLINE_MM))  # type: ignore[arg-type]


def test_each_joints_number_stands_at_its_place_on_the_outline() -> None:
    bare = _outline(replace(MARKED, marks=[]))
    width, height = bare.size
    at_edge = _difference(bare, _outline(replace(MARKED, marks=MARKED.marks[:1]))).getbbox()
    on_face = _difference(bare, _outline(replace(MARKED, marks=MARKED.marks[1:]))).getbbox()
    assert at_edge is not None
    assert on_face is not None
    assert at_edge[2] < width / 3, "7 stands at the left edge, W1"
    assert height / 3 < (at_edge[1] + at_edge[3]) / 2 < 2 * height / 3
    assert width / 3 < (on_face[0] + on_face[2]) / 2 < 2 * width / 3, "12 stands in the middle of the length"
    assert on_face[3] < height / 2, "and nearer to L2, which is above"


@pytest.mark.parametrize(("front", "axis", "sign"), [("L1", 1, 1), ("L2", 1, -1), ("W1", 0, -1), ("W2", 0, 1)])
def test_the_arrow_points_to_the_front(front: str, axis: int, sign: int) -> None:
    outline = _outline(replace(MARKED, marks=[], edges=(), front=front))
    ink = ImageChops.invert(outline.convert("L")).getbbox()
    assert ink is not None
    shift = [(ink[i] + ink[i + 2]) / 2 - outline.size[i] / 2 for i in (0, 1)]
    assert shift[axis] * sign > 10, "what is drawn reaches farther on the side of the arrow"
    assert abs(shift[1 - axis]) < 5


def test_two_numbers_at_one_place_stand_beside_each_other() -> None:
    same = JointMark(number=3, side="A", along_mm=350, across_mm=250)
    both = _outline(replace(MARKED, marks=[same, replace(same, number=4)]))
    one = _outline(replace(MARKED, marks=[same]))
    assert both.convert("L").histogram()[0] > one.convert("L").histogram()[0] * 1.02


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_no_number_of_a_designed_part_covers_another_or_leaves_the_outline(ordered: CabinetOrder) -> None:
    cabinet = design_cabinet(ordered, STANDARD)
    for part in cabinet.parts:
        marks = _marks(cabinet, part)
        label = replace(PART, length_mm=part.length_mm, width_mm=part.width_mm, marks=marks, front="L1")
        width, height, placed = lay_out_marks(label, ROOM_MM)
        assert len(placed) == len(marks), f"{part.id}: a number is not on the label"
        boxes = [(spot.x - 0.4, spot.y - 0.2, spot.x + spot.wide, spot.y + spot.high + 0.1) for _, spot in placed]
        for left, top, right, bottom in boxes:
            assert 0 < left < right < width <= ROOM_MM[0] + 1e-6
            assert 0 < top < bottom < height <= ROOM_MM[1] + 1e-6
        for one, other in combinations(boxes, 2):
            beside = one[2] < other[0] or other[2] < one[0] or one[3] < other[1] or other[3] < one[1]
            assert beside, f"{part.id}: {one} covers {other}"


ROOM_MM = (29.1, 20.1)


@pytest.mark.parametrize("dpi", [203, 300])
@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_all_ink_inside_an_outline_is_that_of_one_number_in_its_own_place(ordered: CabinetOrder, dpi: int) -> None:
    cabinet = design_cabinet(ordered, STANDARD)
    for part in cabinet.parts:
        label = replace(PART, length_mm=part.length_mm, width_mm=part.width_mm, edges=part.edges, front="L1")
        label = replace(label, marks=_marks(cabinet, part))
        width, height, placed = lay_out_marks(label, ROOM_MM)
        left, top = (OUTLINE_MM[0] + OUTLINE_MM[2] - width) / 2, (OUTLINE_MM[1] + OUTLINE_MM[3] - height) / 2
        ink = ImageChops.invert(drawn(label, dpi).convert("L"))
        for mark, spot in placed:
            x, y = left + spot.x, top + spot.y
            own = _dots((x - 0.4, y - 0.2, x + spot.wide, y + spot.high + 0.1), dpi)
            own = (own[0] - 1, own[1] - 1, own[2] + 2, own[3] + 2)
            assert ink.crop(own).getbbox() is not None, f"{part.id}: {mark.number} is not drawn, or is under another"
            ink.paste(0, own)
        inside = _dots((left + 0.7, top + 0.7, left + width - 0.7, top + height - 0.7), dpi)
        assert ink.crop(inside).getbbox() is None, f"{part.id}: a number runs out of its place"


def _marks(cabinet: Cabinet, part: Part) -> list[JointMark]:
    return [
        JointMark(number=each.number, side=each.side, along_mm=each.along_mm, across_mm=each.across_mm)
        for each in cabinet.marks(part)
    ]


def _dots(mm: tuple[float, float, float, float], dpi: int) -> tuple[int, int, int, int]:
    left, top, right, bottom = (round(each * dpi / 25.4) for each in mm)
    return left, top, right, bottom


def test_where_not_all_numbers_find_room_those_that_do_are_drawn() -> None:
    many = [JointMark(number=number, side="A", along_mm=350, across_mm=250) for number in range(10, 70)]
    _, _, placed = lay_out_marks(replace(MARKED, marks=many), ROOM_MM)
    assert 10 <= len(placed) < len(many)


@pytest.mark.parametrize("dpi", [203, 300])
def test_each_number_of_a_crowded_end_can_be_read_alone_on_the_drawn_label(dpi: int) -> None:
    """The end of a pantry cabinet carries the most joints; taking one number away changes only its own place."""
    cabinet = design_cabinet(order("tall", 600, 2134, 600, "pantry", "right"), STANDARD)
    part = cabinet.part("Right end")
    marks = _marks(cabinet, part)
    assert len(marks) >= 9
    label = replace(PART, length_mm=part.length_mm, width_mm=part.width_mm, marks=marks, front="L1")
    last = marks[-1]  # the numbers are set in their order, so taking the last away moves no other
    whole, without = _outline(label, dpi), _outline(replace(label, marks=[m for m in marks if m is not last]), dpi)
    changed = _difference(whole, without).getbbox()
    assert changed is not None
    assert changed[2] - changed[0] <= 5.5 * dpi / 25.4
    assert changed[3] - changed[1] <= 4.5 * dpi / 25.4


@pytest.mark.parametrize("dpi", DPIS)
def test_the_bars_of_an_sscc_are_as_large_as_gs1_wants_on_logistic_units(dpi: int) -> None:
    """GS1 General Specifications 5.12, symbol specification table 5: X at least 0.495 mm, height at least 31.75 mm."""
    boxed, _stock = SETUP.draw(replace(BOX, sscc="106141412345678908"), dpi)
    (bars,) = [symbol for symbol in boxed.symbols if symbol.kind == "gs1-128"]
    modules = len(gs1_modules_of("106141412345678908")) + 20
    assert bars.width_mm / modules >= 0.495
    assert bars.height_mm >= 31.75
