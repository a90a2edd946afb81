"""Groups kept together, drops kept apart, and the shop's limit of mass; the sizes are invented."""

from dataclasses import replace

import pytest

from tests.shop.boxing.test_planner import carton, contents, panel
from tests.shop.boxing.witness import complaints
from tracker.shop.boxing.planner import plan_boxes, plan_job
from tracker.shop.boxing.values import BoxPlan, KeepTogether, PackingRules, Panel
from tracker.shop.errors import InvalidInputError


def cabinet(name: str, count: int = 4, mass: float = 2, **more: object) -> list[Panel]:
    return [panel(f"{name}.{n}", 780, 580, 18, mass, group=name, **more) for n in range(count)]


def groups_of(plan: BoxPlan) -> list[set[str]]:
    return [{name.split(".")[0] for name in names} for _, names in contents(plan)]


def test_two_cabinets_that_one_carton_would_hold_lie_in_two() -> None:
    plan = plan_boxes([*cabinet("101"), *cabinet("102")], [carton(size=(800, 600, 200))])
    assert groups_of(plan) == [{"101"}, {"102"}]
    assert plan.proved_least


def test_a_cabinet_too_heavy_for_one_carton_lies_in_as_few_as_carry_it_and_shares_none() -> None:
    plan = plan_boxes([*cabinet("101", 6, 9), *cabinet("102", 6, 9)], [carton(size=(800, 600, 200))])
    assert groups_of(plan) == [{"101"}, {"101"}, {"102"}, {"102"}]
    assert plan.lower_bound == 4


def test_a_filler_lies_whole_beside_a_cabinet_that_has_room() -> None:
    plan = plan_boxes([*cabinet("101"), *cabinet("F1", 1)], [carton()])
    assert groups_of(plan) == [{"101", "F1"}]


def test_small_things_spread_over_the_cabinets_that_have_room_rather_than_all_beside_one() -> None:
    panels = [*cabinet("101"), *cabinet("102"), *cabinet("F1", 1), *cabinet("F2", 1)]
    assert [len(inside) for inside in groups_of(plan_boxes(panels, [carton(size=(800, 600, 200))]))] == [2, 2]


def test_at_most_three_groups_share_a_carton_however_much_room_it_has() -> None:
    panels = [each for n in range(7) for each in cabinet(f"F{n}", 1, 1)]
    plan = plan_boxes(panels, [carton(size=(800, 600, 400))])
    assert sorted(map(len, groups_of(plan))) == [1, 3, 3]
    assert plan.proved_least


def test_a_small_group_that_no_carton_holds_whole_is_planned_like_a_cabinet() -> None:
    plan = plan_boxes([*cabinet("F1", 3, 12), *cabinet("F2", 3, 12), *cabinet("F3", 1, 1)], [carton()])
    assert sorted(map(len, groups_of(plan))) == [1, 1, 1, 2]


def test_loose_panels_of_no_group_fill_what_room_there_is_and_count_as_no_cabinet() -> None:
    loose = [panel(f"L{n}", 780, 580, 3, 0.5) for n in range(6)]
    plan = plan_boxes([*cabinet("101"), *loose], [carton(size=(800, 600, 200))])
    assert len(plan.boxes) == 1


def test_fronts_that_come_late_lie_apart_and_share_by_three_cabinets() -> None:
    panels = [
        each
        for name in ("101", "102", "103", "104")
        for each in (*cabinet(name), panel(f"{name}.door", 700, 500, group=name, front=True))
    ]
    rules = PackingRules(keep_together=KeepTogether.FRONTS_APART)
    plan = plan_boxes(panels, [carton()], rules)
    assert complaints(plan, panels, [carton()], rules) == []
    fronts = [names for _, names in contents(plan) if names[0].endswith("door")]
    assert sorted(map(len, fronts)) == [1, 3]
    assert len(plan.boxes) == plan.lower_bound == 6


def test_where_boxes_are_to_be_fewest_groups_are_gathered_only_where_that_costs_no_box() -> None:
    panels = [*cabinet("101"), *cabinet("102")]
    rules = PackingRules(keep_together=KeepTogether.FEWEST_BOXES)
    gathered = [replace(each, cabinet=each.group, group="") for each in panels]
    assert plan_boxes(panels, [carton()], rules) == plan_boxes(gathered, [carton()])
    assert len(plan_boxes(panels, [carton(size=(800, 600, 200))], rules).boxes) == 1


