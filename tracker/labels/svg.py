"""A drawing as inline SVG: escaped, with a title, without script."""

from html import escape

from tracker.shop.cabinets.drawing import Area, Drawing, Frame, Label, Line, Shape

_FONT = "DejaVu Sans, Verdana, sans-serif"


def svg_of(drawing: Drawing) -> str:
    """Return a drawing as an SVG element that is as wide as its place, with a title for screen readers."""
    title = escape(drawing.title)
    body = "".join(map(_element, drawing.shapes))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {drawing.width:g} {drawing.height:g}" role="img" '
        f'aria-label="{title}"><title>{title}</title>'
        f'<rect width="{drawing.width:g}" height="{drawing.height:g}" fill="#fff"/>{body}</svg>'
    )


def _grey(tone: float) -> str:
    level = round(255 * min(1.0, max(0.0, tone)))
    return f"#{level:02x}{level:02x}{level:02x}"


def _element(shape: Shape) -> str:
    match shape:
        case Area():
            points = " ".join(f"{x:.2f},{y:.2f}" for x, y in shape.points)
            grey = _grey(shape.tone)
            return f'<polygon points="{points}" fill="{grey}" stroke="{grey}" stroke-width=".1"/>'
        case Line():
            (x1, y1), (x2, y2) = shape.start, shape.end
            dashes = ' stroke-dasharray="1.6 1.1"' if shape.dashed else ""
            return (
                f'<line x1="{x1:.2f}" y1="{y1:.2f}" x2="{x2:.2f}" y2="{y2:.2f}" stroke="#000" '
                f'stroke-width="{shape.weight:g}" stroke-linecap="round"{dashes}/>'
            )
        case Label():
            return _label(shape)


def _label(label: Label) -> str:
    (x, y), (wide, high) = label.at, label.half
    ink = "#fff" if label.frame is Frame.DISC else "#000"
    around = f'<rect x="{x - wide:.2f}" y="{y - high:.2f}" width="{2 * wide:.2f}" height="{2 * high:.2f}" fill="#fff"/>'
    if label.frame is Frame.DISC:
        around = f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{wide:.2f}" fill="#000"/>'
    elif label.frame in (Frame.BOX, Frame.BEHIND):
        dashes = ' stroke-dasharray=".9 .6"' if label.frame is Frame.BEHIND else ""
        around = around.replace("/>", f' stroke="#000" stroke-width=".3"{dashes}/>')
    return (
        f'{around}<text x="{x:.2f}" y="{y + label.size * 0.36:.2f}" font-family="{_FONT}" font-size="{label.size:g}" '
        f'font-weight="700" text-anchor="middle" fill="{ink}">{escape(label.text)}</text>'
    )
