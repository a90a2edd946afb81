"""The drawings of a guide: one of all parts apart, and one for each step, as plain shapes in units of the page.

Grey tones alone: a side that looks up is light, one to the front is grey, one to the side darker; what moves is darker
still and has heavy lines. A letter on a black disc names a part, a number in a frame a joint.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from tracker.shop.cabinets.assembly import STILL
from tracker.shop.cabinets.design import Cabinet, kind_of
from tracker.shop.cabinets.guide import Guide, Posture, Step
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import Family
from tracker.shop.cabinets.panels import SIDES, Face, Part, Vector, Work, dot, minus, moved, reverse
from tracker.shop.cabinets.solids import Point, Prism, moved_by, solids_of
from tracker.shop.cabinets.views import (
    LYING,
    LYING_FROM_BEHIND,
    ROUND,
    ROUND_LYING,
    STANDING,
    STANDING_FROM_BEHIND,
    Piece,
    Stage,
    View,
    hides,
    pieces_of,
    view_onto,
)
from tracker.shop.cabinets.wording import measured
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.saying import say
from tracker.shop.written import length_text


class Frame(StrEnum):
    """What stands around a text: nothing, a black disc (a part's letter), a frame (a joint's number), or a broken frame
    (a joint that is hidden from here)."""

    NONE = "none"
    DISC = "disc"
    BOX = "box"
    BEHIND = "broken box"


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """A filled polygon without a line around it. ``tone`` from 0 (black) to 1 (white); ``part`` is whose side it is."""

    points: tuple[Point, ...]
    tone: float
    part: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    start: Point
    end: Point
    weight: float
    dashed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A text with its middle ``at`` a point, its letters ``size`` high."""

    at: Point
    text: str
    size: float
    frame: Frame

    @property
    def half(self) -> Point:
        """Half of the width and height that it takes with its frame."""
        wide = max(len(self.text) * self.size * 0.34, self.size * 0.5)
        if self.frame is Frame.DISC:
            return (max(wide + self.size * 0.2, self.size * 0.75),) * 2
        return (wide + self.size * 0.22, self.size * 0.68)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A hole: its middle, its radius, and its ``tone`` from 0 (black: it is used) to 1 (white)."""

    at: Point
    radius: float
    tone: float


Shape = Area | Line | Label | Dot
LETTER: Final = 3.9
NUMBER: Final = 3.3
LARGEST: Final = 2_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Shapes in the order in which they are painted, in units from the top left corner; ``title`` says what is seen.

    Raises InvalidInputError when the sizes are none.
    """

    width: float
    height: float
    title: str
    shapes: tuple[Shape, ...]

    def __post_init__(self) -> None:
        if not (0 < self.width <= LARGEST and 0 < self.height <= LARGEST):
            fault = Fault(where={"field": "width, height"}, what=f"wanted: more than 0, at most {LARGEST:g}")
            raise InvalidInputError("A drawing has no size.", [fault])


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawings:
    """The drawings of one guide: all parts apart, then one a step in their order."""

    overview: Drawing
    steps: tuple[Drawing, ...]


_MARGIN: Final = 6.5  # room for the labels that stand on the outer edge
_RESTING: Final = (1.0, 0.93, 0.85)
_MOVING: Final = (0.88, 0.76, 0.62)
_THIN: Final = 0.2
_HEAVY: Final = 0.55
_ARROW: Final = 9.0  # the length of the arrow that says which way to push
_NEAR_MM: Final = 60.0  # the two marks of one joint are not farther apart
_HOLE: Final = 0.45
_USED_HOLE: Final = 0.95
_PLATE_HOLES: Final = 2


def drawings_of(
    cabinet: Cabinet, guide: Guide, *, step: tuple[float, float], overview: tuple[float, float]
) -> Drawings:
    """Return all drawings of a cabinet; ``step`` and ``overview`` are width and height of the frames, in units."""
    artist = _Artist(cabinet, guide)
    return Drawings(overview=artist.overview(*overview), steps=tuple(artist.step(each, *step) for each in guide.steps))


