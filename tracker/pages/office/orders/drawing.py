"""A small drawing of a cabinet that is being ordered: closed, seen a little from the right and from above.

The broken lines on a door meet at its hinges, as is usual on elevations (common practice, no source).
"""

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from tracker.labels.svg import svg_of
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.drawing.painting import Stage
from tracker.shop.cabinets.drawing.shapes import Area, Drawing, Line, Shape
from tracker.shop.cabinets.drawing.views import UPRIGHT, Piece, View, hides, pieces_of, view_from
from tracker.shop.cabinets.panels import Face, Part, Vector, Work, dot, middle_of, minus, moved
from tracker.shop.cabinets.solids import Prism, solids_of, span_of

WIDE: Final = 100.0
TALL: Final = 120.0
TURNED: Final = 24.0
RAISED: Final = 14.0
MARGIN: Final = 2.0
_SHARES: Final = (0.03, 0.35, 0.65, 0.97)
_EACH_LINE: Final = ' stroke="#000" stroke-width="0.35" stroke-linecap="round"'  # said once for all: half the size
_SECOND_DECIMAL: Final = re.compile(r"(\.\d)\d\b")
_FRONT_TONE: Final = 1.0
_TONES: Final = (0.93, 0.86, 0.74)  # seen from above, from the front, from the side


def cabinet_svg(cabinet: Cabinet, title: str) -> str:
    """Return the drawing as an SVG element; ``title`` says what is seen."""
    view = view_from(UPRIGHT, TURNED, RAISED)
    # The boxes of drawers are behind their fronts.
    pieces = {part.id: pieces_of(solids_of(part)) for part in cabinet.parts if part.front or not part.unit}
    frame = _Frame(view, pieces)
    fronts = {part.id: part for part in cabinet.parts if part.front}
    solids = [piece.solid for each in pieces.values() for piece in each]
    shapes: list[Shape] = []
    for own, index in Stage(view, pieces).painted(list(pieces), {}):
        shapes += _piece(frame, pieces[own][index], solids, front=own in fronts)
        if own in fronts:
            shapes += _swing(frame, fronts[own])
    svg = svg_of(Drawing(width=frame.wide, height=frame.tall, title=title, shapes=tuple(shapes)))
    body = _SECOND_DECIMAL.sub(r"\1", svg.replace(_EACH_LINE, ""))
    return body.replace('fill="#fff"/>', f'fill="#fff"/><g{_EACH_LINE}>', 1).replace("</svg>", "</g></svg>")


class _Frame:
    """Fits what is seen into the drawing."""

    def __init__(self, view: View, pieces: dict[str, tuple[Piece, ...]]) -> None:
        self.view = view
        corners = (corner for each in pieces.values() for piece in each for corner in piece.solid.corners)
        self._left, low, right, self._top = span_of([view.at(corner) for corner in corners])
        wide, tall = right - self._left, self._top - low
        self._scale = min((WIDE - 2 * MARGIN) / wide, (TALL - 2 * MARGIN) / tall)
        self.wide, self.tall = wide * self._scale + 2 * MARGIN, tall * self._scale + 2 * MARGIN

    def at(self, point: Vector) -> tuple[float, float]:
        x, y = self.view.at(point)
        return ((x - self._left) * self._scale + MARGIN, (self._top - y) * self._scale + MARGIN)


def _piece(frame: _Frame, piece: Piece, solids: Sequence[Prism], *, front: bool) -> Iterator[Shape]:
    """What is seen of a piece; what other panels hide is left out, so that the drawing stays small."""
    toward = frame.view.toward
    for side in piece.sides:
        if side.faces(toward) and _seen(_spread(side.corners), solids, toward):
            yield Area(points=tuple(map(frame.at, side.corners)), tone=_tone(side.normal, frame.view, front=front))
    for crease in piece.creases:
        if crease.faces(toward) and _seen(
            [_between(crease.start, crease.end, share) for share in _SHARES], solids, toward
        ):
            yield Line(start=frame.at(crease.start), end=frame.at(crease.end), weight=0.35)


def _seen(points: Iterable[Vector], solids: Sequence[Prism], toward: Vector) -> bool:
    return any(not any(hides(solid, point, toward) for solid in solids) for point in points)


def _spread(corners: Sequence[Vector]) -> list[Vector]:
    """Points spread over a flat side, none on its rim."""
    middle = middle_of(corners)
    return [middle, *(_between(middle, corner, share) for corner in corners for share in (0.5, 0.95))]


def _between(start: Vector, end: Vector, share: float) -> Vector:
    return moved(start, minus(end, start), share)


def _tone(normal: Vector, view: View, *, front: bool) -> float:
    if dot(normal, view.above) > 0.5:
        return _TONES[0]
    if dot(normal, view.toward) > 0.45:
        return _FRONT_TONE if front else _TONES[1]
    return _TONES[2]


def _swing(frame: _Frame, door: Part) -> Iterator[Line]:
    """The two broken lines on a door's outer face from the corners away from the hinges to the middle of that side."""
    cups = [feature for feature in door.features if feature.work is Work.HINGE_CUP]
    if not cups:
        return
    outer = Face.A if cups[0].face is Face.B else Face.B
    through = door.thickness_mm if outer is Face.A else 0.0
    across = sum(cup.y_mm for cup in cups) / len(cups)
    along = sum(cup.x_mm for cup in cups) / len(cups)
    reach = (door.length_mm, door.width_mm)
    # The cups stand in a row beside one edge: the axis on which they are far from the middle leads to it.
    if abs(across / reach[1] - 0.5) >= abs(along / reach[0] - 0.5):
        hinged, far = (0.0, reach[1]) if across < reach[1] / 2 else (reach[1], 0.0)
        apex, ends = (reach[0] / 2, hinged), ((0.0, far), (reach[0], far))
    else:
        hinged, far = (0.0, reach[0]) if along < reach[0] / 2 else (reach[0], 0.0)
        apex, ends = (hinged, reach[1] / 2), ((far, 0.0), (far, reach[1]))
    tip = frame.at(door.place.to_cabinet(*apex, through))
    for end in ends:
        yield Line(start=tip, end=frame.at(door.place.to_cabinet(*end, through)), weight=0.3, dashed=True)
