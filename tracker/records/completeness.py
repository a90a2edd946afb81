"""What a box lacks (``shop.completeness``), as conditions of a query."""

from typing import Any, Final

from sqlalchemy import ColumnElement, FromClause, exists, func, or_, select

from tracker.records.tables import box, item, part
from tracker.shop.completeness import LACKING_STATUSES

part_is_lacking: Final[ColumnElement[bool]] = part.c.status.in_(sorted(LACKING_STATUSES))
item_is_short: Final[ColumnElement[bool]] = func.coalesce(item.c.counted, 0) < item.c.quantity


def parts_lacking(of: FromClause = box) -> ColumnElement[int]:
    """How many parts a box lacks, from the sums that are kept with it."""
    difference: ColumnElement[int] = of.c.parts_total - of.c.packed
    return difference


def items_short(of: FromClause = box) -> ColumnElement[Any]:
    """How many kinds of its items are not counted in full."""
    return select(func.count()).where(item.c.box_id == of.c.id, item_is_short).correlate(of).scalar_subquery()


def is_incomplete(of: FromClause = box) -> ColumnElement[bool]:
    """A box lacks something."""
    return or_(of.c.packed < of.c.parts_total, exists().where(item.c.box_id == of.c.id, item_is_short).correlate(of))
