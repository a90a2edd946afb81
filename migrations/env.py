"""Runs the migrations: on the connection handed to it, or on TRACKER_DATABASE_URL when alembic starts it."""

import os

from alembic import context
from sqlalchemy import Connection, text

from tracker.records.database import Database
from tracker.records.tables import metadata
from tracker.settings import read_settings


def migrate(connection: Connection) -> None:
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        transaction_per_migration=False,
    )
    with context.begin_transaction():
        context.run_migrations()
    if connection.dialect.name == "sqlite" and connection.execute(text("PRAGMA foreign_key_check")).first():
        raise RuntimeError("the migration left rows that point nowhere; nothing was changed")


handed = context.config.attributes.get("connection")
if handed is not None:
    migrate(handed)
else:
    database = Database(read_settings(os.environ).database_url)
    with database.engine.begin() as own:
        migrate(own)
    database.close()
