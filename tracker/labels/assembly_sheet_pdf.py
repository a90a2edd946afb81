"""The sheet in the carton as a PDF: parts, bag, a drawing of all, the steps, a code to report what is wrong.

Sizes in mm, letters in points.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import Any, BinaryIO, Final, Literal

from fpdf import FPDF
from fpdf.enums import MethodReturnValue, XPos, YPos

from tracker.labels.assembly_sheet import HOW_TO_READ, STEP_FRAME, Sheet, symbol_of
from tracker.labels.drawing_pdf import POINTS_PER_MM, draw
from tracker.labels.tongues import IN_ENGLISH
from tracker.shop.cabinets.drawing.shapes import Drawing
from tracker.shop.cabinets.guide.values import Step
from tracker.shop.cabinets.wording import item_words
from tracker.shop.lengths import Units
from tracker.shop.saying import Tongue, join, say, say_many, spoken

_FONTS: Final = Path(__file__).parent / "fonts"
CAUTION: Final = say("CAUTION")
_MARGIN: Final = 12.0
_FOOT: Final = 9.0
_CODE_MM: Final = 34.0
_ASIDE: Final = 20.0  # the words beneath the code are wider than it
_GAP: Final = 2.0
_LEAST_BAG: Final = 26.0  # a heading does not stand alone at the foot of a page


class Paper(StrEnum):
    """The paper that the shop's printer holds."""

    A4 = "a4"
    LETTER = "letter"


def write_sheet(sheet: Sheet, stream: BinaryIO, *, paper: Paper = Paper.A4, tongue: Tongue = IN_ENGLISH) -> int:
    """Write a sheet as a PDF with drawings that stay sharp at any size; return how many pages it has."""
    printer = _Printer(sheet, paper, tongue)
    printer.front()
    if len(sheet.guide.parts) > 1:
        printer.overview()
    for step, drawing in zip(sheet.guide.steps, sheet.drawings.steps, strict=True):
        printer.step(step, drawing)
    stream.write(printer.pdf.output())
    return printer.pdf.pages_count


class _Pages(FPDF):
    """Pages that say at their foot which cabinet they are about."""

    def __init__(self, paper: Paper, about: str, tongue: Tongue) -> None:
        super().__init__(unit="mm", format=paper.value)
        self._about, self._tongue = about, tongue
        self.set_margin(_MARGIN)
        self.set_auto_page_break(True, margin=_MARGIN + _FOOT)
        self.add_font("DejaVu", "", _FONTS / "DejaVuSans.ttf")
        self.add_font("DejaVu", "B", _FONTS / "DejaVuSans-Bold.ttf")
        self.set_lang(tongue.language)

    def footer(self) -> None:
        self.set_y(-_MARGIN - 4)
        self.set_font("DejaVu", "", 9)
        self.cell(self.epw / 2, 5, self._about, align="L")
        number = say("page %(number)d", number=self.page_no())
        self.cell(self.epw / 2, 5, spoken(number, self._tongue), align="R")


@dataclass(frozen=True, slots=True)
class _Text:
    """A piece of text to be set: its size in points, bold or not, a caution or not; spaces in mm."""

    text: str
    points: float
    bold: bool = False
    caution: bool = False

    @property
    def style(self) -> Literal["", "B"]:
        return "B" if self.bold else ""

    @property
    def line(self) -> float:
        return self.points / POINTS_PER_MM * (1.3 if self.caution else 1.25)

    @property
    def before(self) -> float:
        return 0.8 if self.caution else 0.0

    @property
    def after(self) -> float:
        return 1.0 if self.caution else 0.8


