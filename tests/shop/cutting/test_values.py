"""Blanks, boards and rules refuse nonsense, and name the field."""

import math

import pytest

from tests.shop.cutting.test_planner import blank, stock
from tracker.shop.cutting.values import CuttingRules
from tracker.shop.errors import InvalidInputError


@pytest.mark.parametrize("make", [blank, stock])
@pytest.mark.parametrize("size", [0, -1, 0.001, math.nan, math.inf, 100_001])
@pytest.mark.parametrize("field", ["length_mm", "width_mm", "thickness_mm"])
def test_a_size_that_cannot_be_is_refused_by_its_field(make: object, size: float, field: str) -> None:
    with pytest.raises(InvalidInputError) as refused:
        make("A", 500, 400, **{field: size})  # type: ignore[operator]
    assert [fault.where["field"] for fault in refused.value.faults] == [field]


@pytest.mark.parametrize("make", [blank, stock])
def test_every_fault_is_told_at_once(make: object) -> None:
    with pytest.raises(InvalidInputError) as refused:
        make(" ", -1, 0, material="")  # type: ignore[operator]
    assert [f.where["field"] for f in refused.value.faults] == ["id", "material", "length_mm", "width_mm"]


@pytest.mark.parametrize("count", [-1, 1_000_001])
def test_a_number_of_boards_that_cannot_be_is_refused(count: int) -> None:
    with pytest.raises(InvalidInputError, match="available"):
        stock(available=count)


@pytest.mark.parametrize("wrong", [-0.1, math.nan, 1e9])
@pytest.mark.parametrize("field", ["kerf_mm", "trim_mm"])
def test_a_kerf_or_a_trim_that_cannot_be_is_refused(field: str, wrong: float) -> None:
    with pytest.raises(InvalidInputError, match=f"rules: {field}"):
        CuttingRules(**{field: wrong})  # type: ignore[arg-type]


def test_a_saw_cuts_from_edge_to_edge_unless_told_otherwise() -> None:
    rules = CuttingRules()
    assert (rules.kerf_mm, rules.trim_mm, rules.guillotine) == (3.2, 10, True)  # common practice, no source
