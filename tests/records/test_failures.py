"""A database that is full, damaged or busy says so, and the service goes on with what it can do."""

import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path

import pytest
from flask import Flask
from sqlalchemy.exc import DBAPIError

from tests.floor import START, Floor
from tests.pages.callers import signed_in
from tracker.app import create_app
from tracker.records.database import MOST_WAITING, PATIENCE_S, Database, WritersQueue
from tracker.records.failures import failure_of
from tracker.settings import Settings
from tracker.shop.errors import BusyError
from tracker.shop.failures import Failure
from tracker.shop.roles import Role
from tracker.work import people, sessions
from tracker.work.access import make_token

HANGS = 120  # seconds: only a hang reaches it
PASSWORD = "a long password"  # noqa: S105


class Clock:
    """Seconds that pass when a test says so."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def _in_threads(queue: WritersQueue, count: int, leave: threading.Event) -> ThreadPoolExecutor:
    """Let ``count`` threads take a place each and keep it until ``leave``."""
    inside = threading.Semaphore(0)
    pool = ThreadPoolExecutor(count)

    def hold() -> None:
        with queue.place():
            inside.release()
            leave.wait(HANGS)

    for _ in range(count):
        pool.submit(hold)
    for _ in range(count):
        assert inside.acquire(timeout=HANGS)
    return pool


def test_when_the_writer_is_stuck_so_many_wait_and_the_next_is_sent_away_at_once() -> None:
    clock, leave = Clock(), threading.Event()
    queue = WritersQueue(clock)
    with _in_threads(queue, MOST_WAITING, leave):
        clock.now += PATIENCE_S
        with pytest.raises(BusyError) as busy, queue.place():
            pass
        leave.set()
    assert busy.value.wait_s >= 1
    with queue.place():
        pass


def test_while_the_writer_moves_everybody_waits_for_their_turn() -> None:
    leave = threading.Event()
    queue = WritersQueue(Clock())
    with ExitStack() as stack:
        stack.enter_context(_in_threads(queue, MOST_WAITING, leave))
        more = stack.enter_context(ThreadPoolExecutor(1)).submit(_enter, queue)
        leave.set()
        assert more.result(HANGS)


def _enter(queue: WritersQueue) -> bool:
    with queue.place():
        return True


def test_a_thread_that_has_a_place_needs_no_second_one() -> None:
    clock, leave = Clock(), threading.Event()
    queue = WritersQueue(clock)
    with _in_threads(queue, MOST_WAITING - 1, leave), queue.place():
        clock.now += PATIENCE_S
        with queue.place():
            leave.set()


@pytest.fixture
def app(sqlite: Database, tmp_path: Path) -> Flask:
    return create_app(Settings(data_dir=tmp_path, database_url=str(sqlite.url), secret_key="for tests"), sqlite)  # noqa: S106


def test_with_a_stuck_writer_the_screens_answer_and_scans_beyond_the_queue_are_told_to_come_again(
    app: Flask, sqlite: Database
) -> None:
    floor = Floor(sqlite)
    token = make_token(sqlite, "saw", Role.STATION, secret=lambda: "secret", now=START)
    browser = signed_in(app, make_token(sqlite, "foreman", Role.FOREMAN, secret=lambda: "another", now=START))
    asked = {"Authorization": f"Bearer {token}"}

    def scan(number: int) -> tuple[int, str | None]:
        body = {"scans": [{"id": f"00000000-0000-4000-8000-{number:012}", "code": floor.deck, "station": "CUT-1",
                           "at": START.isoformat()}]}  # fmt: skip
        answer = app.test_client().post("/api/v1/scans", headers=asked, json=body)
        return answer.status_code, answer.headers.get("Retry-After")

    with ThreadPoolExecutor(16) as pool:
        refused: list[tuple[int, str | None]] = []
        came = threading.Semaphore(0)
        with sqlite.write():  # this thread is the writer that is stuck
            futures = [pool.submit(scan, number) for number in range(16)]
            for future in futures:
                future.add_done_callback(lambda _done: came.release())
            for _ in range(16 - (MOST_WAITING - 1)):
                assert came.acquire(timeout=HANGS)
            refused = [future.result() for future in futures if future.done()]
            assert browser.get("/healthz").status_code == 200
            assert browser.get("/").status_code == 200
            assert browser.get("/missing").status_code == 200
            assert app.test_client().get("/api/v1/missing", headers=asked).status_code == 200
        answers = [future.result(HANGS)[0] for future in futures]
    assert refused == [(503, "2")] * 5
    assert sorted(answers) == [200] * 11 + [503] * 5
    floor.check()


def test_a_page_that_only_reads_waits_for_no_writer_to_note_that_its_session_was_used(sqlite: Database) -> None:
    people.add_person(sqlite, "Ida", Role.FOREMAN, password=PASSWORD, now=START)
    secret = sessions.sign_in(sqlite, "Ida", PASSWORD, sessions.Attempt(address="192.0.2.1", now=START))
    notes = sessions.LaterNotes()
    later = START + sessions.IDLE - sessions.NOTED_EVERY
    with sqlite.write():
        assert sessions.bearer_of(sqlite, secret, later, note=notes.note).name == "Ida"
    _wait_for("noting sessions")
    assert sessions.bearer_of(sqlite, secret, later + sessions.IDLE / 2).name == "Ida"


def _wait_for(name: str) -> None:
    for thread in threading.enumerate():
        if thread.name == name:
            thread.join(HANGS)


def _limit_pages(database: Database, most: Callable[[int], int]) -> None:
    """SQLite's own way to have no room left: a limit on the pages of the file."""
    with database.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar_one()
        connection.exec_driver_sql(f"PRAGMA max_page_count = {most(pages)}")


