"""A shop's database and its service for one test, from what is made once: that takes longer than most tests."""

import tempfile
from collections.abc import Callable
from copy import copy
from functools import cache
from pathlib import Path

from flask import Flask

from tracker.records.database import Database
from tracker.records.migrate import upgrade
from tracker.settings import Settings


def nothing(_database: Database) -> None:
    """Leave a shop as empty as it is."""


@cache
def _template(fill: Callable[[Database], object]) -> bytes:
    """A shop's SQLite file, through the real migrations."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "template.db"
        database = Database(f"sqlite:///{path}")
        upgrade(database)
        fill(database)
        with database.engine.connect() as connection:
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
            connection.exec_driver_sql("BEGIN")
        database.close()
        return path.read_bytes()


def sqlite_shop(path: Path, fill: Callable[[Database], object] = nothing) -> Database:
    """A shop in a new SQLite file: an empty one, or what ``fill``, which is called once for all tests, made of it."""
    path.write_bytes(_template(fill))
    return Database(f"sqlite:///{path}")


@cache
def _routes(timezone: str) -> Flask:
    from tracker.app import create_app

    nowhere = "sqlite:////nowhere/shop.db"
    settings = Settings(data_dir=Path("/nowhere"), database_url=nowhere, secret_key="", timezone=timezone)
    return create_app(settings, Database(nowhere))


def app_of(settings: Settings, database: Database) -> Flask:
    """The service on a shop. It shares its routes with the others: a test that adds one calls ``create_app``."""
    from tracker.app import open_shop  # not above: tests that ask for no service do not wait for its modules

    app = copy(_routes(settings.timezone))
    app.config, app.extensions = copy(app.config), dict(app.extensions)
    open_shop(app, settings, database)
    return app
