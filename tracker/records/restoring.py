"""What a restore leaves until it is done, so that whoever comes next can finish one that was killed.

That is the file in which it makes the copy ready, and the copy's secret key: it stays in the restored database until it
is in its own file. There it has another name than in a copy, which may be looked at as a database and keeps its key.
"""

from pathlib import Path

from sqlalchemy import Column, Connection, MetaData, Table, Text, delete, insert, inspect, select
from sqlalchemy.exc import DatabaseError

from tracker.records.database import Database, companions
from tracker.settings import Settings, keep_secret

_copied, _restored = (
    Table(name, MetaData(), Column("secret_key", Text, nullable=False)) for name in ("copied_key", "restored_key")
)


def put_copied_key(copy: Connection, source: Connection, secret_key: str) -> None:
    """Let a copy bring a shop's key along: the restored one where a restore of ``source`` was killed."""
    _put(copy, _copied, _read(source, _restored) or secret_key)
    _restored.drop(copy, checkfirst=True)


def take_copied_key(prepared: Connection) -> str | None:
    """Let the key of a copy that is made ready wait for its file; return it. Copies of earlier versions hold none."""
    key = _read(prepared, _copied)
    _copied.drop(prepared, checkfirst=True)
    if key is not None:
        put_restored_key(prepared, key)
    return key


def put_restored_key(connection: Connection, key: str) -> None:
    """Let a key wait in the database for its file."""
    _put(connection, _restored, key)


def _read(connection: Connection, table: Table) -> str | None:
    if not inspect(connection).has_table(table.name):
        return None
    key = connection.execute(select(table.c.secret_key)).scalar()
    return key if key and key.strip() else None  # an empty one would open nothing


def _put(connection: Connection, table: Table, key: str) -> None:
    table.create(connection, checkfirst=True)
    connection.execute(delete(table))
    connection.execute(insert(table).values(secret_key=key))


def prepared_file(settings: Settings) -> Path:
    """Return where a copy is made ready."""
    return settings.data_dir / "restoring.db"


def remove_copy(path: Path) -> None:
    """Remove a copy that nobody needs, and what SQLite keeps beside it. Raises OSError."""
    for each in (path, *companions(path), path.with_name(path.name + "-journal")):
        each.unlink(missing_ok=True)


def finish_restore(database: Database, settings: Settings) -> None:
    """Remove what was made ready, and put the key that waits in the database into its file.

    A restore asks for it at its end, and so does whoever opens the database, in case that one was killed. Raises
    OSError.
    """
    remove_copy(prepared_file(settings))
    if not _has_key(database):
        return
    with database.write() as connection:
        key = _read(connection, _restored)  # unless another process was quicker
        if key is not None and key != settings.secret_key:
            keep_secret(settings.secret_file, key)
        _restored.drop(connection, checkfirst=True)


def _has_key(database: Database) -> bool:
    if database.is_sqlite and not database.has_content:
        return False
    try:
        with database.read() as connection:
            return inspect(connection).has_table(_restored.name)
    except DatabaseError:  # told to whoever wants more of it
        return False
