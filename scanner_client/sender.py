"""Talking to the server: readings out, answers in."""

import contextlib
import json
import urllib.error
import urllib.request
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http import HTTPStatus
from http.client import HTTPException, HTTPMessage
from typing import IO, Any, Final
from urllib.parse import urlencode, urlsplit

from scanner_client.plan import Heard
from scanner_client.provisional import Expected
from scanner_client.queue import Reading
from scanner_client.station_list import Page

TIMEOUT_S: Final = 10.0
_ANSWER_KEPT: Final = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the server said about one reading; ``part`` and ``box`` are the codes of what it is about.

    ``part_name`` names the part that a card or a slot's code marked.
    """

    outcome: str
    ok: bool
    message: str
    part: str = ""
    box: str = ""
    part_name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reply:
    """What came of sending: the answers by the readings' ids, or in ``why`` the reason that there are none.

    ``ahead_s``: by how many seconds the server found this computer's clock to be ahead; 0 when it is right.
    """

    heard: Heard
    answers: Mapping[str, Answer] = field(default_factory=dict)
    why: str = ""
    ahead_s: float = 0.0


class _StayHere(urllib.request.HTTPRedirectHandler):
    """The token goes to the named server alone: a redirection is an answer, and no place to go."""

    def redirect_request(
        self, req: urllib.request.Request, fp: IO[bytes], code: int, msg: str, headers: HTTPMessage, newurl: str
    ) -> None:
        return None


def _utc_now() -> datetime:
    return datetime.now(UTC)


class Server:
    """The tracker's service, as a station sees it. ``clock`` is the one by which the readings are timed.

    Raises ValueError for an address that is none, and for a token that cannot stand in a request.
    """

    def __init__(
        self, address: str, token: str, *, timeout_s: float = TIMEOUT_S, clock: Callable[[], datetime] = _utc_now
    ) -> None:
        parts = urlsplit(address)
        if parts.scheme not in ("http", "https") or not parts.hostname or parts.port == 0:
            raise ValueError(f"{address} is no server's address: use one such as http://shop:8000")
        if not (token.isascii() and token.isprintable() and " " not in token):
            raise ValueError("the token is not one word of plain letters and digits: make one with tracker token")
        self.address = address.rstrip("/")
        self._headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
        self._timeout_s = timeout_s
        self._clock = clock
        self._opener = urllib.request.build_opener(_StayHere)
        self._known_stations: set[str] = set()

    def send(self, readings: Sequence[Reading]) -> Reply:
        """Send readings in order. Never raises: what went wrong is in the reply.

        The server answers readings of a station that it does not know as unknown codes, and they would be gone: such
        are not sent, but refused here.
        """
        sent_at = self._clock().isoformat()
        body = json.dumps({"scans": [_scan(reading) for reading in readings], "sent_at": sent_at}).encode()
        try:
            for station in dict.fromkeys(reading.station for reading in readings):
                if why := self._station_refusal(station):
                    return Reply(heard=Heard.REFUSED, why=why)
            with self._open("/api/v1/scans", body) as response:
                answered = json.load(response)
            answers = _read_answers(answered, {reading.id for reading in readings})
            ahead_s = float(answered.get("clock_ahead_s", 0))
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
        return Reply(heard=Heard.ANSWERS, answers=answers, ahead_s=ahead_s)

    def station_refusal(self, station: str) -> str:
        """Return why the server takes no readings of a station (empty: the token's own).

        It is empty when the server takes them, and when it cannot be asked now.
        """
        try:
            return self._station_refusal(station)
        except OSError:
            return ""

    def _station_refusal(self, station: str) -> str:
        if station in self._known_stations:
            return ""
        status, _headers, body = self.ask(f"/api/v1/expected?{urlencode({'station': station, 'limit': 1})}")
        if status == HTTPStatus.OK:
            self._known_stations.add(station)
        detail = str(said_in(body).get("detail") or "")
        return detail if status in (HTTPStatus.FORBIDDEN, HTTPStatus.NOT_FOUND) and "station" in detail.lower() else ""

    def expected(self, station: str, since: int, after: str = "") -> Page | None:
        """Return what may come to a station (empty: the token's own), or None when there is none to be had."""
        asked = {"station": station, "since": str(since), "after": after}
        path = "/api/v1/expected?" + urlencode({name: value for name, value in asked.items() if value})
        try:
            with self._open(path) as response:
                return _read_page(json.load(response))
        except (OSError, HTTPException, ValueError, KeyError, TypeError, RecursionError):
            return None

    def ask(self, path: str) -> tuple[int, Mapping[str, str], bytes]:
        """Ask for anything, and return the status, the headers and the start of the body. Raises OSError."""
        try:
            with self._open(path) as response:
                return response.status, dict(response.headers), response.read(_ANSWER_KEPT)
        except urllib.error.HTTPError as error:
            with error:
                return error.code, dict(error.headers), error.read(_ANSWER_KEPT)
        except HTTPException as error:
            raise OSError(f"what answers speaks no HTTP ({type(error).__name__})") from error

    def _open(self, path: str, body: bytes | None = None) -> Any:
        request = urllib.request.Request(self.address + path, data=body, headers=self._headers)  # noqa: S310 - http or https
        return self._opener.open(request, timeout=self._timeout_s)


def said_in(body: bytes) -> Mapping[str, Any]:
    """Return an answer's JSON object; an empty one for anything else."""
    try:
        said = json.loads(body)
    except (ValueError, RecursionError):
        return {}
    return said if isinstance(said, dict) else {}


def _scan(reading: Reading) -> dict[str, str]:
    more = {"station": reading.station, "part": reading.part}
    scan = {"id": reading.id, "code": reading.code, "at": reading.at}
    return scan | {name: value for name, value in more.items() if value}


def _read_answers(body: Any, asked: set[str]) -> dict[str, Answer]:
    """Return the answers for the ids asked about. Raises TypeError or KeyError for a body of another shape."""
    answers = {}
    for result in body["results"]:
        outcome, ok, message = result["outcome"], result["ok"], result.get("message", "")
        if not (isinstance(outcome, str) and isinstance(ok, bool) and isinstance(message, str)):
            raise TypeError("a result's fields are of another kind")
        if result["id"] in asked:
            about = {name: str(result.get(name) or "") for name in ("part", "box", "part_name")}
            answers[result["id"]] = Answer(outcome=outcome, ok=ok, message=message, **about)
    return answers


def _read_page(body: Any) -> Page:
    """Read what may come. Raises KeyError, TypeError or ValueError for a body of another shape."""
    return Page(
        station=str(body["station"]),
        step=str(body["step"]),
        strict=bool(body["strict"]),
        at=int(body["at"]),
        whole=bool(body["whole"]),
        items=[_read_line(row) for row in body["items"]],
        gone=[str(code) for code in body["gone"]],
        next=str(body["next"] or ""),
    )


def _read_line(row: Any) -> Expected:
    texts = ("code", "name", "cabinet", "job", "box", "box_name", "load", "next")
    line: dict[str, Any] = {name: str(row[name] or "") for name in texts}
    line["sscc"] = str(row.get("sscc") or "")  # a server of the version before has none
    return Expected(**line, held=bool(row["held"]))


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
