"""All parts of a cabinet apart, each drawn away from its place."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Final

from tracker.shop.cabinets.assembly import STILL
from tracker.shop.cabinets.design import Cabinet, kind_of
from tracker.shop.cabinets.drawing.canvas import Canvas
from tracker.shop.cabinets.drawing.scene import Model, Scene
from tracker.shop.cabinets.drawing.shapes import Drawing, Frame
from tracker.shop.cabinets.drawing.views import STANDING
from tracker.shop.cabinets.guide.values import Guide
from tracker.shop.cabinets.panels import Vector, moved, reverse
from tracker.shop.cabinets.solids import Prism, bounds, farthest, moved_by, solids_of
from tracker.shop.saying import say

_BESIDE: Final = (0.45, 0.7, 1.0, 1.4)  # of the depth: what lies behind is seen past the end beside it
_GROOVE_MM: Final = 12.0
_SLANTING: Final = 0.9


def overview_of(model: Model, width: float, height: float) -> Drawing:
    """Draw all parts apart, each with its letter; the ends so far that all are seen."""
    cabinet, bodies = model.cabinet, _bodies(model.cabinet)
    told = {own for inside in _told(cabinet, bodies.values()) for own in inside}
    apart = [
        own for own, part in model.parts.items() if own in told or part.front or len(bodies[part.unit or own]) == 1
    ]
    tried = []
    for beside in _BESIDE:
        scene = Scene(model, STANDING, list(model.parts), exploded(cabinet, model.guide, beside=beside))
        places = {own: scene.seen_point(own) for own in apart}
        tried.append((sum(place is None for place in places.values()), scene, places))
        if not tried[-1][0]:
            break
    _, scene, places = min(tried, key=lambda each: each[0])
    canvas = Canvas(scene.reach(), width, height)
    scene.paint(canvas)
    for own in apart:
        canvas.label(places[own] or scene.middle_point(own), model.letters[own], Frame.DISC)
    return canvas.finished(say("All parts of cabinet %(name)s, apart", name=cabinet.order.cabinet))


def exploded(cabinet: Cabinet, guide: Guide, *, beside: float) -> dict[str, Vector]:
    """Return how far each part is drawn from its place: along each axis behind what it follows there, drawers in front.

    Of drawers that are alike the first is drawn apart, the others whole.
    Along the cabinet's width the parts are at least ``beside`` times its depth apart. No two parts overlap.
    """
    solids = {part.id: solids_of(part) for part in cabinet.parts}
    bodies = _bodies(cabinet)
    low, high = bounds([solid for each in solids.values() for solid in each])
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
    boxes = {name: bounds([s for own in inside for s in solids[own]]) for name, inside in bodies.items()}
    grown = {
        name: bounds([moved_by(s, inner.get(own, STILL)) for own in inside for s in solids[own]])
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
        slanting = 0.1 < abs(step.approach[0]) < _SLANTING
        if step.body and step.standing and not step.pushes and (slanting or not step.moving):
            out = reverse(step.approach)
            body = [moved_by(solid, ways[own]) for own in step.body for solid in solids[own]]
            rest = [moved_by(solid, ways[own]) for own in step.standing if own in frame for solid in solids[own]]
            far = max(0.0, farthest(rest, out) + farthest(body, reverse(out)) + gap)
            ways |= {own: moved(ways[own], out, far) for own in step.body}
    return ways
