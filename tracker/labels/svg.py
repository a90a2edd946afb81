"""A drawing as inline SVG: escaped, with a title, without script, and as short as it can be said."""

from collections.abc import Iterator, Sequence
from html import escape
from itertools import groupby
from typing import Any

from tracker.labels.tongues import IN_ENGLISH
from tracker.shop.cabinets.drawing.shapes import Area, Dot, Drawing, Frame, Label, Line, Shape
from tracker.shop.cabinets.solids import Point
from tracker.shop.saying import Tongue, spoken

_FONT = "DejaVu Sans, Verdana, sans-serif"


def svg_of(drawing: Drawing, tongue: Tongue = IN_ENGLISH) -> str:
    """Return a drawing as an SVG element that is as wide as its place, with a title for screen readers."""
    title = escape(spoken(drawing.title, tongue))
    body = "".join(_elements(drawing.shapes, tongue))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {drawing.width:g} {drawing.height:g}" role="img" '
        f'aria-label="{title}"><title>{title}</title>'
        f'<rect width="{drawing.width:g}" height="{drawing.height:g}" fill="#fff"/>'
        f'<g stroke-width=".1" stroke-linecap="round" font-family="{_FONT}" font-weight="700" text-anchor="middle">'
        f"{body}</g></svg>"
    )


def _elements(shapes: Sequence[Shape], tongue: Tongue) -> Iterator[str]:
    """Yield the elements in the order of painting; lines of one weight that follow each other are one path."""
    for kind, following in groupby(shapes, key=_kind):
        if kind is None:
            yield from (_element(shape, tongue) for shape in following)
            continue
        weight, dashed = kind
        path = "".join(f"M{_at(line.start)}L{_at(line.end)}" for line in following if isinstance(line, Line))
        dashes = ' stroke-dasharray="1.6 1.1"' if dashed else ""
        yield f'<path d="{path}" stroke="#000" stroke-width="{weight:g}"{dashes}/>'


def _kind(shape: Shape) -> tuple[float, bool] | None:
    return (shape.weight, shape.dashed) if isinstance(shape, Line) else None


def _at(point: Point) -> str:
    return f"{_short(point[0])} {_short(point[1])}"


def _short(value: float) -> str:
    """A tenth of a unit is finer than a line is wide."""
    return f"{value:.1f}".removesuffix(".0")


def _grey(tone: float) -> str:
    level = round(255 * min(1.0, max(0.0, tone)))
    return f"#{level:02x}{level:02x}{level:02x}"


def _element(shape: Any, tongue: Tongue) -> str:
    match shape:
        case Area():
            points = "L".join(map(_at, shape.points))
            grey = _grey(shape.tone)
            return f'<path d="M{points}Z" fill="{grey}" stroke="{grey}"/>'
        case Dot():
            x, y = map(_short, shape.at)
            return f'<circle cx="{x}" cy="{y}" r="{shape.radius:g}" fill="{_grey(shape.tone)}" stroke="#000"/>'
        case _:
            return _label(shape, spoken(shape.text, tongue))


def _label(label: Label, text: str) -> str:
    (x, y), (wide, high) = label.at, label.half
    ink = "#fff" if label.frame is Frame.DISC else "#000"
    around = f'<rect x="{x - wide:.2f}" y="{y - high:.2f}" width="{2 * wide:.2f}" height="{2 * high:.2f}" fill="#fff"/>'
    if label.frame is Frame.DISC:
        around = f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{wide:.2f}" fill="#000"/>'
    elif label.frame in (Frame.BOX, Frame.BEHIND):
        dashes = ' stroke-dasharray=".9 .6"' if label.frame is Frame.BEHIND else ""
        around = around.replace("/>", f' stroke="#000" stroke-width=".3"{dashes}/>')
    return (
        f'{around}<text x="{x:.2f}" y="{y + label.size * 0.36:.2f}" font-size="{label.size:g}" fill="{ink}">'
        f"{escape(text)}</text>"
    )
