"""A panel's outline as an SVG for a screen: the same facts as on its label, in the page's own ink.

L1 is the long edge below, L2 above, W1 left and W2 right. A banded edge is a heavy line. A joint's number stands where
the joint is, in a frame where another part meets the face. An arrow points to the front of the cabinet; where the face
itself is in front, words say so.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Final, Protocol

ROOM: Final = (100.0, 62.0)
_MARGIN: Final = 9.0
_THIN: Final = 0.5
_HEAVY: Final = 2.6
_NUMBER: Final = (6.8, 5.2)
LEAST_SHOWN: Final = 9.8
_FACES: Final = ("A", "B")
_FONT: Final = "system-ui, sans-serif"

Point = tuple[float, float]


class MarkLike(Protocol):
    """A joint's number on a panel: on which side, and where in its length and width, in mm."""

    @property
    def number(self) -> int: ...
    @property
    def side(self) -> str: ...
    @property
    def along_mm(self) -> float: ...
    @property
    def across_mm(self) -> float: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """What is drawn of a panel. ``front`` is the side that looks to the front, empty when it is not known.

    ``title`` is read by a screen reader; ``faces`` says "this face to the front" and "… to the back" for A and B.
    """

    title: str
    length_mm: float
    width_mm: float
    edges: Collection[str]
    marks: Sequence[MarkLike] = ()
    front: str = ""
    faces: Mapping[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if not (self.length_mm > 0 and self.width_mm > 0):
            raise ValueError("a panel has a length and a width")


@dataclass(frozen=True, slots=True)
class _Box:
    left: float
    top: float
    right: float
    bottom: float

    @property
    def middle(self) -> Point:
        return (self.left + self.right) / 2, (self.top + self.bottom) / 2

    def side(self, name: str) -> tuple[Point, Point]:
        corners = {
            "L1": ((self.left, self.bottom), (self.right, self.bottom)),
            "L2": ((self.left, self.top), (self.right, self.top)),
            "W1": ((self.left, self.top), (self.left, self.bottom)),
            "W2": ((self.right, self.top), (self.right, self.bottom)),
        }
        return corners[name]


def outline_svg(panel: Panel) -> str:
    """Return the panel's outline as an inline SVG element, escaped and without script or style."""
    box = _box(panel)
    title = escape(panel.title)
    body = "".join([*_edges(panel, box), *_front(panel, box), *_numbers(panel, box)])
    return (
        f'<svg class="outline" viewBox="0 0 {ROOM[0]:g} {ROOM[1]:g}" role="img" aria-label="{title}">'
        f"<title>{title}</title>{body}</svg>"
    )


def _box(panel: Panel) -> _Box:
    room = (ROOM[0] - 2 * _MARGIN, ROOM[1] - 2 * _MARGIN)
    scale = min(room[0] / panel.length_mm, room[1] / panel.width_mm)
    width, height = max(panel.length_mm * scale, LEAST_SHOWN), max(panel.width_mm * scale, LEAST_SHOWN)
    left, top = (ROOM[0] - width) / 2, (ROOM[1] - height) / 2
    return _Box(left, top, left + width, top + height)


def _edges(panel: Panel, box: _Box) -> Iterator[str]:
    yield (
        f'<rect class="panel" x="{box.left:.1f}" y="{box.top:.1f}" width="{box.right - box.left:.1f}" '
        f'height="{box.bottom - box.top:.1f}"/>'
    )
    for name in ("L1", "L2", "W1", "W2"):
        banded = name in panel.edges
        yield _line(*box.side(name), _HEAVY if banded else _THIN, "banded" if banded else "bare")
        if banded and not panel.marks and not panel.front:
            yield _edge_name(name, box)


def _edge_name(name: str, box: _Box) -> str:
    x, y = box.middle
    places = {
        "L1": (x, box.bottom + 6),
        "L2": (x, box.top - 3),
        "W1": (box.left - 5, y + 1.6),
        "W2": (box.right + 5, y + 1.6),
    }
    return _text(name, places[name], 4.6)


def _front(panel: Panel, box: _Box) -> Iterator[str]:
    x, y = box.middle
    starts = {
        "L1": ((x, box.bottom + 2), (0.0, 1.0)),
        "L2": ((x, box.top - 2), (0.0, -1.0)),
        "W1": ((box.left - 2, y), (-1.0, 0.0)),
        "W2": ((box.right + 2, y), (1.0, 0.0)),
    }
    if panel.front in starts:
        yield from _arrow(*starts[panel.front])
    elif panel.front in panel.faces:
        yield _text(panel.faces[panel.front], (x, box.bottom + 6), 4.6)


def _arrow(start: Point, way: Point) -> Iterator[str]:
    (x, y), (dx, dy) = start, way
    tip = (x + dx * 6.5, y + dy * 6.5)
    foot = (tip[0] - dx * 3.4, tip[1] - dy * 3.4)
    yield _line(start, foot, 1.4, "arrow")
    wings = [tip, (foot[0] - dy * 2.6, foot[1] + dx * 2.6), (foot[0] + dy * 2.6, foot[1] - dx * 2.6)]
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in wings)
    yield f'<polygon class="arrow" points="{points}" fill="currentColor"/>'


