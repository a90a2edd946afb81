"""The station's own list: a small copy of what may come, kept on disk so that it is there with the network gone.

It is a help and no record: where it fails it says nothing, and readings go on without it.

The queue is the record. What a worker was told by the list is kept with the reading (``waiting.told``), so that a
restart still takes it back loudly.
"""

import re
import sqlite3
import threading
import time
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final, Protocol

from scanner_client.provisional import NO_GUESS, Expected, Guess, ListHead, Look, guess
from tracker.shop.codes import COMMAND_NUMBERS, Command, Kind, MisreadError, read_code

MOST_ROWS: Final = 20_000
WHOLE_AFTER_S: Final = 12 * 3600.0  # then it is fetched whole: what a restore of the server changed is put right
_VERSION: Final = 1
_COLUMNS: Final = tuple(field.name for field in fields(Expected) if field.name != "passed")
_SSCC: Final = re.compile("[0-9]{18}", re.ASCII)  # as the station gives it on
_LISTED: Final = ", ".join(_COLUMNS)
_TABLE: Final = "(code TEXT PRIMARY KEY, " + ", ".join(f"{name} NOT NULL" for name in _COLUMNS[1:])
_SCRIPT: Final = f"""
    CREATE TABLE head (name TEXT PRIMARY KEY, value NOT NULL);
    CREATE TABLE expected {_TABLE}, passed INTEGER NOT NULL DEFAULT 0);
    CREATE INDEX expected_box ON expected (box);
    CREATE INDEX expected_sscc ON expected (sscc);
    CREATE TABLE staged {_TABLE});
    PRAGMA user_version={_VERSION};
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What the server says may come. ``whole``: it replaces the list; pages follow until ``next`` is empty."""

    station: str
    step: str
    strict: bool
    at: int
    whole: bool
    items: Sequence[Expected]
    gone: Sequence[str]
    next: str


class Giver(Protocol):
    """Whoever gives the pages."""

    def expected(self, station: str, since: int, after: str = "") -> Page | None:
        """Return a page, or None when there is none to be had."""


