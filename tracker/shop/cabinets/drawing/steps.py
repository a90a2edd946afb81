"""The drawing of one step: what stands, what comes in along which way, and the joints that meet."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from tracker.shop.cabinets.assembly import STILL, Move, Posture
from tracker.shop.cabinets.drawing.canvas import Canvas
from tracker.shop.cabinets.drawing.scene import Model, Scene
from tracker.shop.cabinets.drawing.shapes import Drawing, Frame
from tracker.shop.cabinets.drawing.views import (
    LYING,
    LYING_FROM_BEHIND,
    ON_ITS_FACE,
    ROUND,
    ROUND_LYING,
    STANDING,
    STANDING_FROM_BEHIND,
    WALLS_FROM_BEHIND,
    View,
    hides,
    view_onto,
)
from tracker.shop.cabinets.guide.sentences import driven_from
from tracker.shop.cabinets.guide.values import Step
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import Family
from tracker.shop.cabinets.panels import (
    Face,
    Vector,
    Work,
    distance,
    dot,
    middle_of,
    minus,
    moved,
    normal_of,
    reverse,
)
from tracker.shop.cabinets.solids import Point, Prism, bounds, farthest, moved_by
from tracker.shop.cabinets.wording import measured
from tracker.shop.saying import say
from tracker.shop.written import length_text

_ARROW: Final = 9.0  # the length of the arrow that says which way to push
_HOLE: Final = 0.45
_USED_HOLE: Final = 0.95
_PLATE_HOLES: Final = 2
_NARROW: Final = 13.0  # units
_FEW: Final = 4
_MET: Final = 2
_LANDING: Final = 0.9
_FAR_MM: Final = 100.0  # any length: an arrow's tail shows where it comes from


def step_drawing(model: Model, step: Step, width: float, height: float) -> Drawing:
    """Draw one step of a model's guide."""
    return _StepDrawing(model, step, width, height).finished()


