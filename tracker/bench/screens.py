"""The screens at speed: how long the service works on a page, and what screens cost that wait for nothing."""

import http.client
import json
import re
import statistics
import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from multiprocessing import get_context
from urllib.parse import urlencode, urlsplit
from uuid import uuid4

from tracker.bench.figure import Figure
from tracker.bench.scanning import TOKEN
from tracker.shop.codes import part_code

PAGES = (("the board", "/"), ("the wall", "/?wall=1"), ("what is missing", "/missing"))
SCREENS = 50
POLLED = "/board/rows"
POLLING_S = 12.0
POLL_EVERY_S = 1.5  # as foreman/jobs_board.js does
_TRIES = 9
_CSRF = re.compile(r'name="csrf-token" content="([^"]+)"')


@dataclass(frozen=True, slots=True)
class Screen:
    """A browser that is signed in: where, the cookie of its session, and the proof that its forms send back."""

    address: str
    cookie: str
    proof: str

    def get(self, connection: http.client.HTTPConnection, path: str, tag: str | None = None) -> tuple[int, str | None]:
        """Ask for a path; return the status and the tag of the answer."""
        wanted = {"Accept": "application/json", "If-None-Match": tag} if tag else {"Accept": "text/html"}
        connection.request("GET", path, headers={"Cookie": self.cookie, **wanted})
        response = connection.getresponse()
        response.read()
        return response.status, response.headers["ETag"]

    def connect(self) -> http.client.HTTPConnection:
        place = urlsplit(self.address)
        return http.client.HTTPConnection(place.hostname or "", place.port, timeout=60)


def sign_in(address: str) -> Screen:
    """Sign in with the benchmark's token as a browser does. Raises RuntimeError when that fails."""
    place = urlsplit(address)
    connection = http.client.HTTPConnection(place.hostname or "", place.port)
    connection.request("GET", "/sign-in")
    response = connection.getresponse()
    found, cookie = _CSRF.search(response.read().decode()), _cookie(response)
    form = urlencode({"csrf_token": found.group(1) if found else "", "token": TOKEN})
    headers = {"Cookie": cookie, "Content-Type": "application/x-www-form-urlencoded"}
    connection.request("POST", "/sign-in", form, headers)
    response = connection.getresponse()
    response.read()
    if response.status != http.client.FOUND:
        raise RuntimeError(f"signing in answered {response.status}")
    cookie = _cookie(response)
    connection.request("GET", "/", headers={"Cookie": cookie})
    response = connection.getresponse()
    found, cookie = _CSRF.search(response.read().decode()), _cookie(response) or cookie
    connection.close()
    return Screen(address, cookie, found.group(1) if found else "")


def _cookie(response: http.client.HTTPResponse) -> str:
    return (response.headers["Set-Cookie"] or "").partition(";")[0]


def page_figures(address: str, parts: int) -> Iterator[Figure]:
    """Measure the pages that are read most, and the screens that ask whether anything has changed."""
    screen = sign_in(address)
    for name, path in PAGES:
        took = _median_ms(screen, path)
        what = f"{name} with {parts:,} parts"
        yield Figure(what=what, value=took, unit="ms", wanted="under 100 ms", met=took < 100)
    took = _scan_ms(screen, parts)
    yield Figure(what="a scan at a station's screen", value=took, unit="ms", wanted="under 150 ms", met=took < 150)
    share = 100 * _polling_share(screen)
    what = f"{SCREENS} screens polling while nothing changes"
    yield Figure(what=what, value=share, unit="% of a core", wanted="under 10 %", met=share < 10)


def _median_ms(screen: Screen, path: str) -> float:
    connection, took = screen.connect(), []
    for _try in range(_TRIES):
        started = time.perf_counter()
        status, _tag = screen.get(connection, path)
        took.append(time.perf_counter() - started)
        if status != http.client.OK:
            raise RuntimeError(f"{path} answered {status}")
    connection.close()
    return statistics.median(took) * 1000


def _scan_ms(screen: Screen, parts: int) -> float:
    """Return what the service takes to answer a station's screen with what it shows: the median of the last parts."""
    connection, took = screen.connect(), []
    headers = {"Cookie": screen.cookie, "X-CSRF-Token": screen.proof, "Content-Type": "application/json"}
    for number in range(parts - _TRIES, parts):
        body = json.dumps({"id": str(uuid4()), "code": part_code(number), "at": datetime.now(UTC).isoformat()})
        started = time.perf_counter()
        connection.request("POST", "/station/CUT-1/scan", body, headers)
        response = connection.getresponse()
        response.read()
        took.append(time.perf_counter() - started)
        if response.status != http.client.OK:
            raise RuntimeError(f"the station's screen answered {response.status}")
    connection.close()
    return statistics.median(took) * 1000


def _polling_share(screen: Screen) -> float:
    """Return the share of one core that this process, in which the service runs, spends on screens of another one."""
    context = get_context("spawn")
    receiver, sender = context.Pipe(duplex=False)
    clients = context.Process(target=_poll_all, args=(screen, SCREENS, POLLING_S, sender))
    clients.start()
    if receiver.recv() != "ready":
        raise RuntimeError("the screens could not be opened")
    spent, started = time.process_time(), time.perf_counter()
    statuses: Sequence[int] = receiver.recv()
    share = (time.process_time() - spent) / (time.perf_counter() - started)
    clients.join()
    if set(statuses) != {http.client.NOT_MODIFIED}:
        raise RuntimeError(f"an unchanged screen was answered {sorted(set(statuses))}")
    return share


def _poll_all(screen: Screen, screens: int, seconds: float, sender: object) -> None:
    statuses: list[int] = []
    gate = threading.Barrier(screens + 1)
    threads = [threading.Thread(target=_poll, args=(screen, seconds, gate, statuses)) for _ in range(screens)]
    for thread in threads:
        thread.start()
    gate.wait()
    sender.send("ready")  # type: ignore[attr-defined]  # a pipe's end
    for thread in threads:
        thread.join()
    sender.send(statuses)  # type: ignore[attr-defined]  # a pipe's end


def _poll(screen: Screen, seconds: float, gate: threading.Barrier, statuses: list[int]) -> None:
    connection = screen.connect()
    _status, tag = screen.get(connection, POLLED)
    gate.wait()
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        statuses.append(screen.get(connection, POLLED, tag)[0])
        time.sleep(POLL_EVERY_S)
    connection.close()
