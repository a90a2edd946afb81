"""What may come to a station, as the station program asks for it."""

from typing import Any

import pytest
from flask import Flask

from tests.api.conftest import Caller
from tests.floor import JOB, START, Floor
from tracker.api.expected import PAGE
from tracker.records import expected
from tracker.records.database import Database
from tracker.shop.codes import Code, Kind
from tracker.shop.orders import PartLine
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.access import make_token
from tracker.work.jobs import cancel_job, hold_job
from tracker.work.replace import replace_part


@pytest.fixture
def floor(sqlite: Database) -> Floor:
    return Floor(sqlite, strict=[Step.BAND])


def _ask(station: Caller, name: str, since: int = 0, **more: Any) -> dict[str, Any]:
    answer = station.get("/expected", query_string={"station": name, "since": since, **more})
    assert answer.status_code == 200, answer.json
    found: dict[str, Any] = answer.json
    return found


def _codes(answer: dict[str, Any]) -> list[str]:
    return [row["code"] for row in answer["items"]]


def test_it_is_what_the_route_still_brings_there_with_name_box_and_next_step(station: Caller, floor: Floor) -> None:
    answer = _ask(station, "BAND-1")
    assert (answer["station"], answer["step"], answer["strict"], answer["whole"]) == ("BAND-1", "band", True, True)
    assert answer["items"] == [
        {
            "code": floor.deck,
            "name": "Deck",
            "cabinet": "101",
            "job": JOB,
            "box": floor.box_101,
            "box_name": "101",
            "load": None,
            "sscc": None,
            "next": "cut",
            "held": False,
        }
    ]
    assert _codes(_ask(station, "CUT-1")) == [floor.deck, floor.toe_kick, floor.end]


def test_afterwards_it_is_what_changed_and_nothing_when_nothing_did(station: Caller, floor: Floor) -> None:
    since = _ask(station, "CUT-1")["at"]
    quiet = _ask(station, "CUT-1", since)
    assert (quiet["at"], quiet["whole"], quiet["items"], quiet["gone"]) == (since, False, [], [])
    floor.scan(floor.deck, "CUT-1")
    cut = _ask(station, "CUT-1", since)
    assert (cut["whole"], cut["items"], cut["gone"]) == (False, [], [floor.deck])
    assert [row["next"] for row in _ask(station, "BAND-1", since)["items"]] == ["machine"]
    floor.undo("CUT-1")
    assert _codes(_ask(station, "CUT-1", cut["at"])) == [floor.deck]


def test_orders_holds_and_replacements_bring_it_up_to_date_too(station: Caller, floor: Floor) -> None:
    since = _ask(station, "CUT-1")["at"]
    hold_job(floor.database, JOB, **floor.act())
    held = _ask(station, "CUT-1", since)
    assert [(row["code"], row["held"]) for row in held["items"]] == [
        (code, True) for code in (floor.deck, floor.toe_kick, floor.end)
    ]
    replace_part(floor.database, 1, "broke", **floor.act())
    replaced = _ask(station, "CUT-1", held["at"])
    assert replaced["gone"] == [floor.deck]
    assert len(replaced["items"]) == 1
    floor.take("J-2")
    assert len(_ask(station, "CUT-1", replaced["at"])["items"]) == 3
    cancel_job(floor.database, "J-2", **floor.act())
    assert len(_ask(station, "CUT-1", replaced["at"])["gone"]) == 3


def test_a_damaged_part_may_come_to_the_bench_again(station: Caller, floor: Floor) -> None:
    floor.pack_all()
    assert _ask(station, "PACK-1")["items"] == []
    floor.scan(floor.deck, "PACK-1", action=Action.DAMAGED)
    assert _codes(_ask(station, "PACK-1")) == [floor.deck]


def test_at_a_ship_station_it_is_the_boxes_that_are_planned_for_open_loads(station: Caller, floor: Floor) -> None:
    since = _ask(station, "SHIP-1")["at"]
    assert _ask(station, "SHIP-1")["items"] == []
    load = floor.plan(floor.box_101)
    planned = _ask(station, "SHIP-1", since)["items"]
    assert [(row["code"], row["load"], row["next"], row["box"]) for row in planned] == [
        (floor.box_101, load, "pack", None)
    ]
    assert _codes(_ask(station, "SHIP-1")) == [floor.box_101]


def test_a_long_list_comes_in_pages_job_by_job(station: Caller, floor: Floor) -> None:
    floor.take("J-2")
    whole: list[str] = []
    after: str | None = ""
    for _page in range(3):
        page = _ask(station, "CUT-1", limit=2, after=after)
        whole += _codes(page)
        after = page["next"]
    assert after is None
    assert whole == _codes(_ask(station, "CUT-1"))
    assert len(whole) == 6


def test_after_very_many_changes_and_after_a_restore_the_whole_list_comes(station: Caller, floor: Floor) -> None:
    since = _ask(station, "CUT-1")["at"]
    assert _ask(station, "CUT-1", since + 1_000)["whole"]
    assert station.get("/expected", query_string={"station": "CUT-1", "limit": PAGE + 1}).status_code == 422
    many = expected.MOST_CHANGES + 1
    end = PartLine(cabinet="1", part="End", quantity=many, length_mm=720, width_mm=560, thickness_mm=18)
    floor.take("J-3", parts=[end], items=())
    answer = _ask(station, "CUT-1", since)
    assert (answer["whole"], len(answer["items"]), answer["next"] is None) == (True, PAGE, False)


def test_the_station_is_named_or_the_tokens_own_and_no_other(
    app: Flask, sqlite: Database, station: Caller, floor: Floor
) -> None:
    assert _ask(station, str(Code(Kind.STATION, 1)))["station"] == "CUT-1"
    assert station.get("/expected").status_code == 404
    assert station.get("/expected?station=NOWHERE").status_code == 404
    assert station.get("/expected?station=CUT-1&after=x").status_code == 422
    token = make_token(sqlite, "band", Role.STATION, station="BAND-1", secret=lambda: "band", now=START)
    own = Caller(app.test_client(), token)
    assert _ask(own, "")["station"] == "BAND-1"
    assert own.get("/expected?station=CUT-1").status_code == 403
