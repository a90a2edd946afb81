"""Visitors of the pages without a browser: what is sent is all that matters to them."""

import re
from dataclasses import dataclass
from typing import Any

from flask import Flask
from flask.testing import FlaskClient
from werkzeug.test import TestResponse


@dataclass(frozen=True, kw_only=True)
class Caller:
    """Somebody signed in: what they ask for, and the forms that they send."""

    client: FlaskClient
    secret: str

    def get(self, path: str, **headers: str) -> TestResponse:
        return self.client.get(path, headers={"Accept": "text/html", **headers})

    def send(self, path: str, **fields: Any) -> TestResponse:
        """Send a form."""
        return self.client.post(path, data={"csrf_token": self.secret, **fields}, headers={"Accept": "text/html"})

    def post(self, path: str, body: str) -> TestResponse:
        """Send a body of JSON as a script does, whatever is in it."""
        headers = {"X-CSRF-Token": self.secret, "Content-Type": "application/json", "Accept": "application/json"}
        return self.client.post(path, data=body, headers=headers)


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
