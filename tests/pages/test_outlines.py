"""The outline of a panel as an SVG."""

import pytest
from defusedxml.ElementTree import fromstring

from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, name_of
from tracker.labels.contents import JointMark
from tracker.pages.scanning.outlines import ROOM, Panel, outline_svg
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.orders import CabinetOrder


def panel(**more: object) -> Panel:
    given = {"title": "Deck", "length_mm": 564.0, "width_mm": 560.0, "edges": ("L1",), **more}
    return Panel(**given)  # type: ignore[arg-type]


def lines(svg: str, kind: str) -> list[dict[str, str]]:
    return [each.attrib for each in fromstring(svg).iter("line") if each.get("class") == kind]


def test_banded_edges_are_heavy_and_the_others_thin() -> None:
    svg = outline_svg(panel(edges=("L1", "W2")))
    assert len(lines(svg, "banded")) == len(lines(svg, "bare")) == 2
    assert min(float(line["stroke-width"]) for line in lines(svg, "banded")) > 4 * float(
        lines(svg, "bare")[0]["stroke-width"]
    )


def test_l1_is_below_l2_above_w1_left_and_w2_right() -> None:
    where = {}
    for edge in ("L1", "L2", "W1", "W2"):
        line = lines(outline_svg(panel(edges=(edge,))), "banded")[0]
        where[edge] = tuple((float(line[f"{axis}1"]) + float(line[f"{axis}2"])) / 2 for axis in "xy")
    middle = (ROOM[0] / 2, ROOM[1] / 2)
    assert where["L1"][1] > middle[1] > where["L2"][1]
    assert where["W1"][0] < middle[0] < where["W2"][0]


@pytest.mark.parametrize(("front", "axis", "sign"), [("L1", "y", 1), ("L2", "y", -1), ("W1", "x", -1), ("W2", "x", 1)])
def test_the_arrow_points_to_the_front(front: str, axis: str, sign: int) -> None:
    arrow = lines(outline_svg(panel(front=front)), "arrow")[0]
    assert sign * (float(arrow[f"{axis}2"]) - float(arrow[f"{axis}1"])) > 1


def test_a_face_in_front_is_said_in_words() -> None:
    svg = outline_svg(panel(front="A", faces={"A": "this face to the front"}))
    assert "this face to the front" in svg
    assert lines(svg, "arrow") == []


def test_a_number_on_a_face_has_a_frame_and_one_at_an_edge_has_none() -> None:
    marks = [
        JointMark(number=7, side="A", along_mm=282, across_mm=280),
        JointMark(number=8, side="W1", along_mm=0, across_mm=280),
    ]
    root = fromstring(outline_svg(panel(marks=marks, front="L1")))
    assert [text.text for text in root.iter("text")] == ["7", "8"]
    assert len([rect for rect in root.iter("rect") if rect.get("class") == "mark"]) == 1


def test_what_a_name_holds_is_text_and_never_markup() -> None:
    svg = outline_svg(panel(title='<script>"&'))
    assert "<script" not in svg
    assert fromstring(svg).get("aria-label") == '<script>"&'


@pytest.mark.parametrize("size", [(0.001, 0.001), (1e-300, 1e300), (1, 100_000), (3000, 2)])
def test_any_size_is_drawn_within_the_room(size: tuple[float, float]) -> None:
    rect = next(fromstring(outline_svg(panel(length_mm=size[0], width_mm=size[1]))).iter("rect"))
    assert float(rect.get("x", 0)) >= 0
    assert float(rect.get("x", 0)) + float(rect.get("width", 0)) <= ROOM[0]
    assert float(rect.get("y", 0)) + float(rect.get("height", 0)) <= ROOM[1]


@pytest.mark.parametrize("size", [(0, 1), (1, -1), (float("nan"), 1)])
def test_a_panel_without_a_size_is_refused(size: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="length and a width"):
        panel(length_mm=size[0], width_mm=size[1])


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_on_the_panels_of_every_kind_of_cabinet_no_number_covers_another(ordered: CabinetOrder) -> None:
    cabinet = design_cabinet(ordered, STANDARD)
    for part in cabinet.parts:
        marks = cabinet.marks(part)
        svg = outline_svg(
            panel(length_mm=part.length_mm, width_mm=part.width_mm, marks=marks, front=cabinet.front_side(part).value)
        )
        texts = list(fromstring(svg).iter("text"))
        spots = [(float(text.get("x", 0)), float(text.get("y", 0))) for text in texts]
        assert len(spots) == len(marks)
        for place, (x, y) in enumerate(spots):
            assert 0 < x < ROOM[0]
            assert 0 < y < ROOM[1]
            assert all(abs(x - a) >= 5 or abs(y - b) >= 4 for a, b in spots[:place]), part.id
