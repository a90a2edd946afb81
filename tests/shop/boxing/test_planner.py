"""Plans of boxes, seen by the witness; the sizes are invented."""

import pytest

from tests.shop.boxing.witness import complaints, solids_of
from tracker.shop.boxing.planner import MOST_IN_RUN, MOST_PANELS, plan_boxes, plan_job
from tracker.shop.boxing.values import BoxPlan, Carton, PackingRules, Panel
from tracker.shop.errors import InvalidInputError
from tracker.shop.measures import board_mass_kg

FEW_STEPS = 100_000


def panel(name: str, length: float, width: float, thick: float = 18, mass: float = 1, **more: object) -> Panel:
    fields = {"length_mm": length, "width_mm": width, "thickness_mm": thick, "mass_kg": mass, **more}
    return Panel(id=name, **fields)  # type: ignore[arg-type]


def carton(
    name: str = "C", size: tuple[float, float, float] = (800, 600, 100), mass: float = 30, **more: object
) -> Carton:
    length, width, height = size
    fields = {"length_mm": length, "width_mm": width, "height_mm": height, "max_mass_kg": mass, **more}
    return Carton(id=name, **fields)  # type: ignore[arg-type]


def contents(plan: BoxPlan) -> list[tuple[str, list[str]]]:
    return [(box.carton, [place.id for place in box.panels]) for box in plan.boxes]


def test_the_same_input_gives_the_same_plan() -> None:
    panels = [panel(f"P{n}", 200 + 37 * n % 500, 100 + 53 * n % 400, 18, 1 + n % 5) for n in range(60)]
    assert plan_boxes(panels, [carton()]) == plan_boxes(panels, [carton()])


def test_no_panels_need_no_box() -> None:
    plan = plan_boxes([], [carton()])
    assert (plan.boxes, plan.lower_bound, plan.proved_least, plan.unplaceable) == ((), 0, True, ())


def test_panels_share_a_layer_where_they_lie_side_by_side() -> None:
    panels = [panel(f"P{n}", 400, 300) for n in range(4)]
    plan = plan_boxes(panels, [carton()])
    assert [place.layer for place in plan.boxes[0].panels] == [1, 1, 1, 1]
    assert plan.boxes[0].height_mm == 18
    assert plan.proved_least


def test_a_layer_is_as_high_as_its_thickest_panel() -> None:
    plan = plan_boxes([panel("A", 400, 600, 18), panel("B", 400, 600, 22), panel("C", 800, 600, 6)], [carton()])
    assert plan.boxes[0].height_mm == 28


def test_a_sheet_lies_between_layers_and_not_below_or_above_them() -> None:
    panels = [panel("A", 800, 600, 48), panel("B", 800, 600, 48)]
    assert len(plan_boxes(panels, [carton()], PackingRules(layer_gap_mm=4)).boxes) == 1
    plan = plan_boxes(panels, [carton()], PackingRules(layer_gap_mm=4.001))
    assert (len(plan.boxes), plan.lower_bound) == (2, 2)


def test_the_bag_has_its_gap_on_top_and_its_mass_counts() -> None:
    rules = PackingRules(bag_height_mm=30, bag_mass_kg=1.5)
    plan = plan_boxes([panel("A", 800, 600, 40), panel("B", 800, 600, 30)], [carton(tare_kg=1)], rules)
    box = plan.boxes[0]
    assert box.bag is not None
    assert (box.bag.above_layer, box.bag.z_mm, box.height_mm, box.mass_kg) == (2, 70, 100, 4.5)


@pytest.mark.parametrize(("bag_mm", "bag_kg"), [(30.001, 1), (30, 10.001)])
def test_a_bag_too_high_or_too_heavy_costs_a_second_box(bag_mm: float, bag_kg: float) -> None:
    panels = [panel("A", 800, 600, 40, 10), panel("B", 800, 600, 30, 10)]
    rules = PackingRules(bag_height_mm=bag_mm, bag_mass_kg=bag_kg)
    assert len(plan_boxes(panels, [carton()], rules).boxes) == 2


@pytest.mark.parametrize(("tare", "boxes"), [(10, 1), (10.000001, 2)])
def test_the_mass_limit_is_of_the_whole_box_with_its_carton(tare: float, boxes: int) -> None:
    panels = [panel(f"P{n}", 300, 300, 18, 0.1) for n in range(200)]
    plan = plan_boxes(panels, [carton(size=(900, 900, 900), mass=30, tare_kg=tare)])
    assert len(plan.boxes) == boxes
    assert plan.lower_bound == boxes


def test_tenths_and_thirds_add_up_to_the_limit_and_not_over_it() -> None:
    thirds = [panel(f"P{n}", 800, 600, 50 / 3) for n in range(6)]
    assert len(plan_boxes(thirds, [carton()]).boxes) == 1
    tenths = [panel("A", 800, 600, 0.1), panel("B", 800, 600, 0.2)]
    assert len(plan_boxes(tenths, [carton(size=(800, 600, 0.3))]).boxes) == 1
    assert len(plan_boxes(tenths, [carton(size=(800, 600, 0.2999999))]).boxes) == 2


