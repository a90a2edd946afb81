"""Nothing is painted over that a ray from the viewer meets first, and parts drawn apart do not overlap.

The judge is independent: the panels as meshes made by manifold3d from what each part says, and rays cast at their
triangles (Möller and Trumbore, "Fast, minimum storage ray-triangle intersection", 1997), all over the picture.
"""

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given

from tests.examples import examples
from tests.outside.placed import overlap, placed
from tests.shop.cabinets.examples import ONE_OF_EACH, buildable, designed, guided, name_of
from tests.shop.cabinets.test_drawing import STILL, VIEWS, check_inside, drawn
from tracker.shop.cabinets.assembly import Posture
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.drawing.exploded import exploded
from tracker.shop.cabinets.drawing.painting import Stage
from tracker.shop.cabinets.drawing.shapes import Area
from tracker.shop.cabinets.drawing.views import LYING, LYING_FROM_BEHIND, STANDING, View, pieces_of
from tracker.shop.cabinets.guide.values import Guide
from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.cabinets.panels import Vector, dot
from tracker.shop.cabinets.solids import Point, solids_of

NEAR_MM = 0.6  # a point nearer than this to an edge is not judged


class Meshes:
    """The panels as triangles, and what a ray from the viewer meets first."""

    def __init__(self, cabinet: Cabinet, parts: Sequence[str], offsets: Mapping[str, Vector]) -> None:
        self.names: list[str] = []
        found: list[Any] = []
        for own in parts:
            mesh = placed(cabinet.part(own)).to_mesh()
            corners = mesh.vert_properties[:, :3].astype(float) + np.array(offsets.get(own, STILL))
            triangles = corners[mesh.tri_verts]
            found.append(triangles)
            self.names += [own] * len(triangles)
        self.triangles = np.concatenate(found)

    @lru_cache(maxsize=8)  # noqa: B019 - all rays of one picture go one way
    def _measures(self, way: Vector) -> tuple[Any, Any]:
        """The test of a ray that goes this way against all triangles, as sums of where it starts and a constant."""
        a, b, c = (self.triangles[:, i] for i in (0, 1, 2))
        normal = np.cross(np.array(way), c - a)
        size = ((b - a) * normal).sum(axis=1)
        size[np.abs(size) < 1e-9] = np.nan
        # For a ray from s, with s - a = t: u = t·(way × (c - a)), v = t·((b - a) × way), far = t·((b - a) × (c - a)).
        sums = np.stack([normal, np.cross(b - a, np.array(way)), np.cross(b - a, c - a)]) / size[:, None]
        return sums, (sums * a).sum(axis=2)

    def hits(self, start: Vector, way: Vector) -> dict[str, float]:
        """How far along the ray each part is met first."""
        sums, constants = self._measures(way)
        u, v, far = sums @ np.array(start) - constants
        met: dict[str, list[float]] = {}
        for index in np.flatnonzero((u >= 0) & (v >= 0) & (u + v <= 1)):
            met.setdefault(self.names[index], []).append(float(far[index]))
        return {name: first for name, each in met.items() for first in _entries(sorted(each))[:1]}


def _entries(ways: Sequence[float]) -> list[float]:
    """Where a ray goes into material: what has no thickness, left by cutting off a corner, is none."""
    return [one for one, other in pairwise(ways) if other - one > 0.1]


def judge(view: View, meshes: Meshes, point: Point, painted: str | None) -> bool:
    """Check who is painted at a point of the view, in mm; return whether the point could be judged."""
    firsts = set()
    for dx, dy in ((0, 0), (NEAR_MM, 0), (-NEAR_MM, 0), (0, NEAR_MM), (0, -NEAR_MM)):
        x, y = point[0] + dx, point[1] + dy
        start = tuple(view.right[i] * x + view.up[i] * y + view.toward[i] * 10_000 for i in range(3))
        hits = meshes.hits((start[0], start[1], start[2]), (-view.toward[0], -view.toward[1], -view.toward[2]))
        firsts.add(min(hits, key=lambda name: hits[name]) if hits else None)
    if len(firsts) > 1:
        return False
    assert painted == firsts.pop(), f"at {point}"
    return True


def places(low: Point, high: Point, count: int) -> Iterator[Point]:
    """Points spread over a rectangle: the sequence of Roberts (2018) from the plastic number, chance without a seed."""
    for n in range(1, count + 1):
        yield tuple(
            low[i] + (high[i] - low[i]) * ((0.5 + n * step) % 1) for i, step in enumerate((0.7548777, 0.5698403))
        )  # type: ignore[misc]


