"""Visitors of the pages without a browser: what is sent is all that matters to them."""

import re
from collections.abc import Collection
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse

from tests.floor import START, Floor
from tests.shops import app_of
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.work.access import make_token


@dataclass(frozen=True, kw_only=True)
class Caller:
    """Somebody signed in: what they ask for, and the forms that they send."""

    client: FlaskClient
    secret: str

    def get(self, path: str, **headers: str) -> TestResponse:
        return self.client.get(path, headers={"Accept": "text/html", **headers})

    def read(self, path: str) -> str:
        """What stands on a page, its tags left out."""
        return in_words(self.get(path).text)

    def send(self, path: str, **fields: Any) -> TestResponse:
        """Send a form."""
        return self.client.post(path, data={"csrf_token": self.secret, **fields}, headers={"Accept": "text/html"})

    def post(self, path: str, body: str) -> TestResponse:
        """Send a body of JSON as a script does, whatever is in it."""
        headers = {"X-CSRF-Token": self.secret, "Content-Type": "application/json", "Accept": "application/json"}
        return self.client.post(path, data=body, headers=headers)


def in_words(html: str) -> str:
    """What people read of some HTML."""
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", html)).split())


def callers_of(floor: Floor, folder: Path, roles: Collection[Role]) -> dict[Role, Caller]:
    """Sign in one caller of each role at a shop without sockets."""
    settings = Settings(data_dir=folder, database_url=str(floor.database.url), secret_key="for tests")  # noqa: S106
    app = app_of(settings, floor.database)
    for role in roles:
        make_token(floor.database, f"a {role}", role, secret=f"the {role}".strip, now=START)
    return {role: signed_in(app, f"the {role}") for role in roles}


def signed_in(app: Flask, token: str) -> Caller:
    """Sign in by a token."""
    client = app.test_client()
    answer = client.post("/sign-in", data={"csrf_token": _secret(client, "/sign-in"), "token": token})
    assert answer.status_code == 302, answer.text
    return Caller(client=client, secret=_secret(client, "/me"))


def _secret(client: FlaskClient, path: str) -> str:
    found = re.search(r'name="csrf-token" content="([^"]+)"', client.get(path).text)
    assert found is not None
    return found.group(1)
