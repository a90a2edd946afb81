"""Parts under one view, some moved, some emphasised: what is painted in which order, what is hidden, where labels go.

A side that looks up is light, one to the front is grey, one to the side darker; what moves is darker still and has
heavy lines.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Final

from tracker.shop.cabinets.assembly import STILL
from tracker.shop.cabinets.design import Cabinet, Mark
from tracker.shop.cabinets.drawing.canvas import HEAVY, THIN, Canvas
from tracker.shop.cabinets.drawing.painting import Stage
from tracker.shop.cabinets.drawing.views import Piece, Side, View, hides, pieces_of
from tracker.shop.cabinets.guide.values import Guide
from tracker.shop.cabinets.panels import Face, Part, Vector, dot, middle_of, minus, moved
from tracker.shop.cabinets.solids import Point, Prism, Span, moved_by, solids_of, span_of

_RESTING: Final = (1.0, 0.93, 0.85)
_MOVING: Final = (0.88, 0.76, 0.62)


class Model:
    """A cabinet and its guide, with what all drawings of it share."""

    def __init__(self, cabinet: Cabinet, guide: Guide) -> None:
        self.cabinet, self.guide, self.letters = cabinet, guide, guide.letters
        self.parts = {part.id: part for part in cabinet.parts}
        self.pieces = {part.id: pieces_of(solids_of(part)) for part in cabinet.parts}
        self.marks = {
            part.id: [(mark.number, _mark_point(part, mark)) for mark in cabinet.marks(part)] for part in cabinet.parts
        }
        self._stages: dict[View, Stage] = {}

    def stage(self, view: View) -> Stage:
        if view not in self._stages:
            self._stages[view] = Stage(view, self.pieces)
        return self._stages[view]


def _mark_point(part: Part, mark: Mark) -> Vector:
    through = {Face.A: part.thickness_mm, Face.B: 0.0}.get(mark.side, part.thickness_mm / 2)
    return part.place.to_cabinet(mark.along_mm, mark.across_mm, through)


class Scene:
    """Parts of a model under one view: ``shown`` ones, some moved by ``offsets``, the ``strong`` ones emphasised."""

    def __init__(
        self,
        model: Model,
        view: View,
        shown: Sequence[str],
        offsets: Mapping[str, Vector],
        strong: Collection[str] = (),
    ) -> None:
        self.model, self.view, self.shown, self.offsets, self.strong = model, view, shown, offsets, strong
        self.solids = [self._placed(own, piece.solid) for own in shown for piece in model.pieces[own]]

    def _placed(self, own: str, solid: Prism) -> Prism:
        return moved_by(solid, self.offsets[own]) if own in self.offsets else solid

    def reach(self) -> Span:
        """The span of what is seen, in mm."""
        return span_of([self.view.at(corner) for solid in self.solids for corner in solid.corners])

    def paint(self, canvas: Canvas, guides: Sequence[tuple[Vector, Vector]] = (), body: set[str] | None = None) -> None:
        """Paint all pieces; ``guides`` are lines from a body to its place, painted between the body and the rest."""
        order = self.model.stage(self.view).painted(self.shown, self.offsets)
        at = [place for place, (own, _) in enumerate(order) if body and own in body]
        before = bool(guides) and dot(minus(*guides[0]), self.view.toward) < 0
        turn = (max(at) + 1 if before else min(at)) if guides and at else -1
        for place in range(len(order) + 1):
            if place == turn:
                for start, end in guides:
                    canvas.line(self.view.at(start), self.view.at(end), THIN * 1.4, dashed=True)
            if place < len(order):
                own, index = order[place]
                self._paint(canvas, own, self.model.pieces[own][index])

    def _paint(self, canvas: Canvas, own: str, piece: Piece) -> None:
        offset, strong, toward = self.offsets.get(own, STILL), own in self.strong, self.view.toward
        for side in piece.sides:
            if side.faces(toward):
                points = [self.view.at(moved(corner, offset, 1.0)) for corner in side.corners]
                canvas.area(points, self._tone(side, _MOVING if strong else _RESTING), own)
        for crease in piece.creases:
            if crease.faces(toward):
                start, end = moved(crease.start, offset, 1.0), moved(crease.end, offset, 1.0)
                canvas.line(self.view.at(start), self.view.at(end), HEAVY if strong else THIN)

    def _tone(self, side: Side, tones: tuple[float, float, float]) -> float:
        if abs(dot(side.normal, self.view.above)) > 0.5:
            return tones[0]
        return tones[1] if dot(side.normal, self.view.toward) > 0.45 else tones[2]

    def hidden(self, point: Vector) -> bool:
        return any(hides(solid, point, self.view.toward) for solid in self.solids)

    def seen_point(self, own: str) -> Point | None:
        """Return where a part's letter stands: on its largest side that is seen, where nothing hides it."""
        points = (point for corners in self._sides(own)[:3] for point in _samples(corners))
        return next((self.view.at(point) for point in points if not self.hidden(point)), None)

    def middle_point(self, own: str) -> Point:
        return self.view.at(middle_of(self._sides(own)[0]))

    def _sides(self, own: str) -> list[list[Vector]]:
        """The corners of a part's sides that look to the viewer, the largest first."""
        offset = self.offsets.get(own, STILL)
        sides = [
            [moved(corner, offset, 1.0) for corner in side.corners]
            for piece in self.model.pieces[own]
            for side in piece.sides
            if side.faces(self.view.toward)
        ]
        return sorted(sides, key=lambda corners: -_area([self.view.at(corner) for corner in corners]))


def _area(points: Sequence[Point]) -> float:
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True))) / 2


def _samples(corners: Sequence[Vector]) -> Iterator[Vector]:
    """Yield the middle of a side and then points nearer to its corners and edges."""
    middle = middle_of(corners)
    yield middle
    between = [middle_of(edge) for edge in zip(corners, [*corners[1:], corners[0]], strict=True)]
    for share in (0.4, 0.6, 0.8, 0.92):
        for point in (*between, *corners):
            yield moved(middle, minus(point, middle), share)
