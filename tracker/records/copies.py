"""Copies of the whole database as one SQLite file: made while the service runs, checked before they are trusted.

The same file format serves both databases: a copy of a PostgreSQL shop can be restored into SQLite and back.

A restore makes ready all of what it puts in beside the database (its version, numbers moved on) and then lets SQLite,
or PostgreSQL, write it as one transaction; only a damaged file is replaced by rename. The secret key lies in a table of
the copy alone.
"""

import os
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from shutil import copyfile
from typing import Any

from sqlalchemy import Connection, Table, insert, select, update
from sqlalchemy.exc import DatabaseError

from tracker.files import keep_private
from tracker.records.database import Database, companions, is_sqlite_file, sqlite_module
from tracker.records.failures import failure_in
from tracker.records.holding import hold
from tracker.records.integrity import damage, damage_in
from tracker.records.migrate import known_revisions, upgrade
from tracker.records.restoring import (
    finish_restore,
    prepared_file,
    put_copied_key,
    put_restored_key,
    remove_copy,
    take_copied_key,
)
from tracker.records.sscc import keep_last_serial, last_serials
from tracker.records.tables import counter, job, log, metadata
from tracker.settings import Settings
from tracker.shop.codes import HIGHEST_NUMBER
from tracker.shop.errors import ConflictError, InvalidInputError
from tracker.shop.failures import RESTORE_A_BACKUP, Failure
from tracker.shop.sscc import highest_serial, leap

ROWS_AT_ONCE = 5_000
# What stands on labels: after a copy was restored, so many numbers of each are left out, as they may be on labels that
# were printed since. A thousand restores are within the eight digits: own choice, no source.
LEFT_OUT = 100_000
_ON_LABELS = ("part", "box", "load", "board", "slot", "station")


def copy_to(database: Database, target: Path, *, secret_key: str) -> None:
    """Write a consistent copy of ``database`` and the key to a new file of its owner's alone, and check it.

    A file that is there is never overwritten. Raises InvalidInputError when the database is damaged, and OSError.
    """
    if os.path.lexists(target):
        raise ConflictError(f"{target} is there already. Name a file that is not.")
    partial = target.with_name(target.name + ".partial")
    remove_copy(partial)
    try:
        _write_copy(database, partial, secret_key)
        check_copy(partial, called="The database")
        _flush(partial)
        os.link(partial, target)  # fails, rather than overwrites, when somebody was quicker
    finally:
        remove_copy(partial)


def check_copy(path: Path, *, called: str | None = None) -> str:
    """Check that ``path`` is a whole copy that this program can use; return its revision.

    Raises InvalidInputError saying what is wrong with it, in which it is ``called`` so.
    """
    step = "Restore another backup; nothing was changed." if called is None else RESTORE_A_BACKUP
    called = called or str(path)
    if not path.exists():
        raise InvalidInputError(f"There is no file {path}.")
    if not path.is_file():
        what = "a folder" if path.is_dir() else "no regular file"
        raise InvalidInputError(f"{path} is {what}. Name the file of a backup.")
    try:
        with closing(sqlite_module.connect(str(path))) as raw:
            damage = next(damage_in(raw), None)
            if damage is not None:
                raise InvalidInputError(f"{called} is damaged: {damage}. {step}")
            revision = raw.execute("SELECT version_num FROM alembic_version").fetchone()
            if revision is None or revision[0] not in known_revisions():
                raise InvalidInputError(f"{called} is of a version that this program does not know.")
            _check_log(raw, called)
    except sqlite_module.DatabaseError as error:
        is_damaged = failure_in(error) is Failure.DAMAGED and is_sqlite_file(path)
        if is_damaged:
            raise InvalidInputError(f"{called} is damaged: {error}. {step}") from error
        raise InvalidInputError(f"{called} is not a copy of a tracker database: {error}.") from error
    return str(revision[0])


def _check_log(raw: Any, called: str) -> None:
    """The log is numbered without a gap: a row that was lost on the way shows."""
    rows, first, last = raw.execute("SELECT count(*), min(seq), max(seq) FROM log").fetchone()
    (given,) = raw.execute("SELECT last FROM counter WHERE name = 'log'").fetchone()
    if rows and (rows != last - first + 1 or last != given or first != 1):
        raise InvalidInputError(f"The log of {called} has {rows} rows where {given} were written.")


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What a restore did: where the former database is ``kept``, and the secret key of the copy, if it holds one."""

    kept: Path | None
    secret_key: str | None


def restore_from(database: Database, source: Path, settings: Settings) -> Restored:
    """Put a checked copy, and the key in it, in the place of what ``database`` holds: all of the database or nothing.

    What a SQLite database held before is kept beside it. A PostgreSQL database that holds jobs is refused: restore into
    an empty one. Codes and SSCCs go on beyond what the copy knows of: see ``_leap_ahead``. Raises ConflictError while
    anybody has the database, InvalidInputError for what is no good copy, and OSError.
    """
    check_copy(source)
    prepared, kept = prepared_file(settings), None
    with hold(database, alone=True):
        try:
            key = _prepare(prepared, source, _given(database))
            if database.is_sqlite:
                kept = _put_in_place(database, prepared, settings)
            else:
                _put_rows(database, prepared, key)
        finally:
            remove_copy(prepared)
        finish_restore(database, settings)
    return Restored(kept=kept, secret_key=key)


def _prepare(prepared: Path, source: Path, given: "_Given") -> str | None:
    """Make of a copy what takes the database's place: of this version, its numbers moved on; return its key."""
    remove_copy(prepared)
    keep_private(prepared)
    with (
        _told("The copy cannot be taken over"),
        closing(sqlite_module.connect(str(source))) as copy,
        closing(sqlite_module.connect(str(prepared))) as raw,
    ):
        copy.backup(raw, pages=-1)
    with _opened(prepared) as copied:
        upgrade(copied)
        _leap_ahead(copied, given)
        with copied.write() as connection:
            return take_copied_key(connection)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Given:
    """The last number that was given of each thing that has a code, and of each series of SSCCs."""

    codes: Mapping[str, int]
    serials: Mapping[str, int]


