"""What stands on a label, and where. Sizes in mm; one bit a dot.

Nothing here needs colour or a key to read: the code twice (bars and text), the words, and a small outline of the panel.
On the outline L1 is the long edge below (to the front), L2 the long edge above, W1 left and W2 right; a banded edge is
a heavy line with its name.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from PIL import Image, ImageDraw

from tracker.labels.lettering import Place, write
from tracker.labels.symbols import MM_PER_INCH, draw_code128

PART_LABEL_MM: Final = (100.0, 50.0)
BOX_LABEL_MM: Final = (100.0, 150.0)
CODE_LABEL_MM: Final = (100.0, 50.0)
TWO_PEOPLE_ABOVE_KG: Final = 23.0  # the load constant of the revised NIOSH lifting equation (1991)
LEAST_SHOWN_RATIO: Final = 0.16  # a narrow strip is drawn a little wider, so that its edges can still be told apart


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLabel:
    """What the label of a part says."""

    code: str
    job: str
    cabinet: str
    name: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    edges: Sequence[str]
    route: Sequence[str]
    box: str
    urgent: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxLabel:
    """What the label of a box says."""

    code: str
    job: str
    customer: str
    due: date
    name: str
    number: int
    of: int
    cabinets: Sequence[str]
    parts: int
    mass_kg: float


class Canvas:
    """A label being drawn: places in mm, dots inside."""

    def __init__(self, size_mm: tuple[float, float], dpi: int) -> None:
        self.dpi = dpi
        self.image = Image.new("1", (self.dots(size_mm[0]), self.dots(size_mm[1])), 1)
        self.draw = ImageDraw.Draw(self.image)
        self.draw.fontmode = "1"

    def dots(self, mm: float) -> int:
        return round(mm * self.dpi / MM_PER_INCH)

    def write(
        self,
        text: str,
        at: tuple[float, float],
        size: tuple[float, float],
        *,
        bold: bool = False,
        lines: int = 1,
        ink: int = 0,
    ) -> None:
        place = Place(self.dots(at[0]), self.dots(at[1]), self.dots(size[0]), self.dots(size[1]))
        write(self.draw, text, place, dot_mm=MM_PER_INCH / self.dpi, bold=bold, lines=lines, ink=ink)

    def symbol(self, code: str, at: tuple[float, float], size: tuple[float, float]) -> None:
        drawn = draw_code128(code, width_mm=size[0], height_mm=size[1], dpi=self.dpi)
        self.image.paste(drawn, (self.dots(at[0]), self.dots(at[1])))

    def line(self, start: tuple[float, float], end: tuple[float, float], width_mm: float) -> None:
        ends = [(self.dots(x), self.dots(y)) for x, y in (start, end)]
        self.draw.line(ends, fill=0, width=max(1, self.dots(width_mm)))

    def bar(self, at: tuple[float, float], size: tuple[float, float]) -> None:
        left, top = self.dots(at[0]), self.dots(at[1])
        self.draw.rectangle((left, top, left + self.dots(size[0]), top + self.dots(size[1])), fill=0)


def draw_part_label(label: PartLabel, dpi: int) -> Image.Image:
    """Draw a part's label, 100 × 50 mm."""
    canvas = Canvas(PART_LABEL_MM, dpi)
    canvas.write(f"cabinet {label.cabinet}", (3, 1.5), (56, 6), bold=True)
    canvas.write(label.job, (62, 1.5), (35, 6), bold=True)
    if label.urgent:
        canvas.bar((3, 8), (58, 4.5))
        canvas.write("URGENT REPLACEMENT", (4, 8.3), (56, 4.2), bold=True, ink=1)
        canvas.write(label.name, (3, 13), (58, 7), bold=True, lines=2)
    else:
        canvas.write(label.name, (3, 8), (58, 12), bold=True, lines=2)
    size = f"{_mm(label.length_mm)} × {_mm(label.width_mm)} × {_mm(label.thickness_mm)} mm"
    canvas.write(size, (3, 20.6), (58, 4.6))
    canvas.write(label.material, (3, 25.2), (58, 3.6))
    canvas.write(" › ".join(label.route), (3, 28.9), (58, 3.6))
    canvas.write(f"box {label.box}", (3, 32.5), (58, 4.6), bold=True)
    _outline(canvas, label, (65, 9.5), (30, 24))
    canvas.symbol(label.code, (2, 37.5), (72, 8.5))
    canvas.write(label.code, (7, 46.3), (60, 3.4))
    return canvas.image


