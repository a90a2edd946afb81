"""An order's table on its way in: typed rows as a table, a table's bad cells mended, and its faults cell by cell."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import IO, Final

from tracker.shop.cabinets.orders import CABINET_COLUMNS
from tracker.shop.columns import column_letter, column_name, column_of, is_of_cabinets
from tracker.shop.cutlist import PART_COLUMNS
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.saying import join
from tracker.work.table_files import read_table

MOST_TYPED: Final = 100
MOST_ROWS_SHOWN: Final = 25
LONGEST_CELL: Final = 400
MOST_NAMED: Final = 8

TypedRow = Mapping[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """A cell as it is shown: its column as the file names it, what it holds, and what is wrong with it."""

    column: str
    text: str
    wrong: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultyRow:
    """A row with faults: its line, its cells in the table's order, and what is wrong with the row as a whole."""

    line: int
    cells: tuple[Cell, ...]
    wrong: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Faulty:
    """A table's faults as they are shown: by row, and those that no row has. ``more`` rows are not shown."""

    columns: tuple[str, ...] = ()
    rows: tuple[FaultyRow, ...] = ()
    others: tuple[str, ...] = ()
    more: int = 0


@dataclass(slots=True)
class _OfLine:
    cells: dict[str, list[str]] = field(default_factory=dict)
    row: list[str] = field(default_factory=list)


def faulty_rows(file: IO[bytes], faults: Iterable[Fault]) -> Faulty:
    """Set out faults on the rows and cells of the table that they are about."""
    by_line: dict[int, _OfLine] = {}
    others: list[str] = []
    for fault in faults:
        line, column, cell = (fault.where.get(name) for name in ("line", "column", "cell"))
        if not isinstance(line, int):
            others.append(in_words(fault))
        elif cell:  # of a spreadsheet that is not read
            others.append(join([f"{cell}, {column}", fault.what], between=": "))
        elif column:
            by_line.setdefault(line, _OfLine()).cells.setdefault(str(column), []).append(fault.what)
        else:
            by_line.setdefault(line, _OfLine()).row.append(fault.what)
    if not by_line:
        return Faulty(others=tuple(others))
    try:
        header, found = _lines(file, sorted(by_line)[:MOST_ROWS_SHOWN])
    except InvalidInputError:
        told = [join([str(line), what], between=": ") for line, each in by_line.items() for what in _all(each)]
        return Faulty(others=(*others, *told))
    # What is wrong with a file's first line is told in words: there is no cell to mend.
    others += _all(by_line.pop(1, _OfLine()))
    known = CABINET_COLUMNS if is_of_cabinets(header) else PART_COLUMNS
    names = [column_of(name, known) or column_name(name) or column_letter(at) for at, name in enumerate(header)]
    rows = tuple(_row(line, header, names, found[line], by_line[line]) for line in sorted(by_line) if line in found)
    return Faulty(columns=tuple(header), rows=rows, others=tuple(others), more=len(by_line) - len(rows))


def _all(each: _OfLine) -> list[str]:
    return [*each.row, *(join([column, what], between=": ") for column, told in each.cells.items() for what in told)]


def in_words(fault: Fault) -> str:
    """Say a fault that no row has: what it is about, then what is wrong."""
    about = [_about(value) for name, value in fault.where.items() if name not in ("index", "field", "count")]
    return join([", ".join(about), fault.what], between=": ") if about else fault.what


def _about(value: object) -> str:
    if not isinstance(value, list | tuple):
        return str(value)
    shown = ", ".join(map(str, value[:MOST_NAMED]))
    return shown if len(value) <= MOST_NAMED else f"{shown} …"


def _lines(file: IO[bytes], wanted: Sequence[int]) -> tuple[list[str], dict[int, Sequence[str]]]:
    found: dict[int, Sequence[str]] = {}
    with read_table(file) as table:
        for line, cells in table.rows:
            if line in wanted:
                found[line] = cells
            if not wanted or line >= wanted[-1]:
                break
        return list(table.header), found


