"""Whether the database's own file is whole."""

from collections.abc import Iterator
from contextlib import closing
from typing import Any

from tracker.records.database import Database, noise_told, sqlite_module
from tracker.records.failures import failure_in
from tracker.shop.errors import ConflictError
from tracker.shop.failures import Failure

_HEADING = "***"  # of the findings in one database, which SQLite may give in one row


def damage_in(raw: Any) -> Iterator[str]:
    """Give what is damaged in a SQLite database, by its driver's connection, in SQLite's words.

    Raises what the driver raises when it is so damaged that nothing can be read.
    """
    raw.text_factory = _shown  # SQLite calls what is damaged by its name, which may be noise
    with noise_told():
        checked = raw.execute("PRAGMA integrity_check")
    for (found,) in checked:
        if found != "ok":
            yield from (each for each in str(found).splitlines() if not each.startswith(_HEADING))
    for table, row, *_rest in raw.execute("PRAGMA foreign_key_check"):
        yield f"row {row} of {table} points nowhere"


def _shown(text: bytes) -> str:
    return text.decode(errors="replace")


def damage(database: Database) -> Iterator[str]:
    """Give what is damaged in the database's file. A PostgreSQL server looks after its own files.

    Raises ConflictError for a file that cannot be read now.
    """
    if not database.is_sqlite:
        return
    try:
        with closing(sqlite_module.connect(str(database.file))) as raw:
            yield from damage_in(raw)
    except sqlite_module.DatabaseError as error:
        if failure_in(error) is not Failure.DAMAGED:
            raise ConflictError(f"{database.file} cannot be read: {error}.") from error
        yield str(error)
