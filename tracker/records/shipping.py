"""What the pages about loads ask: which boxes wait for a load, and what is on one. Bounded by the open jobs."""

from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from sqlalchemy import Connection, Select, or_, select

from tracker.records.follow_ups import completes, first, follow_ups_of
from tracker.records.lacking import parts_lacking
from tracker.records.tables import box, job, load
from tracker.shop.codes import Code, Kind, box_code
from tracker.shop.verdicts import BoxState

READY_STATES: Final = (BoxState.SEALED, BoxState.LOADED)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippingBox:
    """A box as it is planned for a load; ``missing`` parts are not in it, ``kept``: a foreman holds it in the shop.

    ``completes`` is the name of the box of which it holds the rest. Masses in kg, ``weighed_kg`` when weighed.
    """

    id: int
    code: str
    name: str
    number: int
    job: str
    customer: str
    due: date
    job_status: str
    state: str
    kept: bool
    missing: int
    mass_kg: float
    weighed_kg: float | None
    completes: str | None


_BOX = select(
    *(box.c.id, box.c.name, box.c.number, box.c.state, box.c.mass_kg, box.c.weighed_kg),
    parts_lacking().label("missing"),
    box.c.held_at.is_not(None).label("kept"),
    *(job.c.code.label("job"), job.c.customer, job.c.due, job.c.status.label("job_status")),
    first.c.name.label("completes"),
)
_BOX = _BOX.select_from(box).join(job, job.c.id == box.c.job_id).outerjoin(first, first.c.id == box.c.follows_id)


def boxes_to_plan(
    connection: Connection, *, limit: int, job_code: str = "", sealed_only: bool = False
) -> list[ShippingBox]:
    """Return the boxes of open jobs that are planned for no load, soonest due first.

    Among the sealed ones stand those that hold the rest of a box that was sealed short, sealed or not.
    """
    query = _BOX.where(job.c.status.in_(["open", "held"]), box.c.load_id.is_(None), box.c.state != BoxState.SHIPPED)
    if sealed_only:
        query = query.where(or_(box.c.state.in_(READY_STATES), completes()))
    if job_code:
        query = query.where(job.c.code == job_code)
    return _rows(connection, query.order_by(job.c.due, job.c.id, box.c.number).limit(limit))


def boxes_on_load(connection: Connection, load_id: int) -> list[ShippingBox]:
    """Return the boxes planned for a load, by job and number."""
    return _rows(connection, _BOX.where(box.c.load_id == load_id).order_by(job.c.due, job.c.id, box.c.number))


@dataclass(frozen=True, slots=True, kw_only=True)
class Loading:
    """How far a load is loaded: ``on`` of its ``boxes`` are on it; ``short`` of those have a rest that is not on it."""

    code: str
    ship_on: date
    boxes: int
    on: int
    short: int


def loading_of(connection: Connection, load_id: int) -> Loading:
    """Return how far a load is loaded."""
    states = connection.execute(select(box.c.id, box.c.state).where(box.c.load_id == load_id)).all()
    code = str(Code(Kind.LOAD, load_id))
    rests = follow_ups_of(connection, [row.id for row in states])
    return Loading(
        code=code,
        ship_on=connection.execute(select(load.c.ship_on).where(load.c.id == load_id)).scalar_one(),
        boxes=len(states),
        on=sum(row.state in (BoxState.LOADED, BoxState.SHIPPED) for row in states),
        short=sum(not all(rest.leaves_with(code) for rest in some) for some in rests.values()),
    )


def _rows(connection: Connection, query: Select[Any]) -> list[ShippingBox]:
    rows = (dict(row._mapping) for row in connection.execute(query))
    return [ShippingBox(code=box_code(row["id"]), **row) for row in rows]