def _row(line: int, header: Sequence[str], names: Sequence[str], cells: Sequence[str], told: _OfLine) -> FaultyRow:
    """Show a row's cells; those beyond the last heading, too, which no field mends: a shift has other wrong cells."""
    shown = tuple(
        Cell(
            column=header[place].strip() or name,
            text=cells[place] if place < len(cells) else "",
            wrong=tuple(told.cells.get(name, ())),
        )
        for place, name in enumerate(names)
    )
    beyond = tuple(Cell(column=column_letter(place), text=cells[place]) for place in range(len(names), len(cells)))
    absent = _OfLine(cells={column: each for column, each in told.cells.items() if column not in names}, row=told.row)
    return FaultyRow(line=line, cells=(*shown, *beyond), wrong=tuple(_all(absent)))


def mended(file: IO[bytes], cells: Mapping[tuple[int, int], str]) -> bytes:
    """Return the table as CSV with the cells at (line, place in the row, from 0) put in the place of those before."""
    text = io.StringIO()
    writer = csv.writer(text)
    at = 1
    with read_table(file) as table:
        writer.writerow(table.header)
        for line, row in table.rows:
            while at + 1 < line:  # an empty line keeps the number of those after it
                text.write("\r\n")
                at += 1
            kept = _with(list(row), line, cells)
            writer.writerow(kept)
            at += 1 + sum(cell.count("\n") for cell in kept)
    return text.getvalue().encode()


def _with(row: list[str], line: int, cells: Mapping[tuple[int, int], str]) -> list[str]:
    for (at, place), value in cells.items():
        if at == line:
            row += [""] * (place + 1 - len(row))
            row[place] = value[:LONGEST_CELL]
    return row


def cells_of_form(form: Iterable[tuple[str, str]]) -> dict[tuple[int, int], str]:
    """Return what was typed into the fields ``cell-LINE-PLACE`` of a form."""
    cells: dict[tuple[int, int], str] = {}
    for name, value in form:
        start, _, rest = name.partition("-")
        line, _, place = rest.partition("-")
        if start == "cell" and line.isdecimal() and place.isdecimal() and len(line) <= 7 and len(place) <= 3:
            cells[int(line), int(place)] = value
    return cells


def typed_rows(form: Iterable[tuple[str, str]]) -> list[TypedRow]:
    """Return the cabinets that were typed into the fields ``row-NUMBER-COLUMN`` of a form, without the empty rows."""
    rows: dict[int, dict[str, str]] = {}
    for name, value in form:
        start, _, rest = name.partition("-")
        number, _, column = rest.partition("-")
        if start == "row" and number.isdecimal() and len(number) <= 4 and column in CABINET_COLUMNS and value.strip():
            rows.setdefault(int(number), {})[column] = " ".join(value.split())[:LONGEST_CELL]
    typed: list[TypedRow] = [rows[number] for number in sorted(rows)]
    return typed[:MOST_TYPED]


def typed_table(rows: Sequence[TypedRow]) -> bytes:
    """Return typed cabinets as a table; the row of line N is the one at N - 2."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(CABINET_COLUMNS)
    writer.writerows([[row.get(column, "") for column in CABINET_COLUMNS] for row in rows])
    return text.getvalue().encode()


def rows_of_table(file: IO[bytes]) -> list[TypedRow] | None:
    """Return the rows of a table of cabinets as if they had been typed; None for another table, or a long one."""
    try:
        with read_table(file) as table:
            if not is_of_cabinets(table.header):
                return None
            names = [column_of(name, CABINET_COLUMNS) for name in table.header]
            rows: list[TypedRow] = []
            for _line, cells in table.rows:
                row = {name: cell for name, cell in zip(names, cells, strict=False) if name is not None and cell}
                if row:
                    rows.append(row)
                if len(rows) > MOST_TYPED:
                    return None
            return rows
    except InvalidInputError:
        return None
