"""Boxes that were sealed short, and the follow-up boxes that hold the rest: so that no load leaves short unseen."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from sqlalchemy import ColumnElement, Connection, and_, exists, or_, select

from tracker.records.lacking import parts_lacking
from tracker.records.tables import box, item, load
from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.codes import box_code, load_code_or_none

_CLOSED: Final = sorted(CLOSED_STATES)


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowUp:
    """A box that holds what another one lacks; ``load`` is the code of its own load and ``ship_on`` the day of that.

    ``missing`` of its parts are not in it.
    """

    id: int
    code: str
    name: str
    state: str
    missing: int
    load: str | None
    ship_on: date | None

    @property
    def shipped(self) -> bool:
        return self.state == BoxState.SHIPPED

    def leaves_with(self, other: str | None) -> bool:
        """Say whether it has left already, or leaves on the same load as the box that it completes."""
        return self.shipped or (other is not None and self.load == other)


first = box.alias("first")  # the box that is completed by another


def completes() -> ColumnElement[bool]:
    """The condition that ``box`` holds what ``first``, which is closed, lacks.

    By their job, for which there is an index: the boxes of all years are not looked through. A follow-up that was
    emptied since holds nothing that anybody lacks.
    """
    holds = or_(box.c.parts_total > 0, exists().where(item.c.box_id == box.c.id, item.c.quantity > 0))
    return and_(box.c.job_id == first.c.job_id, box.c.follows_id == first.c.id, first.c.state.in_(_CLOSED), holds)


def follow_ups_of(connection: Connection, box_ids: Collection[int]) -> Mapping[int, Sequence[FollowUp]]:
    """Return for each of these boxes that was sealed short the boxes that hold the rest, by number."""
    query = (
        select(
            *(box.c.id, box.c.name, box.c.state, box.c.load_id, load.c.ship_on, first.c.id.label("first_id")),
            parts_lacking().label("missing"),
        )
        .select_from(first)
        .join(box, completes())
        .outerjoin(load, load.c.id == box.c.load_id)
        .where(first.c.id.in_(list(box_ids)))
        .order_by(box.c.id)
    )
    found: defaultdict[int, list[FollowUp]] = defaultdict(list)
    for row in connection.execute(query):
        found[row.first_id].append(
            FollowUp(
                id=row.id,
                code=box_code(row.id),
                name=row.name,
                state=row.state,
                missing=row.missing,
                load=load_code_or_none(row.load_id),
                ship_on=row.ship_on,
            )
        )
    return found
