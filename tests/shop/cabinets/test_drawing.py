"""The drawings: all is inside its frame and can be read.

What hides what is judged in ``tests/outside/test_drawing_by_rays.py``.
"""

from collections import Counter
from functools import cache
from itertools import combinations

import numpy as np
import pytest

from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, designed, guided, name_of, order
from tracker.shop.cabinets.design import Cabinet, design_cabinet
from tracker.shop.cabinets.drawing.drawings import Drawings, drawings_of
from tracker.shop.cabinets.drawing.exploded import exploded
from tracker.shop.cabinets.drawing.shapes import Area, Drawing, Frame, Label, Line
from tracker.shop.cabinets.drawing.views import (
    LYING,
    LYING_FROM_BEHIND,
    ON_ITS_FACE,
    ROUND,
    STANDING,
    STANDING_FROM_BEHIND,
    WALLS_FROM_BEHIND,
    View,
    hides,
    pieces_of,
    sides_of,
)
from tracker.shop.cabinets.guide.values import Guide, Step
from tracker.shop.cabinets.guide.writing import guide_of
from tracker.shop.cabinets.orders import CabinetOrder, Family, Fronts
from tracker.shop.cabinets.panels import Vector, dot
from tracker.shop.cabinets.solids import solids_of
from tracker.shop.errors import InvalidInputError
from tracker.shop.lifting import LiftingMarks

VIEWS = (STANDING, STANDING_FROM_BEHIND, WALLS_FROM_BEHIND, LYING, LYING_FROM_BEHIND, ON_ITS_FACE, *ROUND)
STEP, OVERVIEW = (118.0, 80.0), (186.0, 185.0)
STILL: Vector = (0.0, 0.0, 0.0)


@cache
def drawn(ordered: CabinetOrder) -> tuple[Cabinet, Guide, Drawings]:
    cabinet, guide = designed(ordered), guided(ordered)
    return cabinet, guide, drawings_of(cabinet, guide, step=STEP, overview=OVERVIEW)


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
            assert len(arrows) == (len(step.pushes) or 1)
        elif step.closed and not step.body:
            assert len(arrows) == sum(item.quantity for item in step.items), "one for each pin that is driven in"
        else:
            assert not arrows
        if step.pushes:
            half = "4 mm" if step.unit else "2 mm"
            assert labels(drawing, Frame.NONE).count(half) == len(step.pushes)


def test_labels_do_not_cover_each_other_in_a_crowded_step() -> None:
    _, _, drawings = drawn(order("base", 600, 876, 600, "4 drawers"))
    for drawing in (drawings.overview, *drawings.steps):
        found = [shape for shape in drawing.shapes if isinstance(shape, Label)]
        for one, other in combinations(found, 2):
            apart = [abs(one.at[i] - other.at[i]) >= one.half[i] + other.half[i] for i in (0, 1)]
            assert any(apart), f"{drawing.title}: {one.text} covers {other.text}"


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
    assert dot(ON_ITS_FACE.above, (0.0, 1.0, 0.0)) == 1.0, "its back looks up"


@pytest.mark.parametrize("ordered", ONE_OF_EACH[-4:], ids=name_of)
def test_sides_of_a_prism_look_outward_and_close(ordered: CabinetOrder) -> None:
    for part in designed(ordered).parts:
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
    (solid,) = solids_of(designed(order("end panel", 19.05, 876, 600)).parts[0])
    assert hides(solid, (-50.0, 300.0, 400.0), (1.0, 0.0, 0.0))
    assert not hides(solid, (50.0, 300.0, 400.0), (1.0, 0.0, 0.0))
    assert not hides(solid, (-50.0, 700.0, 400.0), (1.0, 0.0, 0.0))


def test_no_line_is_drawn_where_two_pieces_of_a_panel_only_continue_each_other() -> None:
    """By hand: face A of an end shows its outline, the toe notch and the rims of the groove, no other upright."""
    cabinet = designed(order("base", 800, 876, 600, "doors"))
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
    behind = 600 - STANDARD.carcass.groove_distance_mm
    groove = [behind - STANDARD.boards.back.thickness_mm - STANDARD.carcass.play_mm, behind]
    assert upright == {0.0, round(toe, 1), 600.0, *(round(y, 1) for y in groove)}


@pytest.mark.parametrize("size", [(0.0, 80.0), (118.0, -1.0), (float("nan"), 80.0), (1e9, 80.0)])
def test_a_drawing_without_a_size_is_refused(size: tuple[float, float]) -> None:
    with pytest.raises(InvalidInputError):
        Drawing(width=size[0], height=size[1], title="Nothing", shapes=())


def test_equal_cabinets_are_drawn_equally() -> None:
    ordered = order("base", 800, 876, 600, "drawer over doors")
    cabinet = design_cabinet(ordered, STANDARD)
    guide = guide_of(cabinet, LiftingMarks())
    again = drawings_of(cabinet, guide, step=STEP, overview=OVERVIEW)
    assert again == drawn(ordered)[2]


def test_the_corner_is_looked_at_from_where_its_joints_are_seen() -> None:
    cabinet, guide, drawings = drawn(order("diagonal corner", 914, 876, 600, "base", "left"))
    assert cabinet.order.family is Family.DIAGONAL_CORNER
    for step, drawing in zip(guide.steps, drawings.steps, strict=True):
        if step.numbers and step.body:  # pins are driven from outside, where no joint is seen
            assert labels(drawing, Frame.BOX), f"{step.title}: no joint can be seen"


def test_a_step_knows_what_its_drawing_moves() -> None:
    _, guide, _ = drawn(order("base", 600, 876, 600, "4 drawers"))
    steps: list[Step] = [step for step in guide.steps if step.title.startswith("Slide in")]
    assert len(steps) == 1
    assert {own.rsplit(" ", 1)[-1] for own in steps[0].body} >= {"front", "bottom"}
