"""A drawing on a page of a PDF, with lines that stay sharp at any size."""

from typing import Final

from fpdf import FPDF

from tracker.shop.cabinets.drawing.shapes import Area, Dot, Drawing, Frame, Label, Line
from tracker.shop.saying import Tongue, spoken

POINTS_PER_MM: Final = 72 / 25.4


def draw(pdf: FPDF, drawing: Drawing, at: tuple[float, float], width: float, tongue: Tongue) -> None:
    """Draw a drawing with its top left corner at a place, as wide as asked, all in mm."""
    scale = width / drawing.width
    pen = _Pen(pdf, at, scale, tongue)
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
    def __init__(self, pdf: FPDF, at: tuple[float, float], scale: float, tongue: Tongue) -> None:
        self.pdf, self.scale, self.tongue = pdf, scale, tongue
        self.x, self.y = at

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
        pdf.set_font("DejaVu", "B", label.size * self.scale * POINTS_PER_MM)
        text = spoken(label.text, self.tongue)
        pdf.text(x - pdf.get_string_width(text) / 2, y + label.size * self.scale * 0.36, text)