def _outline(canvas: Canvas, label: PartLabel, at: tuple[float, float], room: tuple[float, float]) -> None:
    names = 3.2
    width, height = _shown(label.length_mm, label.width_mm, (room[0] - 2 * names, room[1] - 2 * names))
    left, top = at[0] + (room[0] - width) / 2, at[1] + (room[1] - height) / 2
    right, bottom = left + width, top + height
    sides = {
        "L1": ((left, bottom), (right, bottom), ((left + right) / 2 - 2, bottom + 0.6)),
        "L2": ((left, top), (right, top), ((left + right) / 2 - 2, top - names - 0.2)),
        "W1": ((left, top), (left, bottom), (left - names - 1.6, (top + bottom) / 2 - 1.6)),
        "W2": ((right, top), (right, bottom), (right + 0.9, (top + bottom) / 2 - 1.6)),
    }
    for edge, (start, end, beside) in sides.items():
        banded = edge in label.edges
        canvas.line(start, end, 1.0 if banded else 0.2)
        if banded:
            canvas.write(edge, beside, (5, 3), bold=True)


def _shown(length: float, width: float, room: tuple[float, float]) -> tuple[float, float]:
    scale = min(room[0] / length, room[1] / width)
    least = LEAST_SHOWN_RATIO * min(room)
    return max(length * scale, least), max(width * scale, least)


def draw_box_label(label: BoxLabel, dpi: int) -> Image.Image:
    """Draw a box's label, 100 × 150 mm."""
    canvas = Canvas(BOX_LABEL_MM, dpi)
    canvas.write(f"box {label.number} of {label.of}", (4, 3), (92, 15), bold=True)
    canvas.write(label.job, (4, 20), (92, 13), bold=True)
    canvas.write(label.customer, (4, 35), (92, 16), lines=2)
    canvas.line((4, 54), (96, 54), 0.5)
    cabinets = "cabinet" if len(label.cabinets) == 1 else "cabinets"
    canvas.write(f"{cabinets} {', '.join(label.cabinets)}", (4, 56), (92, 18), bold=True, lines=3)
    canvas.write(f"{label.parts} parts, planned {label.mass_kg:.1f} kg", (4, 77), (92, 7))
    canvas.write(f"due {label.due.strftime('%Y-%m-%d')}", (4, 86), (92, 6))
    if label.mass_kg > TWO_PEOPLE_ABOVE_KG:
        canvas.bar((4, 95), (92, 9))
        canvas.write("LIFT WITH TWO PEOPLE", (6, 96.2), (88, 7.5), bold=True, ink=1)
    canvas.symbol(label.code, (3, 109), (94, 28))
    canvas.write(label.code, (10, 139), (80, 8), bold=True)
    return canvas.image


def draw_code_label(code: str, title: str, subtitle: str, dpi: int) -> Image.Image:
    """Draw the label of a load, a station, a slot or a card, 100 × 50 mm."""
    canvas = Canvas(CODE_LABEL_MM, dpi)
    canvas.write(title, (4, 2), (92, 13), bold=True, lines=2)
    canvas.write(subtitle, (4, 16), (92, 6))
    canvas.symbol(code, (3, 25), (94, 16))
    canvas.write(code, (10, 42), (80, 6))
    return canvas.image


def _mm(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")
