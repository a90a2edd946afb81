"""The station's own queue on disk: a reading is written here before anything is said about it.

An entry leaves only when the server has answered for its id; one that the server will never take is set aside with the
reason, and the rest goes on.
"""

import sqlite3
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Final

_TABLES: Final = """
CREATE TABLE IF NOT EXISTS waiting (
    number INTEGER PRIMARY KEY AUTOINCREMENT, id TEXT NOT NULL UNIQUE, code TEXT NOT NULL, at TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS aside (
    id TEXT PRIMARY KEY, code TEXT NOT NULL, at TEXT NOT NULL, why TEXT NOT NULL
);
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One reading of a code: its id and time were made when the trigger was pulled."""

    id: str
    code: str
    at: str


class QueueInUseError(Exception):
    """Another process holds the queue's file."""


class Queue:
    """Readings that wait for the server, in order. Safe to use from several threads of one process."""

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._lock = threading.Lock()
        self._connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=0.5)
        try:
            self._connection.execute("PRAGMA locking_mode=EXCLUSIVE")
            self._connection.execute("PRAGMA journal_mode=WAL")
            self._connection.execute("PRAGMA synchronous=FULL")
            self._connection.executescript(_TABLES)
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.execute("COMMIT")
        except sqlite3.OperationalError as error:
            self._connection.close()
            raise QueueInUseError(
                f"the queue {path} is in use by another program, or cannot be written: {error}"
            ) from error

    def add(self, reading: Reading) -> None:
        """Write a reading. When this returns it is on disk."""
        with self._lock:
            row = (reading.id, reading.code, reading.at)
            self._connection.execute("INSERT INTO waiting (id, code, at) VALUES (?, ?, ?)", row)

    def first(self, count: int) -> list[Reading]:
        """Return the first readings that wait, in the order in which they were made."""
        with self._lock:
            rows = self._connection.execute("SELECT id, code, at FROM waiting ORDER BY number LIMIT ?", (count,))
            return [Reading(id=row[0], code=row[1], at=row[2]) for row in rows]

    def answered(self, ids: list[str]) -> None:
        """Take readings off the queue: the server has answered for them."""
        with self._lock:
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.executemany("DELETE FROM waiting WHERE id = ?", [(each,) for each in ids])
            self._connection.execute("COMMIT")

    def set_aside(self, reading: Reading, why: str) -> None:
        """Take a reading out of the way that the server will never take; it is kept with the reason."""
        with self._lock:
            row = (reading.id, reading.code, reading.at, why)
            self._connection.execute("BEGIN IMMEDIATE")
            self._connection.execute("INSERT OR REPLACE INTO aside VALUES (?, ?, ?, ?)", row)
            self._connection.execute("DELETE FROM waiting WHERE id = ?", (reading.id,))
            self._connection.execute("COMMIT")

    def waiting(self) -> int:
        """How many readings wait."""
        with self._lock:
            return int(self._connection.execute("SELECT count(*) FROM waiting").fetchone()[0])

    def aside(self) -> list[tuple[Reading, str]]:
        """The readings that were set aside, with the reasons."""
        with self._lock:
            rows = self._connection.execute("SELECT id, code, at, why FROM aside ORDER BY at")
            return [(Reading(id=row[0], code=row[1], at=row[2]), row[3]) for row in rows]

    def close(self) -> None:
        """Give the file back."""
        with self._lock:
            self._connection.close()
