"""What may come to a station: a small list that the station program keeps for when the network is gone.

At ``ship`` boxes are expected, each for its load; at every other step the parts whose route has the step still open.
"""

from collections.abc import Collection
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Integer, and_, or_, select, type_coerce

from tracker.records.tables import box, job, load, log, part
from tracker.shop.box_states import BoxState
from tracker.shop.codes import box_code, load_code, part_code
from tracker.shop.job_states import UNFINISHED, JobStatus
from tracker.shop.progress import DEAD_STATUSES, PartStatus, Progress
from tracker.shop.steps import Step

MOST_CHANGES: Final = 2_000
_BIT: Final = {step: 1 << place for place, step in enumerate(Step)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """A part, or at ``ship`` a box, that may come to a station.

    ``next`` is the step that it is due for now; ``load`` is set for a box, ``box`` for a part. ``sscc`` is that of the
    box, once it has one.
    """

    id: int
    code: str
    name: str
    job: str
    next: str | None
    held: bool
    cabinet: str = ""
    box: str | None = None
    box_name: str = ""
    load: str | None = None
    sscc: str | None = None


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
) -> list[Expected]:
    """Return the parts that may come to a station of ``step``: job by job, the oldest first, after part ``after``."""
    open_here = ~_has(part.c.done, step)
    if step is Step.PACK:
        open_here = or_(open_here, part.c.damaged)
    columns = (part.c.id, part.c.name, part.c.cabinet, part.c.route, part.c.done, part.c.damaged, part.c.box_id)
    query = (
        select(*columns, box.c.name.label("box_name"), box.c.sscc, job.c.code.label("job"))
        .add_columns(job.c.status.label("job_status"))
        .join(job, job.c.id == part.c.job_id)
        .join(box, box.c.id == part.c.box_id)
        .where(
            job.c.status.in_(UNFINISHED),
            part.c.status.not_in(sorted({*DEAD_STATUSES, PartStatus.SHIPPED})),
            _has(part.c.route, step),
            open_here,
        )
        .order_by(part.c.job_id, part.c.id)
        .limit(limit)
    )
    if among is not None:
        query = query.where(part.c.id.in_(among))
    if after:
        of = connection.execute(select(part.c.job_id).where(part.c.id == after)).scalar() or 0
        query = query.where(or_(part.c.job_id > of, and_(part.c.job_id == of, part.c.id > after)))
    return [_expected_part(row) for row in connection.execute(query)]


def _expected_part(row: Any) -> Expected:
    route = tuple(step for step in Step if step in row.route)
    return Expected(
        id=row.id,
        code=part_code(row.id),
        name=row.name,
        job=row.job,
        next=Progress(done=row.done, damaged=row.damaged).next_step(route),
        held=row.job_status == JobStatus.HELD,
        cabinet=row.cabinet,
        box=box_code(row.box_id),
        box_name=row.box_name,
        sscc=row.sscc,
    )


def expected_boxes(
    connection: Connection, *, limit: int, after: int = 0, among: Collection[int] | None = None
) -> list[Expected]:
    """Return the boxes that may come onto a load that has not shipped, by number, after box ``after``."""
    query = (
        select(box.c.id, box.c.name, box.c.sscc, box.c.state, box.c.held_at, box.c.load_id, job.c.code, job.c.status)
        .join(job, job.c.id == box.c.job_id)
        .join(load, load.c.id == box.c.load_id)
        .where(job.c.status.in_(UNFINISHED), load.c.state == "open", box.c.id > after)
        .where(box.c.state.not_in([BoxState.LOADED, BoxState.SHIPPED]))
        .order_by(box.c.id)
        .limit(limit)
    )
    if among is not None:
        query = query.where(box.c.id.in_(among))
    return [
        Expected(
            id=row.id,
            code=box_code(row.id),
            name=row.name,
            job=row.code,
            next=Step.SHIP if row.state == BoxState.SEALED else Step.PACK,
            held=row.status == JobStatus.HELD or row.held_at is not None,
            load=load_code(row.load_id),
            sscc=row.sscc,
        )
        for row in connection.execute(query)
    ]


def _has(steps: Any, step: Step) -> Any:
    return type_coerce(steps, Integer).bitwise_and(_BIT[step]) == _BIT[step]