class _Artist:
    """Draws one cabinet; keeps what all its drawings share."""

    def __init__(self, cabinet: Cabinet, guide: Guide) -> None:
        self.cabinet = cabinet
        self.letters = guide.letters
        self.guide = guide
        self.parts: dict[str, Part] = {part.id: part for part in cabinet.parts}
        self.pieces = {part.id: pieces_of(solids_of(part)) for part in cabinet.parts}
        self._stages: dict[View, Stage] = {}
        self.marks: dict[str, list[tuple[int, Vector]]] = {
            part.id: [
                (mark.number, _mark_point(part, mark.side, mark.along_mm, mark.across_mm))
                for mark in cabinet.marks(part)
            ]
            for part in cabinet.parts
        }

    def stage(self, view: View) -> Stage:
        if view not in self._stages:
            self._stages[view] = Stage(view, self.pieces)
        return self._stages[view]

    # ------------------------------------------------------------------ all parts apart
    def overview(self, width: float, height: float) -> Drawing:
        """All parts apart, each drawn away from its place, with its letter; the ends so far that all are seen."""
        scenes = (
            _Scene(self, STANDING, list(self.parts), exploded(self.cabinet, self.guide, beside=beside), frozenset())
            for beside in _BESIDE
        )
        units: dict[str, list[str]] = {}
        for part in self.cabinet.parts:
            units.setdefault(part.unit or part.id, []).append(part.id)
        told = {own for inside in _told(self.cabinet, units.values()) for own in inside}
        apart = [
            own for own, part in self.parts.items() if own in told or part.front or len(units[part.unit or own]) == 1
        ]
        tried = []
        for scene in scenes:
            places = {own: scene.seen_point(own) for own in apart}
            tried.append((sum(place is None for place in places.values()), scene, places))
            if not tried[-1][0]:
                break
        _, scene, places = min(tried, key=lambda each: each[0])
        canvas = _Canvas(scene.reach(), width, height)
        scene.paint(canvas)
        for own in apart:
            canvas.letter(places[own] or scene.middle_point(own), self.letters[own])
        return canvas.finished(say("All parts of cabinet %(name)s, apart", name=self.cabinet.order.cabinet))

    # ------------------------------------------------------------------ one step
    def step(self, step: Step, width: float, height: float) -> Drawing:
        offset = self._offset(step)
        offsets = dict.fromkeys(step.body, offset) if step.standing else {}
        shown = [*step.standing, *step.body] or list(step.moving) or list(step.shown)
        scene = _Scene(self, self._view(step, shown, offsets), shown, offsets, frozenset((*step.body, *step.shown)))
        canvas = _Canvas(scene.reach(), width, height)
        pairs = self._pairs(step)
        guides = [(moved(mine, offset, 1.0), theirs) for _, mine, theirs in pairs] if offsets else []
        scene.paint(canvas, guides, body=set(step.body))
        if step.posture is Posture.INSIDE_UP:
            self._holes(canvas, scene, step)
        self._arrows(canvas, scene, step, offset)
        for own in self._lettered(step):
            place = scene.seen_point(own)
            if place is not None:
                canvas.letter(place, self.letters[own])
        self._numbers(canvas, scene, pairs, offset if offsets else None)
        return canvas.finished(say("Step %(number)d: %(title)s", number=step.number, title=step.title))

    def _holes(self, canvas: "_Canvas", scene: "_Scene", step: Step) -> None:
        """Draw the holes in a panel's inner face: those that the step uses large and black, with their numbers."""
        part = self.parts[step.shown[0]]
        holes = [
            part.from_side(feature.face, feature.x_mm, feature.y_mm)
            for feature in part.features
            if feature.face is Face.A and feature.work in (Work.LINE_HOLE, Work.SLIDE_HOLE)
        ]
        used: dict[Vector, int] = {}
        for joint in step.fitted:
            each = 1 if joint.fastening is Fastening.SLIDE else _PLATE_HOLES
            for point in joint.points:
                nearest = sorted(holes, key=lambda hole: round(_apart(hole, point), 3))[:each]
                used |= dict.fromkeys(nearest, joint.number)
        for hole in holes:
            if hole not in used:
                canvas.dot(scene.view.at(hole), _HOLE, 1.0)
        for hole in used:
            canvas.dot(scene.view.at(hole), _USED_HOLE, 0.0)
        for hole, number in used.items():
            canvas.label(scene.view.at(hole), str(number), NUMBER, Frame.BOX)

    def _lettered(self, step: Step) -> Iterator[str]:
        """The parts that get a letter: what moves, what to look at, and what they meet, unless that is much."""
        yield from (own for own in step.body if len(step.body) <= _FEW or self.parts[own].front)
        yield from (own for own in step.shown if own not in step.body)
        met = {own for joint in step.closed for own in (joint.part, joint.onto)} - {*step.body, *step.shown}
        if len(met) <= _MET and len(step.body) == 1:
            yield from sorted(met)

    def _view(self, step: Step, shown: Sequence[str], offsets: Mapping[str, Vector]) -> View:
        if step.posture is Posture.INSIDE_UP:
            return view_onto(self.parts[step.shown[0]].place.thickness, self.cabinet.front)
        lying = step.posture is Posture.LYING
        if step.from_behind:
            return LYING_FROM_BEHIND if lying else STANDING_FROM_BEHIND
        if self.cabinet.order.family is Family.DIAGONAL_CORNER and step.numbers:
            return self._clearest(step, shown, offsets, ROUND_LYING if lying else ROUND)
        return LYING if lying else STANDING

    def _clearest(self, step: Step, shown: Sequence[str], offsets: Mapping[str, Vector], views: Sequence[View]) -> View:
        """Return the view in which most of the joints that are being closed are not hidden."""
        solids = [
            (own, moved_by(piece.solid, offsets[own]) if own in offsets else piece.solid)
            for own in shown
            for piece in self.pieces[own]
        ]
        pairs = self._pairs(step)
        points = [theirs for _, _, theirs in pairs]
        points += [moved(mine, offsets[step.body[0]], 1.0) for _, mine, _ in pairs if step.body[0] in offsets]
        return max(views, key=lambda view: sum(not any(hides(s, p, view.toward) for _, s in solids) for p in points))

    def _offset(self, step: Step) -> Vector:
        """Return how far from its place a body is drawn: clear of what stands if it is pushed in, else a little."""
        if not any(step.approach) or not step.standing:
            return STILL
        out = reverse(step.approach)
        standing = [piece.solid for own in step.standing for piece in self.pieces[own]]
        body = [piece.solid for own in step.body for piece in self.pieces[own]]
        size = max(_extent([*standing, *body]))
        far = 0.16 * size + 60.0
        if not self._lands(step):
            far += max(0.0, _farthest(standing, out) + _farthest(body, reverse(out)))
        return (out[0] * far, out[1] * far, out[2] * far)

    def _lands(self, step: Step) -> bool:
        """Whether a body comes straight down onto all its joints, rather than into the cabinet."""
        own = set(step.body)
        for joint in step.closed:
            part, side = (joint.part, joint.side) if joint.part in own else (joint.onto, joint.onto_side)
            axis, far, _, _ = SIDES[side]
            normal = self.parts[part].place.axes[axis]
            if dot(normal if far else reverse(normal), step.approach) < _LANDING:
                return False
        return bool(step.closed)

    def _pairs(self, step: Step) -> list[tuple[int, Vector, Vector]]:
        """Return the number of each joint being closed and where it stands on the body and on what it meets."""
        found = []
        for joint in step.closed:
            mine, other = (
                (joint.part, joint.onto) if joint.part in step.body or not step.body else (joint.onto, joint.part)
            )
            places = [point for number, point in self.marks[mine] if number == joint.number]
            theirs = [point for number, point in self.marks[other] if number == joint.number]
            one, two = min(((a, b) for a in places for b in theirs), key=lambda pair: _apart(*pair))
            found.append((joint.number, one, two))
        return list(dict.fromkeys(found))

    def _numbers(
        self, canvas: "_Canvas", scene: "_Scene", pairs: Sequence[tuple[int, Vector, Vector]], offset: Vector | None
    ) -> None:
        for number, mine, theirs in pairs:
            frame = Frame.BEHIND if scene.hidden(theirs) else Frame.BOX
            canvas.label(scene.view.at(theirs), str(number), NUMBER, frame)
            if offset is not None and not scene.hidden(moved(mine, offset, 1.0)):
                canvas.label(scene.view.at(moved(mine, offset, 1.0)), str(number), NUMBER, Frame.BOX)

    def _arrows(self, canvas: "_Canvas", scene: "_Scene", step: Step, offset: Vector) -> None:
        if not step.body:
            for joint in step.closed:
                for point in joint.points if step.from_behind and _is_outer(joint, step) else ():
                    canvas.arrow(scene.view.at(point), scene.view.at(_behind(point)), _ARROW, 0.0)
            return
        if not step.standing:
            return
        body = [moved_by(piece.solid, offset) for own in step.body for piece in self.pieces[own]]
        if any(step.slide):
            self._push(canvas, scene, body, step.slide)
        middle = _middle(body)
        toward = moved(middle, step.approach, 100.0)
        tip, tail = scene.view.at(toward), scene.view.at(middle)
        canvas.arrow(tip, tail, _ARROW * 1.3, 0.0, aside=_beside(body, scene.view, (tip, tail), canvas.scale))

    def _push(self, canvas: "_Canvas", scene: "_Scene", body: Sequence[Prism], slide: Vector) -> None:
        """Draw the last short push beside the edge that is pushed, with its length."""
        down = slide[2] < 0
        edge = max(solid.high for solid in body) if down else min(solid.low for solid in body)
        x, y, _ = _middle(body)
        tip: Vector = (x, y, edge)
        tail: Vector = (x, y, edge + (100.0 if down else -100.0))
        length = measured(length_text(abs(slide[2]), self.guide.units))
        canvas.arrow(scene.view.at(tip), scene.view.at(tail), _ARROW, 2.5, text=length)


