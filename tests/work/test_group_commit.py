"""Two at once, and the process killed in the middle: nothing answered is lost, nothing is counted twice."""

import json
import os
import re
import signal
import subprocess
import sys
import threading
import urllib.error
import urllib.request
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPException
from pathlib import Path
from typing import Any
from uuid import uuid4

from sqlalchemy import func, select

from tests.floor import START, Floor, scan_of
from tests.shops import sqlite_shop
from tests.waiting import HANGS_AFTER_S, until
from tracker.records.database import Database
from tracker.records.tables import log
from tracker.shop.codes import part_code
from tracker.shop.orders import PartLine
from tracker.shop.roles import Role
from tracker.work.access import make_token
from tracker.work.verify import verify


def test_two_threads_that_send_the_same_scan_id_get_one_effect_and_one_answer(floor: Floor) -> None:
    for _round in range(10):
        scan = scan_of(floor.deck, "CUT-1", floor.tick())
        gate = threading.Barrier(2)

        def send() -> Any:
            gate.wait()  # noqa: B023 - both threads end within the round
            return floor.send([scan])  # noqa: B023

        with ThreadPoolExecutor(2) as pool:
            answers = [future.result() for future in (pool.submit(send), pool.submit(send))]
        assert answers[0] == answers[1]
        with floor.database.read() as connection:
            rows = connection.execute(select(func.count()).where(log.c.scan_id == scan.id.bytes)).scalar()
        assert rows == 1
    floor.check()


def test_two_services_on_one_database_keep_one_log(floor: Floor) -> None:
    """Two Database objects stand for two processes: each has its own lock and its own connections."""
    other = object.__new__(Floor)
    other.__dict__.update(floor.__dict__, database=Database(floor.database.url.render_as_string(hide_password=False)))
    floor.take("J-2", [_ends(60)], items=())

    def scan(who: Floor, numbers: range) -> None:
        for number in numbers:
            assert who.send([scan_of(part_code(number), "CUT-1", START)])[0].outcome in ("done", "again")

    with ThreadPoolExecutor(2) as pool:
        futures = [pool.submit(scan, floor, range(4, 44)), pool.submit(scan, other, range(24, 64))]
        for future in futures:
            future.result()
    assert floor.job("J-2").steps["cut"].done == 60
    floor.check()
    other.database.close()


def test_killed_in_mid_stream_and_restarted_no_answered_scan_is_lost_or_doubled(tmp_path: Path) -> None:
    environment = {**os.environ, "TRACKER_DATA_DIR": str(tmp_path)}
    environment.pop("TRACKER_DATABASE_URL", None)
    database = sqlite_shop(tmp_path / "tracker.db")
    floor = Floor(database)
    floor.take("J-2", [_ends(200)], items=())
    token = make_token(database, "saw", Role.STATION, "CUT-1", secret=lambda: "secret", now=START)
    database.close()
    answered: dict[str, Any] = {}
    waiting = [(str(uuid4()), part_code(number)) for number in range(4, 204)]
    for life in range(2):
        service, address = _serve(environment)
        killer = _killed_beside(service, enough := threading.Event())
        _send_until_dead(address, token, waiting, answered, (20 * (1 + life), enough))
        enough.set()
        killer.join()
        service.wait()
    assert 0 < len(answered) < len(waiting), "the kill came too early or too late to prove anything"
    service, address = _serve(environment)
    for scan_id, code in waiting:
        result = _send(address, token, scan_id, code)
        if scan_id in answered:
            assert result == answered[scan_id]
        answered[scan_id] = result
    service.send_signal(signal.SIGTERM)
    assert service.wait(HANGS_AFTER_S) == 0
    database = Database(f"sqlite:///{tmp_path / 'tracker.db'}")
    with database.read() as connection:
        counted = connection.execute(
            select(func.count(), func.count(log.c.scan_id.distinct())).where(log.c.action == "pass")
        ).one()
    assert tuple(counted) == (200, 200)
    assert {result["outcome"] for result in answered.values()} == {"done"}
    assert list(verify(database)) == []
    database.close()


def _ends(quantity: int) -> PartLine:
    return PartLine(cabinet="1", part="End", quantity=quantity, length_mm=700, width_mm=500, thickness_mm=18)


def _serve(environment: dict[str, str]) -> tuple[subprocess.Popen[bytes], str]:
    program = [sys.executable, "-c", "from tracker.cli import main; main()", "serve", "--port", "0"]
    told = Path(environment["TRACKER_DATA_DIR"]) / f"told-{uuid4()}"
    with told.open("wb") as stream:
        service = subprocess.Popen(program, env=environment, stderr=stream, stdout=subprocess.DEVNULL)
    found = until(lambda: re.search(r"http://\S+", told.read_text()), why=told.read_text)
    return service, found[0]


def _killed_beside(service: subprocess.Popen[bytes], enough: threading.Event) -> threading.Thread:
    """Kill the service when it has answered enough, while more is being sent."""

    def kill() -> None:
        enough.wait()
        service.kill()

    killer = threading.Thread(target=kill)
    killer.start()
    return killer


def _send_until_dead(
    address: str,
    token: str,
    waiting: list[tuple[str, str]],
    answered: dict[str, Any],
    wanted: tuple[int, threading.Event],
) -> None:
    """Send until the service is gone; after so many new answers the event is set, and the sending goes on."""
    count, enough = wanted
    before = len(answered)
    for scan_id, code in waiting:
        if scan_id in answered:
            continue
        try:
            answered[scan_id] = _send(address, token, scan_id, code)
        except (OSError, HTTPException):  # the service may die in the middle of an answer, too
            return
        if len(answered) - before >= count:
            enough.set()


def _send(address: str, token: str, scan_id: str, code: str) -> Any:
    body = json.dumps({"scans": [{"id": scan_id, "code": code, "at": START.isoformat()}]}).encode()
    request = urllib.request.Request(
        f"{address}/api/v1/scans",
        data=body,
        headers={"Authorization": f"Bearer {token}", "Content-Type": "application/json"},
    )
    with urllib.request.urlopen(request, timeout=HANGS_AFTER_S) as response:
        return json.load(response)["results"][0]
