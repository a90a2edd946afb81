"""What the pages about loads ask: which boxes wait for a load, and what is on one. Bounded by the open jobs."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Select, and_, or_, select

from tracker.records.boxes import ALL_BOXES, Box, boxes_where, read_box
from tracker.records.completeness import items_short
from tracker.records.follow_ups import completes, first
from tracker.records.loads import LOAD, Load, loads_numbered
from tracker.records.logged import LogView, rows_of_left_behind
from tracker.records.tables import box, job, load
from tracker.shop.box_states import BoxState
from tracker.shop.job_states import UNFINISHED
from tracker.shop.leaving import READY_STATES, keeps_load, stays_behind


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippingBox(Box):
    """A box before it leaves: ``uncounted`` kinds of its items are not counted into it in full.

    ``completes`` is the name of the box of which it holds the rest.
    """

    uncounted: int
    completes: str | None


_BOX = ALL_BOXES.add_columns(items_short().label("uncounted"), first.c.name.label("completes"))
_BOX = _BOX.outerjoin(first, first.c.id == box.c.follows_id)
# As shop.leaving.stays_behind says; a box that has not shipped is on no load that has left.
stays: Final[ColumnElement[bool]] = and_(
    job.c.status.in_(UNFINISHED), box.c.load_id.is_(None), box.c.state != BoxState.SHIPPED
)
_ORDER = (job.c.due, job.c.id, box.c.number)


def boxes_to_plan(
    connection: Connection, *, limit: int, job_code: str = "", sealed_only: bool = False
) -> list[ShippingBox]:
    """Return the boxes of open jobs that are planned for no load, soonest due first.

    Among the sealed ones stand those that hold the rest of a box that was sealed short, sealed or not.
    """
    query = _BOX.where(stays)
    if sealed_only:
        query = query.where(or_(box.c.state.in_(READY_STATES), completes()))
    if job_code:
        query = query.where(job.c.code == job_code)
    return _rows(connection, query.order_by(*_ORDER).limit(limit))


def boxes_before_leaving(connection: Connection, job_id: int, *, limit: int, after: int = 0) -> list[ShippingBox]:
    """Return the boxes of a job, by number, after box ``after``."""
    query = _BOX.where(box.c.job_id == job_id, box.c.id > after).order_by(box.c.id)
    return _rows(connection, query.limit(limit))


def boxes_on_load(connection: Connection, load_id: int) -> list[ShippingBox]:
    """Return the boxes planned for a load, by job and number."""
    return _rows(connection, _BOX.where(box.c.load_id == load_id).order_by(*_ORDER))


def left_behind(connection: Connection, load_id: int) -> Sequence[tuple[ShippingBox, LogView]]:
    """Return the boxes that a load left behind as they stand now, by job and number, and what the log tells of each."""
    rows = {row.box_id: row for row in rows_of_left_behind(connection, load_id)}
    boxes = _rows(connection, _BOX.where(box.c.id.in_(list(rows))).order_by(*_ORDER))
    return [(each, rows[each.id]) for each in boxes]


def staying_of_jobs(connection: Connection, job_ids: Collection[int]) -> list[ShippingBox]:
    """Return the boxes of these jobs that stay behind when other boxes of theirs leave, by job and number."""
    not_gone = _BOX.where(box.c.job_id.in_(list(job_ids)), box.c.state != BoxState.SHIPPED)
    return [each for each in _rows(connection, not_gone.order_by(*_ORDER)) if stays_behind(each)]


def staying_of_loads(connection: Connection, load_ids: Collection[int]) -> Mapping[int, Sequence[ShippingBox]]:
    """Return for each of these loads the boxes of its jobs that stay behind, by job and number."""
    on_them = select(box.c.load_id, box.c.job_id).where(box.c.load_id.in_(list(load_ids))).distinct()
    jobs: defaultdict[int, set[int]] = defaultdict(set)
    for load_id, job_id in connection.execute(on_them):
        jobs[load_id].add(job_id)
    staying = staying_of_jobs(connection, set().union(*jobs.values()))
    return {load_id: [each for each in staying if each.job.id in jobs[load_id]] for load_id in load_ids}


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadView(Load):
    """A load and the boxes planned for it."""

    boxes: Sequence[Box]


def load_view(connection: Connection, load_id: int) -> LoadView | None:
    """Return the load of this number with its boxes, or None."""
    return next(iter(_loads(connection, select(*LOAD).where(load.c.id == load_id))), None)


def list_loads(connection: Connection, *, limit: int, after: int | None = None) -> list[LoadView]:
    """Return loads, the latest first."""
    query = select(*LOAD).order_by(load.c.id.desc()).limit(limit)
    return _loads(connection, query if after is None else query.where(load.c.id < after))


def _loads(connection: Connection, query: Select[Any]) -> list[LoadView]:
    rows = connection.execute(query).all()
    boxes: defaultdict[int | None, list[Box]] = defaultdict(list)
    planned = ALL_BOXES.where(box.c.load_id.in_([row.id for row in rows])).order_by(box.c.id)
    for each in boxes_where(connection, planned):
        boxes[each.load_id].append(each)
    return [LoadView(**LOAD.read(row), boxes=boxes[row.id]) for row in rows]


@dataclass(frozen=True, slots=True, kw_only=True)
class Loading:
    """How far a load is loaded: ``on`` of its ``boxes`` are on it; ``staying`` are those of its jobs that stay.

    ``keeping`` of those that are on it keep it from leaving.
    """

    load: Load
    boxes: int
    on: int
    keeping: int
    staying: Sequence[ShippingBox]


def loading_of(connection: Connection, load_id: int) -> Loading:
    """Return how far a load is loaded."""
    boxes = boxes_on_load(connection, load_id)
    on = [each for each in boxes if each.state in (BoxState.LOADED, BoxState.SHIPPED)]
    return Loading(
        load=loads_numbered(connection, [load_id])[load_id],
        boxes=len(boxes),
        on=len(on),
        keeping=sum(keeps_load(each) is not None for each in on),
        staying=staying_of_loads(connection, [load_id])[load_id],
    )


def _rows(connection: Connection, query: Select[Any]) -> list[ShippingBox]:
    return [
        read_box(ShippingBox, row, uncounted=row.uncounted, completes=row.completes)
        for row in connection.execute(query)
    ]
