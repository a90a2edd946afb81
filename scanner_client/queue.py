"""The station's own queue on disk: a reading is written here before anything is said about it.

An entry leaves only when the server has answered for its id; one that the server will never take is set aside with the
reason, and the rest goes on.
"""

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

# One script a version of the file, run in order from the version that the file has.
_VERSIONS: Final = (
    """
    CREATE TABLE IF NOT EXISTS waiting (
        number INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, code TEXT NOT NULL, at TEXT NOT NULL
    );
    CREATE TABLE IF NOT EXISTS aside (
        id TEXT PRIMARY KEY, code TEXT NOT NULL, at TEXT NOT NULL, why TEXT NOT NULL
    );
    """,
    """
    ALTER TABLE waiting ADD COLUMN station TEXT NOT NULL DEFAULT '';
    ALTER TABLE aside ADD COLUMN station TEXT NOT NULL DEFAULT '';
    """,
    """
    ALTER TABLE waiting ADD COLUMN told TEXT NOT NULL DEFAULT '';
    """,
    """
    ALTER TABLE waiting ADD COLUMN part TEXT NOT NULL DEFAULT '';
    ALTER TABLE aside ADD COLUMN part TEXT NOT NULL DEFAULT '';
    """,
)
_IN_USE_AFTER_S: Final = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading of a code: its id, its time (RFC 3339) and its station were fixed when the trigger was pulled.

    An empty ``station`` is the one that the token is made for. ``told`` is what the worker was told before the server
    answered (a Look), empty when nothing was. ``part`` goes with the damaged card or a slot's code: the part that was
    shown.
    """

    id: str
    code: str
    at: str
    station: str = ""
    told: str = ""
    part: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiting:
    """How many readings wait, the times (RFC 3339) of the first and of the last, and how many are set aside."""

    count: int
    oldest: str | None
    newest: str | None
    aside: int


class QueueOpenError(Exception):
    """The queue's file cannot be used: another program holds it, or it is no queue, or it cannot be written."""


class QueueDiskError(Exception):
    """The disk did not take a change of the queue. Nothing was changed."""


class Queue:
    """Readings that wait for the server, in order. Safe to use from several threads of one process.

    Raises QueueOpenError when the file cannot be used, and QueueDiskError from every method when the disk fails.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            self._connection = sqlite3.connect(
                path, isolation_level=None, check_same_thread=False, timeout=_IN_USE_AFTER_S
            )
        except (OSError, sqlite3.Error) as error:
            raise QueueOpenError(f"the queue {path} cannot be opened: {error}") from error
        try:
            self._prepare()
        except sqlite3.Error as error:
            self._connection.close()
            raise QueueOpenError(self._why_not(error)) from error
        except QueueOpenError:
            self._connection.close()
            raise

    def _prepare(self) -> None:
        # One process alone holds the file until it ends: two senders would mix up the order.
        self._connection.execute("PRAGMA locking_mode=EXCLUSIVE")
        self._connection.execute("PRAGMA journal_mode=WAL")
        self._connection.execute("PRAGMA synchronous=FULL")
        version = int(self._connection.execute("PRAGMA user_version").fetchone()[0])
        if version > len(_VERSIONS):
            raise QueueOpenError(f"the queue {self._path} was written by a newer scanner-client: use that one")
        for number, script in enumerate(_VERSIONS[version:], start=version + 1):
            self._connection.executescript(f"BEGIN IMMEDIATE; {script} PRAGMA user_version={number}; COMMIT;")
        self._connection.execute("BEGIN IMMEDIATE")
        self._connection.execute("COMMIT")

    def _why_not(self, error: sqlite3.Error) -> str:
        if error.sqlite_errorcode & 0xFF == sqlite3.SQLITE_BUSY:
            return f"the queue {self._path} is in use by another scanner-client: stop that one, or name another --queue"
        if error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
            return f"{self._path} is no queue, or is damaged ({error}): keep it, and name another --queue"
        return f"the queue {self._path} cannot be written: {error}"

    def add(self, reading: Reading) -> None:
        """Write a reading. When this returns it is on disk."""
        with self._change() as connection:
            row = (reading.id, reading.code, reading.at, reading.station, reading.part, reading.told)
            connection.execute("INSERT INTO waiting (id, code, at, station, part, told) VALUES (?, ?, ?, ?, ?, ?)", row)

    def tell(self, id_: str, told: str) -> None:
        """Keep with a reading that waits what the worker was told of it."""
        with self._change() as connection:
            connection.execute("UPDATE waiting SET told = ? WHERE id = ?", (told, id_))

    def answered(self, ids: Sequence[str]) -> None:
        """Take readings off the queue: the server has answered for them."""
        with self._change() as connection:
            connection.executemany("DELETE FROM waiting WHERE id = ?", [(each,) for each in ids])

    def set_aside(self, reading: Reading, why: str) -> None:
        """Take a reading out of the way that the server will never take; it is kept with the reason."""
        with self._change() as connection:
            row = (reading.id, reading.code, reading.at, reading.station, reading.part, why)
            connection.execute("INSERT INTO aside (id, code, at, station, part, why) VALUES (?, ?, ?, ?, ?, ?)", row)
            connection.execute("DELETE FROM waiting WHERE id = ?", (reading.id,))

    def take_up_again(self) -> int:
        """Let the readings that were set aside wait again, after those that wait; return how many."""
        with self._change() as connection:
            connection.execute(
                "INSERT INTO waiting (id, code, at, station, part)"
                " SELECT id, code, at, station, part FROM aside ORDER BY at, rowid"
            )
            return connection.execute("DELETE FROM aside").rowcount

    def first(self, count: int) -> list[Reading]:
        """Return the first readings that wait, in the order in which they were made."""
        rows = self._ask("SELECT id, code, at, station, part, told FROM waiting ORDER BY number LIMIT ?", count)
        return [_reading(row, row[5]) for row in rows]

    def waiting(self) -> int:
        """How many readings wait."""
        return int(self._ask("SELECT count(*) FROM waiting")[0][0])

    def state(self) -> Waiting:
        """How much waits, and since when."""
        ((count, oldest, newest, aside),) = self._ask(
            "SELECT count(*), (SELECT at FROM waiting ORDER BY number LIMIT 1),"
            " (SELECT at FROM waiting ORDER BY number DESC LIMIT 1), (SELECT count(*) FROM aside) FROM waiting"
        )
        return Waiting(count=count, oldest=oldest, newest=newest, aside=aside)

    def aside(self) -> list[tuple[Reading, str]]:
        """The readings that were set aside, with the reasons, oldest first."""
        return [
            (_reading(row), row[5])
            for row in self._ask("SELECT id, code, at, station, part, why FROM aside ORDER BY at")
        ]

    def close(self) -> None:
        """Give the file back."""
        with self._lock:
            self._connection.close()

    def _ask(self, question: str, *values: int) -> list[tuple[Any, ...]]:
        with self._lock:
            try:
                return self._connection.execute(question, values).fetchall()
            except sqlite3.Error as error:
                raise QueueDiskError(f"the queue {self._path} cannot be read: {error}") from error

    @contextmanager
    def _change(self) -> Iterator[sqlite3.Connection]:
        with self._lock:
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                yield self._connection
                self._connection.execute("COMMIT")
            except sqlite3.Error as error:
                with suppress(sqlite3.Error):
                    self._connection.rollback()
                raise QueueDiskError(f"the queue {self._path} cannot be written: {error}") from error


def _reading(row: Sequence[str], told: str = "") -> Reading:
    return Reading(id=row[0], code=row[1], at=row[2], station=row[3], part=row[4], told=told)
