"""What a page sends late: many scans in one call, each under the name of whoever read it."""

import json
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from flask import Flask
from itsdangerous import URLSafeTimedSerializer
from sqlalchemy import select

from tests.floor import Floor
from tests.pages.callers import Caller, signed_in
from tests.shops import app_of
from tracker.pages.scanning.readings import MOST_AT_ONCE
from tracker.pages.words import languages
from tracker.records.database import Database
from tracker.records.tables import log
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.work.access import make_token, withdraw_token

SECRET = "for tests"  # noqa: S105
PATHS = {"station": "/station/CUT-1/scan", "bench": "/pack/PACK-1/scan"}


@pytest.fixture
def floor(sqlite: Database) -> Floor:
    floor = Floor(sqlite)
    for name, role, station in (
        ("Ada", Role.PACKER, None),
        ("Ben", Role.FOREMAN, None),
        ("Saw", Role.STATION, "CUT-1"),
    ):
        make_token(sqlite, name, role, station, secret=name.strip, now=floor.tick())
    return floor


@pytest.fixture
def app(floor: Floor, tmp_path: Path) -> Flask:
    settings = Settings(data_dir=tmp_path, database_url=str(floor.database.url), secret_key=SECRET)
    return app_of(settings, floor.database)


def byline_on(caller: Caller, path: str) -> str:
    """What a page keeps with its readings."""
    found = re.search(r'id="who" data-by="([^"]*)"', caller.get(path.removesuffix("/scan")).text)
    assert found is not None
    return found.group(1)


def scan(code: str, *, second: int = 0, **more: Any) -> dict[str, Any]:
    at = datetime.now(UTC) - timedelta(minutes=5) + timedelta(seconds=second)
    return {"id": str(uuid4()), "code": code, "at": at.isoformat(), **more}


def send(caller: Caller, path: str, body: Any, status: int = 200) -> Any:
    answer = caller.post(path, json.dumps(body))
    assert answer.status_code == status, answer.text
    return answer.json


def logged(floor: Floor) -> list[tuple[str, str]]:
    """The codes that were scanned at a station, and by whom, in the order of the log."""
    query = select(log.c.code, log.c.who).where(log.c.station_id.is_not(None)).order_by(log.c.seq)
    with floor.database.read() as connection:
        return [(row.code, row.who) for row in connection.execute(query)]


@pytest.mark.parametrize("path", PATHS.values(), ids=PATHS)
def test_many_scans_in_one_call_are_answered_in_order_the_last_one_as_if_it_were_alone(
    app: Flask, floor: Floor, path: str
) -> None:
    caller = signed_in(app, "Ben")
    codes = [floor.deck, floor.box_102 if "CUT" in path else floor.end, floor.toe_kick, floor.toe_kick]
    scans = [scan(code, second=place) for place, code in enumerate(codes)]
    answers = send(caller, path, {"scans": scans})["answers"]
    assert [each["id"] for each in answers] == [each["id"] for each in scans]
    refused = answers[1]
    assert (refused["ok"], refused["sound"]) == (False, "stop")
    assert refused["says"], "what was refused is said, whatever follows it"
    again = send(caller, path, scans[-1])
    assert again.keys() == answers[-1].keys()
    assert (again["id"], again["outcome"]) == (answers[-1]["id"], "again")
    assert [code for code, _who in logged(floor)] == codes


