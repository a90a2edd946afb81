"""Boxes that were sealed short, and the follow-up boxes that hold the rest: so that no load leaves short unseen."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from typing import Final

from sqlalchemy import ColumnElement, Connection, and_, exists, or_

from tracker.records.boxes import ALL_BOXES, Box, boxes_where
from tracker.records.tables import box, item
from tracker.shop.box_states import CLOSED_STATES

_CLOSED: Final = sorted(CLOSED_STATES)


first = box.alias("first")  # the box that is completed by another


def completes() -> ColumnElement[bool]:
    """The condition that ``box`` holds what ``first``, which is closed, lacks.

    By their job, for which there is an index: the boxes of all years are not looked through. A follow-up that was
    emptied since holds nothing that anybody lacks.
    """
    holds = or_(box.c.parts_total > 0, exists().where(item.c.box_id == box.c.id, item.c.quantity > 0))
    return and_(box.c.job_id == first.c.job_id, box.c.follows_id == first.c.id, first.c.state.in_(_CLOSED), holds)


def follow_ups_of(connection: Connection, box_ids: Collection[int]) -> Mapping[int, Sequence[Box]]:
    """Return for each of these boxes that was sealed short the boxes that hold the rest, by number."""
    query = ALL_BOXES.join(first, completes()).where(first.c.id.in_(list(box_ids))).order_by(box.c.id)
    found: defaultdict[int, list[Box]] = defaultdict(list)
    for each in boxes_where(connection, query):
        if each.follows_id is not None:
            found[each.follows_id].append(each)
    return found
