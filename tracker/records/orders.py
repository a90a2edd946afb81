"""Writing a job's rows: in one go when an order is taken, and one by one when a box or a part is added to it."""

from collections.abc import Iterable, Mapping
from itertools import islice
from typing import Any, Final

from sqlalchemy import Connection, Table, insert, select, update

from tracker.records.tables import job, tally
from tracker.shop.progress import PartStatus

ROWS_AT_ONCE = 5_000


# A part that nothing has happened to yet.
FRESH: Final[Mapping[str, Any]] = {
    "urgent": False,
    "replaces_id": None,
    "replaced_by_id": None,
    "status": PartStatus.WAITING,
    "done": frozenset(),
    "inferred": frozenset(),
    "damaged": False,
    "seen_at": None,
    "seen_station_id": None,
    "slot_id": None,
    "latest_at": None,
}


def job_exists(connection: Connection, code: str) -> bool:
    """Say whether a job of this code was ever taken."""
    return connection.execute(select(job.c.id).where(job.c.code == code)).first() is not None


def insert_rows(connection: Connection, table: Table, rows: Iterable[Mapping[str, Any]]) -> None:
    """Insert rows a few thousand at a time, so that a large order needs little memory."""
    remaining = iter(rows)
    while chunk := list(islice(remaining, ROWS_AT_ONCE)):
        connection.execute(insert(table), chunk)


def raise_total(connection: Connection, job_id: int, what: str, more: int) -> None:
    """Add to what a job has in all: a box, or a part's step."""
    statement = update(tally).where(tally.c.job_id == job_id, tally.c.what == what)
    connection.execute(statement.values(total=tally.c.total + more))
