"""The sheet that lies in the carton, as a PDF: parts, bag, a drawing of all, the steps, a code to report what is wrong.

Black, white and grey; nothing on it depends on colour. Sizes in mm, letters in points.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, BinaryIO, Final

import zxingcpp
from fpdf import FPDF
from fpdf.enums import XPos, YPos

from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.drawing import Area, Dot, Drawing, Drawings, Frame, Label, Line, Shape, drawings_of
from tracker.shop.cabinets.guide import LIFTERS, Guide, PartRow, Step, guide_of
from tracker.shop.cabinets.joints import Item
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.written import mass_text

_FONTS: Final = Path(__file__).parent / "fonts"
_POINTS_PER_MM: Final = 72 / 25.4
STEP_FRAME: Final = (118.0, 80.0)
OVERVIEW_FRAME: Final = (186.0, 185.0)
LONGEST_LINK: Final = 500


class Paper(StrEnum):
    """The paper that the shop's printer holds."""

    A4 = "a4"
    LETTER = "letter"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What one carton's sheet says; nothing on it names a customer.

    ``box_of`` names the box of each part id, where it is known. ``report_link`` stands in the code to scan,
    ``report_code`` as text below it. Raises InvalidInputError when a text is missing, the link is too long for a code,
    or there is not one drawing for each step.
    """

    job: str
    cabinet: str
    boxes: tuple[str, ...]
    box_of: Mapping[str, str]
    note: str
    guide: Guide
    drawings: Drawings
    report_code: str
    report_link: str

    def __post_init__(self) -> None:
        texts = {
            "job": self.job,
            "cabinet": self.cabinet,
            "report_code": self.report_code,
            "report_link": self.report_link,
        }
        faults = [
            Fault(where={"field": name}, what="wanted: a text") for name, text in texts.items() if not text.strip()
        ]
        if len(self.report_link) > LONGEST_LINK:
            faults.append(Fault(where={"field": "report_link"}, what=f"wanted: at most {LONGEST_LINK} characters"))
        if len(self.drawings.steps) != len(self.guide.steps):
            faults.append(Fault(where={"field": "drawings"}, what="wanted: one drawing for each step"))
        if faults:
            raise InvalidInputError("The sheet cannot be made.", faults)

    @property
    def units(self) -> Units:
        """Those in which the cabinet was ordered."""
        return self.guide.units

    @property
    def mass_units(self) -> str:
        return "kg" if self.units is Units.MM else "lb"

    @property
    def lifters(self) -> str:
        return LIFTERS[self.guide.lifted_by]

    def mass_of(self, row: PartRow) -> str:
        """Return the mass of one of these parts, a number in the sheet's units."""
        return mass_text(row.mass_kg, self.units, digits=1).partition(" ")[0]

    def boxes_of(self, row: PartRow) -> str:
        """Return the names of the boxes in which these parts lie; none where one box holds all."""
        if len(self.boxes) < 2:
            return ""
        found = {self.box_of[own] for own in row.ids if own in self.box_of}
        return ", ".join(name for name in self.boxes if name in found)


def sheet_of(
    cabinet: Cabinet,
    *,
    job: str,
    name: str,
    boxes: Sequence[str],
    box_of: Mapping[str, str] | None = None,
    one_person_kg: float,
    report_code: str,
    report_link: str,
) -> Sheet:
    """Return the sheet of a designed cabinet that the job calls ``name``."""
    guide = guide_of(cabinet, one_person_kg=one_person_kg)
    return Sheet(
        job=job,
        cabinet=name,
        boxes=tuple(boxes),
        box_of=box_of or {},
        note=cabinet.order.note,
        guide=guide,
        drawings=drawings_of(cabinet, guide, step=STEP_FRAME, overview=OVERVIEW_FRAME),
        report_code=report_code,
        report_link=report_link,
    )


def pictures_of(sheet: Sheet) -> tuple[Drawing, ...]:
    """Return what the page shows: all parts apart, one drawing a step, and last the code to scan."""
    return (sheet.drawings.overview, *sheet.drawings.steps, symbol_of(sheet.report_link))


def symbol_of(link: str) -> Drawing:
    """Return the code to scan, as a drawing one unit a module, its quiet zone of four modules around it."""
    rows = _modules(link)
    shapes: list[Shape] = []
    for y, row in enumerate(rows):
        x = 0
        while x < len(row):
            end = x
            while end < len(row) and not row[end]:
                end += 1
            if end > x:
                shapes.append(Area(points=((x, y), (end, y), (end, y + 1), (x, y + 1)), tone=0.0))
            x = end + 1
    return Drawing(width=len(rows[0]), height=len(rows), title=f"Code to scan: {link}", shapes=tuple(shapes))


