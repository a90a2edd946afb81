"""A database as it is after years: many finished jobs, many scans, and some open jobs."""

from collections.abc import Iterator
from datetime import timedelta
from itertools import islice
from random import Random
from typing import Any

from sqlalchemy import Connection, text

from tracker.bench.scanning import START, take_parts
from tracker.records.database import Database, sqlite_module
from tracker.records.tables import to_micros

PARTS_A_JOB = 1_000
SCANS_A_PART = 5
ROWS_AT_ONCE = 20_000


def grow(database: Database, *, parts: int, open_jobs: int) -> None:
    """Fill an empty shop: jobs of 1,000 parts, all shipped but for the last ``open_jobs``, five scans a part."""
    jobs = parts // PARTS_A_JOB
    for number in range(jobs):
        take_parts(database, PARTS_A_JOB, f"J-{number}", per_cabinet=10)
    finished = max(0, jobs - open_jobs)
    with database.write() as connection:
        _ship(connection, finished)
        _scan(connection, finished * PARTS_A_JOB, SCANS_A_PART * parts)
    with database.engine.connect() as connection:
        connection.exec_driver_sql("ANALYZE")
    _checkpoint(database)


def _checkpoint(database: Database) -> None:
    """Bring the write-ahead log into the database, as years of work would have: it is not the scans' to do."""
    connection = sqlite_module.connect(database.url.database)
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def _ship(connection: Connection, jobs: int) -> None:
    """Set what the scans of finished jobs would have left behind."""
    last = {"last": jobs}
    for statement in (
        "UPDATE job SET status = 'shipped' WHERE id <= :last",
        "UPDATE tally SET done = total WHERE job_id <= :last",
        "UPDATE box SET state = 'shipped', packed = parts_total WHERE job_id <= :last",
        "UPDATE part SET status = 'shipped', done = route WHERE job_id <= :last",
    ):
        connection.execute(text(statement), last)


_COLUMNS = (
    *("seq", "scan_id", "action", "outcome", "at", "received_at", "who", "code", "station_id", "step", "infers"),
    *("job_id", "part_id", "box_id", "inferred", "message"),
)
_STEPS = ("cut", "machine", "band", "pack", "pack")


def _scan(connection: Connection, parts: int, scans: int) -> None:
    first = connection.execute(text("SELECT last FROM counter WHERE name = 'log'")).scalar_one() + 1
    marks = ", ".join("?" * len(_COLUMNS))
    statement = f"INSERT INTO log ({', '.join(_COLUMNS)}) VALUES ({marks})"  # noqa: S608 - our own names
    rows = _rows(first, max(parts, 1), scans)
    while chunk := list(islice(rows, ROWS_AT_ONCE)):
        connection.exec_driver_sql(statement, chunk)
    connection.execute(text("UPDATE counter SET last = last + :scans WHERE name = 'log'"), {"scans": scans})


def _rows(first: int, parts: int, scans: int) -> Iterator[tuple[Any, ...]]:
    chance = Random(1)  # noqa: S311 - ids for a benchmark
    start = to_micros(START - timedelta(days=400))
    for count in range(scans):
        place = count % SCANS_A_PART
        part = count // SCANS_A_PART % parts + 1
        at = start + count * 1_000_000
        outcome = "again" if place == SCANS_A_PART - 1 else "done"
        said = "End, cabinet 10: done. Next: machine."
        job, box = (part - 1) // PARTS_A_JOB + 1, (part - 1) // 10 + 1
        event = (first + count, chance.randbytes(16), "pass", outcome, at, at)
        yield (*event, "bench", "P", place + 1, _STEPS[place], 1, job, part, box, 0, said)