def _beside(body: Sequence[Prism], view: View, way: tuple[Point, Point], scale: float) -> float:
    """Return how far aside an arrow stands, in units: beside a body that is so narrow that the arrow would hide it."""
    (x1, y1), (x0, y0) = way
    size = ((x1 - x0) ** 2 + (y1 - y0) ** 2) ** 0.5 or 1.0
    across = ((y1 - y0) / size, (x0 - x1) / size)
    seen = [view.at((x, y, z)) for solid in body for x, y in solid.outline for z in (solid.low, solid.high)]
    places = [x * across[0] + y * across[1] for x, y in seen]
    width = (max(places) - min(places)) * scale
    return -(width / 2 + _ARROW * 0.4) if width < _NARROW else 0.0


_NARROW: Final = 13.0  # units
_FEW: Final = 4
_MET: Final = 2
_LANDING: Final = 0.9


def _is_outer(joint: object, step: Step) -> bool:
    return joint is max(step.closed, key=lambda each: each.points[0][1])


def _behind(point: Vector) -> Vector:
    return (point[0], point[1] + 100.0, point[2])


def _mark_point(part: Part, side: object, along: float, across: float) -> Vector:
    through = {"A": part.thickness_mm, "B": 0.0}.get(str(side), part.thickness_mm / 2)
    return part.place.to_cabinet(along, across, through)