def test_a_full_disk_is_called_that_until_there_is_room_again(app: Flask, sqlite: Database) -> None:
    floor = Floor(sqlite)
    token = make_token(sqlite, "saw", Role.STATION, secret=lambda: "secret", now=START)
    asked = {"Authorization": f"Bearer {token}"}
    client = app.test_client()

    def scans(first: int) -> tuple[int, str]:
        made = [{"id": f"00000000-0000-4000-8000-{number:012}", "code": floor.deck, "station": "CUT-1",
                 "at": START.isoformat()} for number in range(first, first + 500)]  # fmt: skip
        answer = client.post("/api/v1/scans", headers=asked, json={"scans": made})
        return answer.status_code, answer.get_json().get("detail", "")

    assert client.get("/readyz").get_json()["last_write"] == "ok"
    _limit_pages(sqlite, lambda pages: pages)
    status, detail = scans(0)
    assert status == 503
    assert "disk of the shop's computer is full" in detail
    ready = client.get("/readyz")
    assert (ready.status_code, ready.get_json()["last_write"]) == (200, "disk full")
    assert ready.get_json()["free_bytes"] > 0
    _limit_pages(sqlite, lambda pages: pages + 10_000)
    assert scans(0)[0] == 200
    assert client.get("/readyz").get_json()["last_write"] == "ok"
    floor.check()


def test_damage_that_was_seen_makes_the_service_unready(sqlite_template: Path, tmp_path: Path) -> None:
    path = tmp_path / "damaged.db"
    whole = sqlite_template.read_bytes()
    page = 4096
    path.write_bytes(whole[:page] + b"\x55" * (len(whole) - page))
    database = Database(f"sqlite:///{path}")
    settings = Settings(data_dir=tmp_path, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    client = create_app(settings, database).test_client()
    answer = client.get("/api/v1/jobs", headers={"Authorization": "Bearer nobody's"})
    assert answer.status_code == 503
    assert "damaged" in answer.get_json()["detail"]
    ready = client.get("/readyz")
    assert ready.status_code == 503
    assert "damaged" in ready.get_json()["why"]
    database.close()


class _DriverError(Exception):
    def __init__(self, sqlstate: str) -> None:
        super().__init__(sqlstate)
        self.sqlstate = sqlstate


@pytest.mark.parametrize(("sqlstate", "failure"), [("53100", Failure.DISK_FULL), ("XX001", Failure.DAMAGED)])
def test_postgresql_says_by_its_sqlstate_what_is_wrong(sqlstate: str, failure: Failure) -> None:
    # The manual of PostgreSQL 15, appendix A: disk_full and data_corrupted.
    assert failure_of(DBAPIError("INSERT", {}, _DriverError(sqlstate))) is failure
    assert failure_of(ValueError()) is None
