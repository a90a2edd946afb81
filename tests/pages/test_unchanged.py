"""Screens that ask for news while nobody writes to the database are answered at once, and never a moment too long."""

import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from flask import Flask
from sqlalchemy import delete, event
from sqlalchemy.engine import Engine

from tests.floor import START, Floor
from tests.pages.callers import Caller, signed_in
from tests.shops import app_of
from tracker.records import tables
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.web.unchanged import Unchanged
from tracker.work.access import add_station, make_token, withdraw_token

NOW = "/station/CUT-1/now"


@pytest.fixture
def app(floor: Floor, database: Database, tmp_path: Path) -> Flask:
    make_token(database, "somebody", Role.FOREMAN, secret=lambda: "a token of somebody", now=START)
    settings = Settings(data_dir=tmp_path, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    app = app_of(settings, database)
    app.extensions["shop_unchanged"] = Unchanged(database, clock=lambda: floor.clock)
    return app


@pytest.fixture
def screen(app: Flask) -> Caller:
    return signed_in(app, "a token of somebody")


def news(caller: Caller, path: str = NOW) -> dict[str, str]:
    """Ask as a screen does until nothing is new; return what it asks with."""
    asked = {"Accept": "application/json"}
    asked["If-None-Match"] = caller.get(path, **asked).headers["ETag"]
    assert caller.get(path, **asked).status_code == 304
    return asked


@contextmanager
def statements() -> Iterator[list[str]]:
    """What the database is asked meanwhile, by any connection of any shop."""
    seen: list[str] = []

    def note(_connection: object, _cursor: object, statement: str, *_more: object) -> None:
        seen.append(statement)

    event.listen(Engine, "before_cursor_execute", note)
    try:
        yield seen
    finally:
        event.remove(Engine, "before_cursor_execute", note)


def test_a_screen_that_asks_again_while_nobody_writes_asks_the_shop_nothing(screen: Caller, database: Database) -> None:
    asked = news(screen)
    with statements() as seen:
        again = screen.get(NOW, **asked)
    assert (again.status_code, again.data) == (304, b"")
    assert not seen or not database.is_sqlite  # PostgreSQL does not tell whether anybody wrote


def test_a_minute_later_it_is_judged_anew(floor: Floor, screen: Caller) -> None:
    asked = news(screen)
    floor.clock += timedelta(minutes=1)
    with statements() as seen:
        again = screen.get(NOW, **asked)
    assert again.status_code == 304
    assert seen


def test_an_answer_at_once_has_the_headers_of_the_first_and_a_number_of_its_own(screen: Caller) -> None:
    asked = {"Accept": "application/json"}
    asked["If-None-Match"] = screen.get(NOW, **asked).headers["ETag"]
    first, again = (dict(screen.get(NOW, **asked).headers) for _ in range(2))  # judged, and at once
    assert first.keys() == again.keys()
    assert {name for name in first if first[name] != again[name]} == {"X-Request-Id"}


def test_an_answer_at_once_is_noted_as_any_other(app: Flask, screen: Caller, caplog: pytest.LogCaptureFixture) -> None:
    asked = news(screen)
    counted = app.extensions["shop_metrics"].requests.labels("/station/<path:name>/now", 304)
    before = counted._value.get()
    with caplog.at_level(logging.INFO, "tracker.requests"):
        screen.get(NOW, **asked)
    assert counted._value.get() == before + 1
    (line,) = caplog.records
    told = (line.__dict__[name] for name in ("method", "path", "status", "who"))
    assert tuple(told) == ("GET", NOW, 304, "somebody")


def test_whoever_asks_with_anothers_words_is_judged_by_themselves(app: Flask, screen: Caller) -> None:
    asked = news(screen)
    assert app.test_client().get(NOW, headers=asked).status_code == 401


@pytest.mark.parametrize(
    ("written", "status"),
    [
        (lambda floor: floor.scan(floor.deck, "CUT-1"), 200),
        (lambda floor: withdraw_token(floor.database, "somebody", now=floor.tick()), 401),
        (lambda floor: add_station(floor.database, "CUT-2", Step.CUT), 304),
    ],
)
def test_what_was_written_is_seen_at_the_next_asking(
    floor: Floor, screen: Caller, written: Callable[[Floor], object], status: int
) -> None:
    asked = news(screen)
    written(floor)
    assert screen.get(NOW, **asked).status_code == status


def test_who_signs_out_is_told_nothing_more(screen: Caller) -> None:
    asked = news(screen)
    cookie = screen.client.get_cookie("session")
    assert cookie is not None
    screen.send("/sign-out")
    assert screen.get(NOW, Cookie=f"session={cookie.value}", **asked).status_code == 401


def test_a_change_that_is_taken_back_is_none(floor: Floor, screen: Caller) -> None:
    asked = news(screen)
    with floor.database.write() as connection:
        connection.execute(delete(tables.session))
        connection.rollback()
    assert screen.get(NOW, **asked).status_code == 304


def test_many_that_ask_in_many_ways_are_all_answered(screen: Caller) -> None:
    asked = news(screen)
    for number in range(1000):
        assert screen.get(f"{NOW}?{number}", **asked).status_code == 304
    with statements() as seen:
        assert screen.get(NOW, **asked).status_code == 304
    assert seen, "no more than a thousand are known at a time"


def test_what_is_sent_is_judged_though_the_same_was_asked(screen: Caller) -> None:
    asked = news(screen)
    assert screen.client.post(NOW, headers=asked).status_code == 405
