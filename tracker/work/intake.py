"""Read an order as it arrives: a cut list file with its table of items, or rows of JSON."""

from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from typing import IO, Any

from tracker.shop import cutlist
from tracker.shop.errors import InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.orders import ItemLine, Order, PartLine
from tracker.work.table_files import read_table


def read_cut_list(
    parts_file: IO[bytes], items_file: IO[bytes] | None, *, job: str, customer: str, due: date, units: Units
) -> Order:
    """Read a cut list, and a table of items if there is one. Raises InvalidInputError naming every bad cell."""
    table = read_table(parts_file)
    parts = cutlist.read_parts(table.header, table.rows, units)
    items: Sequence[ItemLine] = ()
    if items_file is not None:
        table = read_table(items_file)
        items = cutlist.read_items(table.header, table.rows)
    return _order(parts, items, job=job, customer=customer, due=due)


def read_json_order(
    parts: Iterable[Mapping[str, Any]],
    items: Iterable[Mapping[str, Any]],
    *,
    job: str,
    customer: str,
    due: date,
    units: Units,
) -> Order:
    """Read the rows of ``POST /jobs``. Raises InvalidInputError naming every bad field."""
    return _order(
        cutlist.parts_from_rows(parts, units), cutlist.items_from_rows(items), job=job, customer=customer, due=due
    )


def _order(parts: Sequence[PartLine], items: Sequence[ItemLine], *, job: str, customer: str, due: date) -> Order:
    faults = cutlist.check_items_boxes(parts, items)
    if faults:
        raise InvalidInputError("An item's box is not in the order. Nothing was stored.", faults)
    return Order(job=job, customer=customer, due=due, parts=parts, items=items)
