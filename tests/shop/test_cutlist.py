"""The cut list: what the contract promises, and what it refuses, by line, column and value."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.cabinets.standard import EDGES
from tracker.shop.cutlist import (
    MOST_FAULTS_TOLD,
    MOST_OF_ONE_LINE,
    check_items_boxes,
    items_from_rows,
    parts_from_rows,
    read_items,
    read_parts,
)
from tracker.shop.errors import InvalidInputError, TooLargeError
from tracker.shop.lengths import Units
from tracker.shop.orders import ItemLine
from tracker.shop.steps import Step, Supply, route_of

HEADER = ["Cabinet", " PART ", "quantity", "Length", "width", "thickness", "material", "edges", "machining", "supply"]
COLUMNS = [name.strip().lower() for name in HEADER]
ITEM_HEADER = ["box", "item", "quantity"]
GOOD = ["101", "Deck", "2", "564", "560,5", "18", "White", "L1", "DK-1", "made"]


def good_but(column: str, value: str) -> list[str]:
    return [value if name == column else cell for name, cell in zip(COLUMNS, GOOD, strict=True)]


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


def test_columns_are_known_whatever_their_spaces() -> None:
    header = [" CABI NET", "Part ", "\tLENGTH", "Width", "thick\u00a0ness"]
    (line,) = read_parts(header, [(2, ["101", "Deck", "564", "560,5", "18"])], Units.MM)
    assert (line.cabinet, line.length_mm, line.thickness_mm) == ("101", 564, 18)


def test_a_cabinet_has_the_room_and_the_drop_that_any_of_its_rows_gives() -> None:
    header = ["cabinet", "part", "length", "width", "thickness", "room", "drop"]
    rows = [["1", "End", "700", "500", "18", "", "north door"], ["1", "Top", "700", "500", "18", "kitchen", ""]]
    rows.append(["2", "End", "700", "500", "18", "", ""])
    lines = read_parts(header, enumerate(rows, start=2), Units.MM)
    assert [(line.room, line.drop) for line in lines] == [
        ("kitchen", "north door"),
        ("kitchen", "north door"),
        ("", ""),
    ]
    rows[1][6] = "south door"
    what = "'south door': the cabinet has 'north door' in a row before; wanted: one"
    assert faults_of(*rows, header=header) == [((3, "drop"), what)]


def test_what_is_empty_or_absent_takes_its_default() -> None:
    header = ["cabinet", "part", "length", "width", "thickness", "note"]
    (line,) = read_parts(
        header, [(2, ["1", "End", "700", "500", "18", "whatever"]), (3, ["", " "])], Units.MM, ignore=["Note"]
    )
    assert (line.quantity, line.edges, line.machining, line.supply, line.material) == (1, (), "", Supply.MADE, "")


def test_inches_become_mm() -> None:
    (line,) = read_parts(HEADER, [(2, ["1", "End", "", "23 1/4", '22-1/16"', "3/4", "", "", "", ""])], Units.INCH)
    assert (line.length_mm, line.width_mm, line.thickness_mm) == (590.55, 560.3875, 19.05)


@given(st.sets(st.sampled_from(EDGES)), st.sampled_from([" ", ",", "+", "/", ""]), st.booleans())
def test_edges_are_read_however_they_are_written(edges: set[str], separator: str, lower: bool) -> None:
    spelled = separator.join(sorted(edges, reverse=True))
    (line,) = read_parts(HEADER, [(2, good_but("edges", spelled.lower() if lower else spelled))], Units.MM)
    assert line.edges == tuple(edge for edge in EDGES if edge in edges)


def test_a_space_that_does_not_break_is_a_space() -> None:
    (line,) = read_parts(HEADER, [(2, good_but("part", "\u00a0Tür\u00a0links"))], Units.MM)
    assert line.part == "Tür links"


def test_every_bad_cell_of_every_bad_row_is_named() -> None:
    bad = ["", "x" * 201, "0", "nine", "-5", "0", "White", "L1 L1", "DK\x00", "stolen"]
    found = faults_of(GOOD, bad, ["102", "End", "1", "5", "7000", "18"])
    columns = ["cabinet", "part", "quantity", "length", "width", "thickness", "edges", "machining", "supply"]
    assert [where for where, _what in found] == [(3, column) for column in columns] + [(4, "length"), (4, "width")]
    assert "'nine'" in found[3][1]
    assert "10 to 6000 mm" in found[-1][1]


@pytest.mark.parametrize(
    ("column", "value", "wanted"),
    [
        ("length", "9.9", "10 to 6000 mm"),
        ("width", "6000.1", "10 to 6000 mm"),
        ("thickness", "0.2", "0.3 to 100 mm"),
        ("thickness", "100.5", "0.3 to 100 mm"),
        ("quantity", "10001", "from 1 to 10000"),
        ("quantity", "1,000", "from 1 to 10000"),
        ("part", "De\nck", "one line"),
        ("part", "De\u202eck", "invisible"),
        ("part", "De\u2028ck", "invisible"),
        ("material", "#N/A", "a formula that failed"),
        ("material", "m" * 201, "at most 200"),
        ("edges", "L1 L3", "any of L1 L2 W1 W2"),
        ("edges", "L", "any of L1 L2 W1 W2"),
        ("supply", "stock", "made, bought"),
    ],
)
def test_a_value_out_of_bounds_is_refused_with_what_is_wanted(column: str, value: str, wanted: str) -> None:
    ((where, what),) = faults_of(good_but(column, value))
    assert where == (2, column)
    assert what.startswith(repr(value)[:40])
    assert wanted in what


@pytest.mark.parametrize(
    ("column", "value"),
    [("length", "10"), ("width", "6000"), ("thickness", "0.3"), ("thickness", "100"), ("quantity", "10000")],
)
def test_a_value_on_a_bound_is_taken(column: str, value: str) -> None:
    assert len(read_parts(HEADER, [(2, good_but(column, value))], Units.MM)) == 1


def test_a_decimal_comma_that_shifts_the_columns_is_refused_not_read_as_a_thin_panel() -> None:
    header = ["cabinet", "part", "length", "width", "thickness", "material"]
    ((where, what),) = faults_of(["101", "Deck", "564", "560", "5", "18", ""], header=header)
    assert where == (2, "G")
    assert what.startswith("'' stands beyond the last heading")
    assert "7 values; wanted: 6" in what
    assert "decimal comma" in what


def test_a_header_that_lacks_or_repeats_a_column_is_refused_with_what_was_found() -> None:
    found = faults_of(GOOD, header=["cabinet", "cabinet", "length", "breite"])
    assert [where for where, _what in found] == [(1, "breite"), (1, "cabinet"), (1, "part, width, thickness")]


def test_an_order_of_no_rows_and_one_of_too_many_pieces_are_refused() -> None:
    assert "no rows" in faults_of(["", ""])[0][1]
    with pytest.raises(InvalidInputError, match="no rows"):
        parts_from_rows([], Units.MM)
    many = good_but("quantity", "10000")
    assert len(read_parts(HEADER, ((line, many) for line in range(20)), Units.MM)) == 20
    with pytest.raises(TooLargeError, match="Split it"):
        read_parts(HEADER, ((line, many) for line in range(21)), Units.MM)


def test_thousands_of_faults_are_told_up_to_a_limit() -> None:
    found = faults_of(*([["1", "", "1", "700", "500", "18"]] * 2_500))
    assert len(found) == MOST_FAULTS_TOLD + 1
    assert found[-1][1] == "and 1500 more"


def test_rows_of_json_are_read_by_the_same_rules() -> None:
    row = {"cabinet": 101, "part": "Deck", "length": 564, "width": 560.5, "thickness": "18", "edges": ["L1", "W2"]}
    (line,) = parts_from_rows([{**row, "quantity": 2.0, "material": None}], Units.MM)
    assert (line.cabinet, line.width_mm, line.thickness_mm, line.edges) == ("101", 560.5, 18, ("L1", "W2"))
    assert (line.quantity, line.material) == (2, "")
    assert parts_from_rows([{**row, "edges": "w2+l1"}], Units.MM)[0].edges == ("L1", "W2")
    inches = {**row, "length": "23 1/4", "width": 23.25, "thickness": "3/4"}
    assert parts_from_rows([inches], Units.INCH)[0].length_mm == 590.55


def test_every_bad_field_of_every_row_of_json_is_named_once() -> None:
    bad: dict[str, Any] = {
        "cabinet": "101",
        "part": ["Deck"],
        "quantity": 2.5,
        "length": True,
        "width": float("nan"),
        "thickness": 10**5000,
        "material": float("inf"),
        "edges": ["L1", 1],
        "box": {"name": "1"},
        "colour": "red",
    }
    with pytest.raises(InvalidInputError) as caught:
        parts_from_rows([{"cabinet": "101", "part": "End"}, bad], Units.MM)
    found = [(fault.where["index"], fault.where["field"]) for fault in caught.value.faults]
    assert found[:3] == [(0, "length"), (0, "width"), (0, "thickness")]
    assert sorted(found[3:]) == sorted((1, name) for name in bad if name != "cabinet")
    assert all("wanted" in fault.what or "not known" in fault.what for fault in caught.value.faults)


def test_what_is_no_number_in_json_is_said_to_be_none() -> None:
    row = {"cabinet": "101", "part": "End", "length": float("nan"), "width": float("inf"), "thickness": "NaN"}
    with pytest.raises(InvalidInputError) as refused:
        parts_from_rows([row], Units.MM)
    assert {fault.where["field"]: fault.what for fault in refused.value.faults} == {
        "length": "nan is no number that can be used; wanted: a text or a number",
        "width": "inf is no number that can be used; wanted: a text or a number",
        "thickness": "'NaN': wanted: a number of mm above 0, such as 560.5",
    }


def test_items_of_one_box_add_up() -> None:
    rows = [(2, ["1", "pin", "2"]), (3, ["1", "pin", "3"]), (4, ["", "", " "]), (5, ["2", "pin", "1"])]
    assert [(line.box, line.quantity) for line in read_items(ITEM_HEADER, rows)] == [("1", 5), ("2", 1)]
    assert items_from_rows([{"box": 1, "item": "pin", "quantity": 2}]) == (ItemLine(box="1", item="pin", quantity=2),)
    assert read_items(ITEM_HEADER, []) == ()


@pytest.mark.parametrize(
    ("row", "column"),
    [
        (["1", "pin", ""], "quantity"),
        (["1", "", "2"], "item"),
        (["", "pin", "2"], "box"),
        (["1", "pin", str(MOST_OF_ONE_LINE)], "quantity"),
    ],
)
def test_an_item_without_a_box_a_name_or_a_sane_count_is_refused_once(row: list[str], column: str) -> None:
    with pytest.raises(InvalidInputError) as caught:
        read_items(ITEM_HEADER, [(2, ["1", "pin", "1"]), (3, row)])
    assert [fault.where for fault in caught.value.faults] == [{"line": 3, "column": column}]


def test_an_item_belongs_to_a_box_or_to_the_cabinet_of_a_box_without_a_name() -> None:
    parts = read_parts([*HEADER, "box"], [(2, [*GOOD, "7"]), (3, ["102", *GOOD[1:], ""])], Units.MM)
    items = [ItemLine(box=box, item="pin", quantity=1) for box in ("7", "102", "101")]
    assert check_items_boxes(parts, items[:2]) == []
    (fault,) = check_items_boxes(parts, items)
    assert fault.where == {"item": "pin", "field": "box"}
    assert "'101'" in fault.what
    assert len(check_items_boxes(parts, items * 2_000)) == MOST_FAULTS_TOLD + 1


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
