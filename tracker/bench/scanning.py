"""How fast scans are taken, beside a floor: a bare Flask view that writes the same three rows with the sqlite3 module
behind the same server."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

from flask import Flask, request

from tracker.app import create_app
from tracker.bench.traffic import Load, Timing, one_scan, send
from tracker.records.database import Database, sqlite_module
from tracker.records.migrate import upgrade
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.codes import part_code
from tracker.shop.orders import Order, PartLine
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.work.access import add_station, make_token
from tracker.work.orders import take_order

TOKEN = "bench"  # noqa: S105 - opens a throw-away database on loopback
START = datetime(2026, 3, 1, tzinfo=UTC)  # behind every clock: a scan from the future is placed now instead


def shop(folder: Path, name: str = "bench.db") -> Database:
    """An empty shop with a token and a station for each step."""
    database = Database(f"sqlite:///{folder / name}")
    upgrade(database)
    make_token(database, "bench", Role.ADMIN, secret=lambda: TOKEN, now=START)
    for step in Step:
        add_station(database, f"{step.value.upper()}-1", step)
    return database


def take_parts(database: Database, count: int, job: str, *, per_cabinet: int = 20) -> None:
    """A job of ``count`` parts."""
    lines = [
        PartLine(
            cabinet=str(number), part="End", quantity=min(per_cabinet, count - number), length_mm=720, width_mm=560,
            thickness_mm=18, edges=("L1",), machining="EN-1",
        )
        for number in range(0, count, per_cabinet)
    ]  # fmt: skip
    order = Order(job=job, customer="Bench", due=date(2027, 3, 5), parts=lines)
    take_order(database, order, who="bench", now=START)


@contextmanager
def serving(app: Flask) -> Iterator[str]:
    """Serve an app on a free port of loopback."""
    server = Server(app, host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield server.address
    finally:
        server.stop()
        thread.join()


def served_shop(folder: Path, database: Database) -> Flask:
    """The service on a database."""
    settings = Settings(data_dir=folder, database_url=str(database.url), secret_key="bench")  # noqa: S106
    return create_app(settings, database)


def single_scans(address: str, numbers: range, clients: int) -> Timing:
    """Send one scan a request for each of these parts."""
    bodies = [
        one_scan(str(uuid4()), part_code(number), "CUT-1", (START + timedelta(seconds=place)).isoformat())
        for place, number in enumerate(numbers)
    ]
    return send(Load(address, "/api/v1/scans", TOKEN, bodies, clients))


def floor_app(folder: Path) -> Flask:
    """The floor: a bare view that writes one log row and two states with the sqlite3 module, fully synchronous."""
    path = str(folder / "floor.db")
    app = Flask("floor")
    local = threading.local()
    lock = threading.Lock()
    _connection(path).executescript(
        "CREATE TABLE log (seq INTEGER PRIMARY KEY, id TEXT UNIQUE, code TEXT, station TEXT, at TEXT);"
        "CREATE TABLE part (code TEXT PRIMARY KEY, done INTEGER);"
        "CREATE TABLE tally (what TEXT PRIMARY KEY, done INTEGER);"
        "INSERT INTO tally VALUES ('cut', 0);"
    )

    @app.post("/api/v1/scans")
    def scans() -> dict[str, Any]:
        if not hasattr(local, "connection"):
            local.connection = _connection(path)
        connection = local.connection
        scan = request.get_json()["scans"][0]
        with lock:
            connection.execute("BEGIN IMMEDIATE")
            values = (scan["id"], scan["code"], scan["station"], scan["at"])
            connection.execute("INSERT INTO log (id, code, station, at) VALUES (?, ?, ?, ?)", values)
            connection.execute("INSERT OR REPLACE INTO part VALUES (?, 1)", (scan["code"],))
            connection.execute("UPDATE tally SET done = done + 1 WHERE what = 'cut'")
            connection.execute("COMMIT")
        return {"results": [{"id": scan["id"], "outcome": "done", "ok": True}]}

    return app


def _connection(path: str) -> Any:
    connection = sqlite_module.connect(path, isolation_level=None, check_same_thread=False)
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA synchronous=FULL")
    return connection


def batches(address: str, numbers: range, size: int) -> Timing:
    """Send these parts' scans in batches from one client."""
    rows = [
        {"id": str(uuid4()), "code": part_code(n), "station": "CUT-1", "at": (START + timedelta(seconds=n)).isoformat()}
        for n in numbers
    ]
    bodies = [json.dumps({"scans": rows[start : start + size]}) for start in range(0, len(rows), size)]
    return send(Load(address, "/api/v1/scans", TOKEN, bodies, 2))
