"""The connections to the database: one writer at a time, any number of readers.

SQLite runs in WAL with full synchronous writes: an answered scan survives a power cut. A lock in the process spares the
unfair busy handler, and ``BEGIN IMMEDIATE`` orders the writers of several processes. On PostgreSQL the row of the log's
counter does the same: it is locked by the first statement of a writing transaction, so the log's numbers are given in
the order of commit and a screen that asks "what came after N?" never overlooks a change.

When the writer is stuck, at most MOST_WAITING threads wait for it: the others are left for who reads.
"""

import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from importlib import import_module
from pathlib import Path
from typing import Any, Final

from sqlalchemy import URL, Connection, Engine, create_engine, event, select
from sqlalchemy.engine import ExceptionContext, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, SQLAlchemyError
from sqlalchemy.pool import ConnectionPoolEntry, QueuePool

from tracker.files import hide_from_others, keep_private
from tracker.records.failures import failure_of
from tracker.records.tables import counter
from tracker.shop.errors import BusyError, InvalidInputError
from tracker.shop.failures import Failure
from tracker.shop.saying import say

try:
    _sqlite: Any = import_module("pysqlite3.dbapi2")
except ImportError:  # no wheel for this platform
    _sqlite = import_module("sqlite3")

# Debian's SQLite 3.40 can corrupt a database when two connections checkpoint at once; the wheel's is newer.
sqlite_module: Any = _sqlite
SQLITE_VERSION: str = _sqlite.sqlite_version
_SQLITE_HEAD: Final = b"SQLite format 3\0"  # sqlite.org/fileformat2.html, 1.3
_SQLITE_CORRUPT: Final = 11  # sqlite.org/rescode.html
_LOCK_LOG = select(counter.c.last).where(counter.c.name == "log").with_for_update()

MOST_WAITING: Final = 12  # of the service's 16 threads
PATIENCE_S: Final = 1.0  # so long nobody has finished writing: then the writer is stuck, not busy


class WritersQueue:
    """Who waits for the one writer. While it moves, everybody may wait; when it is stuck, MOST_WAITING may.

    ``clock`` gives seconds. One thread may enter again within its own turn.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._moves = threading.Condition()
        self._inside = 0
        self._moved_at = 0.0
        self._own = threading.local()

    @contextmanager
    def place(self) -> Iterator[None]:
        """Wait for a place in the queue and hold it. Raises BusyError when the queue is full and does not move."""
        if getattr(self._own, "held", False):
            yield
            return
        self._enter()
        self._own.held = True
        try:
            yield
        finally:
            self._own.held = False
            with self._moves:
                self._inside -= 1
                self._moved_at = self._clock()
                self._moves.notify()

    def _enter(self) -> None:
        with self._moves:
            while self._inside >= MOST_WAITING:
                left = self._moved_at + PATIENCE_S - self._clock()
                if left <= 0:
                    raise BusyError(say("The database is busy. Nothing was stored; send the same again."), wait_s=2)
                self._moves.wait(left)
            if not self._inside:
                self._moved_at = self._clock()
            self._inside += 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Health:
    """What this process has seen of its database: why the last write failed, if it did, and any damage."""

    last_failure: Failure | None = None
    is_damaged: bool = False


class Database:
    """The one shop database. ``write()`` and ``read()`` give a connection within a transaction.

    The file of a SQLite database is its owner's alone. Raises InvalidInputError for an address that is none.
    """

    def __init__(self, url: str, *, readers: int = 8) -> None:
        self.url = _address(url)
        self.is_sqlite = self.url.get_backend_name() == "sqlite"
        self.writers = WritersQueue()
        self.health = Health()
        self._lock = threading.Lock()
        self._watching = threading.Lock()
        self._watcher: Any = None
        self._watchers = 0
        if self.is_sqlite:
            self._writer = _sqlite_engine(self.url, pool_size=1, begin="BEGIN IMMEDIATE", writes=True)
            self._reader = _sqlite_engine(self.url, pool_size=readers, begin="BEGIN", writes=False)
        else:
            address = self.url.set(drivername="postgresql+psycopg")
            self._writer = self._reader = create_engine(address, pool_pre_ping=True, pool_size=readers)
        for engine in {self._writer, self._reader}:
            event.listen(engine, "handle_error", self._note_damage)

    @property
    def folder(self) -> Path | None:
        """The folder of the database's file; None where a server keeps it."""
        return self.file.parent if self.is_sqlite else None

    @property
    def file(self) -> Path:
        """The file of a SQLite database."""
        return Path(self.url.database or "")

    @property
    def has_content(self) -> bool:
        """Whether there is anything in the file of a SQLite database."""
        return self.file.is_file() and self.file.stat().st_size > 0

    @property
    def engine(self) -> Engine:
        """The writing engine, for migrations and backups."""
        return self._writer

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Give a connection in a writing transaction: all of it is on disk when this ends, or nothing of it.

        Raises BusyError when too many wait for a writer that is stuck.
        """
        try:
            with self.writers.place(), self._lock, self._writer.begin() as connection:
                if not self.is_sqlite:
                    connection.execute(_LOCK_LOG)
                yield connection
        except DBAPIError as error:
            self.health = replace(self.health, last_failure=failure_of(error) or self.health.last_failure)
            raise
        self.health = replace(self.health, last_failure=None)

    def _note_damage(self, context: ExceptionContext) -> None:
        if failure_of(context.sqlalchemy_exception) is Failure.DAMAGED:
            self.health = replace(self.health, is_damaged=True)

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Give a connection that sees one moment of the shop and can change nothing."""
        with self._reader.connect() as connection:
            if not self.is_sqlite:
                connection = connection.execution_options(  # noqa: PLW2901
                    isolation_level="REPEATABLE READ", postgresql_readonly=True
                )
            with connection.begin():
                yield connection

    def version(self) -> tuple[int, int] | None:
        """Return a value that changes with each commit of anybody; None on PostgreSQL, which has none."""
        if not self.is_sqlite:
            return None
        with self._watching, suppress(SQLAlchemyError, sqlite_module.Error):  # the read that follows tells the error
            if self._watcher is None:
                self._watcher = self._reader.raw_connection()
                self._watcher.detach()  # the pool makes another in its place
                self._watchers += 1  # each counts anew
            cursor = self._watcher.cursor()
            number: int = cursor.execute("PRAGMA data_version").fetchone()[0]  # sqlite.org/pragma.html
            return self._watchers, number
        return None

    def close(self) -> None:
        """Give all connections back."""
        if self._watcher is not None:
            self._watcher.close()
            self._watcher = None
        self._reader.dispose()
        self._writer.dispose()