class StationList:
    """The list in a file; ``of`` names the server and the station whose list it is. Several threads may use it."""

    def __init__(self, path: Path, *, of: str, clock: Callable[[], float] = time.time) -> None:
        self._lock = threading.Lock()
        self._clock = clock
        self.trouble = ""
        self._connection = self._opened(path)
        if self._value("of", "") != of:
            self._did(lambda connection: _begin_anew(connection, of))

    def _opened(self, path: Path) -> sqlite3.Connection:
        """A copy that is damaged or of another program is made anew; with no disk for it, it is kept in memory."""
        with suppress(OSError, sqlite3.Error):
            return _connected(path)
        try:
            for each in (path, Path(f"{path}-wal"), Path(f"{path}-shm")):
                each.unlink(missing_ok=True)
            return _connected(path)
        except (OSError, sqlite3.Error) as error:
            self.trouble = f"the station's list {path} cannot be kept: {error}"
            return _connected(Path(":memory:"))

    def close(self) -> None:
        """Give the file back."""
        with self._lock:
            self._connection.close()

    # Asked at each reading

    def look(self, text: str) -> Guess:
        """Say how a reading looks, by the list."""
        text = self._own(text)
        with suppress(MisreadError):
            code = read_code(text)
            return guess(code, self.head(), self._found(text), box_on_list=self._has_box(text))
        return NO_GUESS

    def name(self, code: str) -> str:
        """Return what a part is called; its code where the list does not know it."""
        found = self._found(code)
        return f"{found.name} {found.cabinet}" if found else code

    def note(self, text: str, guessed: Guess) -> None:
        """Remember a reading that the server has not answered for yet."""
        text = self._own(text)
        try:
            code = read_code(text)
        except MisreadError:
            return
        if code.kind is Kind.COMMAND and COMMAND_NUMBERS.get(code.number) is Command.UNDO:
            self._take_back_latest()
        elif guessed.look is Look.RIGHT and code.kind is Kind.BOX and self._value("step", "") == "pack":
            self.open_box(text)
        elif guessed.look is Look.RIGHT:
            self.passed(text)

    # What the server says about single readings

    def passed(self, code: str) -> None:
        """Note that a part or box has passed here; its box is the one on the bench while more of it is expected."""
        code = self._own(code)
        self._did(lambda connection: _pass(connection, code))

    def not_passed(self, code: str) -> None:
        """Note that a part or box has not passed after all; which box is on the bench is no longer known then."""
        code = self._own(code)
        self._run("UPDATE expected SET passed = 0 WHERE code = ?", code)
        self._run(
            "DELETE FROM head WHERE name = 'open_box' AND value = (SELECT box FROM expected WHERE code = ?)", code
        )

    def open_box(self, box: str) -> None:
        """Note which box is on the bench."""
        self._did(lambda connection: _keep(connection, open_box=box))

    def _take_back_latest(self) -> None:
        self._run("UPDATE expected SET passed = 0 WHERE passed > 0 AND passed = (SELECT max(passed) FROM expected)")

    # Kept up to date

    def refresh(self, giver: Giver, station: str) -> bool:
        """Bring the list up to date; say whether it was."""
        marks = int(self._ask_one("SELECT coalesce(max(passed), 0) FROM expected", 0))
        page = giver.expected(station, 0 if self._wants_all() else int(self._value("at", 0)))
        if page is None:
            return False
        if page.whole:
            return self._replace(giver, station, page, marks)
        return self._did(lambda connection: _change(connection, page, marks, self._clock()))

    def _replace(self, giver: Giver, station: str, first: Page, marks: int) -> bool:
        """Fetch the rest of the pages, then put them in place of the list at once. Each is put aside as it comes."""
        page, count = first, len(first.items)
        self._stage(first.items, anew=True)
        while page.next and count < MOST_ROWS:
            following = giver.expected(station, 0, page.next)
            if following is None or not following.items:
                return False
            page = following
            self._stage(page.items, anew=False)
            count += len(page.items)
        head = {"station": first.station, "step": first.step, "strict": first.strict, "at": first.at}
        now = self._clock()
        head |= {"complete": not page.next, "heard": now, "whole_at": now}
        return self._did(lambda connection: _put_in_place(connection, marks, head))

    def _stage(self, items: Iterable[Expected], *, anew: bool) -> None:
        if anew:
            self._run("DELETE FROM staged")
        self._did(lambda connection: connection.executemany(_insert("staged"), map(_values, items)))

    def _wants_all(self) -> bool:
        if not self._value("complete", False) and self.count() < MOST_ROWS // 2:
            return True
        return not 0 <= self._clock() - float(self._value("whole_at", 0)) < WHOLE_AFTER_S

    def head(self) -> ListHead | None:
        """What the list is of; None as long as there is none."""
        kept = dict(self._ask("SELECT name, value FROM head"))
        if not kept.get("step"):
            return None
        return ListHead(
            step=kept["step"],
            strict=bool(kept["strict"]),
            complete=bool(kept["complete"]),
            open_box=kept.get("open_box", ""),
        )

    def count(self) -> int:
        """How many lines the list has."""
        return int(self._ask_one("SELECT count(*) FROM expected", 0))

    def age_s(self) -> float | None:
        """How many seconds ago the server was last heard about it; None: never."""
        heard = self._value("heard", None)
        return None if heard is None else max(0.0, self._clock() - float(heard))

    # The file

    def _own(self, text: str) -> str:
        """The box's own code where its SSCC was read, if the list has it."""
        rows = self._ask("SELECT box, code FROM expected WHERE sscc = ? LIMIT 1", text) if _SSCC.fullmatch(text) else []
        return str(rows[0][0] or rows[0][1]) if rows else text

    def _found(self, code: str) -> Expected | None:
        rows = self._ask(f"SELECT {_LISTED}, passed FROM expected WHERE code = ?", code.upper())  # noqa: S608
        if not rows:
            return None
        values = dict(zip((*_COLUMNS, "passed"), rows[0], strict=True))
        return Expected(**{**values, "held": bool(values["held"]), "passed": bool(values["passed"])})

    def _has_box(self, code: str) -> bool:
        return bool(self._ask("SELECT 1 FROM expected WHERE box = ? LIMIT 1", code.upper()))

    def _value(self, name: str, otherwise: Any) -> Any:
        return self._ask_one("SELECT value FROM head WHERE name = ?", otherwise, name)

    def _ask_one(self, question: str, otherwise: Any, *values: Any) -> Any:
        rows = self._ask(question, *values)
        return rows[0][0] if rows else otherwise

    def _ask(self, question: str, *values: Any) -> list[Any]:
        with self._lock:
            try:
                return self._connection.execute(question, values).fetchall()
            except sqlite3.Error as error:
                self.trouble = f"the station's list cannot be read: {error}"
                return []

    def _did(self, deed: Callable[[sqlite3.Connection], object]) -> bool:
        """Make one change, whole or not at all. A disk that fails is remembered as ``trouble``, not raised."""
        with self._lock:
            try:
                self._connection.execute("BEGIN IMMEDIATE")
                deed(self._connection)
                self._connection.execute("COMMIT")
            except sqlite3.Error as error:
                with suppress(sqlite3.Error):
                    self._connection.rollback()
                self.trouble = self.trouble or f"the station's list cannot be written: {error}"
                return False
            return True

    def _run(self, statement: str, *values: Any) -> None:
        self._did(lambda connection: connection.execute(statement, values))


