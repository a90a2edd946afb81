"""What the pages about loads ask: which boxes wait for a load, and what is on one. Bounded by the open jobs."""

from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from sqlalchemy import Connection, Select, select

from tracker.records.tables import box, job
from tracker.shop.codes import box_code
from tracker.shop.verdicts import BoxState

READY_STATES: Final = (BoxState.SEALED, BoxState.LOADED)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShippingBox:
    """A box as it is planned for a load; ``missing`` parts are not in it, ``kept``: a foreman holds it in the shop.

    Masses in kg, ``weighed_kg`` when weighed.
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


_BOX = select(
    *(box.c.id, box.c.name, box.c.number, box.c.state, box.c.mass_kg, box.c.weighed_kg),
    (box.c.parts_total - box.c.packed).label("missing"),
    box.c.held_at.is_not(None).label("kept"),
    *(job.c.code.label("job"), job.c.customer, job.c.due, job.c.status.label("job_status")),
).join(job, job.c.id == box.c.job_id)


def boxes_to_plan(
    connection: Connection, *, limit: int, job_code: str = "", sealed_only: bool = False
) -> list[ShippingBox]:
    """Return the boxes of open jobs that are planned for no load, soonest due first."""
    query = _BOX.where(job.c.status.in_(["open", "held"]), box.c.load_id.is_(None), box.c.state != BoxState.SHIPPED)
    if sealed_only:
        query = query.where(box.c.state.in_(READY_STATES))
    if job_code:
        query = query.where(job.c.code == job_code)
    return _rows(connection, query.order_by(job.c.due, job.c.id, box.c.number).limit(limit))


def boxes_on_load(connection: Connection, load_id: int) -> list[ShippingBox]:
    """Return the boxes planned for a load, by job and number."""
    return _rows(connection, _BOX.where(box.c.load_id == load_id).order_by(job.c.due, job.c.id, box.c.number))


def _rows(connection: Connection, query: Select[Any]) -> list[ShippingBox]:
    rows = (dict(row._mapping) for row in connection.execute(query))
    return [ShippingBox(code=box_code(row["id"]), **row) for row in rows]
