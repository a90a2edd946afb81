"""What may come to a station: a small list that the station program keeps for when the network is gone.

At ``ship`` boxes are expected, each for its load; at every other step the parts whose route has the step still open.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Integer, and_, or_, select, type_coerce

from tracker.records.boxes import ALL_BOXES, Box, boxes_where
from tracker.records.parts import ALL_PARTS, Part, parts_where
from tracker.records.tables import box, job, load, log, part
from tracker.shop.box_states import BoxState
from tracker.shop.job_states import UNFINISHED
from tracker.shop.load_states import LoadState
from tracker.shop.progress import DEAD_STATUSES, PartStatus
from tracker.shop.steps import Step

MOST_CHANGES: Final = 2_000
_BIT: Final = {step: 1 << place for place, step in enumerate(Step)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Changed:
    """The parts and the boxes, by number, that a stretch of the log is about."""

    parts: Collection[int]
    boxes: Collection[int]


def changed_since(connection: Connection, since: int) -> Changed | None:
    """Return what the log names after ``since``, or None when that is so much that the whole list is cheaper."""
    columns = (log.c.part_id, log.c.box_id, log.c.job_id)
    rows = connection.execute(select(*columns).where(log.c.seq > since).limit(MOST_CHANGES + 1)).all()
    jobs = {row.job_id for row in rows if row.part_id is None and row.box_id is None and row.job_id is not None}
    boxes = {row.box_id for row in rows if row.box_id is not None}
    parts = {row.part_id for row in rows if row.part_id is not None}
    for found, table in ((parts, part), (boxes, box)):
        ids = select(table.c.id).where(table.c.job_id.in_(jobs)).limit(MOST_CHANGES + 1) if jobs else None
        found.update([] if ids is None else connection.execute(ids).scalars())
    too_many = max(len(rows), len(parts), len(boxes)) > MOST_CHANGES
    return None if too_many else Changed(parts=parts, boxes=boxes)


def expected_parts(
    connection: Connection, step: Step, *, limit: int, after: int = 0, among: Collection[int] | None = None
) -> list[Part]:
    """Return the parts that may come to a station of ``step``: job by job, the oldest first, after part ``after``."""
    open_here = ~_has(part.c.done, step)
    if step is Step.PACK:
        open_here = or_(open_here, part.c.damaged)
    query = ALL_PARTS.where(
        job.c.status.in_(UNFINISHED),
        part.c.status.not_in(sorted({*DEAD_STATUSES, PartStatus.SHIPPED})),
        _has(part.c.route, step),
        open_here,
    )
    if among is not None:
        query = query.where(part.c.id.in_(among))
    if after:
        of = connection.execute(select(part.c.job_id).where(part.c.id == after)).scalar() or 0
        query = query.where(or_(part.c.job_id > of, and_(part.c.job_id == of, part.c.id > after)))
    return parts_where(connection, query.order_by(part.c.job_id, part.c.id).limit(limit))


def expected_boxes(
    connection: Connection, *, limit: int, after: int = 0, among: Collection[int] | None = None
) -> list[Box]:
    """Return the boxes that may come onto a load that has not shipped, by number, after box ``after``."""
    query = ALL_BOXES.where(
        job.c.status.in_(UNFINISHED),
        load.c.state == LoadState.OPEN,
        box.c.id > after,
        box.c.state.not_in([BoxState.LOADED, BoxState.SHIPPED]),
    )
    if among is not None:
        query = query.where(box.c.id.in_(among))
    return boxes_where(connection, query.order_by(box.c.id).limit(limit))


def _has(steps: Any, step: Step) -> Any:
    return type_coerce(steps, Integer).bitwise_and(_BIT[step]) == _BIT[step]