def _modules(link: str) -> list[list[int]]:
    """The code's pixels, one a module: 0 is black."""
    image: Any = zxingcpp.create_barcode(link, zxingcpp.BarcodeFormat.QRCode, ec_level="M").to_image(1, False, True)
    view: Any = memoryview(image)
    rows: list[list[int]] = view.tolist()
    return rows


def write_sheet(sheet: Sheet, stream: BinaryIO, *, paper: Paper = Paper.A4) -> int:
    """Write a sheet as a PDF with drawings that stay sharp at any size; return how many pages it has."""
    printer = _Printer(sheet, paper)
    printer.front()
    if len(sheet.guide.parts) > 1:
        printer.overview()
    for step, drawing in zip(sheet.guide.steps, sheet.drawings.steps, strict=True):
        printer.step(step, drawing)
    stream.write(printer.pdf.output())
    return printer.pdf.pages_count


_MARGIN: Final = 12.0
_FOOT: Final = 9.0
_CODE_MM: Final = 34.0
_GAP: Final = 2.0
_LEAST_BAG: Final = 26.0  # a heading does not stand alone at the foot of a page


class _Pages(FPDF):
    """Pages that say at their foot which cabinet they are about."""

    def __init__(self, paper: Paper, about: str) -> None:
        super().__init__(unit="mm", format=paper.value)
        self._about = about
        self.set_margin(_MARGIN)
        self.set_auto_page_break(True, margin=_MARGIN + _FOOT)
        self.add_font("DejaVu", "", _FONTS / "DejaVuSans.ttf")
        self.add_font("DejaVu", "B", _FONTS / "DejaVuSans-Bold.ttf")
        self.set_lang("en")

    def footer(self) -> None:
        self.set_y(-_MARGIN - 4)
        self.set_font("DejaVu", "", 9)
        self.cell(self.epw / 2, 5, self._about, align="L")
        self.cell(self.epw / 2, 5, f"page {self.page_no()}", align="R")


