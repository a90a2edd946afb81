"""A job's own row: read with how far it has come, found by its code, its status changed."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import Connection, Select, select, tuple_, update

from tracker.records.tables import job, part, tally
from tracker.records.values import Columns
from tracker.shop.job_states import JobStatus
from tracker.shop.progress import PartStatus
from tracker.shop.steps import Step


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """A job; ``status_at`` is when its status changed last."""

    id: int
    code: str
    customer: str
    due: date
    status: JobStatus
    status_at: datetime
    parts_total: int


JOB: Final = Columns(Job, job)


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """How many of how many."""

    done: int
    total: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxCounts:
    """How many boxes a job has, how many of them are sealed (or gone further) and shipped, and how many it is owed."""

    total: int
    sealed: int
    shipped: int
    owed: int


@dataclass(frozen=True, slots=True, kw_only=True)
class JobView(Job):
    """A job at a glance: how many of its parts have done each step, and how its boxes stand."""

    steps: dict[str, Count]
    boxes: BoxCounts


def list_jobs(
    connection: Connection, *, limit: int, after: tuple[date, int] | None = None, status: Collection[str] = ()
) -> list[JobView]:
    """Return jobs, soonest due first; with no ``status`` the unfinished and the finished alike, latest due first."""
    query = select(*JOB)
    if status:
        query = query.where(job.c.status.in_(list(status))).order_by(job.c.due, job.c.id)
        if after:
            query = query.where(tuple_(job.c.due, job.c.id) > after)
    else:
        query = query.order_by(job.c.due.desc(), job.c.id.desc())
        if after:
            query = query.where(tuple_(job.c.due, job.c.id) < after)
    return _jobs(connection, query.limit(limit))


def job_view(connection: Connection, code: str) -> JobView | None:
    """Return the job of this code, or None."""
    return next(iter(_jobs(connection, select(*JOB).where(job.c.code == code))), None)


def _jobs(connection: Connection, query: Select[Any]) -> list[JobView]:
    rows = connection.execute(query).all()
    tallies: defaultdict[int, dict[str, Count]] = defaultdict(dict)
    for row in connection.execute(select(tally).where(tally.c.job_id.in_([row.id for row in rows]))):
        tallies[row.job_id][row.what] = Count(done=row.done, total=row.total)
    return [_job(row, tallies[row.id]) for row in rows]


def _job(row: Any, counts: dict[str, Count]) -> JobView:
    sealed, shipped = counts["sealed"], counts["shipped"]
    owed = 0 if row.status is JobStatus.CANCELLED else shipped.total - shipped.done
    return JobView(
        **JOB.read(row),
        steps={step.value: counts[step.value] for step in Step},
        boxes=BoxCounts(total=sealed.total, sealed=sealed.done, shipped=shipped.done, owed=owed),
    )


def set_job_status(connection: Connection, job_id: int, status: str, at: datetime) -> None:
    """Change a job's status."""
    connection.execute(update(job).where(job.c.id == job_id).values(status=status, status_at=at))


def cancel_parts(connection: Connection, job_id: int) -> None:
    """Cancel all parts of a job that have not shipped and were not replaced."""
    alive = part.c.status.in_([PartStatus.WAITING, PartStatus.WORKING, PartStatus.PACKED])
    connection.execute(update(part).where(part.c.job_id == job_id, alive).values(status=PartStatus.CANCELLED))


def all_boxes_shipped(connection: Connection, job_id: int) -> bool:
    """Say whether every box of a job has shipped."""
    query = select(tally.c.total == tally.c.done).where(tally.c.job_id == job_id, tally.c.what == "shipped")
    return bool(connection.execute(query).scalar_one())


def any_box_shipped(connection: Connection, job_id: int) -> bool:
    """Say whether a box of a job has shipped."""
    query = select(tally.c.done > 0).where(tally.c.job_id == job_id, tally.c.what == "shipped")
    return bool(connection.execute(query).scalar_one())