def test_heavier_and_larger_panels_lie_lower() -> None:
    panels = [panel("light", 700, 500, 18, 2), panel("heavy", 750, 550, 18, 5), panel("middle", 720, 520, 18, 3)]
    assert contents(plan_boxes(panels, [carton()])) == [("C", ["heavy", "middle", "light"])]


def test_fronts_lie_on_top_however_heavy_they_are() -> None:
    panels = [
        panel("door", 780, 590, 18, 9, front=True),
        panel("toe kick", 780, 400, 18, 1),
        panel("end", 780, 560, 18, 4),
    ]
    assert contents(plan_boxes(panels, [carton()])) == [("C", ["end", "toe kick", "door"])]


def test_a_front_beside_another_panel_has_nothing_but_fronts_above_it() -> None:
    panels = [
        *(panel(f"door {n}", 400, 600, 18, 5, front=True) for n in range(3)),
        *(panel(f"end {n}", 400, 600, 18, 4) for n in range(3)),
    ]
    cartons = [carton(size=(800, 600, 54))]
    plan = plan_boxes(panels, cartons)
    assert len(plan.boxes) == 1
    assert complaints(plan, panels, cartons, PackingRules()) == []
    assert {place.id[:4] for place in plan.boxes[0].panels if place.layer == 1} == {"end "}


def test_a_cabinet_stays_together_where_that_costs_no_extra_box() -> None:
    panels = [
        panel(f"{cabinet}-{n}", 800, 600, 18, mass, cabinet=cabinet)
        for n in range(2)
        for cabinet, mass in (("101", 8), ("102", 7), ("103", 6), ("104", 5))
    ]
    plan = plan_boxes(panels, [carton()])
    assert plan.proved_least
    inside = [{name[:3] for name in names} for _, names in contents(plan)]
    assert sorted(map(sorted, inside)) == [["101", "102"], ["103", "104"]]


def test_a_cabinet_is_shared_out_rather_than_costing_a_box() -> None:
    panels = [
        panel(f"{cabinet}-{n}", 800, 600, 18, 10, cabinet=cabinet)
        for cabinet in ("101", "102", "103")
        for n in range(2)
    ]
    plan = plan_boxes(panels, [carton()])
    assert len(plan.boxes) == 2
    assert sorted(len(names) for _, names in contents(plan)) == [3, 3]


def test_the_smallest_carton_that_holds_the_panels_is_taken() -> None:
    cartons = [carton("large", (1000, 700, 200)), carton("small", (800, 600, 40)), carton("middle", (900, 650, 100))]
    assert [box.carton for box in plan_boxes([panel("A", 700, 500), panel("B", 700, 500)], cartons).boxes] == ["small"]
    assert [box.carton for box in plan_boxes([panel("A", 700, 500, 45)], cartons).boxes] == ["middle"]


def test_fewer_boxes_come_before_less_volume() -> None:
    cartons = [carton("large", (1000, 700, 200)), carton("small", (800, 600, 40))]
    plan = plan_boxes([panel(f"P{n}", 780, 580, 18, 1) for n in range(5)], cartons)
    assert [box.carton for box in plan.boxes] == ["large"]


def test_two_middle_cartons_are_taken_for_a_large_and_a_small_one_when_they_are_less() -> None:
    cartons = [carton("large", (800, 600, 108)), carton("middle", (800, 600, 74)), carton("small", (800, 600, 38))]
    plan = plan_boxes([panel(f"P{n}", 800, 600, 36, 1) for n in range(4)], cartons)
    assert sorted(box.carton for box in plan.boxes) == ["large", "small"]
    heavy = plan_boxes([panel(f"P{n}", 800, 600, 36, 14) for n in range(4)], cartons)
    assert [box.carton for box in heavy.boxes] == ["middle", "middle"]


def test_no_more_cartons_are_used_than_there_are() -> None:
    cartons = [carton("large", (800, 600, 90), available=1), carton("small", (800, 600, 40))]
    panels = [panel(f"P{n}", 780, 580) for n in range(9)]
    plan = plan_boxes(panels, cartons)
    assert sorted(box.carton for box in plan.boxes) == ["large", "small", "small"]
    assert plan.proved_least


def test_what_no_carton_is_left_for_is_named_and_the_rest_is_planned() -> None:
    plan = plan_boxes([panel(f"P{n}", 780, 580, 18, 14) for n in range(5)], [carton(available=2)])
    assert len(plan.boxes) == plan.lower_bound == 2
    assert [left.why for left in plan.unplaceable] == [
        "every carton that it fits is used up: order more, or allow another kind"
    ]


def test_a_carton_of_which_none_is_left_is_told_from_one_that_is_too_small() -> None:
    plan = plan_boxes([panel("A", 780, 580)], [carton(available=0), carton("tiny", (100, 100, 100))])
    assert plan.boxes == ()
    assert "used up" in plan.unplaceable[0].why


