"""A service on an empty SQLite shop, and a caller for each role."""

from pathlib import Path
from typing import Any

import pytest
from flask import Flask
from flask.testing import FlaskClient

from tests.floor import START
from tests.shops import app_of
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.work.access import make_token


class Caller:
    """Calls the service with one role's token."""

    def __init__(self, client: FlaskClient, token: str) -> None:
        self.client = client
        self.headers = {"Authorization": f"Bearer {token}"}

    def get(self, path: str, **more: Any) -> Any:
        return self.client.get(f"/api/v1{path}", headers={**self.headers, **more.pop("headers", {})}, **more)

    def post(self, path: str, body: Any = None, **more: Any) -> Any:
        return self.client.post(f"/api/v1{path}", headers=self.headers, json=body, **more)

    def upload(self, path: str, **form: Any) -> Any:
        return self.client.post(f"/api/v1{path}", headers=self.headers, data=form, content_type="multipart/form-data")


@pytest.fixture
def database(sqlite: Database) -> Database:
    """A call asks nothing of the database that differs between the two: one is enough."""
    return sqlite


@pytest.fixture
def app(sqlite: Database, tmp_path: Path) -> Flask:
    settings = Settings(data_dir=tmp_path, database_url=str(sqlite.url), secret_key="for tests")  # noqa: S106
    return app_of(settings, sqlite)


@pytest.fixture
def callers(app: Flask, sqlite: Database) -> dict[Role, Caller]:
    client = app.test_client()
    made: dict[Role, Caller] = {}
    for role in Role:
        token = make_token(sqlite, f"the {role.value}", role, secret=f"secret {role.value}".strip, now=START)
        made[role] = Caller(client, token)
    return made


@pytest.fixture
def admin(callers: dict[Role, Caller]) -> Caller:
    return callers[Role.ADMIN]


@pytest.fixture
def station(callers: dict[Role, Caller]) -> Caller:
    return callers[Role.STATION]
