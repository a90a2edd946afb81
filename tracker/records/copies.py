"""Copies of the whole database as one SQLite file: made while the service runs, checked before they are trusted.

The same file format serves both databases: a copy of a PostgreSQL shop can be restored into SQLite and back.
"""

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, insert, select, text, update
from sqlalchemy.exc import DatabaseError

from tracker.records.database import Database, sqlite_module
from tracker.records.migrate import known_revisions, revision_of, upgrade
from tracker.records.sscc import keep_last_serial, last_serials
from tracker.records.tables import counter, job, log, metadata
from tracker.shop.codes import HIGHEST_NUMBER
from tracker.shop.errors import ConflictError, InvalidInputError
from tracker.shop.sscc import highest_serial, leap

ROWS_AT_ONCE = 5_000
# What stands on labels: after a copy was restored, so many numbers of each are left out, as they may be on labels that
# were printed since. A thousand restores are within the eight digits: own choice, no source.
LEFT_OUT = 100_000
_ON_LABELS = ("part", "box", "load", "board", "slot", "station")


def copy_to(database: Database, target: Path) -> None:
    """Write a consistent copy of ``database`` to a new file and check it; a file that is there is never overwritten."""
    if target.exists():
        raise ConflictError(f"{target} is there already. Name a file that is not.")
    partial = target.with_name(target.name + ".partial")
    partial.unlink(missing_ok=True)
    try:
        if database.is_sqlite:
            _copy_sqlite(database, partial)
        else:
            _copy_rows_to_file(database, partial)
        check_copy(partial)
        _flush(partial)
        os.link(partial, target)  # fails, rather than overwrites, when somebody was quicker
    finally:
        for leftover in (partial, *_companions(partial)):
            leftover.unlink(missing_ok=True)


def check_copy(path: Path) -> str:
    """Check that ``path`` is a whole copy that this program can use; return its revision.

    Raises InvalidInputError saying what is wrong with it.
    """
    if not path.is_file():
        raise InvalidInputError(f"There is no file {path}.")
    copied = Database(f"sqlite:///{path}", readers=1)
    try:
        with copied.read() as connection:
            damage = connection.execute(text("PRAGMA integrity_check")).scalar()
            orphans = connection.execute(text("PRAGMA foreign_key_check")).first()
            revision = revision_of(connection)
            if damage == "ok" and revision in known_revisions():
                _check_log(connection)
    except DatabaseError as error:
        raise InvalidInputError(f"{path} is not a copy of a tracker database: {error.orig}.") from error
    finally:
        copied.close()
    if damage != "ok" or orphans is not None:
        raise InvalidInputError(f"{path} is damaged: {damage if damage != 'ok' else 'rows point nowhere'}.")
    if revision is None or revision not in known_revisions():
        raise InvalidInputError(f"{path} is of version {revision}, which this program does not know.")
    return revision


def _check_log(connection: Connection) -> None:
    """The log is numbered without a gap: a row that was lost on the way shows."""
    rows, first, last = connection.execute(text("SELECT count(*), min(seq), max(seq) FROM log")).one()
    given = connection.execute(select(counter.c.last).where(counter.c.name == "log")).scalar_one()
    if rows and (rows != last - first + 1 or last != given or first != 1):
        raise InvalidInputError(f"The copy's log has {rows} rows where {given} were written.")


def restore_from(database: Database, source: Path) -> Path | None:
    """Put a checked copy in the place of what ``database`` holds.

    What a SQLite database held before is kept beside it, and its path returned. A PostgreSQL database that holds jobs
    is refused: restore into an empty one. Codes and SSCCs go on beyond what the copy knows of: see ``_leap_ahead``.
    """
    check_copy(source)
    given = _given(database)
    kept = None
    if database.is_sqlite:
        kept = _restore_sqlite(database, source)
    else:
        _restore_rows(database, source)
    _leap_ahead(database, given)
    return kept