def _numbers(panel: Panel, box: _Box) -> Iterator[str]:
    taken: list[Point] = []
    for mark in sorted(panel.marks, key=lambda mark: mark.side not in _FACES):
        spot = _free(_wanted(panel, mark, box), taken, box)
        taken.append(spot)
        yield _number(mark, spot)


def _wanted(panel: Panel, mark: MarkLike, box: _Box) -> Point:
    """The middle of a joint's number: where the joint is, but inside the outline and off its heavy lines."""
    x = box.left + (box.right - box.left) * mark.along_mm / panel.length_mm
    y = box.bottom - (box.bottom - box.top) * mark.across_mm / panel.width_mm
    return _inside((x, y), box)


def _inside(spot: Point, box: _Box) -> Point:
    across, down = _NUMBER[0] / 2 + 1.4, _NUMBER[1] / 2 + 1.4
    x = min(max(spot[0], box.left + across), max(box.right - across, box.left + across))
    y = min(max(spot[1], box.top + down), max(box.bottom - down, box.top + down))
    return x, y


def _free(wanted: Point, taken: Sequence[Point], box: _Box) -> Point:
    """The place nearest to the wanted one where no other number stands, or the wanted one when there is none."""
    step_x, step_y = _NUMBER[0] + 0.5, _NUMBER[1] + 0.5
    shifts = sorted(
        ((dx * step_x / 2, dy * step_y / 2) for dx in range(-14, 15) for dy in range(-14, 15)),
        key=lambda shift: shift[0] ** 2 + shift[1] ** 2,
    )
    for dx, dy in shifts:
        spot = (wanted[0] + dx, wanted[1] + dy)
        if spot == _inside(spot, box) and all(
            abs(spot[0] - a) >= step_x or abs(spot[1] - b) >= step_y for a, b in taken
        ):
            return spot
    return wanted


def _number(mark: MarkLike, spot: Point) -> str:
    x, y = spot
    frame = ""
    if mark.side in _FACES:
        frame = (
            f'<rect class="mark" x="{x - _NUMBER[0] / 2:.1f}" y="{y - _NUMBER[1] / 2:.1f}" width="{_NUMBER[0]:g}" '
            f'height="{_NUMBER[1]:g}"/>'
        )
    return frame + _text(str(mark.number), (x, y + 1.5), 4.2)


def _line(start: Point, end: Point, width: float, kind: str) -> str:
    return (
        f'<line class="{kind}" x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{end[0]:.1f}" y2="{end[1]:.1f}" '
        f'stroke="currentColor" stroke-width="{width:g}" stroke-linecap="square"/>'
    )


def _text(text: str, at: Point, size: float) -> str:
    return (
        f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" font-family="{_FONT}" font-size="{size:g}" font-weight="700" '
        f'text-anchor="middle" fill="currentColor">{escape(text)}</text>'
    )
