"""Panels, cartons and rules refuse what cannot be when they are made."""

import math

import pytest

from tracker.shop.boxing.values import Carton, PackingRules, Panel
from tracker.shop.errors import InvalidInputError

PANEL = {"id": "A", "length_mm": 700.0, "width_mm": 500.0, "thickness_mm": 18.0, "mass_kg": 4.0}
CARTON = {"id": "C", "length_mm": 800.0, "width_mm": 600.0, "height_mm": 100.0, "max_mass_kg": 30.0, "tare_kg": 1.0}
IMPOSSIBLE = [0, -1, math.nan, math.inf, -math.inf, 1e6, 1e300]


@pytest.mark.parametrize("field", ["length_mm", "width_mm", "thickness_mm", "mass_kg"])
@pytest.mark.parametrize("value", IMPOSSIBLE)
def test_a_panel_with_an_impossible_size_or_mass_is_refused_by_the_field(field: str, value: float) -> None:
    with pytest.raises(InvalidInputError, match=field) as refused:
        Panel(**PANEL | {field: value})  # type: ignore[arg-type]
    assert refused.value.faults[0].where == {"field": field, "panel": "A"}


@pytest.mark.parametrize("field", ["length_mm", "width_mm", "height_mm", "max_mass_kg"])
@pytest.mark.parametrize("value", IMPOSSIBLE)
def test_a_carton_with_an_impossible_size_or_limit_is_refused_by_the_field(field: str, value: float) -> None:
    with pytest.raises(InvalidInputError, match=field) as refused:
        Carton(**CARTON | {field: value})  # type: ignore[arg-type]
    assert refused.value.faults[0].where == {"field": field, "carton": "C"}


@pytest.mark.parametrize(
    ("field", "value"), [("tare_kg", -0.1), ("tare_kg", 30), ("tare_kg", math.nan), ("available", -1)]
)
def test_a_carton_that_can_hold_nothing_is_refused(field: str, value: float) -> None:
    with pytest.raises(InvalidInputError, match=field):
        Carton(**CARTON | {field: value})  # type: ignore[arg-type]


@pytest.mark.parametrize("field", ["layer_gap_mm", "bag_height_mm", "bag_mass_kg", "box_mass_kg"])
@pytest.mark.parametrize("value", [-1, math.nan, math.inf, 1e6])
def test_rules_with_an_impossible_value_are_refused_by_the_field(field: str, value: float) -> None:
    with pytest.raises(InvalidInputError, match=field) as refused:
        PackingRules(**{field: value})  # type: ignore[arg-type]
    assert refused.value.faults[0].where == {"field": field}


def test_every_fault_of_a_panel_is_told_at_once() -> None:
    with pytest.raises(InvalidInputError) as refused:
        Panel(id="", length_mm=0, width_mm=-1, thickness_mm=math.nan, mass_kg=0)
    assert [fault.where["field"] for fault in refused.value.faults] == [
        "id",
        "length_mm",
        "width_mm",
        "thickness_mm",
        "mass_kg",
    ]