def _given(database: Database) -> _Given:
    """What was given by a database that may be damaged, empty or of an earlier version: so far as it can be read."""
    if database.is_sqlite and not database.has_content:
        return _Given(codes={}, serials={})
    return _Given(codes=_readable(database, _last_codes), serials=_readable(database, last_serials))


def _readable(database: Database, read: Callable[[Connection], Mapping[str, int]]) -> Mapping[str, int]:
    try:
        with database.read() as connection:
            return read(connection)
    except DatabaseError:
        return {}


def _last_codes(connection: Connection) -> Mapping[str, int]:
    rows = connection.execute(select(counter.c.name, counter.c.last).where(counter.c.name.in_(_ON_LABELS)))
    return {row.name: row.last for row in rows}


def _leap_ahead(database: Database, given: _Given) -> None:
    """Let codes and SSCCs go on after all that was given: since the copy was made, others may have been printed."""
    with database.write() as connection:
        for name, last in _last_codes(connection).items():
            known = max(last, given.codes.get(name, 0))
            if known:  # nothing was ever given in a shop that is new
                after = min(known + LEFT_OUT, HIGHEST_NUMBER)
                connection.execute(update(counter).where(counter.c.name == name).values(last=after))
        copied = last_serials(connection)
        for series in {*copied, *given.serials}:
            known = max(copied.get(series, 0), given.serials.get(series, 0))
            keep_last_serial(connection, series, min(known + leap(series), highest_serial(series)))


def _write_copy(database: Database, path: Path, secret_key: str) -> None:
    keep_private(path)
    if database.is_sqlite:
        _copy_sqlite(database, path)
    else:
        _copy_rows_to_file(database, path)
    with _opened(path) as copied, copied.write() as connection, database.read() as source:
        put_copied_key(connection, source, secret_key)
    with _told("The copy cannot be written"), closing(sqlite_module.connect(str(path))) as raw:
        raw.execute("PRAGMA journal_mode=DELETE")  # one file, which is read where nothing can be written, too


def _copy_sqlite(database: Database, target: Path) -> None:
    with (
        _told("The database cannot be copied"),
        database.read() as connection,
        closing(sqlite_module.connect(str(target))) as copy,
    ):
        raw: Any = connection.connection.driver_connection
        raw.backup(copy, pages=-1)


@contextmanager
def _told(what: str) -> Iterator[None]:
    """Say in words what SQLite's own functions could not do; what SQLAlchemy raises is told elsewhere."""
    try:
        yield
    except sqlite_module.Error as error:
        raise ConflictError(f"{what}: {error}. Nothing was changed.") from error


def _copy_rows_to_file(database: Database, target: Path) -> None:
    with _opened(target) as copied:
        upgrade(copied)
        with database.read() as source, copied.write() as sink:
            _copy_rows(source, sink)


@contextmanager
def _opened(path: Path) -> Iterator[Database]:
    copied = Database(f"sqlite:///{path}", readers=1)
    try:
        yield copied
    finally:
        copied.close()


def _put_in_place(database: Database, prepared: Path, settings: Settings) -> Path | None:
    path = database.file
    if not database.has_content:
        _overwrite(path, prepared)
        return None
    kept = _free_name(path)
    if next(damage(database), None) is None:
        _write_copy(database, kept, settings.secret_key)
        database.close()
        _overwrite(path, prepared)
    else:
        database.close()
        _keep_as_it_is(path, kept)
        _replace(path, prepared)
    return kept


def _overwrite(path: Path, prepared: Path) -> None:
    """Let SQLite write the whole file in one transaction: killed in the middle, the former content is there."""
    keep_private(path)
    with (
        _told("The database cannot be written"),
        closing(sqlite_module.connect(str(prepared))) as copy,
        closing(sqlite_module.connect(str(path))) as into,
    ):
        copy.backup(into, pages=-1)


def _keep_as_it_is(path: Path, kept: Path) -> None:
    for each, beside in zip((path, *companions(path)), (kept, *companions(kept)), strict=True):
        if each.exists():
            keep_private(beside)
            copyfile(each, beside)


def _replace(path: Path, prepared: Path) -> None:
    """Put a file in the place of a damaged one, into which SQLite may not be able to write. Its owner stays."""
    beside = path.with_name(path.name + ".restored")
    keep_private(beside)
    copyfile(prepared, beside)
    _flush(beside)
    if sys.platform != "win32":
        owner = path.stat()
        os.chown(beside, owner.st_uid, owner.st_gid)
    for each in companions(path):
        each.unlink(missing_ok=True)
    beside.replace(path)


def _put_rows(database: Database, prepared: Path, key: str | None) -> None:
    with _opened(prepared) as copied:
        upgrade(database)
        with copied.read() as stored, database.write() as sink:
            taken = sink.execute(select(job.c.id).limit(1)).first() or sink.execute(select(log.c.seq).limit(1)).first()
            if taken is not None:
                raise ConflictError("The database holds a shop already. Restore into an empty database.")
            _copy_rows(stored, sink)
            if key is not None:
                put_restored_key(sink, key)


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


def _flush(path: Path) -> None:
    with path.open("rb+") as file:
        os.fsync(file.fileno())