def _apart(one: Vector, other: Vector) -> float:
    away = minus(one, other)
    return dot(away, away)


def _extent(solids: Sequence[Prism]) -> tuple[float, float, float]:
    low, high = _bounds(solids)
    return (high[0] - low[0], high[1] - low[1], high[2] - low[2])


def _bounds(solids: Sequence[Prism]) -> tuple[Vector, Vector]:
    reaches = [solid.reach for solid in solids]
    low, high = (
        [pick(reach[i] for reach in reaches) for i in range(start, start + 3)] for pick, start in ((min, 0), (max, 3))
    )
    return (low[0], low[1], low[2]), (high[0], high[1], high[2])


def _middle(solids: Sequence[Prism]) -> Vector:
    low, high = _bounds(solids)
    return ((low[0] + high[0]) / 2, (low[1] + high[1]) / 2, (low[2] + high[2]) / 2)


def _farthest(solids: Iterable[Prism], way: Vector) -> float:
    return max(
        max(x * way[0] + y * way[1] for x, y in solid.outline) + max(solid.low * way[2], solid.high * way[2])
        for solid in solids
    )


class _Scene:
    """Parts under one view, some moved by offsets, some emphasised: what is painted in which order, what is hidden."""

    def __init__(
        self, artist: _Artist, view: View, shown: Sequence[str], offsets: Mapping[str, Vector], strong: frozenset[str]
    ) -> None:
        self.artist, self.view, self.shown, self.offsets, self.strong = artist, view, shown, offsets, strong
        self.solids = {own: [self._placed(own, piece.solid) for piece in artist.pieces[own]] for own in shown}

    def _placed(self, own: str, solid: Prism) -> Prism:
        return moved_by(solid, self.offsets[own]) if own in self.offsets else solid

    def reach(self) -> tuple[Point, Point]:
        """The lower left and upper right corner of what is seen."""
        points = [
            self.view.at((x, y, z))
            for solids in self.solids.values()
            for solid in solids
            for x, y in solid.outline
            for z in (solid.low, solid.high)
        ]
        xs, ys = [p[0] for p in points], [p[1] for p in points]
        return (min(xs), min(ys)), (max(xs), max(ys))

    def paint(
        self, canvas: "_Canvas", guides: Sequence[tuple[Vector, Vector]] = (), body: set[str] | None = None
    ) -> None:
        """Paint all pieces; ``guides`` are lines from a body to its place, painted between the body and the rest."""
        order = self.artist.stage(self.view).painted(self.shown, self.offsets)
        at = [place for place, (own, _) in enumerate(order) if body and own in body]
        before = bool(guides) and dot(minus(*guides[0]), self.view.toward) < 0
        turn = (max(at) + 1 if before else min(at)) if guides and at else -1
        for place in range(len(order) + 1):
            if place == turn:
                for start, end in guides:
                    canvas.line(self.view.at(start), self.view.at(end), _THIN * 1.4, dashed=True)
            if place < len(order):
                own, index = order[place]
                self._paint(canvas, own, self.artist.pieces[own][index])

    def _paint(self, canvas: "_Canvas", own: str, piece: Piece) -> None:
        offset = self.offsets.get(own, STILL)
        strong = own in self.strong
        toward = self.view.toward
        for side in piece.sides:
            if dot(side.normal, toward) > _EDGE_ON:
                points = [self.view.at(moved(corner, offset, 1.0)) for corner in side.corners]
                canvas.area(points, self._tone(side.normal, strong=strong), own)
        for crease in piece.creases:
            if max(dot(crease.one, toward), dot(crease.other, toward)) > _EDGE_ON:
                start, end = moved(crease.start, offset, 1.0), moved(crease.end, offset, 1.0)
                canvas.line(self.view.at(start), self.view.at(end), _HEAVY if strong else _THIN)

    def _tone(self, normal: Vector, *, strong: bool) -> float:
        tones = _MOVING if strong else _RESTING
        if abs(dot(normal, self.view.above)) > 0.5:
            return tones[0]
        return tones[1] if dot(normal, self.view.toward) > 0.45 else tones[2]

    def hidden(self, point: Vector) -> bool:
        return any(hides(solid, point, self.view.toward) for solids in self.solids.values() for solid in solids)

    def seen_point(self, own: str) -> Point | None:
        """Return where a part's letter stands: on its largest side that is seen, where nothing hides it."""
        for corners in self._sides(own)[:3]:
            for point in _samples(corners):
                if not self.hidden(point):
                    return self.view.at(point)
        return None

    def middle_point(self, own: str) -> Point:
        return self.view.at(next(_samples(self._sides(own)[0])))

    def _sides(self, own: str) -> list[list[Vector]]:
        """The corners of a part's sides that look to the viewer, the largest first."""
        offset = self.offsets.get(own, STILL)
        sides = [
            [moved(corner, offset, 1.0) for corner in side.corners]
            for piece in self.artist.pieces[own]
            for side in piece.sides
            if dot(side.normal, self.view.toward) > _EDGE_ON
        ]
        return sorted(sides, key=lambda corners: -_area([self.view.at(corner) for corner in corners]))