@pytest.mark.parametrize(
    ("unfit", "why"),
    [
        (panel("X", 801, 100), "it is 801 mm long and the longest carton is 800 mm"),
        (panel("X", 100, 801), "it is 801 mm long and the longest carton is 800 mm"),
        (panel("X", 700, 601), "it is 601 mm wide and the widest carton is 600 mm"),
        (panel("X", 700, 500, 101), "it is 101 mm thick and the highest carton leaves 100 mm"),
        (panel("X", 700, 500, 18, 29.5), "it weighs 29.5 kg and no carton may hold more than 29 kg of panels"),
    ],
)
def test_a_panel_that_fits_nowhere_is_named_with_the_reason_and_the_rest_is_planned(unfit: Panel, why: str) -> None:
    plan = plan_boxes([unfit, panel("A", 700, 500)], [carton(tare_kg=1)])
    assert [(left.id, left.why) for left in plan.unplaceable] == [("X", why)]
    assert contents(plan) == [("C", ["A"])]
    assert plan.proved_least


def test_a_panel_that_is_too_much_for_each_carton_in_another_way_is_named() -> None:
    cartons = [carton("long", (1000, 100, 100)), carton("wide", (600, 600, 100))]
    plan = plan_boxes([panel("X", 900, 300)], cartons)
    assert plan.unplaceable[0].why == "no one carton is large, high and strong enough for it"


def test_panels_lie_flat_and_turn_by_a_right_angle_only_when_they_must() -> None:
    plan = plan_boxes([panel("A", 500, 780)], [carton()])
    assert plan.boxes[0].panels[0].rotated
    upright = plan_boxes([panel("A", 500, 780)], [carton(size=(600, 800, 100))])
    assert not upright.boxes[0].panels[0].rotated


def test_the_centre_of_mass_lies_in_the_middle_of_the_carton() -> None:
    panels = [panel("A", 700, 500, 18, 5), panel("B", 300, 500, 18, 2), panel("C", 200, 500, 18, 1.5)]
    box = plan_boxes(panels, [carton()]).boxes[0]
    assert box.shift_mm < 5
    assert complaints(plan_boxes(panels, [carton()]), panels, [carton()], PackingRules()) == []


def test_a_hundred_and_twenty_panels_of_cabinets_come_within_one_box_of_the_bound() -> None:
    parts = [
        (720, 560, 18),
        (720, 560, 18),
        (564, 560, 18),
        (564, 100, 18),
        (564, 100, 18),
        (710, 580, 6),
        (560, 596, 18),
    ]
    panels = [
        panel(f"{n}-{k}", long, wide, thick, board_mass_kg(long, wide, thick), cabinet=f"{n}", front=k == 6)
        for n in range(17)
        for k, (long, wide, thick) in enumerate(parts)
    ]
    rules = PackingRules(layer_gap_mm=1, bag_height_mm=20, bag_mass_kg=0.5)
    cartons = [carton("M", (800, 600, 120), 32, tare_kg=1.1), carton("L", (1000, 650, 150), 40, tare_kg=1.5)]
    plan = plan_boxes(panels, cartons, rules)
    assert complaints(plan, panels, cartons, rules) == []
    assert len(plan.boxes) <= plan.lower_bound + 1


def test_a_job_of_many_cabinets_is_planned_in_runs_that_cut_no_cabinet() -> None:
    panels = [
        panel(f"{cabinet}-{n}", 300 + 7 * n, 200, 18, 2, cabinet=str(cabinet))
        for cabinet in range(130)
        for n in range(5)
    ]
    cartons = [carton(available=40), carton("D", (700, 500, 90))]
    plan = plan_job(panels, cartons)
    assert len(panels) > MOST_IN_RUN
    assert complaints(plan, panels, cartons, PackingRules()) == []
    assert len(plan.boxes) <= plan.lower_bound + 3


def test_a_small_job_is_planned_like_any_panels() -> None:
    panels = [panel(f"P{n}", 300, 200, 18, 2) for n in range(40)]
    assert plan_job(panels, [carton()]) == plan_boxes(panels, [carton()])


def test_too_many_panels_are_refused_before_any_work() -> None:
    with pytest.raises(InvalidInputError, match="at most 2,000") as refused:
        plan_boxes([panel(f"P{n}", 300, 200) for n in range(5 * MOST_PANELS)], [carton()])
    assert refused.value.faults[0].where == {"field": "panels"}


@pytest.mark.parametrize(
    ("panels", "cartons", "field"),
    [
        ([panel("A", 1, 1)], [], "cartons"),
        ([panel("A", 1, 1), panel("A", 2, 2)], [carton()], "panels"),
        ([panel("A", 1, 1)], [carton(), carton()], "cartons"),
    ],
)
def test_no_carton_and_an_id_that_stands_twice_are_refused(
    panels: list[Panel], cartons: list[Carton], field: str
) -> None:
    with pytest.raises(InvalidInputError) as refused:
        plan_boxes(panels, cartons)
    assert refused.value.faults[0].where["field"] == field


def test_solids_of_a_rotated_panel_reach_as_far_as_its_length_across() -> None:
    panels = [panel("A", 500, 780)]
    solid = solids_of(plan_boxes(panels, [carton()]).boxes[0], panels)[0]
    assert (solid.far[0] - solid.near[0], solid.far[1] - solid.near[1]) == (780, 500)