class _Printer:
    """Sets a sheet on pages from the top down."""

    def __init__(self, sheet: Sheet, paper: Paper) -> None:
        self.sheet = sheet
        self.pdf = _Pages(paper, f"Cabinet {sheet.cabinet}, job {sheet.job}")
        self.pdf.set_title(f"Cabinet {sheet.cabinet}: how it goes together")
        self.pdf.add_page()

    # ------------------------------------------------------------------ the first page
    def front(self) -> None:
        self._heading()
        for caution in self.sheet.guide.cautions:
            self._caution(caution, self.pdf.epw, 11)
        self._how_to_read()
        self._parts()
        self._bag()

    def _heading(self) -> None:
        pdf, sheet = self.pdf, self.sheet
        left = pdf.epw - _CODE_MM - 6
        draw(pdf, symbol_of(sheet.report_link), pdf.w - _MARGIN - _CODE_MM, _MARGIN, _CODE_MM)
        self._text(f"Cabinet {sheet.cabinet}", 26, left, bold=True)
        boxes = ", ".join(sheet.boxes)
        word = "Boxes" if len(sheet.boxes) > 1 else "Box"
        self._text(f"Job {sheet.job}" + (f"   {word} {boxes}" if boxes else ""), 13, left)
        guide = sheet.guide
        self._text(f"{guide.mass} put together, {sheet.lifters}", 13, left)
        if sheet.note:
            self._text(sheet.note, 11, left)
        pdf.set_xy(pdf.w - _MARGIN - _CODE_MM - 12, max(pdf.get_y(), _MARGIN + _CODE_MM))
        words = f"A part is missing or damaged?\nScan this, or report it with\n{sheet.report_code}"
        pdf.set_font("DejaVu", "", 8)
        pdf.multi_cell(_CODE_MM + 12, 3.8, words, align="R", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        pdf.ln(2)

    def _how_to_read(self) -> None:
        self._section("Before you start")
        self._text(
            "Each panel has a label with an arrow and numbers. The arrow points to the front of the cabinet. "
            "Where two panels meet, both have the same number. In the drawings a number in a broken frame is on a side "
            "that you do not see. Nothing is glued. Lay out all parts and count them first.",
            11,
            self.pdf.epw,
        )

    def _parts(self) -> None:
        self._section("The parts")
        sheet, in_boxes = self.sheet, len(self.sheet.boxes) > 1
        size = 35 if sheet.units is Units.MM else 47
        widths = [9.0, 37.0, 40.0 if in_boxes else 46.0, 13.0, size, 11.0]
        heads = ["", "Name on the label", "What it is", "How many", f"Size in {sheet.guide.size_unit}"]
        heads += [sheet.mass_units, "Numbers"]
        if in_boxes:
            widths.append(24.0)
            heads.insert(-1, "Box")
        widths.append(self.pdf.epw - sum(widths))
        rows = [
            (
                row.letter,
                row.name,
                row.plain,
                str(row.count),
                row.size,
                sheet.mass_of(row),
                *((sheet.boxes_of(row),) if in_boxes else ()),
                " ".join(map(str, row.numbers)),
            )
            for row in sheet.guide.parts
        ]
        self._table(widths, heads, rows)

    def _bag(self) -> None:
        if not self.sheet.guide.bag:
            return
        if self.pdf.get_y() + _LEAST_BAG > self.pdf.h - _MARGIN - _FOOT:
            self.pdf.add_page()
        self._section("In the bag")
        cells = [(str(item.quantity), item.item) for item in self.sheet.guide.bag]
        cells += [("", "")] * (len(cells) % 2)
        rows = [(*one, *other) for one, other in zip(cells[::2], cells[1::2], strict=True)]
        self._table((20, 72, 20, 72), ("How many", "Item", "How many", "Item"), rows)

    def _table(self, widths: Sequence[float], heads: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        pdf = self.pdf
        pdf.set_font("DejaVu", "", 9)
        pdf.set_line_width(0.2)
        with pdf.table(
            width=sum(widths),
            col_widths=tuple(widths),
            align="LEFT",
            text_align="LEFT",
            line_height=4.4,
            padding=0.45,
            borders_layout="HORIZONTAL_LINES",
        ) as table:
            table.row(heads)
            for row in rows:
                table.row(row)
        pdf.ln(1)

    # ------------------------------------------------------------------ drawings
    def overview(self) -> None:
        drawing = self.sheet.drawings.overview
        needed = 16 + drawing.height * self.pdf.epw / drawing.width + 5.2 * -(-len(self.sheet.guide.parts) // 3)
        if self.pdf.get_y() + needed > self.pdf.h - _MARGIN - _FOOT:
            self.pdf.add_page()
        self._section("All parts, apart")
        draw(self.pdf, drawing, _MARGIN, self.pdf.get_y() + 2, self.pdf.epw)
        self.pdf.set_y(self.pdf.get_y() + 4 + drawing.height * self.pdf.epw / drawing.width)
        self._key()

    def _key(self) -> None:
        """Say which letter is which part, beneath the picture."""
        pdf = self.pdf
        pdf.set_font("DejaVu", "", 9.5)
        column = pdf.epw / 3
        rows = self.sheet.guide.parts
        for index, row in enumerate(rows):
            many = f" ({row.count})" if row.count > 1 else ""
            end = index % 3 == 2 or index == len(rows) - 1
            pdf.cell(
                column,
                5.2,
                f"**{row.letter}**  {row.name}{many}",
                markdown=True,
                new_x=XPos.LMARGIN if end else XPos.RIGHT,
                new_y=YPos.NEXT if end else YPos.TOP,
            )

    def step(self, step: Step, drawing: Drawing) -> None:
        """Set one step: its words at the left, its drawing large at the right."""
        pdf = self.pdf
        height = STEP_FRAME[1] + _GAP
        if (step.number == 1 and len(self.sheet.guide.steps) > 1) or pdf.get_y() + height > pdf.h - _MARGIN - _FOOT:
            pdf.add_page()
        top = pdf.get_y()
        pdf.set_line_width(0.6)
        pdf.line(_MARGIN, top, pdf.w - _MARGIN, top)
        column = pdf.epw - STEP_FRAME[0] - 3
        draw(pdf, drawing, pdf.w - _MARGIN - STEP_FRAME[0], top + 1.5, STEP_FRAME[0])
        pdf.set_xy(_MARGIN, top + 2)
        self._step_words(step, column)
        pdf.set_y(max(top + height, pdf.get_y() + 2))

    def _step_words(self, step: Step, column: float) -> None:
        self._text(f"{step.number}", 22, column, bold=True)
        if step.unit:
            self._text(step.unit, 9.5, column)
        self._text(step.title, 12, column, bold=True)
        for sentence in step.sentences:
            self._text(sentence, 10, column)
        for item in step.items:
            self._text(_counted(item), 9.5, column, bold=True)
        for caution in step.cautions:
            self._caution(caution, column, 9)

    # ------------------------------------------------------------------ pieces of text
    def _section(self, title: str) -> None:
        self.pdf.ln(1.5)
        self._text(title, 14, self.pdf.epw, bold=True)

    def _text(self, text: str, points: float, width: float, *, bold: bool = False) -> None:
        self.pdf.set_font("DejaVu", "B" if bold else "", points)
        line = points / _POINTS_PER_MM * 1.25
        self.pdf.multi_cell(width, line, text, align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.pdf.ln(0.8)

    def _caution(self, text: str, width: float, points: float) -> None:
        """A frame that begins with the word."""
        self.pdf.set_font("DejaVu", "", points)
        self.pdf.set_line_width(0.7)
        line = points / _POINTS_PER_MM * 1.3
        self.pdf.ln(0.8)
        self.pdf.multi_cell(
            width,
            line,
            f"**CAUTION** {text}",
            border=1,
            align="L",
            markdown=True,
            padding=1,
            new_x=XPos.LMARGIN,
            new_y=YPos.NEXT,
        )
        self.pdf.ln(1)


def _counted(item: Item) -> str:
    return f"{item.quantity} × {item.item}"


def draw(pdf: FPDF, drawing: Drawing, x: float, y: float, width: float) -> None:
    """Draw a drawing with its top left corner at x, y, as wide as asked, all in mm."""
    scale = width / drawing.width
    pen = _Pen(pdf, x, y, scale)
    for shape in drawing.shapes:
        match shape:
            case Area():
                pen.area(shape)
            case Line():
                pen.line(shape)
            case Label():
                pen.label(shape)
            case Dot():
                pen.dot(shape)
    pdf.set_dash_pattern()
    pdf.set_draw_color(0)
    pdf.set_text_color(0)


class _Pen:
    def __init__(self, pdf: FPDF, x: float, y: float, scale: float) -> None:
        self.pdf, self.x, self.y, self.scale = pdf, x, y, scale

    def _at(self, point: tuple[float, float]) -> tuple[float, float]:
        return (self.x + point[0] * self.scale, self.y + point[1] * self.scale)

    def area(self, area: Area) -> None:
        """Fill an area and go round it in its own grey: else hair lines show where areas of one side meet."""
        grey = round(area.tone * 255)
        self.pdf.set_fill_color(grey)
        self.pdf.set_draw_color(grey)
        self.pdf.set_line_width(0.1)
        self.pdf.set_dash_pattern()
        self.pdf.polygon([self._at(point) for point in area.points], style="DF")

    def line(self, line: Line) -> None:
        pdf = self.pdf
        pdf.set_line_width(line.weight * self.scale)
        pdf.set_draw_color(0)
        pdf.set_dash_pattern(*((1.6, 1.1) if line.dashed else (0, 0)))
        pdf.line(*self._at(line.start), *self._at(line.end))

    def dot(self, dot: Dot) -> None:
        """Draw a hole: white ones open, black ones filled."""
        x, y = self._at(dot.at)
        self.pdf.set_dash_pattern()
        self.pdf.set_line_width(0.15 * self.scale)
        self.pdf.set_draw_color(0)
        self.pdf.set_fill_color(round(dot.tone * 255))
        self.pdf.circle(x, y, dot.radius * self.scale, style="DF")

    def label(self, label: Label) -> None:
        pdf = self.pdf
        (x, y), (wide, high) = self._at(label.at), label.half
        wide, high = wide * self.scale, high * self.scale
        pdf.set_dash_pattern()
        pdf.set_line_width(0.3 * self.scale)
        pdf.set_draw_color(0)
        if label.frame is Frame.DISC:
            pdf.set_fill_color(0)
            pdf.circle(x, y, wide, style="F")
        elif label.frame in (Frame.BOX, Frame.BEHIND):
            if label.frame is Frame.BEHIND:
                pdf.set_dash_pattern(0.9, 0.6)
            pdf.set_fill_color(255)
            pdf.rect(x - wide, y - high, 2 * wide, 2 * high, style="DF")
        else:
            pdf.set_fill_color(255)
            pdf.rect(x - wide, y - high, 2 * wide, 2 * high, style="F")
        pdf.set_text_color(255 if label.frame is Frame.DISC else 0)
        pdf.set_font("DejaVu", "B", label.size * self.scale * _POINTS_PER_MM)
        text = pdf.get_string_width(label.text)
        pdf.text(x - text / 2, y + label.size * self.scale * 0.36, label.text)
