"""The drawings: all is inside its frame, and nothing is painted over that a ray from the viewer meets first.

The judge is independent: the panels as meshes made by manifold3d from what each part says, and rays cast at their
triangles (Möller and Trumbore, "Fast, minimum storage ray-triangle intersection", 1997), all over the picture.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings

from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, buildable, name_of, order
from tests.shop.cabinets.placed import placed, shared, touching_volume
from tracker.shop.cabinets.design import Cabinet, design_cabinet
from tracker.shop.cabinets.drawing import Area, Drawing, Drawings, Frame, Label, Line, drawings_of, exploded
from tracker.shop.cabinets.guide import Guide, Posture, Step, guide_of
from tracker.shop.cabinets.orders import CabinetOrder, Family, Fronts
from tracker.shop.cabinets.panels import Vector, dot
from tracker.shop.cabinets.solids import Point, solids_of
from tracker.shop.cabinets.views import (
    LYING,
    LYING_FROM_BEHIND,
    ROUND,
    STANDING,
    STANDING_FROM_BEHIND,
    Stage,
    View,
    hides,
    pieces_of,
    sides_of,
)
from tracker.shop.errors import InvalidInputError

VIEWS = (STANDING, STANDING_FROM_BEHIND, LYING, LYING_FROM_BEHIND, *ROUND)
NEAR_MM = 0.6  # a point nearer than this to an edge is not judged
STEP, OVERVIEW = (118.0, 80.0), (186.0, 185.0)
STILL: Vector = (0.0, 0.0, 0.0)


@lru_cache(maxsize=32)
def drawn(ordered: CabinetOrder) -> tuple[Cabinet, Guide, Drawings]:
    cabinet = design_cabinet(ordered, STANDARD)
    guide = guide_of(cabinet, one_person_kg=20)
    return cabinet, guide, drawings_of(cabinet, guide, step=STEP, overview=OVERVIEW)


# ---------------------------------------------------------------------- the judge
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

    def hits(self, start: Vector, way: Vector) -> dict[str, float]:
        """How far along the ray each part is met first."""
        a, b, c = (self.triangles[:, i] for i in (0, 1, 2))
        direction = np.array(way)
        normal = np.cross(direction, c - a)
        size = ((b - a) * normal).sum(axis=1)
        size[np.abs(size) < 1e-9] = np.nan
        away = np.array(start) - a
        u = (away * normal).sum(axis=1) / size
        across = np.cross(away, b - a)
        v = (across @ direction) / size
        far = ((c - a) * across).sum(axis=1) / size
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


# ---------------------------------------------------------------------- paint order
@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_what_is_nearest_is_painted_last_in_every_view_and_with_parts_moved_out(ordered: CabinetOrder) -> None:
    cabinet, guide, _ = drawn(ordered)
    check_paint_order(cabinet, guide, list(cabinet.parts), exploded(cabinet, guide, beside=0.45), VIEWS, 25)
    for step in guide.steps[::3]:
        far = -170 if len(step.body) == 1 else -900  # a drawer is drawn clear of its cabinet
        out: Vector = (far * step.approach[0], far * step.approach[1], far * step.approach[2])
        offsets = dict.fromkeys(step.body, out)
        parts = [cabinet.part(own) for own in (*step.standing, *step.body)]
        if parts and step.closed:
            view = LYING if step.posture is Posture.LYING else STANDING
            check_paint_order(cabinet, guide, parts, offsets, (view,), 25)


@settings(max_examples=25)
@given(buildable())
def test_any_cabinet_is_painted_as_it_is_seen(ordered: CabinetOrder) -> None:
    cabinet = design_cabinet(ordered, STANDARD)
    guide = guide_of(cabinet, one_person_kg=20)
    check_paint_order(cabinet, guide, list(cabinet.parts), {}, (STANDING, LYING_FROM_BEHIND), 20)


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


# ---------------------------------------------------------------------- inside the frame
def check_inside(drawing: Drawing) -> None:
    for shape in drawing.shapes:
        match shape:
            case Area():
                points = list(shape.points)
                assert 0 <= shape.tone <= 1
            case Line():
                points = [shape.start, shape.end]
                assert shape.weight > 0
            case Label():
                (x, y), (wide, high) = shape.at, shape.half
                points = [(x - wide, y - high), (x + wide, y + high)]
                assert shape.text
        for x, y in points:
            assert -1e-6 <= x <= drawing.width + 1e-6
            assert -1e-6 <= y <= drawing.height + 1e-6


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_all_that_is_drawn_is_inside_the_drawing(ordered: CabinetOrder) -> None:
    _, guide, drawings = drawn(ordered)
    assert len(drawings.steps) == len(guide.steps)
    for drawing in (drawings.overview, *drawings.steps):
        check_inside(drawing)


@settings(max_examples=25)
@given(buildable())
def test_all_that_is_drawn_of_any_cabinet_is_inside_the_drawing(ordered: CabinetOrder) -> None:
    _, _, drawings = drawn(ordered)
    for drawing in (drawings.overview, *drawings.steps):
        check_inside(drawing)


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_a_drawing_fills_its_frame(ordered: CabinetOrder) -> None:
    _, _, drawings = drawn(ordered)
    for drawing in (drawings.overview, *drawings.steps):
        points = [point for shape in drawing.shapes if isinstance(shape, Area) for point in shape.points]
        wide = max(x for x, _ in points) - min(x for x, _ in points)
        high = max(y for _, y in points) - min(y for _, y in points)
        assert max(wide / drawing.width, high / drawing.height) > 0.8


# ---------------------------------------------------------------------- what is to be read from it
def labels(drawing: Drawing, *frames: Frame) -> list[str]:
    return [shape.text for shape in drawing.shapes if isinstance(shape, Label) and shape.frame in frames]


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_the_drawing_of_all_parts_has_every_letter_and_takes_one_of_equal_drawers_apart(ordered: CabinetOrder) -> None:
    cabinet, guide, drawings = drawn(ordered)
    shown = Counter(labels(drawings.overview, Frame.DISC))
    assert set(shown) == set(guide.letters.values())
    for row in guide.parts:
        is_inner = cabinet.part(row.ids[0]).unit.startswith("Drawer") and not cabinet.part(row.ids[0]).front
        assert shown[row.letter] <= row.count if is_inner else shown[row.letter] == row.count
    if ordered.fronts is Fronts.FOUR_DRAWERS:
        sides = next(row for row in guide.parts if row.name == "Drawers 2, 3 and 4: left side")
        assert shown[sides.letter] == 1


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_each_step_shows_the_numbers_of_the_joints_that_it_closes(ordered: CabinetOrder) -> None:
    _, guide, drawings = drawn(ordered)
    for step, drawing in zip(guide.steps, drawings.steps, strict=True):
        fitted = {joint.number for joint in step.fitted}
        shown = set(labels(drawing, Frame.BOX, Frame.BEHIND))
        assert shown == {str(number) for number in {*step.numbers, *fitted}}, step.title


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_what_moves_has_heavy_lines_and_an_arrow_and_what_stands_has_thin_ones(ordered: CabinetOrder) -> None:
    _, guide, drawings = drawn(ordered)
    for step, drawing in zip(guide.steps, drawings.steps, strict=True):
        weights = {shape.weight for shape in drawing.shapes if isinstance(shape, Line)}
        arrows = [shape for shape in drawing.shapes if isinstance(shape, Area) and not shape.part]
        if step.body and step.standing:
            assert len(weights) >= 2
            assert len(arrows) == 1 + any(step.slide)
        elif step.from_behind and step.closed:
            assert len(arrows) == max(step.closed, key=lambda joint: joint.points[0][1]).count
        else:
            assert not arrows
        if any(step.slide):
            assert "4 mm" in labels(drawing, Frame.NONE)


def test_labels_do_not_cover_each_other_in_a_crowded_step() -> None:
    _, _, drawings = drawn(order("base", 600, 876, 600, "4 drawers"))
    for drawing in (drawings.overview, *drawings.steps):
        found = [shape for shape in drawing.shapes if isinstance(shape, Label)]
        for one, other in combinations(found, 2):
            apart = [abs(one.at[i] - other.at[i]) >= one.half[i] + other.half[i] for i in (0, 1)]
            assert any(apart), f"{drawing.title}: {one.text} covers {other.text}"


@pytest.mark.parametrize("ordered", ONE_OF_EACH[:18], ids=name_of)
def test_apart_no_two_parts_overlap_and_each_is_moved_along_the_axes(ordered: CabinetOrder) -> None:
    cabinet, guide, _ = drawn(ordered)
    offsets = exploded(cabinet, guide, beside=0.45)
    moved = {part.id: placed(part).translate(offsets[part.id]) for part in cabinet.parts}
    for (name, one), (other_name, other) in combinations(moved.items(), 2):
        assert shared(one, other) <= touching_volume(one, other), f"{name} and {other_name}"


def test_drawers_stand_in_front_of_the_cabinet_when_all_is_apart() -> None:
    cabinet, guide, _ = drawn(order("base", 600, 876, 600, "3 drawers"))
    offsets = exploded(cabinet, guide, beside=0.45)
    deepest = max(
        corner[1] + offsets[part.id][1]
        for part in cabinet.parts
        if part.unit.startswith("Drawer")
        for corner in part.corners()
    )
    ends = min(
        corner[1] + offsets[own][1] for own in ("Left end", "Right end") for corner in cabinet.part(own).corners()
    )
    assert deepest < ends


# ---------------------------------------------------------------------- views
@pytest.mark.parametrize("view", VIEWS)
def test_a_view_is_a_right_handed_frame_of_unit_vectors(view: View) -> None:
    axes = np.array([view.right, view.up, view.toward])
    assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-9)
    assert np.linalg.det(axes) == pytest.approx(1.0)
    assert dot(view.above, view.up) > 0.5


def test_front_top_and_one_end_are_seen_standing_and_lying() -> None:
    for view in (STANDING, LYING):
        front, top, right_end = (0.0, -1.0, 0.0), (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)
        assert all(dot(way, view.toward) > 0.2 for way in (front, top, right_end))
    assert dot(LYING.up, (1.0, 0.0, 0.0)) > 0.8


@pytest.mark.parametrize("ordered", ONE_OF_EACH[-4:], ids=name_of)
def test_sides_of_a_prism_look_outward_and_close(ordered: CabinetOrder) -> None:
    for part in design_cabinet(ordered, STANDARD).parts:
        for solid in solids_of(part):
            total = np.zeros(3)
            for side in sides_of(solid):
                corners = np.array(side.corners)
                area = sum(
                    np.cross(corners[i] - corners[0], corners[i + 1] - corners[0]) for i in range(1, len(corners) - 1)
                )
                assert area @ np.array(side.normal) > 0
                total += area
            assert total == pytest.approx(np.zeros(3), abs=1e-3)


def test_a_point_behind_a_panel_is_hidden_and_one_before_it_is_not() -> None:
    (solid,) = solids_of(design_cabinet(order("end panel", 19.05, 876, 600), STANDARD).parts[0])
    assert hides(solid, (-50.0, 300.0, 400.0), (1.0, 0.0, 0.0))
    assert not hides(solid, (50.0, 300.0, 400.0), (1.0, 0.0, 0.0))
    assert not hides(solid, (-50.0, 700.0, 400.0), (1.0, 0.0, 0.0))


def test_no_line_is_drawn_where_two_pieces_of_a_panel_only_continue_each_other() -> None:
    """By hand: face A of an end shows its outline, the toe notch and the rims of the groove, no other upright."""
    cabinet = design_cabinet(order("base", 800, 876, 600, "doors"), STANDARD)
    end = cabinet.part("Left end")
    pieces = pieces_of(solids_of(end))
    inner = end.thickness_mm
    rails = {
        tuple(sorted((round(crease.start[1], 1), round(crease.end[1], 1))))
        for piece in pieces
        for crease in piece.creases
        if crease.start[0] == crease.end[0] == inner and crease.start[1] != crease.end[1]
    }
    toe = STANDARD.carcass.toe_setback_mm
    assert all(low in (0.0, toe) or low > 500 for low, _ in rails)
    upright = {
        round(crease.start[1], 1)
        for piece in pieces
        for crease in piece.creases
        if crease.start[0] == crease.end[0] == inner and crease.start[2] != crease.end[2]
    }
    groove = [600 - STANDARD.carcass.groove_distance_mm - STANDARD.boards.back.thickness_mm]
    groove.append(600 - STANDARD.carcass.groove_distance_mm + STANDARD.carcass.play_mm)
    assert upright == {0.0, round(toe, 1), 600.0, *(round(y, 1) for y in groove)}


@pytest.mark.parametrize("size", [(0.0, 80.0), (118.0, -1.0), (float("nan"), 80.0), (1e9, 80.0)])
def test_a_drawing_without_a_size_is_refused(size: tuple[float, float]) -> None:
    with pytest.raises(InvalidInputError):
        Drawing(width=size[0], height=size[1], title="Nothing", shapes=())


def test_equal_cabinets_are_drawn_equally() -> None:
    ordered = order("base", 800, 876, 600, "drawer over doors")
    cabinet = design_cabinet(ordered, STANDARD)
    guide = guide_of(cabinet, one_person_kg=20)
    again = drawings_of(cabinet, guide, step=STEP, overview=OVERVIEW)
    assert again == drawn(ordered)[2]


def test_the_corner_is_looked_at_from_where_its_joints_are_seen() -> None:
    cabinet, guide, drawings = drawn(order("diagonal corner", 914, 876, 600, "base", "left"))
    assert cabinet.order.family is Family.DIAGONAL_CORNER
    for step, drawing in zip(guide.steps, drawings.steps, strict=True):
        if step.numbers:
            assert labels(drawing, Frame.BOX), f"{step.title}: no joint can be seen"


def test_a_step_knows_what_its_drawing_moves() -> None:
    _, guide, _ = drawn(order("base", 600, 876, 600, "4 drawers"))
    steps: list[Step] = [step for step in guide.steps if step.title.startswith("Slide in")]
    assert len(steps) == 1
    assert {own.rsplit(" ", 1)[-1] for own in steps[0].body} >= {"front", "bottom"}
