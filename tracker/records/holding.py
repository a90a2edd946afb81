"""Who has the database: services share it, a restore wants it alone. A hold ends with its process, however that ends.

On SQLite it is a lock on a file beside the database, on PostgreSQL an advisory lock of each connection.

On Windows, which cannot share a lock, it is bytes of that file. Only what is a SQLite database is hidden from other
users of the machine: what an address names by mistake keeps its rights.
"""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from sqlalchemy import event, text

from tracker.records.database import Database
from tracker.shop.errors import ConflictError, InvalidInputError

_ENDING: Final = ".in-use"
_KEY: Final = int.from_bytes(b"flatpack")  # of the advisory lock: own choice
_PLACES: Final = 1000  # on Windows, where a lock cannot be shared: each holder locks a byte of its own


@contextmanager
def hold(database: Database, *, alone: bool = False) -> Iterator[None]:
    """Have the database, beside others or alone, until this ends. Raises ConflictError when others forbid it."""
    held = _hold_file(database, alone=alone) if database.is_sqlite else _hold_server(database, alone=alone)
    with held:
        yield


def _refusal(*, alone: bool) -> ConflictError:
    if alone:
        return ConflictError("The database is in use. Stop the service and every other tracker command first.")
    return ConflictError("The database is being restored. Try again when that is done.")


@contextmanager
def _hold_file(database: Database, *, alone: bool) -> Iterator[None]:
    path = Path(database.url.database or "").resolve()
    if path.exists() and not path.is_file():  # a device or a folder gets no file beside it
        raise InvalidInputError(f"{path} is no database. Is TRACKER_DATABASE_URL right?")
    access = os.O_RDWR if sys.platform == "win32" else os.O_RDONLY  # another's file can be locked, too
    number = os.open(path.with_name(path.name + _ENDING), access | os.O_CREAT, 0o644)
    try:
        if not _lock(number, alone=alone):
            raise _refusal(alone=alone)
        yield
    finally:
        os.close(number)  # which ends the lock


if sys.platform == "win32":
    import msvcrt

    def _lock(number: int, *, alone: bool) -> bool:
        if alone:
            return _lock_bytes(number, 0, _PLACES)
        return any(_lock_bytes(number, place, 1) for place in range(_PLACES))

    def _lock_bytes(number: int, start: int, length: int) -> bool:
        os.lseek(number, start, os.SEEK_SET)
        try:
            msvcrt.locking(number, msvcrt.LK_NBLCK, length)
        except OSError:
            return False
        return True

else:
    import fcntl

    def _lock(number: int, *, alone: bool) -> bool:
        try:
            fcntl.flock(number, (fcntl.LOCK_EX if alone else fcntl.LOCK_SH) | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        return True


@contextmanager
def _hold_server(database: Database, *, alone: bool) -> Iterator[None]:
    with _hold_session(database) if alone else _hold_sessions(database):
        yield


@contextmanager
def _hold_session(database: Database) -> Iterator[None]:
    with database.engine.connect() as connection:
        if not connection.scalar(text(f"SELECT pg_try_advisory_lock({_KEY})")):
            raise _refusal(alone=True)
        connection.commit()
        try:
            yield
        finally:
            connection.scalar(text(f"SELECT pg_advisory_unlock({_KEY})"))


@contextmanager
def _hold_sessions(database: Database) -> Iterator[None]:
    """Let each new connection share the lock: one that was lost and is made anew holds it again."""

    def take(raw: Any, _record: object) -> None:
        (shared,) = raw.execute(f"SELECT pg_try_advisory_lock_shared({_KEY})").fetchone()
        raw.commit()
        if not shared:
            raw.close()
            raise _refusal(alone=False)

    def give_back(raw: Any, _record: object) -> None:
        with suppress(database.engine.dialect.loaded_dbapi.Error):  # a lost connection holds nothing
            raw.execute("SELECT pg_advisory_unlock_all()")  # by itself the server ends a session a little later

    event.listen(database.engine, "connect", take)
    event.listen(database.engine, "close", give_back)
    try:
        database.engine.connect().close()  # the pool keeps it
        yield
    finally:
        event.remove(database.engine, "connect", take)
        database.close()
        event.remove(database.engine, "close", give_back)