def _connected(path: Path) -> sqlite3.Connection:
    """Open the file, and make its tables where it is new. Raises OSError, sqlite3.Error."""
    path.parent.mkdir(parents=True, exist_ok=True)
    connection = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=1)
    try:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=NORMAL")  # a power cut may cost the latest changes: they come again
        version = connection.execute("PRAGMA user_version").fetchone()[0]
        if version == 0:
            connection.executescript(f"BEGIN IMMEDIATE; {_SCRIPT} COMMIT;")
        else:
            connection.execute(f"SELECT {_LISTED}, passed FROM expected LIMIT 0")  # noqa: S608
    except BaseException:
        connection.close()
        raise
    return connection


def _begin_anew(connection: sqlite3.Connection, of: str) -> None:
    connection.execute("DELETE FROM expected")
    connection.execute("DELETE FROM head")
    _keep(connection, of=of)


def _keep(connection: sqlite3.Connection, **values: Any) -> None:
    connection.executemany("INSERT OR REPLACE INTO head VALUES (?, ?)", values.items())


def _pass(connection: sqlite3.Connection, code: str) -> None:
    connection.execute("UPDATE expected SET passed = (SELECT max(passed) + 1 FROM expected) WHERE code = ?", (code,))
    row = connection.execute("SELECT box FROM expected WHERE code = ?", (code,)).fetchone()
    if row is not None:
        left = connection.execute("SELECT 1 FROM expected WHERE box = ? AND passed = 0 LIMIT 1", row).fetchone()
        _keep(connection, open_box=row[0] if left else "")


def _change(connection: sqlite3.Connection, page: Page, marks: int, now: float) -> None:
    """Take out what is gone and put in what may come; what was read here since ``marks`` stays read."""
    connection.executemany("DELETE FROM expected WHERE code = ?", [(code,) for code in page.gone])
    for row in page.items:
        kept = connection.execute("SELECT passed FROM expected WHERE code = ? AND passed > ?", (row.code, marks))
        passed = kept.fetchone()
        connection.execute(_insert("expected"), _values(row))
        if passed:
            connection.execute("UPDATE expected SET passed = ? WHERE code = ?", (passed[0], row.code))
    _keep(connection, at=page.at, heard=now)


def _put_in_place(connection: sqlite3.Connection, marks: int, head: Mapping[str, Any]) -> None:
    """Put what was put aside in place of the list; what was read here since ``marks`` stays read."""
    known = connection.execute("SELECT code, passed FROM expected WHERE passed > ?", (marks,)).fetchall()
    connection.execute("DELETE FROM expected")
    connection.execute(f"INSERT INTO expected ({_LISTED}) SELECT {_LISTED} FROM staged")  # noqa: S608
    connection.executemany("UPDATE expected SET passed = ?2 WHERE code = ?1", known)
    connection.execute("DELETE FROM staged")
    _keep(connection, **head)


def _insert(table: str) -> str:
    return f"INSERT OR REPLACE INTO {table} ({_LISTED}) VALUES ({', '.join('?' * len(_COLUMNS))})"  # noqa: S608


def _values(row: Expected) -> list[Any]:
    return [getattr(row, name) for name in _COLUMNS]
