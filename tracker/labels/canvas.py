"""A label being drawn: places in mm, dots inside, one bit a dot."""

from itertools import pairwise
from math import hypot

from PIL import Image, ImageDraw

from tracker.labels import symbols
from tracker.labels.drawn import Drawn, Symbol, SymbolKind
from tracker.labels.lettering import Hand, Place, write
from tracker.labels.qr import draw_qr
from tracker.labels.symbols import MM_PER_INCH

Point = tuple[float, float]
Size = tuple[float, float]


class Canvas:
    """A white label of a size in mm; it remembers the symbols that it carries and the letters that it lacked."""

    def __init__(self, size_mm: Size, dpi: int) -> None:
        self.dpi = dpi
        self._image = Image.new("1", (self.dots(size_mm[0]), self.dots(size_mm[1])), 1)
        self._draw = ImageDraw.Draw(self._image)
        self._symbols: list[Symbol] = []
        self._lacking: dict[str, None] = {}

    def drawn(self) -> Drawn:
        """Return the finished label."""
        return Drawn(image=self._image, dpi=self.dpi, symbols=tuple(self._symbols), lacking="".join(self._lacking))

    def dots(self, mm: float) -> int:
        return round(mm * self.dpi / MM_PER_INCH)

    def write(self, text: str, at: Point, size: Size, hand: Hand) -> None:
        place = Place(self.dots(at[0]), self.dots(at[1]), self.dots(size[0]), self.dots(size[1]))
        lacking = write(self._image, text, place, dot_mm=MM_PER_INCH / self.dpi, hand=hand)
        self._lacking |= dict.fromkeys(lacking)

    def bars(self, text: str, at: Point, size: Size, *, gs1: bool = False) -> None:
        """Draw a linear symbol, its quiet zones in ``size``. Raises ValueError when it does not fit."""
        drawing = symbols.draw_gs1_128 if gs1 else symbols.draw_code128
        drawn = drawing(text, width_mm=size[0], height_mm=size[1], dpi=self.dpi)
        self._paste(drawn, at, "gs1-128" if gs1 else "code128", text)

    def qr(self, text: str, at: Point, side_mm: float) -> None:
        """Draw a QR code, its quiet zone in the side. Raises ValueError when it does not fit."""
        self._paste(draw_qr(text, side_mm=side_mm, dpi=self.dpi), at, "qr", text)

    def _paste(self, drawn: Image.Image, at: Point, kind: SymbolKind, text: str) -> None:
        left, top = self.dots(at[0]), self.dots(at[1])
        self._image.paste(drawn, (left, top))
        mm = MM_PER_INCH / self.dpi
        self._symbols.append(
            Symbol(
                kind=kind,
                text=text,
                left_mm=left * mm,
                top_mm=top * mm,
                width_mm=drawn.width * mm,
                height_mm=drawn.height * mm,
            )
        )

    def line(self, start: Point, end: Point, width_mm: float) -> None:
        ends = [(self.dots(x), self.dots(y)) for x, y in (start, end)]
        self._draw.line(ends, fill=0, width=max(1, self.dots(width_mm)))

    def arrow(self, start: Point, end: Point) -> None:
        self.line(start, end, 0.5)
        along = (end[0] - start[0], end[1] - start[1])
        length = hypot(*along)
        dx, dy = along[0] / length, along[1] / length
        for turn in (1, -1):
            wing = (end[0] - 1.3 * dx + turn * 0.9 * dy, end[1] - 1.3 * dy - turn * 0.9 * dx)
            self.line(end, wing, 0.5)

    def frame(self, at: Point, size: Size, width_mm: float) -> None:
        (left, top), (right, bottom) = at, (at[0] + size[0], at[1] + size[1])
        corners = [(left, top), (right, top), (right, bottom), (left, bottom), (left, top)]
        for start, end in pairwise(corners):
            self.line(start, end, width_mm)

    def block(self, at: Point, size: Size) -> None:
        """Fill a rectangle with ink."""
        left, top = self.dots(at[0]), self.dots(at[1])
        self._draw.rectangle((left, top, left + self.dots(size[0]), top + self.dots(size[1])), fill=0)
