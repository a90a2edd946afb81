"""Talking to the server: readings out, answers in."""

import contextlib
import json
import urllib.error
import urllib.request
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from http.client import HTTPException, HTTPMessage
from typing import IO, Any, Final
from urllib.parse import urlsplit

from scanner_client.plan import Heard
from scanner_client.queue import Reading

TIMEOUT_S: Final = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the server said about one reading."""

    outcome: str
    ok: bool
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What came of sending: the answers by the readings' ids, or in ``why`` the reason that there are none."""

    heard: Heard
    answers: Mapping[str, Answer] = field(default_factory=dict)
    why: str = ""


class _StayHere(urllib.request.HTTPRedirectHandler):
    """The token goes to the named server alone: a redirection is an answer, and no place to go."""

    def redirect_request(
        self, req: urllib.request.Request, fp: IO[bytes], code: int, msg: str, headers: HTTPMessage, newurl: str
    ) -> None:
        return None


class Server:
    """The tracker's service, as a station sees it.

    Raises ValueError for an address that is none, and for a token that cannot stand in a request.
    """

    def __init__(self, address: str, token: str, *, timeout_s: float = TIMEOUT_S) -> None:
        parts = urlsplit(address)
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.port == 0:
            raise ValueError(f"{address} is no server's address: use one such as http://shop:8000")
        if not (token.isascii() and token.isprintable() and " " not in token):
            raise ValueError("the token is not one word of plain letters and digits: make one with tracker token")
        self._url = address.rstrip("/") + "/api/v1/scans"
        self._headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        self._timeout_s = timeout_s
        self._opener = urllib.request.build_opener(_StayHere)

    def send(self, readings: Sequence[Reading]) -> Reply:
        """Send readings in order. Never raises: what went wrong is in the reply."""
        body = json.dumps({"scans": [_scan(reading) for reading in readings]}).encode()
        request = urllib.request.Request(self._url, data=body, headers=self._headers)  # noqa: S310 - http or https
        try:
            with self._opener.open(request, timeout=self._timeout_s) as response:
                answers = _read_answers(json.load(response), {reading.id for reading in readings})
        except urllib.error.HTTPError as error:
            with error:
                return _refusal(error)
        except (OSError, HTTPException) as error:
            reason = getattr(error, "reason", error)
            return Reply(heard=Heard.AWAY, why=f"the server does not answer ({reason or type(error).__name__})")
        except (ValueError, KeyError, TypeError, RecursionError):
            return Reply(heard=Heard.AWAY, why="what answers there is not the tracker's service")
        if not answers:
            return Reply(heard=Heard.AWAY, why="the server answered for none of the readings")
        return Reply(heard=Heard.ANSWERS, answers=answers)


def _scan(reading: Reading) -> dict[str, str]:
    scan = {"id": reading.id, "code": reading.code, "at": reading.at}
    return {**scan, "station": reading.station} if reading.station else scan


def _read_answers(body: Any, asked: set[str]) -> dict[str, Answer]:
    """Return the answers for the ids asked about. Raises TypeError or KeyError for a body of another shape."""
    answers = {}
    for result in body["results"]:
        outcome, ok, message = result["outcome"], result["ok"], result.get("message", "")
        if not (isinstance(outcome, str) and isinstance(ok, bool) and isinstance(message, str)):
            raise TypeError("a result's fields are of another kind")
        if result["id"] in asked:
            answers[result["id"]] = Answer(outcome=outcome, ok=ok, message=message)
    return answers


def _refusal(error: urllib.error.HTTPError) -> Reply:
    why = f"{error.code} {error.reason}"
    with contextlib.suppress(ValueError, TypeError, AttributeError, OSError, HTTPException):
        why = str(json.load(error).get("detail") or why)
    if error.code in (401, 403):
        return Reply(heard=Heard.TOKEN_NOT_ACCEPTED, why=why)
    if error.code in (413, 422):
        return Reply(heard=Heard.REFUSED, why=why)
    # 400 too: it is what a proxy says to http on an https port, and nothing is wrong with the readings then.
    return Reply(heard=Heard.AWAY, why=why)
