"""Clients for the benchmarks: a process of their own, so that their work is not the service's."""

import http.client
import json
import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any
from urllib.parse import urlsplit


@dataclass(frozen=True, slots=True)
class Load:
    """Requests to send: each client takes its share, in order, over one kept connection."""

    address: str
    path: str
    token: str
    bodies: Sequence[str]
    clients: int


@dataclass(frozen=True, slots=True)
class Timing:
    """How long all requests took, and the slowest but for one in a hundred, in seconds."""

    seconds: float
    p99: float


def send(load: Load) -> Timing:
    """Send all requests from another process and return the timing. Raises RuntimeError when one fails."""
    context = get_context("spawn")
    receiver, sender = context.Pipe(duplex=False)
    process = context.Process(target=_send_all, args=(load, sender))
    process.start()
    answer = receiver.recv()
    process.join()
    if isinstance(answer, str):
        raise RuntimeError(answer)  # noqa: TRY004 - a text is what went wrong there
    return Timing(*answer)


def _send_all(load: Load, sender: Any) -> None:
    latencies: list[float] = []
    failures: list[str] = []
    gate = threading.Barrier(load.clients + 1)
    shared = (gate, latencies, failures)
    threads = [threading.Thread(target=_client, args=(load, number, *shared)) for number in range(load.clients)]
    for thread in threads:
        thread.start()
    gate.wait()
    started = time.perf_counter()
    for thread in threads:
        thread.join()
    seconds = time.perf_counter() - started
    latencies.sort()
    sender.send(failures[0] if failures else (seconds, latencies[int(len(latencies) * 0.99)]))


def _client(load: Load, number: int, gate: threading.Barrier, latencies: list[float], failures: list[str]) -> None:
    place = urlsplit(load.address)
    connection = http.client.HTTPConnection(place.hostname or "", place.port, timeout=60)
    headers = {"Authorization": f"Bearer {load.token}", "Content-Type": "application/json"}
    connection.connect()
    gate.wait()
    for body in load.bodies[number :: load.clients]:
        started = time.perf_counter()
        connection.request("POST", load.path, body, headers)
        response = connection.getresponse()
        content = response.read()
        latencies.append(time.perf_counter() - started)
        if response.status != 200 or b'"ok":false' in content.replace(b" ", b""):
            failures.append(f"{response.status}: {content[:300]!r}")
            return
    connection.close()


def one_scan(scan_id: str, code: str, station: str, at: str) -> str:
    """The body of a request with one scan."""
    return json.dumps({"scans": [{"id": scan_id, "code": code, "station": station, "at": at}]})
