"""What stands on a label, and where. Sizes in mm; one bit a dot.

Nothing here needs colour or a key to read: the code twice (bars and text), the words, and a small outline of the panel.
On the outline L1 is the long edge below, L2 the long edge above, W1 left and W2 right; a banded edge is a heavy line
with its name. A joint's number stands where the joint is: at an edge, or in a frame where another part meets the face.
An arrow points to the front of the cabinet; where the face itself is in front, words say so.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from math import hypot
from typing import Final

from PIL import Image, ImageDraw

from tracker.labels.lettering import Place, write
from tracker.labels.symbols import MM_PER_INCH, draw_code128
from tracker.shop.lifting import Handling

PART_LABEL_MM: Final = (100.0, 50.0)
BOX_LABEL_MM: Final = (100.0, 150.0)
CODE_LABEL_MM: Final = (100.0, 50.0)
_LIFTING: Final = {Handling.TWO_PERSONS: "LIFT WITH TWO PEOPLE", Handling.MACHINE: "LIFT BY MACHINE ONLY"}
_ARROW_MM: Final = 4.2
_NUMBER_MM: Final = 3.0  # the height of a joint's number
_EDGE_MM: Final = 0.9  # from a number to the outline
_APART_MM: Final = 0.9  # between two numbers, their frames in it
_ROUNDING_MM: Final = 1e-6
_GROWTH: Final = 1.1
_DIGIT_MM: Final = 1.8
LEAST_SHOWN_RATIO: Final = 0.16  # a narrow strip is drawn a little wider, so that its edges can still be told apart


@dataclass(frozen=True, slots=True, kw_only=True)
class JointMark:
    """A joint's number on a panel: on which side, and where in its length and width, in mm."""

    number: int
    side: str
    along_mm: float
    across_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLabel:
    """What the label of a part says. ``front`` is the side that looks to the front, empty when it is not known."""

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
    marks: Sequence[JointMark] = ()
    front: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardLabel:
    """What the label of a board says; ``pieces`` are the corner and the size of each part on it, in mm."""

    code: str
    job: str
    number: int
    of: int
    stock: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    pieces: Sequence[tuple[float, float, float, float]]


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
    handling: Handling


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

    def arrow(self, start: tuple[float, float], end: tuple[float, float]) -> None:
        self.line(start, end, 0.5)
        along = (end[0] - start[0], end[1] - start[1])
        length = hypot(*along)
        dx, dy = along[0] / length, along[1] / length
        for turn in (1, -1):
            wing = (end[0] - 1.3 * dx + turn * 0.9 * dy, end[1] - 1.3 * dy - turn * 0.9 * dx)
            self.line(end, wing, 0.5)

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
    if label.front or label.marks:
        _marked_outline(canvas, label, (61.5, 8), (37.5, 28.5))
    else:
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


def _marked_outline(canvas: Canvas, label: PartLabel, at: tuple[float, float], room: tuple[float, float]) -> None:
    """Draw a designed panel: its joints' numbers in their places and the arrow to the front, outside the outline."""
    inner = (room[0] - 2 * _ARROW_MM, room[1] - 2 * _ARROW_MM)
    width, height, spots = lay_out_marks(label, inner)
    left, top = at[0] + (room[0] - width) / 2, at[1] + (room[1] - height) / 2
    right, bottom = left + width, top + height
    sides = {
        "L1": ((left, bottom), (right, bottom)),
        "L2": ((left, top), (right, top)),
        "W1": ((left, top), (left, bottom)),
        "W2": ((right, top), (right, bottom)),
    }
    for edge, (start, end) in sides.items():
        canvas.line(start, end, 1.0 if edge in label.edges else 0.2)
    _front_arrow(canvas, label.front, (left, top, right, bottom))
    for mark, spot in spots:
        x, y = left + spot.x, top + spot.y
        canvas.write(str(mark.number), (x, y), (spot.wide, _NUMBER_MM), bold=True)
        if mark.side in ("A", "B"):
            _rectangle(canvas, (x - 0.4, y - 0.2), (spot.wide + 0.4, _NUMBER_MM + 0.3), 0.15)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """Where a number stands in an outline: its left upper corner from the outline's, and its width, in mm."""

    x: float
    y: float
    wide: float


Laid = list[tuple[JointMark, Spot]]


def lay_out_marks(label: PartLabel, room: tuple[float, float]) -> tuple[float, float, Laid]:
    """Return the width and height of a panel's outline and the places of its joints' numbers.

    An outline that is too narrow for its numbers is drawn wider than it is: that each can be read comes first. Where
    not even the whole room holds all, those that find no place are left out.
    """
    width, height = _shown(label.length_mm, label.width_mm, room)
    while True:
        spots = _spots(label, width, height)
        if len(spots) == len(label.marks) or (width >= room[0] and height >= room[1]):
            return width, height, spots
        width, height = min(width * _GROWTH, room[0]), min(height * _GROWTH, room[1])


