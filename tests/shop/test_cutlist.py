"""The cut list: what the contract promises, and what it refuses, by line, column and value."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.cutlist import (
    MOST_FAULTS_TOLD,
    check_items_boxes,
    items_from_rows,
    parts_from_rows,
    read_items,
    read_parts,
)
from tracker.shop.errors import InvalidInputError, TooLargeError
from tracker.shop.lengths import Units
from tracker.shop.orders import EDGES
from tracker.shop.steps import Step, Supply, route_of

HEADER = ["Cabinet", " PART ", "quantity", "Length", "width", "thickness", "material", "edges", "machining", "supply"]
GOOD = ["101", "Deck", "2", "564", "560,5", "18", "White", "L1", "DK-1", "made"]


def faults_of(*rows: list[str], header: list[str] | None = None) -> list[tuple[object, str]]:
    with pytest.raises(InvalidInputError) as caught:
        read_parts(header or HEADER, enumerate(rows, start=2), Units.MM)
    return [((fault.where.get("line"), fault.where.get("column")), fault.what) for fault in caught.value.faults]


def test_a_good_row_is_read_whatever_the_order_and_case_of_the_columns() -> None:
    (line,) = read_parts(HEADER, [(2, GOOD)], Units.MM)
    assert (line.cabinet, line.part, line.quantity) == ("101", "Deck", 2)
    assert (line.length_mm, line.width_mm, line.thickness_mm) == (564, 560.5, 18)
    assert (line.edges, line.machining, line.supply, line.box) == (("L1",), "DK-1", Supply.MADE, "")
    (turned,) = read_parts(HEADER[::-1], [(2, GOOD[::-1])], Units.MM)
    assert turned == line


def test_what_is_empty_or_absent_takes_its_default() -> None:
    header = ["cabinet", "part", "length", "width", "thickness", "note"]
    (line,) = read_parts(header, [(2, ["1", "End", "700", "500", "18", "whatever"]), (3, ["", " "])], Units.MM)
    assert (line.quantity, line.edges, line.machining, line.supply, line.material) == (1, (), "", Supply.MADE, "")


def test_inches_become_mm() -> None:
    (line,) = read_parts(HEADER, [(2, ["1", "End", "", "23 1/4", '22-1/16"', "3/4", "", "", "", ""])], Units.INCH)
    assert (line.length_mm, line.width_mm, line.thickness_mm) == (590.55, 560.3875, 19.05)


@given(st.sets(st.sampled_from(EDGES)), st.sampled_from([" ", ",", "+", "/", ""]), st.booleans())
def test_edges_are_read_however_they_are_written(edges: set[str], separator: str, lower: bool) -> None:
    spelled = separator.join(sorted(edges, reverse=True))
    row = [*GOOD[:7], spelled.lower() if lower else spelled, *GOOD[8:]]
    (line,) = read_parts(HEADER, [(2, row)], Units.MM)
    assert line.edges == tuple(edge for edge in EDGES if edge in edges)


def test_every_bad_cell_of_every_bad_row_is_named() -> None:
    bad = ["", "x" * 201, "0", "nine", "-5", "0", "White", "L1 L1", "DK\x00", "stolen"]
    found = faults_of(GOOD, bad, ["102", "End", "1", "5", "7000", "18"])
    columns = ["cabinet", "part", "quantity", "length", "width", "thickness", "edges", "machining", "supply"]
    assert [where for where, _what in found] == [(3, column) for column in columns] + [(4, "length"), (4, "width")]
    assert "'nine'" in found[3][1]
    assert "10 to 6000 mm" in found[-1][1]


def test_a_header_that_lacks_or_repeats_a_column_is_refused_with_what_was_found() -> None:
    found = faults_of(GOOD, header=["cabinet", "cabinet", "length", "breite"])
    assert [where for where, _what in found] == [(1, "cabinet"), (1, "part"), (1, "width"), (1, "thickness")]
    assert "breite" in found[1][1]


def test_an_order_of_no_rows_and_one_of_too_many_pieces_are_refused() -> None:
    assert "no rows" in faults_of(["", ""])[0][1]
    many = [*GOOD[:2], "10000", *GOOD[3:]]
    with pytest.raises(TooLargeError, match="Split it"):
        read_parts(HEADER, ((line, many) for line in range(2, 30)), Units.MM)


def test_thousands_of_faults_are_told_up_to_a_limit() -> None:
    found = faults_of(*([["1", "", "1", "700", "500", "18"]] * 2_500))
    assert len(found) == MOST_FAULTS_TOLD + 1
    assert found[-1][1] == "and 1500 more"


def test_rows_of_json_are_read_by_the_same_rules() -> None:
    row = {"cabinet": "101", "part": "Deck", "length": 564, "width": 560.5, "thickness": 18, "edges": ["L1", "W2"]}
    (line,) = parts_from_rows([row], Units.MM)
    assert (line.width_mm, line.edges, line.quantity) == (560.5, ("L1", "W2"), 1)
    bad = {**row, "length": True, "width": float("nan"), "edges": [1], "colour": "red"}
    with pytest.raises(InvalidInputError) as caught:
        parts_from_rows([row, bad], Units.MM)
    assert {fault.where["field"] for fault in caught.value.faults} == {"length", "edges", "colour"}
    with pytest.raises(InvalidInputError):
        parts_from_rows([{**row, "width": float("nan")}], Units.MM)


def test_items_of_one_box_add_up_and_need_a_count() -> None:
    rows = [(2, ["1", "pin", "2"]), (3, ["1", "pin", "3"]), (4, ["2", "pin", "1"])]
    assert [(line.box, line.quantity) for line in read_items(["box", "item", "quantity"], rows)] == [("1", 5), ("2", 1)]
    with pytest.raises(InvalidInputError):
        read_items(["box", "item", "quantity"], [(2, ["1", "pin", ""])])
    assert items_from_rows([{"box": "1", "item": "pin", "quantity": 2}])[0].quantity == 2


def test_an_item_belongs_to_a_box_or_to_the_cabinet_of_a_box_without_a_name() -> None:
    boxed = [*HEADER, "box"]
    parts = read_parts(boxed, [(2, [*GOOD, "7"]), (3, ["102", *GOOD[1:], ""])], Units.MM)
    items = read_items(
        ["box", "item", "quantity"], [(n, [box, "pin", "1"]) for n, box in enumerate(("7", "102", "101"))]
    )
    assert [fault.where["item"] for fault in check_items_boxes(parts, items)] == ["pin"]


@pytest.mark.parametrize(
    ("supply", "machining", "edges", "route"),
    [
        (Supply.MADE, "DK-1", ("L1",), "cut machine band pack ship"),
        (Supply.MADE, "", ("L1",), "cut band pack ship"),
        (Supply.MADE, "DK-1", (), "cut machine pack ship"),
        (Supply.MADE, "", (), "cut pack ship"),
        (Supply.BOUGHT, "DK-1", ("L1",), "pack ship"),
    ],
)
def test_a_route_has_the_steps_that_the_part_needs(
    supply: Supply, machining: str, edges: tuple[str, ...], route: str
) -> None:
    assert route_of(supply=supply, machining=machining, edges=edges) == tuple(Step(step) for step in route.split())
