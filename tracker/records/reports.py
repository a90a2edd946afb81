"""Reports from site: what was missing or damaged when a cabinet was put together."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, func, insert, select, update

from tracker.records.tables import job, part, report
from tracker.records.writing import take_numbers
from tracker.shop.codes import part_code


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportView:
    """One thing that a fitter reported; ``part`` is a part's code, or None when it is about an item of the bag."""

    id: int
    job: str
    cabinet: str
    part: str | None
    name: str
    what: str
    told_by: str
    note: str
    at: datetime


def add_report(
    connection: Connection,
    *,
    job_id: int,
    cabinet: str,
    part_id: int | None,
    item: str,
    what: str,
    told_by: str,
    note: str,
    at: datetime,
) -> int:
    """Keep one report; return its number."""
    number = take_numbers(connection, "report", 1)[0]
    values = {"id": number, "job_id": job_id, "cabinet": cabinet, "part_id": part_id, "item": item, "what": what}
    connection.execute(insert(report).values(**values, told_by=told_by, note=note, at=at))
    return number


def count_open(connection: Connection, job_id: int) -> int:
    """Return how many reports of a job nobody has dealt with."""
    query = select(func.count()).where(report.c.job_id == job_id, report.c.closed_at.is_(None))
    return connection.execute(query).scalar_one()


def open_reports(connection: Connection, *, limit: int, after: int = 0) -> list[ReportView]:
    """Return what was reported and not dealt with, the oldest first."""
    query = (
        select(report, job.c.code.label("job_code"), part.c.name.label("part_name"))
        .join(job, job.c.id == report.c.job_id)
        .join(part, part.c.id == report.c.part_id, isouter=True)
        .where(report.c.closed_at.is_(None), report.c.id > after)
        .order_by(report.c.id)
        .limit(limit)
    )
    return [
        ReportView(
            id=row.id,
            job=row.job_code,
            cabinet=row.cabinet,
            part=None if row.part_id is None else part_code(row.part_id),
            name=row.part_name or row.item,
            what=row.what,
            told_by=row.told_by,
            note=row.note,
            at=row.at,
        )
        for row in connection.execute(query)
    ]


def close_report(connection: Connection, number: int, *, who: str, now: datetime) -> bool:
    """Mark a report as dealt with; return whether there was an open one of this number."""
    closed = update(report).where(report.c.id == number, report.c.closed_at.is_(None))
    return connection.execute(closed.values(closed_at=now, closed_by=who)).rowcount == 1
