"""Groups kept together against OR-Tools' CP-SAT on small orders: an independent statement of the same aims.

Every panel fills the carton's plan, so that each is a layer of its own and only height and mass limit a box. The aims,
one after the other: each group in as few cartons as it allows; the fewest boxes. A group of four panels or more shares
its cartons only with smaller groups, which lie whole; at most three groups share a carton.
"""

import random
from collections import defaultdict
from typing import Final, NamedTuple

import pytest
from ortools.sat.python import cp_model

from tests.examples import MORE
from tests.outside.test_boxing_or_tools import Rules, case
from tests.shop.boxing.witness import complaints
from tracker.shop.boxing.planner import plan_boxes
from tracker.shop.boxing.values import BoxPlan, Carton, PackingRules, Panel

MOST_WORK: Final = 60.0  # in the solver's own units: a busy machine changes nothing
GRAMS: Final = 1000
ORDERS: Final = 40 * MORE


class Sums(NamedTuple):
    """What an order comes to."""

    split: int
    boxes: int


def order(seed: int) -> tuple[list[Panel], Carton]:
    chance = random.Random(seed)
    panels = []
    for group in range(chance.randint(2, 5)):
        for number in range(chance.choice([1, 1, 2, 3, 4, 5, 6])):
            thick, mass = chance.choice([6, 12, 18, 22]), chance.randint(10, 90) / 10
            fields = {"length_mm": 1000, "width_mm": 600, "thickness_mm": thick, "mass_kg": mass, "group": f"G{group}"}
            panels.append(Panel(id=f"{group}.{number}", **fields))  # type: ignore[arg-type]
    height, limit = chance.choice([(80, 20), (60, 40), (100, 15)])
    return panels, Carton(id="C", length_mm=1000, width_mm=600, height_mm=height, max_mass_kg=limit)


def sums_of(plan: BoxPlan, panels: list[Panel]) -> Sums:
    groups = {panel.id: panel.group for panel in panels}
    places = defaultdict(set)
    for number, box in enumerate(plan.boxes):
        for place in box.panels:
            places[groups[place.id]].add(number)
    return Sums(sum(len(found) > 1 for found in places.values()), len(plan.boxes))


class Stacks:
    """Panels into boxes as constraints; ``mine`` are the boxes that each panel may lie in."""

    def __init__(self, mine: list[tuple[Panel, list[int]]], carton: Carton) -> None:
        self.model = cp_model.CpModel()
        self.lies: dict[tuple[str, int], cp_model.IntVar] = {}
        inside: dict[int, list[tuple[Panel, cp_model.IntVar]]] = defaultdict(list)
        for panel, boxes in mine:
            for box in boxes:
                self.lies[panel.id, box] = self.model.new_bool_var("")
                inside[box].append((panel, self.lies[panel.id, box]))
            self.model.add_exactly_one(self.lies[panel.id, box] for box in boxes)
        for members in inside.values():
            self.model.add(sum(int(panel.thickness_mm) * here for panel, here in members) <= int(carton.height_mm))
            limit = round(carton.max_mass_kg * GRAMS)
            self.model.add(sum(round(panel.mass_kg * GRAMS) * here for panel, here in members) <= limit)

    def solved(self) -> cp_model.CpSolver | None:
        solver = cp_model.CpSolver()
        solver.parameters.max_deterministic_time = MOST_WORK
        solver.parameters.num_workers = 2
        status = solver.solve(self.model)
        assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE), "the reference did not finish"
        return solver if status == cp_model.OPTIMAL else None


def least_of_one(members: list[Panel], carton: Carton) -> int:
    boxes = range(1, len(members) + 1)
    return next(n for n in boxes if Stacks([(panel, list(range(n))) for panel in members], carton).solved())


def exact_sums(panels: list[Panel], carton: Carton) -> Sums:
    groups = defaultdict(list)
    for panel in panels:
        groups[panel.group].append(panel)
    least = {group: least_of_one(members, carton) for group, members in groups.items()}
    small = [group for group, members in groups.items() if len(members) < 4 and least[group] == 1]
    own: dict[str, list[int]] = {}
    for group in groups:
        if group not in small:
            first = sum(map(len, own.values()))
            own[group] = list(range(first, first + least[group]))
    of_cabinets = sum(map(len, own.values()))
    boxes = list(range(of_cabinets + len(small)))
    stacks = Stacks([(panel, own.get(panel.group, boxes)) for panel in panels], carton)
    there = {(group, box): stacks.model.new_bool_var("") for group in small for box in boxes}
    for group in small:
        stacks.model.add_exactly_one(there[group, box] for box in boxes)
    new = []
    for box in boxes:
        for panel in panels:
            if panel.group in small:
                stacks.model.add_implication(stacks.lies[panel.id, box], there[panel.group, box])
        most = 2 if box < of_cabinets else 3
        stacks.model.add(sum(there[group, box] for group in small) <= most)
        if box >= of_cabinets:
            new.append(stacks.model.new_bool_var(""))
            stacks.model.add_max_equality(new[-1], [there[group, box] for group in small])
    stacks.model.minimize(sum(new))
    solver = stacks.solved()
    assert solver is not None
    return Sums(sum(count > 1 for count in least.values()), of_cabinets + sum(solver.value(each) for each in new))


def test_split_groups_and_boxes_are_the_least_in_nine_orders_of_ten_and_never_worse_by_more_than_one() -> None:
    equal = 0
    for seed in range(ORDERS):
        panels, carton = order(seed)
        plan = plan_boxes(panels, [carton])
        assert complaints(plan, panels, [carton], PackingRules()) == []
        found = sums_of(plan, panels)
        least = exact_sums(panels, carton)
        assert plan.lower_bound <= least.boxes, seed
        assert found.split <= least.split + 1, seed
        assert found.boxes <= least.boxes + 1, seed
        equal += found == least
    assert equal >= 0.9 * ORDERS


@pytest.mark.parametrize("seed", range(5 * MORE))
def test_a_group_alone_lies_in_as_few_cartons_as_any_way_of_laying_it(seed: int) -> None:
    """With geometry: panels beside one another in layers, by the exact model of plans without groups."""
    sizes, carton, gap = case(seed)
    fields = [(p.id, p.length_mm, p.width_mm, p.thickness_mm, p.mass_kg) for p in sizes]
    panels = [
        Panel(id=name, length_mm=long, width_mm=wide, thickness_mm=thick, mass_kg=mass, group="101")
        for name, long, wide, thick, mass in fields
    ]
    rules = PackingRules(layer_gap_mm=gap)
    plan = plan_boxes(panels, [carton], rules)
    assert complaints(plan, panels, [carton], rules) == []
    least = next(boxes for boxes in range(1, len(plan.boxes) + 1) if Rules(panels, carton, boxes, gap).can_be_met())
    assert plan.lower_bound <= least
    assert len(plan.boxes) <= least + 1