def _address(text_: str) -> URL:
    try:
        url = make_url(text_)
        known = url.get_backend_name() in ("postgresql", "postgres") or bool(
            url.get_backend_name() == "sqlite" and url.database and url.database != ":memory:"
        )
    except (ArgumentError, ValueError):
        known = False
    if not known:  # it is not said again: there may be a password in it
        wanted = "sqlite:////folder/tracker.db or postgresql://user@host/name"
        raise InvalidInputError(f"TRACKER_DATABASE_URL is no address of a database: wanted is one such as {wanted}.")
    return url


def companions(path: Path) -> list[Path]:
    """Return the files that SQLite keeps beside a database's own while it is in use."""
    return [path.with_name(path.name + ending) for ending in ("-wal", "-shm")]


def _keep_database_private(path: Path) -> None:
    """Hide a database from all but its owner. What an address names by mistake keeps its rights."""
    if path.exists() and path.stat().st_size and not is_sqlite_file(path):
        return
    keep_private(path)  # what SQLite makes beside it gets its rights
    for each in filter(Path.exists, companions(path)):
        hide_from_others(each)


def _sqlite_engine(url: URL, *, pool_size: int, begin: str, writes: bool) -> Engine:
    engine = create_engine(
        url,
        module=sqlite_module,
        poolclass=QueuePool,
        pool_size=pool_size,
        max_overflow=0,
        connect_args={"timeout": 30, "check_same_thread": False},
    )

    @event.listens_for(engine, "do_connect")
    def hide(*_how: object) -> None:
        with suppress(OSError):  # SQLite says it better, as the driver's error
            _keep_database_private(Path(url.database or ""))

    @event.listens_for(engine, "connect")
    def prepare(raw: Any, _record: ConnectionPoolEntry) -> None:
        raw.isolation_level = None  # the begin event below says which kind of transaction starts
        with noise_told():
            raw.execute("PRAGMA journal_mode=WAL")
        raw.execute("PRAGMA synchronous=FULL")
        raw.execute("PRAGMA foreign_keys=ON")
        raw.execute("PRAGMA recursive_triggers=ON")  # so that REPLACE cannot slip past the log's guard
        raw.execute("PRAGMA journal_size_limit=67108864")
        # In KiB. A reader drops its pages at each commit of the writer, so more would only fill the memory eight times.
        raw.execute(f"PRAGMA cache_size={-65536 if writes else -8192}")
        if not writes:
            raw.execute("PRAGMA wal_autocheckpoint=0")  # the writer alone checkpoints
            raw.execute("PRAGMA query_only=ON")

    @event.listens_for(engine, "begin")
    def start(connection: Connection) -> None:
        connection.exec_driver_sql(begin)

    return engine


@contextmanager
def noise_told() -> Iterator[None]:
    """Raise for a file whose tables are called by noise what is raised for any damage: the driver cannot say it."""
    try:
        yield
    except UnicodeDecodeError as error:
        damaged = sqlite_module.DatabaseError("malformed database schema")
        damaged.sqlite_errorcode = _SQLITE_CORRUPT
        raise damaged from error


def is_sqlite_file(path: Path) -> bool:
    """Whether a file begins as SQLite's do, whatever became of the rest. Raises OSError."""
    with path.open("rb") as file:
        return file.read(len(_SQLITE_HEAD)) == _SQLITE_HEAD
