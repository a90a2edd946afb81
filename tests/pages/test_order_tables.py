"""Tables of orders on their way in: mended cell by cell, typed rows as a table, faults on their cells."""

from io import BytesIO

import pytest

from tracker.pages.office.orders.tables import (
    MOST_ROWS_SHOWN,
    MOST_TYPED,
    cells_of_form,
    faulty_rows,
    in_words,
    mended,
    rows_of_table,
    typed_rows,
    typed_table,
)
from tracker.shop.cutlist import read_parts
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.lengths import Units
from tracker.work.table_files import read_table

TABLE = b'cabinet;part;length\r\n101;Deck;"560,5"\r\n\r\n102;End;x\r\n'


def test_a_mended_cell_is_changed_and_every_line_keeps_its_number() -> None:
    text = mended(BytesIO(TABLE), {(4, 2): "720"})
    assert text.decode().split("\r\n") == ["cabinet,part,length", '101,Deck,"560,5"', "", "102,End,720", ""]


def test_a_cell_beyond_a_short_row_is_added() -> None:
    assert b"101,Deck,,18\r\n" in mended(BytesIO(b"cabinet,part,length,width\n101,Deck\n"), {(2, 3): "18"})


def test_faults_are_set_on_their_rows_and_cells() -> None:
    faults = [
        Fault(where={"line": 4, "column": "length"}, what="no number"),
        Fault(where={"line": 4, "column": "width"}, what="absent"),
        Fault(where={"line": 2}, what="4 values"),
        Fault(where={"line": 3, "cell": "C3", "column": "length"}, what="a formula"),
        Fault(where={"part": "Deck", "field": "cartons", "cabinets": ["1", "2"], "count": 2}, what="too long"),
    ]
    told = faulty_rows(BytesIO(TABLE), faults)
    assert [row.line for row in told.rows] == [2, 4]
    assert told.rows[0].wrong == ("4 values",)
    assert [(cell.column, cell.text, cell.wrong) for cell in told.rows[1].cells] == [
        ("cabinet", "102", ()),
        ("part", "End", ()),
        ("length", "x", ("no number",)),
    ]
    assert told.rows[1].wrong == ("width: absent",)
    assert told.others == ("C3, length: a formula", "Deck, 1, 2: too long")


def test_a_value_in_a_column_without_a_heading_has_its_field() -> None:
    table = BytesIO(b"cabinet,part,,length\n101,Deck,x,560\n")
    (row,) = faulty_rows(table, [Fault(where={"line": 2, "column": "C"}, what="no heading")]).rows
    assert [(cell.column, cell.text) for cell in row.cells if cell.wrong] == [("C", "x")]
    assert row.wrong == ()


def test_a_row_with_more_values_than_headings_names_its_line_and_the_value_and_shows_it() -> None:
    text = "cabinet,part,length,width,thickness\n101,Deck,560,5,480,18\n"
    with read_table(BytesIO(text.encode())) as table, pytest.raises(InvalidInputError) as refused:
        read_parts(table.header, table.rows, Units.MM)
    (row,) = faulty_rows(BytesIO(text.encode()), refused.value.faults).rows
    assert row.line == 2
    (wrong,) = row.wrong
    assert wrong.startswith("F: '18' stands beyond the last heading: 6 values; wanted: 5")
    assert (row.cells[-1].column, row.cells[-1].text, row.cells[-1].wrong) == ("F", "18", ())


def test_what_is_wrong_with_the_first_line_is_told_in_words() -> None:
    told = faulty_rows(BytesIO(TABLE), [Fault(where={"line": 1, "column": "width"}, what="not there")])
    assert told.rows == ()
    assert told.others == ("width: not there",)


def test_only_so_many_rows_are_shown_and_the_rest_is_counted() -> None:
    table = b"a\n" + b"x\n" * 100
    told = faulty_rows(BytesIO(table), [Fault(where={"line": n, "column": "a"}, what="no") for n in range(2, 90)])
    assert len(told.rows) == MOST_ROWS_SHOWN
    assert told.more == 88 - MOST_ROWS_SHOWN


def test_faults_of_a_file_that_cannot_be_read_again_are_told_in_words() -> None:
    told = faulty_rows(BytesIO(b"\0"), [Fault(where={"line": 3, "column": "a"}, what="no")])
    assert told.others == ("3: a: no",)


def test_fields_of_a_form_that_are_no_cells_are_left_alone() -> None:
    form = [("cell-4-2", "720"), ("cell-x-2", "1"), ("cell-4", "1"), ("row-1-width", "1"), ("cell-4-9999", "1")]
    assert cells_of_form(form) == {(4, 2): "720"}


def test_typed_rows_become_a_table_and_a_table_typed_rows() -> None:
    form = [("row-0-cabinet", " 101 "), ("row-0-width", "600"), ("row-1-cabinet", " "), ("row-2-note", "a\nb")]
    rows = typed_rows([*form, ("row-2-colour", "red")])
    assert rows == [{"cabinet": "101", "width": "600"}, {"note": "a b"}]
    assert rows_of_table(BytesIO(typed_table(rows))) == rows


def test_a_cut_list_and_a_long_table_are_not_typed_on() -> None:
    assert rows_of_table(BytesIO(TABLE)) is None
    assert rows_of_table(BytesIO(b"cabinet,family\n" + b"1,base\n" * (MOST_TYPED + 1))) is None
    assert rows_of_table(BytesIO(b"\0")) is None


def test_a_fault_about_many_things_names_the_first() -> None:
    assert in_words(Fault(where={"cabinets": list(range(20))}, what="no")).endswith("7 …: no")
    assert in_words(Fault(where={}, what="no")) == "no"
