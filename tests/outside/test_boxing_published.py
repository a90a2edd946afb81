"""Plans of boxes against published bin packing instances with proved optima.

data/bpp1d_small.json: sets of Scholl (1997), Falkenauer (1996), Schoenfield (Hard28) and Schwerin and Wäscher (1997);
the file names its sources. An instance becomes panels whose mass, thickness or length is the only limit. The triplets
are made like Falkenauer's: three sizes fill each bin, so that the optimum is known.
"""

import json
from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.examples import examples
from tests.shop.boxing.witness import complaints
from tracker.shop.boxing.bounds import least_bins
from tracker.shop.boxing.planner import plan_boxes
from tracker.shop.boxing.sums import pack
from tracker.shop.boxing.values import Carton, PackingRules, Panel
from tracker.shop.searching import Effort

INSTANCES: list[dict[str, Any]] = json.loads(
    (Path(__file__).parent / "data" / "bpp1d_small.json").read_text(encoding="utf-8")
)["instances"]


def by_mass(weights: list[int], capacity: int) -> tuple[list[Panel], Carton]:
    panels = [
        Panel(id=str(n), length_mm=10, width_mm=10, thickness_mm=1, mass_kg=weight) for n, weight in enumerate(weights)
    ]
    return panels, Carton(id="C", length_mm=1000, width_mm=600, height_mm=100, max_mass_kg=capacity)


def by_thickness(weights: list[int], capacity: int) -> tuple[list[Panel], Carton]:
    panels = [
        Panel(id=str(n), length_mm=1000, width_mm=600, thickness_mm=weight / 10, mass_kg=0.1)
        for n, weight in enumerate(weights)
    ]
    return panels, Carton(id="C", length_mm=1000, width_mm=600, height_mm=capacity / 10, max_mass_kg=1000)


def by_length(weights: list[int], capacity: int) -> tuple[list[Panel], Carton]:
    panels = [
        Panel(id=str(n), length_mm=weight, width_mm=600, thickness_mm=18, mass_kg=0.1)
        for n, weight in enumerate(weights)
    ]
    return panels, Carton(id="C", length_mm=capacity, width_mm=600, height_mm=18, max_mass_kg=1000)


# Where the bound is below the optimum the planner looks until its effort is used up: once is enough.
QUICK = [instance for instance in INSTANCES if instance["L2"] == instance["optimum"]]


@pytest.mark.parametrize(("limit", "instances"), [(by_mass, INSTANCES), (by_thickness, QUICK), (by_length, QUICK)])
def test_published_instances_come_out_at_the_optimum_in_four_of_five_and_never_two_boxes_over(
    limit: Any, instances: list[dict[str, Any]]
) -> None:
    over: Counter[int] = Counter()
    for instance in instances:
        panels, carton = limit(instance["weights"], instance["capacity"])
        plan = plan_boxes(panels, [carton])
        assert complaints(plan, panels, [carton], PackingRules()) == [], instance["instance"]
        assert plan.lower_bound <= instance["optimum"], instance["instance"]
        over[len(plan.boxes) - instance["optimum"]] += 1
    assert set(over) <= {0, 1}
    assert over[0] >= 0.8 * len(instances)


@pytest.mark.parametrize("instance", INSTANCES, ids=lambda instance: instance["instance"])
def test_the_bound_is_at_least_the_published_l2_and_at_most_the_optimum(instance: dict[str, Any]) -> None:
    assert instance["L2"] <= least_bins(instance["weights"], instance["capacity"]) <= instance["optimum"]


TRIPLET = st.integers(380, 490).flatmap(
    lambda first: st.integers(250, (1000 - first) // 2).map(lambda second: (first, second, 1000 - first - second))
)


@examples(10)
@given(st.lists(TRIPLET, min_size=10, max_size=40))
def test_planted_triplets_come_within_one_bin_of_their_number(triplets: list[tuple[int, int, int]]) -> None:
    sizes = [size for triplet in triplets for size in triplet]
    assert least_bins(sizes, 1000) == len(triplets)
    assert len(pack(sizes, 1000, len(triplets), Effort(400_000))) <= len(triplets) + 1
