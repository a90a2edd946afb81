"""From orders to the lines of a job: all that is wrong is told at once, and what is too much is refused early."""

from dataclasses import replace

import pytest

from tests.shop.cabinets.examples import STANDARD, order
from tracker.shop.boxing.values import Carton
from tracker.shop.cabinets.lines import MOST_PARTS, design_all, part_lines
from tracker.shop.cabinets.orders import CabinetOrder, PlacedOrder
from tracker.shop.errors import Fault, InvalidInputError, TooLargeError
from tracker.shop.job_boxes import Packing, plan_boxes

GOOD = order("base", 600, 876, 600, "doors")


def numbered(cabinet: str, ordered: CabinetOrder, quantity: int = 1) -> CabinetOrder:
    return replace(ordered, cabinet=cabinet, quantity=quantity)


def test_rules_and_unread_rows_are_told_together_in_the_order_of_the_lines() -> None:
    narrow = order("base", 120, 876, 600, "door", "left")
    orders = [({"line": 2}, GOOD), ({"line": 5}, numbered("102", narrow))]
    unread = [Fault(where={"line": 3, "field": "width"}, what="no length"), Fault(where={"line": 9}, what="too long")]
    with pytest.raises(InvalidInputError) as refused:
        design_all(orders, STANDARD, unread)
    assert [fault.where["line"] for fault in refused.value.faults] == [3, 5, 9]
    assert "rule" in refused.value.faults[1].where


def test_no_cabinets_at_all_are_refused() -> None:
    with pytest.raises(InvalidInputError):
        design_all([], STANDARD)


def test_more_parts_than_a_job_takes_are_refused_by_the_cabinet_that_is_too_much() -> None:
    each = len(design_all([({}, GOOD)], STANDARD)[0].cabinet.parts)
    fitting = MOST_PARTS // each
    orders: list[PlacedOrder] = [({}, numbered(str(number), GOOD, 500)) for number in range(fitting // 500)]
    assert len(design_all(orders, STANDARD)) == len(orders)
    orders.append(({}, numbered("last", GOOD, 500)))
    with pytest.raises(TooLargeError) as refused:
        design_all(orders, STANDARD)
    assert "With cabinet last" in refused.value.detail
    assert [fault.where for fault in refused.value.faults] == [{"field": "cabinets"}]


def test_parts_that_fit_no_carton_are_told_once_with_their_cabinets() -> None:
    designs = design_all([({}, numbered("101", GOOD)), ({}, numbered("102", GOOD))], STANDARD)
    small = Carton(id="small", length_mm=700, width_mm=700, height_mm=300, max_mass_kg=30, tare_kg=1)
    with pytest.raises(InvalidInputError) as refused:
        plan_boxes(list(part_lines(designs)), (), Packing(cartons=(small,)))
    assert "of cabinets 101, 102 (2 parts): it is" in refused.value.detail
    ends = [fault for fault in refused.value.faults if fault.where["part"] == "Left end"]
    assert [(fault.where["cabinets"], fault.where["count"]) for fault in ends] == [(["101", "102"], 2)]
