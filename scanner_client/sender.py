"""Talking to the server: readings out, answers in."""

import contextlib
import json
import urllib.error
import urllib.request
from collections.abc import Sequence
from dataclasses import dataclass, field
from http.client import HTTPException
from typing import Any, Final

from scanner_client.plan import Heard
from scanner_client.queue import Reading

TIMEOUT_S: Final = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the server said about one reading."""

    id: str
    outcome: str
    ok: bool
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What came of sending: the answers by id, or why there are none."""

    heard: Heard
    answers: dict[str, Answer] = field(default_factory=dict)
    why: str = ""


class Server:
    """The tracker's service, as one station sees it."""

    def __init__(self, address: str, token: str, station: str = "") -> None:
        if not address.startswith(("http://", "https://")):
            raise ValueError("the server's address starts with http:// or https://")
        self._url = address.rstrip("/") + "/api/v1/scans"
        self._token = token
        self._station = station

    def send(self, readings: Sequence[Reading]) -> Reply:
        """Send readings in order. Never raises: what went wrong is in the reply."""
        request = urllib.request.Request(  # noqa: S310 - the scheme was checked
            self._url,
            data=json.dumps({"scans": [self._scan(reading) for reading in readings]}).encode(),
            headers={"Authorization": f"Bearer {self._token}", "Content-Type": "application/json"},
        )
        try:
            with urllib.request.urlopen(request, timeout=TIMEOUT_S) as response:  # noqa: S310 - the scheme was checked
                return Reply(heard=Heard.ANSWERS, answers=_read_answers(json.load(response)))
        except urllib.error.HTTPError as error:
            with error:
                return _refusal(error)
        except (OSError, HTTPException, ValueError, KeyError, TypeError, AttributeError) as error:
            return Reply(heard=Heard.AWAY, why=str(error) or type(error).__name__)

    def _scan(self, reading: Reading) -> dict[str, str]:
        scan = {"id": reading.id, "code": reading.code, "at": reading.at}
        return {**scan, "station": self._station} if self._station else scan


def _read_answers(body: Any) -> dict[str, Answer]:
    return {
        result["id"]: Answer(
            id=str(result["id"]),
            outcome=str(result["outcome"]),
            ok=bool(result["ok"]),
            message=str(result.get("message", "")),
        )
        for result in body["results"]
    }


def _refusal(error: urllib.error.HTTPError) -> Reply:
    why = f"{error.code} {error.reason}"
    with contextlib.suppress(ValueError, AttributeError, OSError):
        why = str(json.load(error).get("detail") or why)
    if error.code in (401, 403):
        return Reply(heard=Heard.UNKNOWN_TOKEN, why=why)
    if error.code in (400, 413, 422):
        return Reply(heard=Heard.REFUSED, why=why)
    return Reply(heard=Heard.AWAY, why=why)
