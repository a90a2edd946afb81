"""The station program on this machine: how soon it says something, how fast it catches up, how small it is."""

import json
import re
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import timedelta
from pathlib import Path
from uuid import uuid4

from scanner_client.queue import Queue, Reading
from scanner_client.screen import Screen
from scanner_client.sender import Server
from scanner_client.station import Station
from scanner_client.station_list import StationList
from tracker.bench import scanning
from tracker.bench.figure import Figure
from tracker.shop.codes import part_code

QUEUED = 10_000
READINGS = 200
_PATIENCE_S = 120.0


def figures() -> Iterator[Figure]:
    """Measure with a list of 20,000 parts kept, and with 10,000 readings that wait."""
    with tempfile.TemporaryDirectory(prefix="tracker-bench-", dir=Path.cwd()) as name:
        folder = Path(name)
        database = scanning.shop(folder)
        scanning.take_parts(database, 2 * QUEUED, "J-1")
        with scanning.serving(scanning.served_shop(folder, database)) as address:
            (folder / "token").write_text(scanning.TOKEN)
            with closing(StationList(folder / "queue.list.db", of=f"{address} CUT-1")) as expected:
                if not expected.refresh(Server(address, scanning.TOKEN), "CUT-1"):
                    raise RuntimeError("the service gave no list")
                yield _provisional(folder, expected)
            yield from _catching_up(folder, address)
        database.close()


def _provisional(folder: Path, expected: StationList) -> Figure:
    """From a reading to the word by the station's list, beside a floor: one bare synchronous write for each."""
    said: list[tuple[str, float]] = []
    nowhere = Server("http://127.0.0.1:9", scanning.TOKEN)
    took, floor = [], []
    with closing(Queue(folder / "provisional.db")) as queue, closing(_bare_file(folder / "floor.db")) as bare:
        screen = Screen(lambda line: said.append((line, time.perf_counter())))
        station = Station(queue, nowhere, screen, name="CUT-1", expected=expected)
        station.server_away = True
        for number in range(1, READINGS + 1):
            started = time.perf_counter()
            bare.execute("INSERT INTO reading VALUES (?, ?)", (number, part_code(number)))
            floor.append(time.perf_counter() - started)
            started = time.perf_counter()
            station.take(part_code(number))
            took.append(said[-1][1] - started)
    if sum("LOOKS RIGHT" in line for line, _at in said) != READINGS:
        raise RuntimeError("the list did not know the parts")
    p99, floor_p99 = (1000 * sorted(times)[READINGS * 99 // 100 - 1] for times in (took, floor))
    return Figure(
        what="from a reading to its provisional answer, p99", value=p99, unit="ms", floor=floor_p99,
        wanted="under 30 ms, or 10 ms more than the disk takes by itself", met=p99 < max(30.0, floor_p99 + 10),
    )  # fmt: skip


def _bare_file(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path, isolation_level=None)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    connection.execute("CREATE TABLE reading (number INTEGER PRIMARY KEY, code TEXT)")
    return connection


def _catching_up(folder: Path, address: str) -> Iterator[Figure]:
    """Start the program with many readings waiting: until it is there, until all are delivered, and its memory."""
    with closing(Queue(folder / "queue.db")) as queue:
        for number in range(QUEUED):
            at = (scanning.START + timedelta(seconds=number)).isoformat()
            queue.add(Reading(id=str(uuid4()), code=part_code(number + 1), at=at, station="CUT-1", told="right"))
    command = [sys.executable, "-c", "from scanner_client.main import main; main()", "--server", address]
    command += ["--token-file", str(folder / "token"), "--station", "CUT-1", "--queue", str(folder / "queue.db")]
    shown = folder / "shown"
    started = time.perf_counter()
    with shown.open("wb") as screen:
        program = subprocess.Popen([*command, "--show", "wall"], stdin=subprocess.PIPE, stdout=screen)  # noqa: S603
    try:
        begun = _until(lambda: shown.stat().st_size > 0) - started
        server = Server(address, scanning.TOKEN)
        seconds = _until(lambda: _cut(server) == QUEUED) - started
        megabytes = _most_memory(program.pid)
    finally:
        program.kill()
        program.communicate()
    yield Figure(what="start of the station program", value=begun, unit="s", wanted="under 1 s", met=begun < 1)
    yield Figure(
        what=f"{QUEUED:,} queued scans delivered", value=seconds, unit="s", wanted="under 15 s", met=seconds < 15
    )
    yield Figure(
        what="memory of the station program", value=megabytes, unit="MB", wanted="under 60 MB", met=megabytes < 60
    )


def _until(what: Callable[[], bool]) -> float:
    """Wait for something, and return when it came about. Raises RuntimeError."""
    patience = time.perf_counter() + _PATIENCE_S
    while not what():
        if time.perf_counter() > patience:
            raise RuntimeError("the station program did not come to it")
        time.sleep(0.02)
    return time.perf_counter()


def _cut(server: Server) -> int:
    _status, _headers, body = server.ask("/api/v1/jobs/J-1")
    return int(json.loads(body)["steps"]["cut"]["done"])


def _most_memory(process: int) -> float:
    """The most memory that a process ever had, in MB, as Linux counts it."""
    found = re.search(r"VmHWM:\s+(\d+) kB", Path(f"/proc/{process}/status").read_text())
    if found is None:
        raise RuntimeError("this machine does not tell the memory of a process")
    return int(found[1]) / 1024