class _Printer:
    """Sets a sheet on pages from the top down."""

    def __init__(self, sheet: Sheet, paper: Paper, tongue: Tongue) -> None:
        self.sheet, self.tongue = sheet, tongue
        about = say("Cabinet %(name)s, job %(job)s", name=sheet.cabinet, job=sheet.job)
        self.pdf = _Pages(paper, self._said(about), tongue)
        self.pdf.set_title(self._said(say("Cabinet %(name)s: how it goes together", name=sheet.cabinet)))
        self.pdf.add_page()

    def _said(self, text: str) -> str:
        return spoken(text, self.tongue)

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
        draw(pdf, symbol_of(sheet.report_link), (pdf.w - _MARGIN - _CODE_MM, _MARGIN), _CODE_MM, self.tongue)
        self._text(say("Cabinet %(name)s", name=sheet.cabinet), 26, left, bold=True)
        where = [say("Job %(job)s", job=sheet.job)]
        if sheet.boxes:
            where.append(say_many("Box %(names)s", "Boxes %(names)s", len(sheet.boxes), names=", ".join(sheet.boxes)))
        self._text(join(where, between="   "), 13, left)
        self._text(sheet.weight, 13, left)
        if sheet.note:
            self._text(sheet.note, 11, left)
        self._ask_for_reports(max(pdf.get_y(), _MARGIN + _CODE_MM))

    def _ask_for_reports(self, below: float) -> None:
        pdf = self.pdf
        pdf.set_xy(pdf.w - _MARGIN - _CODE_MM - _ASIDE, below)
        lines = (
            say("A part is missing or damaged?"),
            say("Scan this, or report it with"),
            self.sheet.report_code,
        )
        pdf.set_font("DejaVu", "", 8)
        words = "\n".join(map(self._said, lines))
        pdf.multi_cell(_CODE_MM + _ASIDE, 3.8, words, align="R", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        pdf.ln(2)

    def _how_to_read(self) -> None:
        self._section(say("Before you start"))
        self._text(HOW_TO_READ, 11, self.pdf.epw)

    def _parts(self) -> None:
        self._section(say("The parts"))
        sheet, in_boxes = self.sheet, len(self.sheet.boxes) > 1
        size = 35 if sheet.units is Units.MM else 47
        widths = [9.0, 37.0, 40.0 if in_boxes else 46.0, 16.0, size, 10.0]
        heads = ["", say("Name on the label"), say("What it is"), say("How many")]
        heads += [say("Size in %(unit)s", unit=sheet.guide.size_unit), sheet.mass_units, say("Numbers")]
        if in_boxes:
            widths.append(22.0)
            heads.insert(-1, say("Box"))
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
        self._section(say("In the bag"))
        cells = [(str(item.quantity), item_words(item.item)) for item in self.sheet.guide.bag]
        cells += [("", "")] * (len(cells) % 2)
        rows = [(*one, *other) for one, other in zip(cells[::2], cells[1::2], strict=True)]
        self._table((20, 72, 20, 72), (say("How many"), say("Item")) * 2, rows)

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
            for row in (heads, *rows):
                table.row([self._said(text) for text in row])
        pdf.ln(1)

    # ------------------------------------------------------------------ drawings
    def overview(self) -> None:
        drawing = self.sheet.drawings.overview
        needed = 16 + drawing.height * self.pdf.epw / drawing.width + 5.2 * -(-len(self.sheet.guide.parts) // 3)
        if self.pdf.get_y() + needed > self.pdf.h - _MARGIN - _FOOT:
            self.pdf.add_page()
        self._section(say("All parts, apart"))
        draw(self.pdf, drawing, (_MARGIN, self.pdf.get_y() + 2), self.pdf.epw, self.tongue)
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
                f"**{row.letter}**  {self._said(row.name)}{many}",
                markdown=True,
                new_x=XPos.LMARGIN if end else XPos.RIGHT,
                new_y=YPos.NEXT if end else YPos.TOP,
            )

    def step(self, step: Step, drawing: Drawing) -> None:
        """Set one step: its words at the left, its drawing large at the right, all of it on one page."""
        pdf = self.pdf
        column, words = pdf.epw - STEP_FRAME[0] - 3, self._step_words(step)
        if (step.number == 1 and len(self.sheet.guide.steps) > 1) or not self._has_room(words, column):
            pdf.add_page()
        top = pdf.get_y()
        pdf.set_line_width(0.6)
        pdf.line(_MARGIN, top, pdf.w - _MARGIN, top)
        draw(pdf, drawing, (pdf.w - _MARGIN - STEP_FRAME[0], top + 1.5), STEP_FRAME[0], self.tongue)
        pdf.set_xy(_MARGIN, top + 2)
        for text in words:
            self._set(text, column)
        pdf.set_y(max(top + STEP_FRAME[1] + _GAP, pdf.get_y() + 2))

    def _has_room(self, words: Sequence[_Text], column: float) -> bool:
        """Whether a step fits on what is left of the page; its words are only measured where little is left."""
        room = self.pdf.h - _MARGIN - _FOOT - self.pdf.get_y()
        if room > 2 * STEP_FRAME[1]:
            return True
        return room >= max(STEP_FRAME[1] + _GAP, 4 + sum(self._height(text, column) for text in words))

    def _step_words(self, step: Step) -> list[_Text]:
        return [
            _Text(str(step.number), 22, bold=True),
            *([_Text(step.unit, 9.5)] if step.unit else ()),
            _Text(step.title, 12, bold=True),
            *(_Text(sentence, 10) for sentence in step.sentences),
            *(_Text(self.sheet.counted(item), 9.5, bold=True) for item in step.items),
            *(_Text(caution, 9, caution=True) for caution in step.cautions),
        ]

    # ------------------------------------------------------------------ pieces of text
    def _section(self, title: str) -> None:
        self.pdf.ln(1.5)
        self._text(title, 14, self.pdf.epw, bold=True)

    def _text(self, text: str, points: float, width: float, *, bold: bool = False) -> None:
        self._set(_Text(text, points, bold=bold), width)

    def _caution(self, text: str, width: float, points: float) -> None:
        self._set(_Text(text, points, caution=True), width)

    def _set(self, text: _Text, width: float) -> None:
        """Set a text from where the pen is down; a caution in a frame that begins with the word."""
        self.pdf.ln(text.before)
        self.pdf.set_font("DejaVu", text.style, text.points)
        self.pdf.set_line_width(0.7)
        self.pdf.multi_cell(width, **self._how(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.pdf.ln(text.after)

    def _height(self, text: _Text, width: float) -> float:
        self.pdf.set_font("DejaVu", text.style, text.points)
        height: Any = self.pdf.multi_cell(width, **self._how(text), dry_run=True, output=MethodReturnValue.HEIGHT)
        return text.before + float(height) + text.after

    def _how(self, text: _Text) -> dict[str, Any]:
        said = self._said(text.text)
        if not text.caution:
            return {"h": text.line, "text": said, "align": "L"}
        said = f"**{self._said(CAUTION)}** {said}"
        return {"h": text.line, "text": said, "align": "L", "border": 1, "markdown": True, "padding": 1}
