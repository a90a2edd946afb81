"""Plans of boxes against OR-Tools' CP-SAT on small cases with geometry: an independent statement of the same rules."""

import random
from typing import Final

import pytest
from ortools.sat.python import cp_model

from tests.examples import MORE
from tests.shop.boxing.witness import complaints
from tracker.shop.boxing.planner import plan_boxes
from tracker.shop.boxing.values import Carton, PackingRules, Panel

MOST_WORK: Final = 120.0  # in the solver's own units: a busy machine changes nothing
GRAMS: Final = 1000

Slots = dict[tuple[int, int], cp_model.IntVar]


class Rules:
    """Panels into so many boxes of one carton as constraints: whole millimetres and grams."""

    def __init__(self, panels: list[Panel], carton: Carton, boxes: int, gap: int) -> None:
        self.model = cp_model.CpModel()
        self.carton = carton
        lowest = min(int(panel.thickness_mm) for panel in panels)
        layers = min(len(panels), (int(carton.height_mm) + gap) // (lowest + gap))
        self.slots = [(box, layer) for box in range(boxes) for layer in range(layers)]
        self.spans: dict[tuple[int, int], list[tuple[cp_model.IntervalVar, cp_model.IntervalVar]]] = {
            slot: [] for slot in self.slots
        }
        highest = int(carton.height_mm) + gap
        self.heights = {slot: self.model.new_int_var(0, highest, "") for slot in self.slots}
        self.masses: dict[int, list[cp_model.LinearExpr]] = {box: [] for box in range(boxes)}
        for panel in panels:
            self._place(panel, gap)
        limit = round((carton.max_mass_kg - carton.tare_kg) * GRAMS)
        for slot in self.slots:
            along, across = zip(*self.spans[slot], strict=True)
            self.model.add_no_overlap_2d(along, across)
        for box in range(boxes):
            self.model.add(sum(self.heights[slot] for slot in self.slots if slot[0] == box) <= highest)
            self.model.add(sum(self.masses[box]) <= limit)

    def _place(self, panel: Panel, gap: int) -> None:
        turned = self.model.new_bool_var("")
        long, wide = int(panel.length_mm), int(panel.width_mm)
        inside = {slot: self.model.new_bool_var("") for slot in self.slots}
        self.model.add_exactly_one(inside.values())
        along = self._spans((long, wide), turned, int(self.carton.length_mm), inside)
        across = self._spans((wide, long), turned, int(self.carton.width_mm), inside)
        for slot, here in inside.items():
            self.spans[slot].append((along[slot], across[slot]))
            self.model.add(self.heights[slot] >= int(panel.thickness_mm) + gap).only_enforce_if(here)
            self.masses[slot[0]].append(round(panel.mass_kg * GRAMS) * here)

    def _spans(
        self, reaches: tuple[int, int], turned: cp_model.IntVar, room: int, inside: Slots
    ) -> dict[tuple[int, int], cp_model.IntervalVar]:
        start, end = self.model.new_int_var(0, room, ""), self.model.new_int_var(0, room, "")
        reach = self.model.new_int_var(min(reaches), max(reaches), "")
        for way, literal in zip(reaches, (turned.negated(), turned), strict=True):
            self.model.add(reach == way).only_enforce_if(literal)
        self.model.add(start + reach == end)
        return {
            slot: self.model.new_optional_interval_var(start, reach, end, here, "") for slot, here in inside.items()
        }

    def can_be_met(self) -> bool:
        solver = cp_model.CpSolver()
        solver.parameters.max_deterministic_time = MOST_WORK
        solver.parameters.num_workers = 2
        status = solver.solve(self.model)
        assert status in (cp_model.OPTIMAL, cp_model.FEASIBLE, cp_model.INFEASIBLE), "the reference did not finish"
        return status != cp_model.INFEASIBLE


def case(seed: int) -> tuple[list[Panel], Carton, int]:
    chance = random.Random(seed)
    panels = []
    for number in range(chance.randint(3, 9)):
        long, wide = chance.randint(200, 1000), chance.randint(120, 600)
        thick = chance.choice([6, 15, 18, 22])
        mass = round(long * wide * thick * 0.65e-6, 3)
        panels.append(Panel(id=str(number), length_mm=long, width_mm=wide, thickness_mm=thick, mass_kg=mass))
    height, limit = chance.choice([(24, 60), (40, 60), (48, 15), (80, 12)])
    return (
        panels,
        Carton(id="C", length_mm=1000, width_mm=600, height_mm=height, max_mass_kg=limit),
        chance.choice([0, 1]),
    )


@pytest.mark.parametrize("seed", range(15 * MORE))
def test_no_packing_beats_the_lower_bound_and_the_plan_is_within_one_box_of_the_best(seed: int) -> None:
    panels, carton, gap = case(seed)
    rules = PackingRules(layer_gap_mm=gap)
    plan = plan_boxes(panels, [carton], rules)
    assert complaints(plan, panels, [carton], rules) == []
    assert plan.unplaceable == ()
    least = next(boxes for boxes in range(1, len(plan.boxes) + 1) if Rules(panels, carton, boxes, gap).can_be_met())
    assert plan.lower_bound <= least
    assert len(plan.boxes) <= least + 1