def inside(point: Point, polygon: Sequence[Point]) -> bool:
    """Whether a convex polygon, whichever way round, holds a point."""
    turns = [
        (b[0] - a[0]) * (point[1] - a[1]) - (b[1] - a[1]) * (point[0] - a[0])
        for a, b in zip(polygon, [*polygon[1:], polygon[0]], strict=True)
    ]
    return min(turns) >= -1e-6 or max(turns) <= 1e-6  # where two corners fall together, the turn is dust


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_what_is_nearest_is_painted_last_in_every_view_and_with_parts_moved_out(ordered: CabinetOrder) -> None:
    cabinet, guide = designed(ordered), guided(ordered)
    check_paint_order(cabinet, guide, list(cabinet.parts), exploded(cabinet, guide, beside=0.45), VIEWS, 25)
    for step in guide.steps[::3]:
        far = -170 if len(step.body) == 1 else -900  # a drawer is drawn clear of its cabinet
        out: Vector = (far * step.approach[0], far * step.approach[1], far * step.approach[2])
        offsets = dict.fromkeys(step.body, out)
        parts = [cabinet.part(own) for own in (*step.standing, *step.body)]
        if parts and step.closed:
            view = LYING if step.posture is Posture.LYING else STANDING
            check_paint_order(cabinet, guide, parts, offsets, (view,), 25)


@examples(10)
@given(buildable())
def test_any_cabinet_is_painted_as_it_is_seen_and_inside_the_drawing(ordered: CabinetOrder) -> None:
    cabinet, guide, drawings = drawn(ordered)
    check_paint_order(cabinet, guide, list(cabinet.parts), {}, (STANDING, LYING_FROM_BEHIND), 20)
    for drawing in (drawings.overview, *drawings.steps):
        check_inside(drawing)


def check_paint_order(
    cabinet: Cabinet,
    guide: Guide,
    parts: Sequence[Any],
    offsets: Mapping[str, Vector],
    views: Sequence[View],
    count: int,
) -> None:
    names = [part.id for part in parts]
    pieces = {part.id: pieces_of(solids_of(part)) for part in parts}
    meshes = Meshes(cabinet, names, offsets)
    for view in views:
        layers = []
        for own, index in Stage(view, pieces).painted(names, offsets):
            at = offsets.get(own, STILL)
            for side in pieces[own][index].sides:
                if dot(side.normal, view.toward) > 0:
                    corners = [view.at((x + at[0], y + at[1], z + at[2])) for x, y, z in side.corners]
                    layers.append((own, corners))
        spots = [corner for _, corners in layers for corner in corners]
        low = (min(x for x, _ in spots), min(y for _, y in spots))
        high = (max(x for x, _ in spots), max(y for _, y in spots))
        judged = 0
        for point in places(low, high, count):
            painted = next((own for own, corners in reversed(layers) if inside(point, corners)), None)
            judged += judge(view, meshes, point, painted)
        assert judged >= count / 2


@pytest.mark.parametrize("ordered", ONE_OF_EACH[:18], ids=name_of)
def test_a_finished_drawing_shows_at_each_point_the_part_that_is_nearest(ordered: CabinetOrder) -> None:
    """The page's scale is found from the picture's outline: a whole cabinet in its place, nothing moved out."""
    cabinet, guide, drawings = drawn(ordered)
    step, drawing = next(
        (step, drawing)
        for step, drawing in zip(guide.steps, drawings.steps, strict=True)
        if step.title == "Stand the cabinet up"
    )
    areas = [shape for shape in drawing.shapes if isinstance(shape, Area) and shape.part]
    meshes = Meshes(cabinet, step.standing, {})
    seen = [STANDING.at((x, y, z)) for x, y, z in meshes.triangles.reshape(-1, 3).tolist()]
    low = (min(x for x, _ in seen), min(y for _, y in seen))
    high = (max(x for x, _ in seen), max(y for _, y in seen))
    left, right = (pick(x for area in areas for x, _ in area.points) for pick in (min, max))
    top = min(y for area in areas for _, y in area.points)
    scale = (right - left) / (high[0] - low[0])
    for x, y in places(low, high, 60):
        page = (left + (x - low[0]) * scale, top + (high[1] - y) * scale)
        painted = next((area.part for area in reversed(areas) if inside(page, area.points)), None)
        judge(STANDING, meshes, (x, y), painted)


@pytest.mark.parametrize("ordered", ONE_OF_EACH[:18], ids=name_of)
def test_apart_no_two_parts_overlap_and_each_is_moved_along_the_axes(ordered: CabinetOrder) -> None:
    cabinet, guide = designed(ordered), guided(ordered)
    offsets = exploded(cabinet, guide, beside=0.45)
    moved = {part.id: placed(part).translate(offsets[part.id]) for part in cabinet.parts}
    for (name, one), (other_name, other) in combinations(moved.items(), 2):
        assert not overlap(one, other), f"{name} and {other_name}"
