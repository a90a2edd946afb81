"""The paper of one drawing: it fits what is seen, in mm, into a frame, in units; labels give way to each other."""

from collections.abc import Sequence
from typing import Final

from tracker.shop.cabinets.drawing.shapes import Area, Dot, Drawing, Frame, Label, Line, Shape
from tracker.shop.cabinets.solids import Point, Span, span_of

_MARGIN: Final = 6.5  # room for the labels that stand on the outer edge
_LETTER: Final = 3.9
_NUMBER: Final = 3.3
THIN: Final = 0.2
HEAVY: Final = 0.55


class Canvas:
    """Gathers the shapes of one drawing, ``width`` by ``height`` units; ``reach`` spans what is seen, in mm."""

    def __init__(self, reach: Span, width: float, height: float) -> None:
        x0, y0, x1, y1 = reach
        self.width, self.height = width, height
        self.scale = min((width - 2 * _MARGIN) / max(x1 - x0, 1.0), (height - 2 * _MARGIN) / max(y1 - y0, 1.0))
        self._shift = (width / 2 - (x0 + x1) / 2 * self.scale, height / 2 + (y0 + y1) / 2 * self.scale)
        self._shapes: list[Shape] = []
        self._labels: list[Label] = []
        self._arrows: list[Shape] = []
        self._taken: list[tuple[Point, Point]] = []

    def _to(self, seen: Point) -> Point:
        return (self._shift[0] + seen[0] * self.scale, self._shift[1] - seen[1] * self.scale)

    def area(self, points: Sequence[Point], tone: float, part: str) -> None:
        self._shapes.append(Area(points=tuple(map(self._to, points)), tone=tone, part=part))

    def line(self, start: Point, end: Point, weight: float, *, dashed: bool = False) -> None:
        self._shapes.append(Line(start=self._to(start), end=self._to(end), weight=weight, dashed=dashed))

    def dot(self, seen: Point, radius: float, tone: float) -> None:
        """Draw a hole, ``radius`` units large; labels keep clear of one that is filled."""
        self._shapes.append(Dot(at=self._to(seen), radius=radius, tone=tone))
        if tone == 0:
            self._taken.append((self._to(seen), (radius, radius)))

    def label(self, seen: Point, text: str, frame: Frame) -> None:
        self._place(self._to(seen), text, frame)

    def _place(self, at: Point, text: str, frame: Frame) -> None:
        """Set a label where it belongs or as near as it finds room."""
        size = _LETTER if frame is Frame.DISC else _NUMBER
        half = Label(at=at, text=text, size=size, frame=frame).half
        for dx, dy in _WAYS:
            spot = (
                min(max(at[0] + dx * size, half[0] + 0.2), self.width - half[0] - 0.2),
                min(max(at[1] + dy * size, half[1] + 0.2), self.height - half[1] - 0.2),
            )
            if self._is_free(spot, half):
                break
        else:
            spot = at
        if frame is not Frame.NONE and abs(spot[0] - at[0]) + abs(spot[1] - at[1]) > size * 1.5:
            self._arrows.append(Line(start=at, end=spot, weight=THIN))
        self._labels.append(Label(at=spot, text=text, size=size, frame=frame))
        self._taken.append((spot, half))

    def arrow(self, tip: Point, tail: Point, length: float, away: float, *, text: str = "", aside: float = 0.0) -> None:
        """Draw a broad white arrow that ends ``away`` units before a point, coming from the tail's side.

        It is ``length`` units long, moved ``aside`` at right angles to its way, and gives way to the arrows before it.
        """
        (x1, y1), (x0, y0) = self._to(tip), self._to(tail)
        size = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5 or 1.0
        ux, uy = (x1 - x0) / size, (y1 - y0) / size
        back = (-ux * length, -uy * length)
        for more in (0.0, 8.0, -8.0):
            shift = aside + more
            end = self._inside((x1 - ux * away + uy * shift, y1 - uy * away - ux * shift), back)
            points = self._outline(end, (ux, uy), length)
            middle, half = _box_around(points)
            if self._is_free(middle, half):
                break
        self._taken.append((middle, half))
        self._arrows.append(Area(points=points, tone=1.0))
        for a, b in zip(points, [*points[1:], points[0]], strict=True):
            self._arrows.append(Line(start=a, end=b, weight=HEAVY))
        if text:
            wide, high = Label(at=end, text=text, size=_NUMBER, frame=Frame.NONE).half
            beyond = length + 1.0
            self._place((end[0] - ux * (beyond + wide), end[1] - uy * (beyond + high)), text, Frame.NONE)

    def _outline(self, end: Point, way: Point, length: float) -> tuple[Point, ...]:
        broad, head = length * 0.16, length * 0.42
        outline = [(0.0, 0.0), (-head, broad * 2.1), (-head, broad), (-length, broad)]
        outline += [(a, -b) for a, b in outline[:0:-1]]
        points = ((end[0] + a * way[0] - b * way[1], end[1] + a * way[1] + b * way[0]) for a, b in outline)
        return tuple((min(max(x, 0.2), self.width - 0.2), min(max(y, 0.2), self.height - 0.2)) for x, y in points)

    def _is_free(self, at: Point, half: Point) -> bool:
        return not any(
            abs(at[0] - x) < half[0] + wide + 0.2 and abs(at[1] - y) < half[1] + high + 0.2
            for (x, y), (wide, high) in self._taken
        )

    def _inside(self, end: Point, back: Point) -> Point:
        """Move an arrow so far that its tail is in the frame."""
        x, y = end[0] + back[0], end[1] + back[1]
        pad = 2.5
        dx = min(max(x, pad), self.width - pad) - x
        dy = min(max(y, pad), self.height - pad) - y
        return (end[0] + dx, end[1] + dy)

    def finished(self, title: str) -> Drawing:
        shapes = (*self._shapes, *self._arrows, *self._labels)
        return Drawing(width=self.width, height=self.height, title=title, shapes=shapes)


def _box_around(points: Sequence[Point]) -> tuple[Point, Point]:
    """Return the middle and the half sizes of the box around an arrow."""
    x0, y0, x1, y1 = span_of(points)
    return ((x1 + x0) / 2, (y1 + y0) / 2), ((x1 - x0) * _SLIM / 2, (y1 - y0) * _SLIM / 2)


_SLIM: Final = 0.8  # a slanting arrow leaves the corners of its box free
_WAYS: Final = tuple(
    (dx * step, dy * step)
    for step in (0.0, 0.8, 1.6, 2.4, 3.2, 4.2)
    for dx, dy in ((0, -1), (0, 1), (1, 0), (-1, 0), (0.75, -0.75), (-0.75, -0.75), (0.75, 0.75), (-0.75, 0.75))
)
