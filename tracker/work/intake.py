"""Read an order as it arrives: a table of parts or of cabinets with its table of items, or rows of JSON."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date
from typing import IO, Any

from tracker.shop import cutlist
from tracker.shop.cabinets.lines import design_all, item_lines, part_lines
from tracker.shop.cabinets.orders import CABINET_COLUMNS, NEEDED_CABINET_COLUMNS, read_cabinets
from tracker.shop.cabinets.standard import Standard
from tracker.shop.columns import is_of_cabinets, match_columns, read_as, wrong_width
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.orders import ItemLine, Order, OrderedDesign, PartLine
from tracker.shop.saying import say
from tracker.work.table_files import Table, read_table


def read_order_table(
    file: IO[bytes],
    items_file: IO[bytes] | None,
    *,
    job: str,
    customer: str,
    due: date,
    units: Units,
    standard: Standard,
    ignore: Collection[str] = (),
) -> Order:
    """Read a cut list, or a table of cabinets (it has a column ``family``), and a table of items if there is one.

    ``ignore`` names columns that mean nothing.

    Raises InvalidInputError naming every bad cell, and for each cabinet that cannot be built the rule that it breaks.
    """
    table = read_table(file)
    designs: tuple[OrderedDesign, ...] = ()
    parts: Sequence[PartLine]
    columns: Sequence[str]
    if is_of_cabinets(table.header):
        columns = CABINET_COLUMNS
        designs = _read_cabinet_table(table, units, standard, ignore)
        parts = tuple(part_lines(designs))
    else:
        columns = cutlist.PART_COLUMNS
        parts = cutlist.read_parts(table.header, table.rows, units, ignore=ignore, formulas=table.formulas)
    items: Sequence[ItemLine] = ()
    if items_file is not None:
        of_items = read_table(items_file)
        items = cutlist.read_items(of_items.header, of_items.rows, ignore=ignore, formulas=of_items.formulas)
    order = _order(parts, items, designs, job=job, customer=customer, due=due)
    return replace(order, read_as=read_as(table.header, columns, ignore))


def read_json_order(
    parts: Iterable[Mapping[str, Any]],
    items: Iterable[Mapping[str, Any]],
    cabinets: Sequence[Mapping[str, Any]] = (),
    *,
    job: str,
    customer: str,
    due: date,
    units: Units,
    standard: Standard,
) -> Order:
    """Read the rows of ``POST /jobs``: cabinets, parts, or both. Raises InvalidInputError naming every bad field."""
    designs: tuple[OrderedDesign, ...] = ()
    lines: list[PartLine] = []
    if cabinets:
        rows = (({"index": index}, row) for index, row in enumerate(cabinets))
        designs = _designs(rows, units, standard)
        lines += part_lines(designs)
    parts = list(parts)
    if parts or not cabinets:
        lines += cutlist.parts_from_rows(parts, units)
    return _order(lines, cutlist.items_from_rows(items), designs, job=job, customer=customer, due=due)


def _read_cabinet_table(
    table: Table, units: Units, standard: Standard, ignore: Collection[str]
) -> tuple[OrderedDesign, ...]:
    columns = match_columns(
        table.header,
        CABINET_COLUMNS,
        NEEDED_CABINET_COLUMNS,
        ignore=ignore,
        inches=units is Units.INCH,
        formulas=table.formulas,
    )
    long_rows: list[Fault] = []
    try:
        return _designs(_rows(table, columns, long_rows), units, standard, long_rows)
    except InvalidInputError as error:
        raise InvalidInputError(error.detail, [_at_column(fault) for fault in error.faults]) from error


def _designs(
    rows: Iterable[tuple[Mapping[str, Any], Mapping[str, Any]]],
    units: Units,
    standard: Standard,
    found: Sequence[Fault] = (),
) -> tuple[OrderedDesign, ...]:
    """Return the designs of rows; all that is wrong is told at once, with what was ``found`` before."""
    orders, faults = read_cabinets(rows, units)
    return design_all(orders, standard, [*faults, *found])


def _at_column(fault: Fault) -> Fault:
    """A fault of a table names its column where one of a JSON row names its field."""
    where = dict(fault.where)
    if "field" in where:
        where["column"] = where.pop("field")
    return Fault(where=where, what=fault.what)


def _rows(
    table: Table, columns: Mapping[int, str], long_rows: list[Fault]
) -> Iterator[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    """Yield each row's place and cells; a row with values that the header does not name is left to ``long_rows``."""
    for line, cells in table.rows:
        if wrong := list(wrong_width(table.header, line, cells)):
            long_rows += wrong
        elif any(map(str.strip, cells)):
            yield {"line": line}, {name: cells[place] for place, name in columns.items() if place < len(cells)}


def _order(
    parts: Sequence[PartLine],
    items: Sequence[ItemLine],
    designs: Sequence[OrderedDesign],
    *,
    job: str,
    customer: str,
    due: date,
) -> Order:
    faults = cutlist.check_items_boxes(parts, items)
    if faults:
        raise InvalidInputError(say("An item's box is not in the order. Nothing was stored."), faults)
    items = (*item_lines(designs), *items)
    return Order(job=job, customer=customer, due=due, parts=parts, items=items, designs=designs)
