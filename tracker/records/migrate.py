"""Bringing a database to the tables that this program expects."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

import migrations
from tracker.records.database import Database


def upgrade(database: Database) -> None:
    """Make or upgrade the tables; safe to repeat. A migration that fails leaves nothing behind."""
    config = _config()
    with database.engine.connect() as connection:
        if database.is_sqlite:  # a table that is made anew must not take the rows that point to it along
            connection.connection.driver_connection.execute("PRAGMA foreign_keys=OFF")  # type: ignore[union-attr]
        try:
            with connection.begin():
                config.attributes["connection"] = connection
                command.upgrade(config, "head")
        finally:
            if database.is_sqlite:
                connection.connection.driver_connection.execute("PRAGMA foreign_keys=ON")  # type: ignore[union-attr]


def revision_of(connection: Connection) -> str | None:
    """Return the revision of the tables in a database, or None when it has none."""
    return MigrationContext.configure(connection).get_current_revision()


def expected_revision() -> str:
    """Return the revision that this program needs."""
    head = ScriptDirectory.from_config(_config()).get_current_head()
    if head is None:
        raise RuntimeError("the program came without its migrations")
    return head


def known_revisions() -> set[str]:
    """Return every revision that this program can upgrade from."""
    return {script.revision for script in ScriptDirectory.from_config(_config()).walk_revisions()}


def _config() -> Config:
    config = Config()
    folder = Path(migrations.__file__ or "").parent
    config.set_main_option("script_location", str(folder).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    return config
