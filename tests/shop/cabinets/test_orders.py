"""Cabinet orders: the rows of a table or of JSON, read in the units of the job, with every fault named."""

import math
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.cabinets.orders import CabinetOrder, Family, Fronts, Hinge, read_cabinets
from tracker.shop.errors import InvalidInputError
from tracker.shop.lengths import Units

ROW = {"cabinet": "101", "family": "base", "width": "18", "height": "34 1/2", "depth": "24", "fronts": "3 drawers"}


def read(*rows: dict[str, Any], units: Units = Units.INCH) -> tuple[CabinetOrder, ...]:
    placed, faults = read_cabinets([({"line": line}, row) for line, row in enumerate(rows, 2)], units)
    if faults:
        raise InvalidInputError("", faults)
    return tuple(order for _, order in placed)


def faults_of(row: dict[str, Any]) -> dict[str, str]:
    with pytest.raises(InvalidInputError) as refused:
        read(row)
    assert all(fault.where["line"] == 2 for fault in refused.value.faults)
    return {fault.where["field"]: fault.what for fault in refused.value.faults}


def test_a_row_in_inches_becomes_an_order_in_mm() -> None:
    (order,) = read(ROW)
    assert [order.width_mm, order.height_mm] == pytest.approx([457.2, 876.3])
    assert (order.family, order.fronts, order.hinge, order.quantity) == (
        Family.BASE,
        Fronts.THREE_DRAWERS,
        Hinge.NONE,
        1,
    )


def test_equal_cabinets_have_numbers_of_their_own() -> None:
    (order,) = read({**ROW, "quantity": "3"})
    assert order.unit_names == ("101-1", "101-2", "101-3")


@pytest.mark.parametrize("spelled", ["Drawer over Door", "drawer-over-door", "DRAWER_OVER_DOOR"])
def test_words_are_read_in_any_case_with_dashes_or_spaces(spelled: str) -> None:
    (order,) = read({**ROW, "fronts": spelled, "hinge": "Left"})
    assert order.fronts is Fronts.DRAWER_OVER_DOOR


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("width", "0"), ("width", "-18"), ("width", "nan"), ("width", "1e9"), ("height", "99999"), ("depth", ""),
        ("width", math.nan), ("width", math.inf), ("width", True), ("width", [1]), ("quantity", "0"),
        ("quantity", "1.5"), ("quantity", "9999"), ("family", "wardrobe"), ("fronts", "glass"),
        ("hinge", "top"), ("hinge", "left"),
        ("cabinet", ""), ("cabinet", "x" * 201), ("note", "a\x00b"), ("colour", "red"),
    ],
)  # fmt: skip
def test_each_bad_cell_is_named(column: str, value: Any) -> None:
    assert column in faults_of({**ROW, column: value})


def test_a_front_that_a_family_cannot_have_is_answered_with_those_that_it_can() -> None:
    assert "door, doors, open" in faults_of({**ROW, "family": "wall"})["fronts"]


def test_one_bad_row_among_many_stores_none_and_names_its_line() -> None:
    with pytest.raises(InvalidInputError) as refused:
        read(ROW, {**ROW, "width": "x"}, ROW, {**ROW, "family": "?"})
    assert [fault.where["line"] for fault in refused.value.faults] == [3, 5]


def test_a_million_bad_rows_are_refused_in_bounded_work() -> None:
    rows: Iterator[tuple[dict[str, int], dict[str, str]]] = (({"line": line}, {}) for line in range(1_000_000))
    orders, faults = read_cabinets(rows, Units.MM)
    assert not orders
    assert len(faults) <= 1_000


@pytest.mark.parametrize("number", ["10/1", "10\\1", ".", "..", "...."])
def test_a_number_that_no_address_can_hold_is_refused(number: str) -> None:
    assert "addresses" in faults_of({**ROW, "cabinet": number})["cabinet"]


@pytest.mark.parametrize("length", ["-5", "nan", "0x10", "1e3"])
def test_what_is_no_length_is_told_that_it_must_be_above_nothing(length: str) -> None:
    assert "above 0" in faults_of({**ROW, "width": length})["width"]


@given(st.dictionaries(st.sampled_from(sorted(ROW)), st.one_of(st.text(max_size=30), st.floats(), st.integers())))
def test_whatever_a_row_holds_it_is_read_or_refused(row: dict[str, Any]) -> None:
    try:
        read(row)
    except InvalidInputError:
        return
