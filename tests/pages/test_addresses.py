"""What nobody types but anybody may send: addresses and bodies that are made up are answered, never with a failure."""

import json
from pathlib import Path

import pytest
from flask import Flask

from tests.floor import START, Floor
from tests.pages.callers import Caller, signed_in
from tests.shops import app_of
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.codes import part_code
from tracker.shop.roles import Role
from tracker.work.access import make_token

HUGE = "9" * 20


@pytest.fixture
def app(floor: Floor, database: Database, tmp_path: Path) -> Flask:
    make_token(database, "somebody", Role.ADMIN, secret=lambda: "a token of somebody", now=START)
    settings = Settings(data_dir=tmp_path, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    return app_of(settings, database)


@pytest.fixture
def admin(app: Flask) -> Caller:
    return signed_in(app, "a token of somebody")


@pytest.mark.parametrize(
    "path", ["/loads?after=" + HUGE, "/loads?after=-1", "/reports?after=" + HUGE, "/?after=x_" + HUGE]
)
def test_a_page_that_begins_nowhere_is_the_first(admin: Caller, path: str) -> None:
    assert admin.get(path).status_code == 200


@pytest.mark.parametrize(
    "path", [f"/people/{HUGE}/badge.pdf", f"/people/{2**31}/badge.pdf", f"/api/v1/reports/{HUGE}/close"]
)
def test_a_number_larger_than_any_row_has_is_no_address(admin: Caller, path: str) -> None:
    assert admin.get(path).status_code in (404, 405)


@pytest.mark.parametrize(
    "deed", ["people/{}/role", "people/{}/badge", "tokens/{}/withdraw", "stations/tablets/{}/withdraw"]
)
def test_what_is_sent_to_a_row_that_cannot_be_is_not_found(admin: Caller, deed: str) -> None:
    assert admin.send("/" + deed.format(HUGE), role="admin").status_code == 404


def test_a_load_is_planned_from_boxes_alone(floor: Floor, admin: Caller) -> None:
    answer = admin.send("/loads/new", box=part_code(2), ship_on="2027-05-05")
    assert answer.status_code == 422
    assert "not right" in answer.text
    assert floor.box(floor.box_102).load is None


def test_only_a_box_is_taken_off_a_load(floor: Floor, admin: Caller) -> None:
    load = floor.plan(floor.box_101)
    assert admin.send(f"/loads/{load}/take-off", box=part_code(1)).status_code == 409
    assert floor.box(floor.box_101).load_code == load


@pytest.mark.parametrize("item", ['"\\ud800"', '"x\\u0000"', "17", "null"])
def test_a_count_of_what_cannot_be_is_refused(floor: Floor, admin: Caller, item: str) -> None:
    body = f'{{"box": "{floor.box_101}", "item": {item}, "count": 1, "was": 0}}'
    assert admin.post("/pack/PACK-1/count", body).status_code in (400, 409, 422)


@pytest.mark.parametrize("number", ["NaN", "Infinity", "1e400"])
def test_a_mass_that_is_no_number_is_refused(floor: Floor, admin: Caller, number: str) -> None:
    assert admin.post("/pack/PACK-1/weigh", f'{{"box": "{floor.box_101}", "mass": {number}}}').status_code == 422


def test_a_scan_at_a_place_that_is_no_bench_is_not_kept(floor: Floor, admin: Caller) -> None:
    scan = {"id": "b0e42fe7-31a5-4894-a441-007e5256afea", "at": "2026-11-26T08:00:00Z", "code": floor.toe_kick}
    assert admin.post("/pack/CUT-1/scan", json.dumps(scan)).status_code == 404
    assert floor.part(floor.toe_kick).last_seen is None


def test_a_bench_is_drawn_anew_when_something_was_counted_or_other_units_chosen(floor: Floor, admin: Caller) -> None:
    floor.scan(floor.box_101, "PACK-1")
    asked = {"Accept": "application/json"}
    first = admin.get("/pack/PACK-1/bench", **asked)
    known = {**asked, "If-None-Match": first.headers["ETag"]}
    assert admin.get("/pack/PACK-1/bench", **known).status_code == 304
    admin.send("/me", units="in")
    assert admin.get("/pack/PACK-1/bench", **known).status_code == 200
    known["If-None-Match"] = admin.get("/pack/PACK-1/bench", **asked).headers["ETag"]
    counted = {"box": floor.box_101, "item": "spring pin 8 mm", "count": 1, "was": 0}
    assert admin.post("/pack/PACK-1/count", json.dumps(counted)).status_code == 200
    changed = admin.get("/pack/PACK-1/bench", **known)
    assert changed.status_code == 200
    assert first.json is not None
    assert changed.json is not None
    assert changed.json["change"] > first.json["change"]
