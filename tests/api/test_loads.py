"""What a load would leave behind, as the calls tell it: planned, looked at, refused, and let stay by a foreman."""

from typing import Any

import pytest
from sqlalchemy import select

from tests.api.conftest import Caller
from tests.floor import Floor
from tracker.records.database import Database
from tracker.records.tables import log
from tracker.shop.codes import part_code
from tracker.shop.roles import Role
from tracker.shop.scans import Action

PLAN = {"ship_on": "2027-03-05"}


@pytest.fixture
def floor(sqlite: Database) -> Floor:
    """A shop in which box 102 of J-1 is sealed, and box 101 lacks its toe kick and its pins."""
    floor = Floor(sqlite)
    floor.scan(floor.end, "PACK-1")
    floor.scan(floor.deck, "PACK-1")
    floor.seal(floor.box_102)
    return floor


def word(*boxes: str, reason: str = "the toe kick is late") -> dict[str, Any]:
    return {"leave_behind": {"reason": reason, "boxes": list(boxes)}}


def test_every_call_about_a_load_tells_what_stays_behind_until_a_foreman_lets_it(
    floor: Floor, callers: dict[Role, Caller]
) -> None:
    packer, foreman = callers[Role.PACKER], callers[Role.FOREMAN]
    made = packer.post("/loads", {**PLAN, "boxes": [floor.box_102]})
    (stays,) = made.json["stays_behind"]
    wanted = {"job": "J-1", "box": floor.box_101, "state": "packing", "missing_count": 1}
    assert stays.items() >= wanted.items()
    code = made.json["code"]
    ship = f"/loads/{code}/ship"
    assert packer.get(f"/loads/{code}").json["stays_behind"] == [stays]
    assert packer.get("/loads").json["items"][0]["stays_behind"] == [stays]
    floor.scan(floor.box_102, "SHIP-1")
    for body in (None, {}, word(), word(floor.box_102), word(floor.box_101, floor.box_102)):
        refused = foreman.post(ship, body)
        assert (refused.status_code, refused.mimetype) == (409, "application/problem+json")
        assert (refused.json["missing"], refused.json["stays_behind"]) == ([], [stays])
    assert packer.post(ship, word(floor.box_101)).status_code == 403
    assert foreman.post(ship, word(floor.box_101, reason=" ")).status_code == 422
    shipped = foreman.post(ship, word(floor.box_101))
    assert (shipped.status_code, shipped.json["state"]) == (200, "shipped")
    with floor.database.read() as connection:
        (row,) = connection.execute(select(log).where(log.c.action == "leave")).all()
    assert (row.box_id, row.load_id, row.who) == (1, 1, "the foreman")
    assert row.message == f"Box {floor.box_101} stayed behind load {code}: the toe kick is late."
    assert packer.get("/jobs/J-1").json["status"] == "open"
    floor.check()


def test_a_list_that_changed_meanwhile_is_told_anew(floor: Floor, callers: dict[Role, Caller]) -> None:
    foreman = callers[Role.FOREMAN]
    code = foreman.post("/loads", {**PLAN, "boxes": [floor.box_102]}).json["code"]
    floor.scan(floor.box_102, "SHIP-1")
    foreman.post("/parts/" + floor.end + "/replace", {"reason": "chipped"})
    refused = foreman.post(f"/loads/{code}/ship", word(floor.box_101))
    assert refused.status_code == 409
    assert [each["box"] for each in refused.json["stays_behind"]] == [floor.box_101, floor.part(part_code(4)).box.code]
    other = foreman.post("/loads", {**PLAN, "boxes": [floor.box_101, refused.json["stays_behind"][1]["box"]]})
    assert other.json["stays_behind"] == []
    refused = foreman.post(f"/loads/{code}/ship", word(floor.box_101))
    assert (refused.status_code, refused.json["stays_behind"]) == (409, [])
    assert foreman.post(f"/loads/{code}/ship", {}).status_code == 200
    floor.check()


def test_a_damaged_part_in_a_loaded_box_keeps_the_load_whatever_stays_behind(
    floor: Floor, callers: dict[Role, Caller]
) -> None:
    foreman = callers[Role.FOREMAN]
    code = foreman.post("/loads", {**PLAN, "boxes": [floor.box_102]}).json["code"]
    floor.scan(floor.box_102, "SHIP-1")
    floor.scan(floor.end, "PACK-1", action=Action.DAMAGED)
    refused = foreman.post(f"/loads/{code}/ship", word(floor.box_101))
    assert refused.status_code == 409
    (entry,) = refused.json["missing"]
    assert (entry["box"], entry["state"]) == (floor.box_102, "loaded")
    assert "no longer good" in entry["why"]
    assert floor.box(floor.box_102).state == "loaded"


def test_a_box_that_is_named_twice_among_those_that_stay_is_refused_by_its_field(
    floor: Floor, callers: dict[Role, Caller]
) -> None:
    foreman = callers[Role.FOREMAN]
    code = foreman.post("/loads", {**PLAN, "boxes": [floor.box_102]}).json["code"]
    floor.scan(floor.box_102, "SHIP-1")
    refused = foreman.post(f"/loads/{code}/ship", word(floor.box_101, floor.box_101.lower()))
    assert refused.status_code == 422
    where = {"field": "leave_behind.boxes", "box": floor.box_101}
    assert refused.json["errors"] == [{"where": where, "what": "each box stands once"}]
    assert foreman.get(f"/loads/{code}").json["state"] == "open"


def test_a_box_with_all_parts_in_that_stays_behind_says_what_is_still_to_be_done(
    floor: Floor, callers: dict[Role, Caller]
) -> None:
    foreman = callers[Role.FOREMAN]
    floor.scan(floor.toe_kick, "PACK-1")
    made = foreman.post("/loads", {**PLAN, "boxes": [floor.box_102]}).json
    ship = f"/loads/{made['code']}"
    for told in (made, foreman.get(ship).json, foreman.post(f"{ship}/ship", {}).json):
        (stays,) = told["stays_behind"]
        assert (stays["state"], stays["held"], stays["missing_count"]) == ("complete", False, 0)
        assert (stays["items_to_count"], stays["says"]) == (1, "all parts in, 1 kind of item not counted")
    foreman.post(f"/boxes/{floor.box_101}/hold", {})
    (stays,) = foreman.get(ship).json["stays_behind"]
    assert (stays["held"], stays["says"]) == (True, "all parts in, on hold, 1 kind of item not counted")


def test_a_load_for_a_day_that_is_past_is_taken_with_a_warning(floor: Floor, callers: dict[Role, Caller]) -> None:
    packer = callers[Role.PACKER]
    made = packer.post("/loads", {"ship_on": "2020-02-03", "boxes": [floor.box_102]})
    assert (made.status_code, made.json["warnings"]) == (201, ["The day when it leaves, 2020-02-03, is past."])
    assert packer.get(f"/loads/{made.json['code']}").json["warnings"] == made.json["warnings"]
    ahead = packer.post("/loads", {"ship_on": "2099-02-03", "boxes": [floor.box_101]})
    assert (ahead.status_code, ahead.json["warnings"]) == (201, [])