_EDGE_ON: Final = 1e-6


def _area(points: Sequence[Point]) -> float:
    return abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(points, [*points[1:], points[0]], strict=True))) / 2


def _samples(corners: Sequence[Vector]) -> Iterator[Vector]:
    """Yield the middle of a side and then points nearer to its corners and edges."""
    count = len(corners)
    middle: Vector = (
        sum(corner[0] for corner in corners) / count,
        sum(corner[1] for corner in corners) / count,
        sum(corner[2] for corner in corners) / count,
    )
    yield middle
    between = [
        ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2, (a[2] + b[2]) / 2)
        for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)
    ]
    for share in (0.4, 0.6, 0.8, 0.92):
        for point in (*between, *corners):
            yield moved(middle, minus(point, middle), share)


class _Canvas:
    """Fits what is seen, in mm, into a frame, in units, and gathers the shapes; labels give way to each other."""

    def __init__(self, reach: tuple[Point, Point], width: float, height: float) -> None:
        (x0, y0), (x1, y1) = reach
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

    def letter(self, seen: Point, letter: str) -> None:
        self.label(seen, letter, LETTER, Frame.DISC)

    def label(self, seen: Point, text: str, size: float, frame: Frame) -> None:
        self._place(self._to(seen), text, size, frame)

    def _place(self, at: Point, text: str, size: float, frame: Frame) -> None:
        """Set a label where it belongs or as near as it finds room."""
        label = Label(at=at, text=text, size=size, frame=frame)
        half = label.half
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
            self._arrows.append(Line(start=at, end=spot, weight=_THIN))
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
            self._arrows.append(Line(start=a, end=b, weight=_HEAVY))
        if text:
            wide, high = Label(at=end, text=text, size=NUMBER, frame=Frame.NONE).half
            beyond = length + 1.0
            self._place((end[0] - ux * (beyond + wide), end[1] - uy * (beyond + high)), text, NUMBER, Frame.NONE)

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
    xs, ys = [x for x, _ in points], [y for _, y in points]
    middle = ((max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2)
    return middle, ((max(xs) - min(xs)) * _SLIM / 2, (max(ys) - min(ys)) * _SLIM / 2)


_SLIM: Final = 0.8  # a slanting arrow leaves the corners of its box free
_WAYS: Final = tuple(
    (dx * step, dy * step)
    for step in (0.0, 0.8, 1.6, 2.4, 3.2, 4.2)
    for dx, dy in ((0, -1), (0, 1), (1, 0), (-1, 0), (0.75, -0.75), (-0.75, -0.75), (0.75, 0.75), (-0.75, 0.75))
)


# ---------------------------------------------------------------------- all parts apart
def exploded(cabinet: Cabinet, guide: Guide, *, beside: float) -> dict[str, Vector]:
    """Return how far each part is drawn from its place: along each axis behind what it follows there, drawers in front.

    Of drawers that are alike the first is drawn apart, the others whole.
    Along the cabinet's width the parts are at least ``beside`` times its depth apart. No two parts overlap.
    """
    solids = {part.id: solids_of(part) for part in cabinet.parts}
    bodies = _bodies(cabinet)
    low, high = _bounds([solid for each in solids.values() for solid in each])
    large = 0.13 * max(high[i] - low[i] for i in range(3))
    gap: Vector = (max(large, beside * (high[1] - low[1])), large * 1.3, large)
    offsets: dict[str, Vector] = {}
    for inside in _told(cabinet, bodies.values()):
        offsets |= _spread({own: [own] for own in inside}, solids, {}, (large, large, large * 0.7))
    apart = _spread(bodies, solids, offsets, gap)
    ways = {own: moved(offsets.get(own, STILL), apart[name], 1.0) for name, inside in bodies.items() for own in inside}
    frame = {part.id for part in cabinet.parts if not part.front and len(bodies[part.unit or part.id]) == 1}
    return _drawn_out(guide, solids, ways, frame, large)


def _bodies(cabinet: Cabinet) -> dict[str, list[str]]:
    """Return the parts of each unit, and each other part by itself."""
    bodies: dict[str, list[str]] = {}
    for part in cabinet.parts:
        bodies.setdefault(part.unit or part.id, []).append(part.id)
    return bodies


def _told(cabinet: Cabinet, bodies: Iterable[Sequence[str]]) -> Iterator[Sequence[str]]:
    """Yield the bodies of several parts that the drawing takes apart: of those that are alike the first."""
    seen = set()
    for inside in bodies:
        kind = tuple(kind_of(cabinet.part(own)) for own in inside)
        if len(inside) > 1 and kind not in seen:
            seen.add(kind)
            yield inside


def _spread(
    bodies: Mapping[str, Sequence[str]], solids: Mapping[str, Sequence[Prism]], inner: Mapping[str, Vector], gap: Vector
) -> dict[str, Vector]:
    """Push bodies apart along each axis: each ``gap`` beyond those that it follows, however large they have grown."""
    boxes = {name: _bounds([s for own in inside for s in solids[own]]) for name, inside in bodies.items()}
    grown = {
        name: _bounds([moved_by(s, inner.get(own, STILL)) for own in inside for s in solids[own]])
        for name, inside in bodies.items()
    }
    shifts = {name: [0.0, 0.0, 0.0] for name in bodies}
    for axis in range(3):
        placed: list[str] = []
        for name in sorted(bodies, key=lambda each: boxes[each][0][axis] + boxes[each][1][axis]):
            ahead = [other for other in placed if _follows(boxes[name], boxes[other], axis)]
            needed = [grown[o][1][axis] + shifts[o][axis] + gap[axis] - grown[name][0][axis] for o in ahead]
            shifts[name][axis] = max(needed, default=boxes[name][0][axis] - grown[name][0][axis])
            placed.append(name)
    return {name: (shift[0], shift[1], shift[2]) for name, shift in shifts.items()}


_BESIDE: Final = (0.45, 0.7, 1.0, 1.4)  # of the depth: what lies behind is seen past the end beside it
_GROOVE_MM: Final = 12.0


def _follows(one: tuple[Vector, Vector], other: tuple[Vector, Vector], axis: int) -> bool:
    """Whether a box lies beyond another along an axis, a groove's depth aside, and faces it."""
    if one[0][axis] < other[1][axis] - _GROOVE_MM:
        return False
    return all(
        one[0][i] < other[1][i] - _GROOVE_MM and other[0][i] < one[1][i] - _GROOVE_MM for i in range(3) if i != axis
    )


def _drawn_out(
    guide: Guide, solids: Mapping[str, Sequence[Prism]], ways: dict[str, Vector], frame: set[str], gap: float
) -> dict[str, Vector]:
    """Draw the drawers out until they are clear of the ``frame``, and so what hangs across a corner."""
    for step in guide.steps:
        slanting = 0.1 < abs(step.approach[0]) < _LANDING
        if step.body and step.standing and (slanting or not step.moving):
            out = reverse(step.approach)
            body = [moved_by(solid, ways[own]) for own in step.body for solid in solids[own]]
            rest = [moved_by(solid, ways[own]) for own in step.standing if own in frame for solid in solids[own]]
            far = max(0.0, _farthest(rest, out) + _farthest(body, reverse(out)) + gap)
            ways |= {own: moved(ways[own], out, far) for own in step.body}
    return ways
