"""A job's own row: found by its code, its status changed."""

from datetime import datetime

from sqlalchemy import Connection, select, update

from tracker.records.tables import job, part, tally
from tracker.shop.progress import PartStatus


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