@dataclass(frozen=True, slots=True, kw_only=True)
class _Given:
    """The last number that was given of each thing that has a code, and of each series of SSCCs."""

    codes: Mapping[str, int]
    serials: Mapping[str, int]


def _given(database: Database) -> _Given:
    path = Path(database.url.database or "")
    if database.is_sqlite and not (path.is_file() and path.stat().st_size):
        return _Given(codes={}, serials={})
    try:
        with database.read() as connection:
            return _given_in(connection)
    except DatabaseError:
        return _Given(codes={}, serials={})  # what is there is damaged: that is why a copy is restored


def _given_in(connection: Connection) -> _Given:
    rows = connection.execute(select(counter.c.name, counter.c.last).where(counter.c.name.in_(_ON_LABELS)))
    return _Given(codes={row.name: row.last for row in rows}, serials=last_serials(connection))


def _leap_ahead(database: Database, given: _Given) -> None:
    """Let codes and SSCCs go on after all that was given: since the copy was made, others may have been printed."""
    with database.write() as connection:
        copied = _given_in(connection)
        for name, last in copied.codes.items():
            known = max(last, given.codes.get(name, 0))
            if known:  # nothing was ever given in a shop that is new
                after = min(known + LEFT_OUT, HIGHEST_NUMBER)
                connection.execute(update(counter).where(counter.c.name == name).values(last=after))
        for series in {*copied.serials, *given.serials}:
            known = max(copied.serials.get(series, 0), given.serials.get(series, 0))
            keep_last_serial(connection, series, min(known + leap(series), highest_serial(series)))


def _copy_sqlite(database: Database, target: Path) -> None:
    with database.read() as connection:
        raw: Any = connection.connection.driver_connection
        copy = sqlite_module.connect(str(target))
        try:
            raw.backup(copy, pages=-1)
        finally:
            copy.close()


def _copy_rows_to_file(database: Database, target: Path) -> None:
    copied = Database(f"sqlite:///{target}", readers=1)
    try:
        upgrade(copied)
        with database.read() as source, copied.write() as sink:
            _copy_rows(source, sink)
    finally:
        copied.close()


def _restore_sqlite(database: Database, source: Path) -> Path | None:
    path = Path(database.url.database or "")
    kept = None
    if path.is_file() and path.stat().st_size:
        kept = _free_name(path)
        _copy_sqlite(database, kept)
    database.close()
    opened = sqlite_module.connect(str(source))
    into = sqlite_module.connect(str(path), timeout=10)
    try:
        opened.backup(into, pages=-1)
    finally:
        into.close()
        opened.close()
    upgrade(database)
    return kept


def _restore_rows(database: Database, source: Path) -> None:
    copied = Database(f"sqlite:///{source}", readers=1)
    try:
        upgrade(database)
        with copied.read() as stored, database.write() as sink:
            taken = sink.execute(select(job.c.id).limit(1)).first() or sink.execute(select(log.c.seq).limit(1)).first()
            if taken is not None:
                raise ConflictError("The database holds a shop already. Restore into an empty database.")
            _copy_rows(stored, sink)
    finally:
        copied.close()


def _copy_rows(source: Connection, sink: Connection) -> None:
    for table in reversed(metadata.sorted_tables):
        sink.execute(table.delete()) if table is not log else None
    for table in metadata.sorted_tables:
        for chunk in _chunks(source, table):
            sink.execute(insert(table), chunk)


def _chunks(source: Connection, table: Table) -> Iterator[list[dict[str, object]]]:
    ordered = select(table).order_by(*table.primary_key.columns)
    rows = source.execution_options(yield_per=ROWS_AT_ONCE).execute(ordered)
    while chunk := [dict(row._mapping) for row in islice(rows, ROWS_AT_ONCE)]:
        yield chunk


def _free_name(path: Path) -> Path:
    names = (path.with_name(f"{path.name}.before-restore-{count}") for count in range(1, 10_000))
    return next(name for name in names if not name.exists())


def _companions(path: Path) -> list[Path]:
    return [path.with_name(path.name + ending) for ending in ("-wal", "-shm")]


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
