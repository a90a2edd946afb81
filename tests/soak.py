"""Steady work on a running service, to see whether its memory comes to rest.

    python -m tests.soak 2000000

sends so many requests over two connections that stay open, as the screens and stations of a shop do: of five thousand
fifty are scans, fifty are pages and calls that are asked for whole, the others ask whether there is anything new. Ten
thousand parts go through cut, machine, band and pack, and are then scanned again. It prints the memory of the service
on the way, and ends with 1 when the last half has still grown by more than a twentieth. Linux alone: it reads /proc.
"""

import argparse
import itertools
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from concurrent.futures import FIRST_EXCEPTION, ThreadPoolExecutor, wait
from dataclasses import replace
from datetime import UTC, datetime
from http.client import HTTPConnection
from pathlib import Path
from urllib.parse import urlencode
from uuid import uuid4

from tests.floor import START, Floor
from tracker.records.database import Database
from tracker.records.migrate import upgrade
from tracker.shop.codes import part_code
from tracker.shop.orders import PartLine
from tracker.shop.roles import Role
from tracker.work.access import make_token

CONNECTIONS = 2
JOBS, PARTS = 10, 1000
STATIONS = ("CUT-1", "MACHINE-1", "BAND-1", "PACK-1")
TOKEN = "for the soak"  # noqa: S105
ROUND, SCANS, WHOLE = 5000, 50, 50
POLLED = (
    "/board/rows",
    "/missing/rows",
    "/station/CUT-1/now",
    "/station/BAND-1/now",
    "/pack/PACK-1/bench",
    "/pack/PACK-1/next",
)
ASKED_WHOLE = ("/", "/missing", "/api/v1/missing?limit=20", "/station/CUT-1", "/pack/PACK-1", "/api/v1/changes?since=0")
ALLOWED = 1.05  # the peak of the last half over that of the half before


def main() -> None:
    """Send the requests that are asked for, and judge."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("count", type=int)
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="soak-") as name:
        folder = Path(name)
        _fill(folder)
        service, port = _serve(folder)
        try:
            peaks = _watch(service.pid, port, asked.count, folder)
        finally:
            service.send_signal(signal.SIGTERM)
            service.wait()
    half = len(peaks) // 2
    ratio = max(peaks[half:]) / max(peaks[:half])
    print(f"the last half over the first: {ratio:.3f}, allowed {ALLOWED}")  # noqa: T201 - a command's answer
    sys.exit(ratio > ALLOWED)


def _fill(folder: Path) -> None:
    database = Database(f"sqlite:///{folder / 'tracker.db'}")
    upgrade(database)
    floor = Floor(database)
    end = PartLine(
        cabinet="1", part="End", quantity=10, length_mm=700, width_mm=500, thickness_mm=18, edges=("L1",), machining="E"
    )
    for job in range(JOBS):
        floor.take(f"J-{2 + job}", [replace(end, cabinet=str(number)) for number in range(PARTS // 10)], items=())
    make_token(database, "soak", Role.FOREMAN, secret=lambda: TOKEN, now=START)
    database.close()


def _serve(folder: Path) -> tuple[subprocess.Popen[str], int]:
    environment = {**os.environ, "TRACKER_DATA_DIR": str(folder), "TRACKER_DATABASE_URL": ""}
    program = [sys.executable, "-c", "from tracker.cli import main; main()", "serve", "--port", "0"]
    service = subprocess.Popen(program, env=environment, stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True)
    told = service.stderr
    assert told is not None
    for line in told:
        if found := re.search(r"http://127\.0\.0\.1:(\d+)", line):
            threading.Thread(target=lambda: [None for _ in told], daemon=True).start()
            return service, int(found.group(1))
    raise SystemExit("the service did not start")


class _Caller:
    """One connection that stays open, with a session and a token."""

    def __init__(self, port: int) -> None:
        self._connection = HTTPConnection("127.0.0.1", port, timeout=60)
        self._headers = {"Authorization": f"Bearer {TOKEN}"}
        self._seen: dict[str, str] = {}  # the tag of each page as it was seen last: a screen asks for what is newer
        page, cookie = self._ask("GET", "/sign-in", None, {})
        secret = re.search(r'name="csrf-token" content="([^"]+)"', page)
        assert secret is not None
        form = urlencode({"csrf_token": secret.group(1), "token": TOKEN})
        kind = {"Content-Type": "application/x-www-form-urlencoded", "Cookie": cookie}
        self._headers["Cookie"] = self._ask("POST", "/sign-in", form, kind)[1]

    def scan(self, code: str, station: str) -> None:
        scan = {"id": str(uuid4()), "code": code, "station": station, "at": datetime.now(UTC).isoformat()}
        self._ask("POST", "/api/v1/scans", json.dumps({"scans": [scan]}), {"Content-Type": "application/json"})

    def look(self, path: str, *, newer: bool) -> None:
        seen = self._seen.get(path) if newer else None
        self._ask("GET", path, None, {"If-None-Match": seen} if seen else {})

    def _ask(self, verb: str, path: str, body: str | None, headers: dict[str, str]) -> tuple[str, str]:
        self._connection.request(verb, path, body, {**self._headers, **headers})
        answer = self._connection.getresponse()
        assert answer.status in (200, 302, 304), (path, answer.status)
        self._seen[path] = answer.headers.get("ETag") or ""
        return answer.read().decode(), (answer.headers.get("Set-Cookie") or "").split(";")[0]


def _watch(process: int, port: int, count: int, folder: Path) -> list[float]:
    """Send ``count`` requests; return the service's memory in MB at forty moments of it."""
    numbers = itertools.count()
    began, peaks = time.monotonic(), []
    with ThreadPoolExecutor(CONNECTIONS) as pool:
        working = [pool.submit(_work, _Caller(port), numbers, count) for _ in range(CONNECTIONS)]
        for mark in range(1, 41):
            while _sent(numbers) < count * mark // 40:
                for ended in wait(working, timeout=0.5, return_when=FIRST_EXCEPTION).done:
                    ended.result()
            peaks.append(_memory(process))
            size = (folder / "tracker.db").stat().st_size / 1e6
            told = f"{_sent(numbers):>9,} requests, {time.monotonic() - began:6.0f} s, {peaks[-1]:6.1f} MB"
            print(f"{told}, database {size:6.1f} MB", flush=True)  # noqa: T201 - a command's answer
    return peaks


def _sent(numbers: Iterator[int]) -> int:
    return int(repr(numbers)[6:-1])  # "count(17)": to look without taking one


def _work(caller: _Caller, numbers: Iterator[int], count: int) -> None:
    while (number := next(numbers)) < count:
        rounds, place = divmod(number, ROUND)
        if place < SCANS:
            passes, part = divmod(rounds * SCANS + place, JOBS * PARTS)
            caller.scan(part_code(4 + part), STATIONS[passes % len(STATIONS)])
        elif place < SCANS + WHOLE:
            caller.look(ASKED_WHOLE[place % len(ASKED_WHOLE)], newer=False)
        else:
            caller.look(POLLED[place % len(POLLED)], newer=True)


def _memory(process: int) -> float:
    status = Path(f"/proc/{process}/status").read_text()
    found = re.search(r"VmRSS:\s+(\d+) kB", status)
    assert found is not None
    return int(found.group(1)) / 1000


if __name__ == "__main__":
    main()
