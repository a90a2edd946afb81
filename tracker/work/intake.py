"""Read an order as it arrives: a table of parts or of cabinets with its table of items, or rows of JSON."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import IO, Any

from tracker.shop import cutlist
from tracker.shop.cabinets.lines import design_all, item_lines, part_lines
from tracker.shop.cabinets.orders import CABINET_COLUMNS, NEEDED_CABINET_COLUMNS, read_cabinets
from tracker.shop.cabinets.standard import Standard
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
) -> Order:
    """Read a cut list, or a table of cabinets (it has a column ``family``), and a table of items if there is one.

    Raises InvalidInputError naming every bad cell, and for each cabinet that cannot be built the rule that it breaks.
    """
    table = read_table(file)
    designs: tuple[OrderedDesign, ...] = ()
    parts: Sequence[PartLine]
    if "family" in map(cutlist.column_name, table.header):
        designs = _read_cabinet_table(table, units, standard)
        parts = tuple(part_lines(designs))
    else:
        parts = cutlist.read_parts(table.header, table.rows, units)
    items: Sequence[ItemLine] = ()
    if items_file is not None:
        table = read_table(items_file)
        items = cutlist.read_items(table.header, table.rows)
    return _order(parts, items, designs, job=job, customer=customer, due=due)


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


def _read_cabinet_table(table: Table, units: Units, standard: Standard) -> tuple[OrderedDesign, ...]:
    long_rows: list[Fault] = []
    try:
        return _designs(_rows(table, long_rows), units, standard, long_rows)
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


def _rows(table: Table, long_rows: list[Fault]) -> Iterator[tuple[Mapping[str, Any], Mapping[str, Any]]]:
    """Yield each row's place and cells; a row with more values than the header has names is left to ``long_rows``."""
    names = [cutlist.column_name(spelled) for spelled in table.header]
    known = [name for name in names if name in CABINET_COLUMNS]
    faults = [
        *(_header_fault(name, say("this column is not there")) for name in NEEDED_CABINET_COLUMNS if name not in known),
        *(
            _header_fault(name, say("this column is there twice"))
            for name in sorted({n for n in known if known.count(n) > 1})
        ),
    ]
    if faults:
        raise InvalidInputError(say("The first line does not name the columns. Nothing was stored."), faults)
    for line, cells in table.rows:
        if any(map(str.strip, cells)):
            if len(cells) > len(names):
                what = say("%(count)s values; the first line has %(names)s names", count=len(cells), names=len(names))
                long_rows.append(Fault(where={"line": line}, what=what))
                continue
            yield {"line": line}, {name: cell for name, cell in zip(names, cells, strict=False) if name in known}


def _header_fault(name: str, what: str) -> Fault:
    return Fault(where={"line": 1, "field": name}, what=what)


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
