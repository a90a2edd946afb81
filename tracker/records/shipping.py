"""What the pages about loads ask: which boxes wait for a load, and what is on one. Bounded by the open jobs."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, Select, and_, or_, select

from tracker.records.follow_ups import completes, first
from tracker.records.lacking import items_short, parts_lacking
from tracker.records.tables import box, job, load
from tracker.shop.box_states import BoxState
from tracker.shop.codes import box_code, load_code
from tracker.shop.job_states import UNFINISHED, JobStatus
from tracker.shop.leaving import stays_behind

READY_STATES: Final = (BoxState.SEALED, BoxState.LOADED)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippingBox:
    """A box as it is planned for a load; ``kept``: a foreman holds it in the shop.

    It lacks ``missing`` parts, and ``uncounted`` kinds of items are not counted into it in full.

    ``completes`` is the name of the box of which it holds the rest, ``open_load`` the number of its load that has not
    left. Masses in kg, ``weighed_kg`` when weighed.
    """

    id: int
    code: str
    name: str
    number: int
    job_id: int
    job: str
    customer: str
    due: date
    job_status: str
    state: str
    kept: bool
    missing: int
    uncounted: int
    mass_kg: float
    weighed_kg: float | None
    completes: str | None
    open_load: int | None

    @property
    def held(self) -> bool:
        """Whether a hold keeps it in the shop, its own or that of its job."""
        return self.kept or self.job_status == JobStatus.HELD


_BOX = select(
    *(box.c.id, box.c.name, box.c.number, box.c.state, box.c.mass_kg, box.c.weighed_kg, box.c.job_id),
    *(parts_lacking().label("missing"), items_short().label("uncounted")),
    box.c.held_at.is_not(None).label("kept"),
    *(job.c.code.label("job"), job.c.customer, job.c.due, job.c.status.label("job_status")),
    *(first.c.name.label("completes"), load.c.id.label("open_load")),
)
_BOX = _BOX.select_from(box).join(job, job.c.id == box.c.job_id).outerjoin(first, first.c.id == box.c.follows_id)
_BOX = _BOX.outerjoin(load, and_(load.c.id == box.c.load_id, load.c.state == "open"))
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


def boxes_on_load(connection: Connection, load_id: int) -> list[ShippingBox]:
    """Return the boxes planned for a load, by job and number."""
    return _rows(connection, _BOX.where(box.c.load_id == load_id).order_by(*_ORDER))


def staying_of_jobs(connection: Connection, job_ids: Collection[int]) -> list[ShippingBox]:
    """Return the boxes of these jobs that stay behind when other boxes of theirs leave, by job and number."""
    not_gone = _BOX.where(box.c.job_id.in_(list(job_ids)), box.c.state != BoxState.SHIPPED)
    return list(filter(stays_behind, _rows(connection, not_gone.order_by(*_ORDER))))


def staying_of_loads(connection: Connection, load_ids: Collection[int]) -> Mapping[int, Sequence[ShippingBox]]:
    """Return for each of these loads the boxes of its jobs that stay behind, by job and number."""
    on_them = select(box.c.load_id, box.c.job_id).where(box.c.load_id.in_(list(load_ids))).distinct()
    jobs: defaultdict[int, set[int]] = defaultdict(set)
    for load_id, job_id in connection.execute(on_them):
        jobs[load_id].add(job_id)
    staying = staying_of_jobs(connection, set().union(*jobs.values()))
    return {load_id: [each for each in staying if each.job_id in jobs[load_id]] for load_id in load_ids}


@dataclass(frozen=True, slots=True, kw_only=True)
class Loading:
    """How far a load is loaded: ``on`` of its ``boxes`` are on it; ``staying`` are those of its jobs that stay."""

    code: str
    ship_on: date
    boxes: int
    on: int
    staying: Sequence[ShippingBox]


def loading_of(connection: Connection, load_id: int) -> Loading:
    """Return how far a load is loaded."""
    states = connection.execute(select(box.c.state).where(box.c.load_id == load_id)).all()
    return Loading(
        code=load_code(load_id),
        ship_on=connection.execute(select(load.c.ship_on).where(load.c.id == load_id)).scalar_one(),
        boxes=len(states),
        on=sum(row.state in (BoxState.LOADED, BoxState.SHIPPED) for row in states),
        staying=staying_of_loads(connection, [load_id])[load_id],
    )


def _rows(connection: Connection, query: Select[Any]) -> list[ShippingBox]:
    rows = (dict(row._mapping) for row in connection.execute(query))
    return [ShippingBox(code=box_code(row["id"]), **row) for row in rows]