class _StepDrawing:
    """Draws one step."""

    def __init__(self, model: Model, step: Step, width: float, height: float) -> None:
        self.model, self.step = model, step
        self.standing, self.body = self._solids(step.standing), self._solids(step.body)
        self.offset = self._offset()
        self.offsets = dict.fromkeys(step.body, self.offset) if step.standing else {}
        self.pairs = self._pairs()
        shown = [*step.standing, *step.body] or list(step.moving) or list(step.shown)
        self.scene = Scene(model, self._view(shown), shown, self.offsets, {*step.body, *step.shown})
        self.view = self.scene.view
        self.canvas = Canvas(self.scene.reach(), width, height)

    def _solids(self, parts: Iterable[str]) -> list[Prism]:
        return [piece.solid for own in parts for piece in self.model.pieces[own]]

    def finished(self) -> Drawing:
        step = self.step
        guides = [(moved(mine, self.offset, 1.0), theirs) for _, mine, theirs in self.pairs] if self.offsets else []
        self.scene.paint(self.canvas, guides, body=set(step.body))
        if step.posture is Posture.INSIDE_UP:
            self._holes()
        if not step.body and step.closed:
            self._pins()
        if step.body and step.standing:
            self._ways()
        for own in self._lettered():
            place = self.scene.seen_point(own)
            if place is not None:
                self.canvas.label(place, self.model.letters[own], Frame.DISC)
        self._numbers()
        return self.canvas.finished(say("Step %(number)d: %(title)s", number=step.number, title=step.title))

    # ------------------------------------------------------------------ where it is seen from
    def _view(self, shown: Sequence[str]) -> View:
        step, cabinet = self.step, self.model.cabinet
        if step.posture is Posture.INSIDE_UP:
            return view_onto(self.model.parts[step.shown[0]].place.thickness, cabinet.front)
        lying, corner = step.posture is Posture.LYING, cabinet.order.family is Family.DIAGONAL_CORNER
        if step.posture is Posture.ON_ITS_FACE:
            return ON_ITS_FACE
        if step.from_behind and not lying:
            return WALLS_FROM_BEHIND if corner else STANDING_FROM_BEHIND
        if step.from_behind:
            return LYING_FROM_BEHIND
        if corner and step.body and step.numbers:
            return self._clearest(shown, ROUND_LYING if lying else ROUND)
        return LYING if lying else STANDING

    def _clearest(self, shown: Sequence[str], views: Sequence[View]) -> View:
        """Return the view in which most of the joints that are being closed are not hidden."""
        solids = [
            moved_by(piece.solid, self.offsets[own]) if own in self.offsets else piece.solid
            for own in shown
            for piece in self.model.pieces[own]
        ]
        points = [theirs for _, _, theirs in self.pairs]
        points += [moved(mine, self.offset, 1.0) for _, mine, _ in self.pairs if self.offsets]
        return max(views, key=lambda view: sum(not any(hides(s, p, view.toward) for s in solids) for p in points))

    # ------------------------------------------------------------------ what comes in
    def _offset(self) -> Vector:
        """Return how far from its place a body is drawn: clear of what stands if it is pushed in, else a little."""
        if not any(self.step.approach) or not self.step.standing:
            return STILL
        out = reverse(self.step.approach)
        low, high = bounds([*self.standing, *self.body])
        far = 0.16 * max(minus(high, low)) + 60.0
        if not self._lands():
            far += max(0.0, farthest(self.standing, out) + farthest(self.body, reverse(out)))
        return moved(STILL, out, far)

    def _lands(self) -> bool:
        """Whether a body comes straight down onto all its joints, rather than into the cabinet."""
        for joint in self.step.closed:
            part, side = (joint.part, joint.side) if joint.part in self.step.body else (joint.onto, joint.onto_side)
            if dot(normal_of(self.model.parts[part].place, side), self.step.approach) < _LANDING:
                return False
        return bool(self.step.closed)

    def _ways(self) -> None:
        """Draw the way in which the body comes, or how parts are pushed, beside the edge that is pushed."""
        step, body = self.step, [moved_by(solid, self.offset) for solid in self.body]
        for push in step.pushes:
            self._push(push)
        if not any(step.approach):
            return
        middle = middle_of(bounds(body))
        end, start = self.view.at(moved(middle, step.approach, _FAR_MM)), self.view.at(middle)
        self.canvas.arrow(end, start, _ARROW * 1.3, 0.0, aside=self._aside(body, end, start))

    def _push(self, push: Move) -> None:
        """Draw the short way that parts are pushed, at the middle of what they span on the side that is pushed."""
        low, high = bounds(self._solids(push.parts))
        far = distance(push.slide, STILL)
        way: Vector = (push.slide[0] / far, push.slide[1] / far, push.slide[2] / far)
        ahead = max(abs(way[i]) * (high[i] - low[i]) / 2 for i in range(3))
        tip = moved(middle_of((low, high)), way, -ahead)
        length = measured(length_text(far, self.model.guide.units))
        self.canvas.arrow(self.view.at(tip), self.view.at(moved(tip, way, -_FAR_MM)), _ARROW, 2.5, text=length)

    def _aside(self, body: Sequence[Prism], end: Point, start: Point) -> float:
        """Return how far aside an arrow stands, in units: beside a body so narrow that the arrow would hide it."""
        x, y = end[0] - start[0], end[1] - start[1]
        size = (x * x + y * y) ** 0.5 or 1.0
        seen = [self.view.at(corner) for solid in body for corner in solid.corners]
        places = [(across * y - along * x) / size for across, along in seen]
        width = (max(places) - min(places)) * self.canvas.scale
        return -(width / 2 + _ARROW * 0.4) if width < _NARROW else 0.0

    # ------------------------------------------------------------------ what it meets
    def _pairs(self) -> list[tuple[int, Vector, Vector]]:
        """Return the number of each joint being closed and where it stands on the body and on what it meets."""
        found, body, marks = [], self.step.body, self.model.marks
        for joint in self.step.closed:
            mine, other = (joint.part, joint.onto) if joint.part in body or not body else (joint.onto, joint.part)
            places = [point for number, point in marks[mine] if number == joint.number]
            theirs = [point for number, point in marks[other] if number == joint.number]
            one, two = min(((a, b) for a in places for b in theirs), key=lambda pair: _apart(*pair))
            found.append((joint.number, one, two))
        return list(dict.fromkeys(found))

    def _lettered(self) -> Iterator[str]:
        """The parts that get a letter: what moves, what to look at, and what they meet, unless that is much."""
        step = self.step
        few = len(step.body) <= _FEW or bool(step.pushes)
        yield from (own for own in step.body if few or self.model.parts[own].front)
        yield from (own for own in step.shown if own not in step.body)
        met = {own for joint in step.closed for own in (joint.part, joint.onto)} - {*step.body, *step.shown}
        if len(met) <= _MET and len(step.body) == 1:
            yield from sorted(met)

    def _numbers(self) -> None:
        for number, mine, theirs in self.pairs:
            self._number(number, theirs, Frame.BEHIND if self.scene.hidden(theirs) else Frame.BOX)
            away = moved(mine, self.offset, 1.0)
            if self.offsets and not self.scene.hidden(away):
                self._number(number, away, Frame.BOX)

    def _number(self, number: int, at: Vector, frame: Frame) -> None:
        self.canvas.label(self.view.at(at), str(number), frame)

    def _pins(self) -> None:
        """Draw an arrow to each pin that is driven in from outside."""
        for joint in driven_from(self.step.closed):
            outer = self.model.parts[joint.onto]
            away = reverse(normal_of(outer.place, joint.onto_side))
            for point in joint.points:
                at = moved(point, away, outer.thickness_mm)
                self.canvas.arrow(self.view.at(at), self.view.at(moved(at, away, _FAR_MM)), _ARROW, 0.0)

    def _holes(self) -> None:
        """Draw the holes in a panel's inner face: those that the step uses large and black, with their numbers."""
        part = self.model.parts[self.step.shown[0]]
        holes = [
            part.from_side(feature.face, feature.x_mm, feature.y_mm)
            for feature in part.features
            if feature.face is Face.A and feature.work in (Work.LINE_HOLE, Work.SLIDE_HOLE)
        ]
        used: dict[Vector, int] = {}
        for joint in self.step.fitted:
            each = 1 if joint.fastening is Fastening.SLIDE else _PLATE_HOLES
            for point in joint.points:
                nearest = sorted(holes, key=lambda hole: round(_apart(hole, point), 3))[:each]
                used |= dict.fromkeys(nearest, joint.number)
        for hole in holes:
            if hole not in used:
                self.canvas.dot(self.view.at(hole), _HOLE, 1.0)
        for hole in used:
            self.canvas.dot(self.view.at(hole), _USED_HOLE, 0.0)
        for hole, number in used.items():
            self._number(number, hole, Frame.BOX)


def _apart(one: Vector, other: Vector) -> float:
    away = minus(one, other)
    return dot(away, away)
