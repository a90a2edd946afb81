"""What a restore leaves until it is done, so that whoever comes next can finish one that was killed.

That is the file in which it makes the copy ready, and the copy's secret key: it stays in the restored database, as it
came, until it is in its own file.
"""

from pathlib import Path
from typing import Final

from sqlalchemy import Column, Connection, MetaData, Table, Text, delete, insert, inspect, select
from sqlalchemy.exc import DatabaseError

from tracker.records.database import Database, companions
from tracker.settings import Settings, keep_secret

_copied_key: Final = Table("copied_key", MetaData(), Column("secret_key", Text, nullable=False))


def key_in(connection: Connection) -> str | None:
    """Return the key that a database brings along. An empty one would open nothing: it is none."""
    if not inspect(connection).has_table(_copied_key.name):
        return None
    key = connection.execute(select(_copied_key.c.secret_key)).scalar()
    return key if key and key.strip() else None


def put_key(connection: Connection, key: str) -> None:
    """Let a database bring a key along."""
    _copied_key.create(connection, checkfirst=True)
    connection.execute(delete(_copied_key))
    connection.execute(insert(_copied_key).values(secret_key=key))


def prepared_file(settings: Settings) -> Path:
    """Return where a copy is made ready."""
    return settings.data_dir / "restoring.db"


def remove_copy(path: Path) -> None:
    """Remove a copy that nobody needs, and what SQLite keeps beside it. Raises OSError."""
    for each in (path, *companions(path), path.with_name(path.name + "-journal")):
        each.unlink(missing_ok=True)


def finish_restore(database: Database, settings: Settings) -> None:
    """Remove what was made ready, and put the key that the database brings along into its file.

    A restore asks for it at its end, and so does whoever opens the database, in case that one was killed. Raises
    OSError.
    """
    remove_copy(prepared_file(settings))
    if not _brings_key(database):
        return
    with database.write() as connection:
        key = key_in(connection)  # unless another process was quicker
        if key is not None and key != settings.secret_key:
            keep_secret(settings.secret_file, key)
        _copied_key.drop(connection, checkfirst=True)


def _brings_key(database: Database) -> bool:
    if database.is_sqlite and not database.has_content:
        return False
    try:
        with database.read() as connection:
            return inspect(connection).has_table(_copied_key.name)
    except DatabaseError:  # told to whoever wants more of it
        return False