def test_a_call_is_answered_in_the_language_of_its_page_whatever_was_chosen_elsewhere(app: Flask, floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    caller = signed_in(app, "Ben")
    caller.client.set_cookie(languages.COOKIE, "es")
    for page, word in (("en", "Done"), ("es", "Hecho"), ("xx", "Hecho")):
        assert word in caller.get("/station/CUT-1/now", **{languages.PAGE: page}).text


def test_a_list_with_a_scan_that_is_none_stores_nothing(app: Flask, floor: Floor) -> None:
    caller = signed_in(app, "Ben")
    path = PATHS["station"]
    for scans in ([scan(floor.deck), {"code": floor.end}], [scan(floor.deck), "scan"], [], "scans", 7):
        assert send(caller, path, {"scans": scans}, 422)["detail"] == "This is no scan."
    many = [scan(floor.deck) for _ in range(MOST_AT_ONCE + 1)]
    assert send(caller, path, {"scans": many}, 422)["errors"][0]["field"] == "scans"
    assert logged(floor) == []
    send(caller, path, {"scans": many[1:]})


@pytest.mark.parametrize("path", PATHS.values(), ids=PATHS)
def test_a_scan_is_logged_under_the_name_that_read_it_whoever_sends_it(app: Flask, floor: Floor, path: str) -> None:
    ada = byline_on(signed_in(app, "Ada"), path)
    ben = signed_in(app, "Ben")
    own = byline_on(ben, path)
    scans = [
        scan(floor.deck, by=ada, second=0),
        scan(floor.toe_kick, by=own, second=1),
        scan(floor.end, by=ada, second=2),
        scan(floor.deck, second=3),
    ]
    send(ben, path, {"scans": scans})
    assert [who for _code, who in logged(floor)] == ["Ada", "Ben", "Ada", "Ben"]


def test_a_count_at_the_bench_is_logged_under_the_name_that_counted(app: Flask, floor: Floor) -> None:
    ada = byline_on(signed_in(app, "Ada"), PATHS["bench"])
    body = {"box": floor.box_101, "item": "spring pin 8 mm", "count": 1, "was": 0, "by": ada}
    send(signed_in(app, "Ben"), "/pack/PACK-1/count", body)
    with floor.database.read() as connection:
        assert connection.execute(select(log.c.who).order_by(log.c.seq.desc()).limit(1)).scalar_one() == "Ada"


def test_a_name_that_the_service_has_not_signed_or_long_ago_is_nobodys(
    app: Flask, floor: Floor, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = URLSafeTimedSerializer(SECRET, salt="byline")
    monkeypatch.setattr("itsdangerous.timed.time.time", lambda: 1_000_000_000)  # September 2001
    long_ago = old.dumps("Ada")
    monkeypatch.undo()
    other = URLSafeTimedSerializer("another shop", salt="byline").dumps("Ada")
    for place, by in enumerate((long_ago, other, "Ada", "\u00e9", "", 7, None)):
        send(signed_in(app, "Ben"), PATHS["station"], scan(floor.deck, by=by, second=place))
    assert {who for _code, who in logged(floor)} == {"Ben"}


def test_a_name_holds_for_what_was_read_in_its_time_and_while_its_token_is_in_force(app: Flask, floor: Floor) -> None:
    ada = byline_on(signed_in(app, "Ada"), PATHS["station"])
    ben = signed_in(app, "Ben")
    now = datetime.now(UTC)
    for hours in (-14, 14):  # before it was signed, and long after
        read = now + timedelta(hours=hours)
        late = {"at": read.isoformat(), "sent_at": now.isoformat(), "by": ada}
        send(ben, PATHS["station"], {**scan(floor.deck), **late})
    own = {"at": (now - timedelta(hours=3)).isoformat(), "sent_at": (now - timedelta(hours=3)).isoformat(), "by": ada}
    send(ben, PATHS["station"], {**scan(floor.deck), **own})  # by a clock that is three hours slow, read just now
    withdraw_token(floor.database, "Ada", now=now)
    send(ben, PATHS["station"], scan(floor.deck, by=ada))
    assert [who for _code, who in logged(floor)] == ["Ben", "Ben", "Ada", "Ben"]


def test_a_device_that_says_it_waited_for_ever_is_believed_in_nothing(app: Flask, floor: Floor) -> None:
    ages = {"at": "0001-01-02T00:00:00Z", "sent_at": "9999-12-30T00:00:00Z"}
    ada = byline_on(signed_in(app, "Ada"), PATHS["station"])
    send(signed_in(app, "Ben"), PATHS["station"], {**scan(floor.deck), **ages, "by": ada})
    assert [code for code, _who in logged(floor)] == [floor.deck]


def test_a_stations_tablet_keeps_no_name_and_takes_none_as_badges_say_it(app: Flask, floor: Floor) -> None:
    tablet = signed_in(app, "Saw")
    assert byline_on(tablet, PATHS["station"]) == ""
    ada = byline_on(signed_in(app, "Ada"), PATHS["station"])
    send(tablet, PATHS["station"], scan(floor.deck, by=ada))
    assert logged(floor) == [(floor.deck, "Saw")]


def test_the_bench_says_anew_who_works_there_when_somebody_else_signed_in(app: Flask) -> None:
    shown = [signed_in(app, name).get("/pack/PACK-1/bench", Accept="application/json").json for name in ("Ada", "Ben")]
    assert [each["who"] for each in shown if each] == ["Ada", "Ben"]
    assert all(each["by"] for each in shown if each)