def test_equal_cabinets_lie_in_equal_boxes() -> None:
    panels = [each for name in ("101", "102", "103") for each in cabinet(name, 6, 9)]
    boxes = contents(plan_boxes(panels, [carton(size=(800, 600, 200))]))
    laid = {tuple(name.split(".")[1] for name in names) for _, names in boxes}
    assert len(laid) == 2


def test_the_smallest_carton_that_holds_a_cabinet_is_taken_and_a_larger_one_where_something_joins_it() -> None:
    cartons = [carton("flat", (800, 600, 72)), carton("deep", (800, 600, 90))]
    assert [box.carton for box in plan_boxes(cabinet("101"), cartons).boxes] == ["flat"]
    assert [box.carton for box in plan_boxes([*cabinet("101"), *cabinet("F1", 1)], cartons).boxes] == ["deep"]


def test_no_more_cartons_are_used_than_there_are_and_what_has_none_is_named() -> None:
    panels = [*cabinet("101"), *cabinet("102"), *cabinet("103")]
    cartons = [carton("deep", (800, 600, 200), available=1), carton("flat", (800, 600, 72), available=1)]
    plan = plan_boxes(panels, cartons)
    assert complaints(plan, panels, cartons, PackingRules()) == []
    assert len(plan.boxes) == 2
    assert {left.id.split(".")[0] for left in plan.unplaceable} in ({"101"}, {"102"}, {"103"})
    assert all("used up" in left.why for left in plan.unplaceable)


def test_drops_never_share_a_box_with_groups_or_without() -> None:
    for group in ("", "101"):
        panels = [panel(f"{drop}{n}", 300, 200, group=group, drop=drop) for drop in ("north", "") for n in range(2)]
        plan = plan_boxes(panels, [carton()])
        assert complaints(plan, panels, [carton()], PackingRules()) == []
        assert len(plan.boxes) == plan.lower_bound == 2
        assert "two drops" in plan.bound_for


def test_the_lower_bound_says_what_it_is_a_bound_for() -> None:
    assert plan_boxes([panel("A", 300, 200)], [carton()]).bound_for == "any boxes within the limits of size and mass"
    assert "each group has cartons of its own" in plan_boxes(cabinet("101"), [carton()]).bound_for
    assert "at most 3 groups share one" in plan_job(cabinet("101"), [carton()]).bound_for


def test_no_box_is_over_the_mass_that_the_shop_allows_though_its_carton_carries_more() -> None:
    panels = [panel(f"P{n}", 780, 580, 18, 9) for n in range(4)]
    plan = plan_boxes(panels, [carton(mass=60)], PackingRules(box_mass_kg=20))
    assert [box.mass_kg for box in plan.boxes] == [18, 18]


@pytest.mark.parametrize("group", ["", "101"])
def test_a_panel_that_alone_is_over_the_limit_lies_by_itself_in_a_carton_that_carries_it(group: str) -> None:
    panels = [panel("stone", 780, 580, 18, 45, group=group), *(panel(f"P{n}", 300, 200, group=group) for n in range(4))]
    cartons = [carton("weak", mass=44), carton("strong", mass=60)]
    plan = plan_boxes(panels, cartons, PackingRules(box_mass_kg=40))
    assert complaints(plan, panels, cartons, PackingRules(box_mass_kg=40)) == []
    assert contents(plan)[0] == ("strong", ["stone"])
    assert len(plan.boxes) == plan.lower_bound == 2


def test_a_panel_that_no_carton_carries_is_named_with_what_the_strongest_carries() -> None:
    plan = plan_boxes([panel("stone", 780, 580, 18, 70)], [carton(mass=60)], PackingRules(box_mass_kg=40))
    assert plan.unplaceable[0].why == "it weighs 70 kg and no carton may hold more than 60 kg of panels"


def test_a_limit_of_no_mass_is_refused() -> None:
    with pytest.raises(InvalidInputError):
        PackingRules(box_mass_kg=0)


def test_a_job_of_many_equal_cabinets_is_planned_whole() -> None:
    panels = [each for n in range(100) for each in cabinet(f"{n}")]
    plan = plan_job(panels, [carton()])
    assert len(plan.boxes) == plan.lower_bound == 100