def _spots(label: PartLabel, width: float, height: float) -> Laid:
    """Return a place near its joint for each number that finds one, none over another."""
    found: Laid = []
    for mark in sorted(label.marks, key=lambda mark: mark.side not in ("A", "B")):
        wide = _DIGIT_MM * len(str(mark.number)) + 0.4
        x = width * mark.along_mm / label.length_mm - wide / 2
        y = height * (1 - mark.across_mm / label.width_mm) - _NUMBER_MM / 2
        spot = _free_spot(Spot(x=x, y=y, wide=wide), [spot for _, spot in found], width, height)
        if spot is not None:
            found.append((mark, spot))
    return found


def _free_spot(wanted: Spot, taken: Sequence[Spot], width: float, height: float) -> Spot | None:
    """Return the place inside the outline nearest to the wanted one where no other number stands."""
    low, right, bottom = _EDGE_MM, width - wanted.wide - _EDGE_MM, height - _NUMBER_MM - _EDGE_MM
    if right < low or bottom < low:
        return None
    xs = {low, right, min(max(wanted.x, low), right)}
    xs |= {at for spot in taken for at in (spot.x - wanted.wide - _APART_MM, spot.x + spot.wide + _APART_MM)}
    ys = {low, bottom, min(max(wanted.y, low), bottom)}
    ys |= {at for spot in taken for at in (spot.y - _NUMBER_MM - _APART_MM, spot.y + _NUMBER_MM + _APART_MM)}
    places = [(x, y) for x in xs for y in ys if low <= x <= right and low <= y <= bottom]
    for x, y in sorted(places, key=lambda place: (hypot(place[0] - wanted.x, place[1] - wanted.y), place)):
        spot = Spot(x=x, y=y, wide=wanted.wide)
        if not any(_covers(spot, other) for other in taken):
            return spot
    return None


def _covers(one: Spot, other: Spot) -> bool:
    near = _APART_MM - _ROUNDING_MM
    return (
        one.x < other.x + other.wide + near
        and other.x < one.x + one.wide + near
        and abs(one.y - other.y) < _NUMBER_MM + near
    )


def _front_arrow(canvas: Canvas, front: str, outline: tuple[float, float, float, float]) -> None:
    """Draw an arrow from the outline to the front, or say that the face itself is in front."""
    left, top, right, bottom = outline
    middle = ((left + right) / 2, (top + bottom) / 2)
    starts = {
        "L1": ((middle[0], bottom + 0.8), (0.0, 1.0)),
        "L2": ((middle[0], top - 0.8), (0.0, -1.0)),
        "W1": ((left - 0.8, middle[1]), (-1.0, 0.0)),
        "W2": ((right + 0.8, middle[1]), (1.0, 0.0)),
    }
    if front not in starts:
        says = "this face to the front" if front == "A" else "this face to the back"
        canvas.write(says, (middle[0] - 16, bottom + 0.9), (32, _ARROW_MM - 1))
        return
    (x, y), (dx, dy) = starts[front]
    canvas.arrow((x, y), (x + dx * (_ARROW_MM - 1), y + dy * (_ARROW_MM - 1)))


def draw_board_label(label: BoardLabel, dpi: int) -> Image.Image:
    """Draw a board's label, 100 × 150 mm: what it is, and the parts where they come off it."""
    canvas = Canvas(BOX_LABEL_MM, dpi)
    canvas.write(f"board {label.number} of {label.of}", (4, 3), (92, 13), bold=True)
    canvas.write(label.job, (4, 17), (92, 10), bold=True)
    size = f"{_mm(label.length_mm)} × {_mm(label.width_mm)} × {_mm(label.thickness_mm)} mm"
    canvas.write(label.material, (4, 28), (92, 7))
    canvas.write(f"{size}, {len(label.pieces)} parts", (4, 36), (92, 6))
    scale = min(92 / label.length_mm, 56 / label.width_mm)
    left, top = 4.0, 45.0
    _rectangle(canvas, (left, top), (label.length_mm * scale, label.width_mm * scale), 0.5)
    for x, y, length, width in label.pieces:
        _rectangle(canvas, (left + x * scale, top + y * scale), (length * scale, width * scale), 0.2)
    canvas.symbol(label.code, (3, 109), (94, 28))
    canvas.write(label.code, (10, 139), (80, 8), bold=True)
    return canvas.image


def _rectangle(canvas: Canvas, at: tuple[float, float], size: tuple[float, float], width_mm: float) -> None:
    (left, top), (right, bottom) = at, (at[0] + size[0], at[1] + size[1])
    corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
    for start, end in pairwise(corners):
        canvas.line(start, end, width_mm)


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
    lifting = _LIFTING.get(label.handling)
    if lifting:
        canvas.bar((4, 95), (92, 9))
        canvas.write(lifting, (6, 96.2), (88, 7.5), bold=True, ink=1)
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
