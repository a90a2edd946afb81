"""A box by its SSCC through the API."""

from typing import Any
from uuid import uuid4

from tests.api.conftest import Caller
from tests.floor import START, Floor
from tracker.records.database import Database
from tracker.shop.roles import Role
from tracker.shop.sscc import Series
from tracker.work.box_numbers import number_boxes, set_numbering

SERIES = Series(prefix="4012345", extension=3)


def scan(caller: Caller, code: str, floor: Floor) -> dict[str, Any]:
    body = {"scans": [{"id": str(uuid4()), "code": code, "at": floor.tick().isoformat(), "station": "PACK-1"}]}
    result: dict[str, Any] = caller.post("/scans", body).json["results"][0]
    return result


def test_a_box_is_asked_for_scanned_and_planned_by_its_sscc(
    sqlite: Database, callers: dict[Role, Caller], station: Caller
) -> None:
    floor = Floor(sqlite)
    set_numbering(sqlite, SERIES, who="admin", now=START)
    assert station.get(f"/boxes/{floor.box_101}").json["sscc"] is None
    number_boxes(sqlite, [1])
    sscc = SERIES.sscc(1)
    shown = station.get(f"/boxes/{sscc}").json
    assert (shown["code"], shown["sscc"]) == (floor.box_101, sscc)
    assert station.get(f"/boxes/00{sscc}").status_code == 200
    assert station.get("/boxes/106141412345678908").status_code == 404
    assert "SSCC" in station.get(f"/boxes/{sscc[:-1]}0").json["detail"]
    assert scan(station, f"]C100{sscc}", floor)["box"] == floor.box_101
    planned = callers[Role.PACKER].post("/loads", {"boxes": [sscc], "ship_on": "2027-03-04"})
    assert planned.status_code == 201, planned.json
    assert floor.box(floor.box_101).load_code == planned.json["code"]
    for name in ("SHIP-1", "PACK-1"):  # the station program's list says it with what may come
        expected = station.get("/expected", query_string={"station": name}).json["items"]
        assert expected[0]["sscc"] == sscc


def test_the_dock_is_told_a_number_that_is_given_when_nothing_else_happens(sqlite: Database, station: Caller) -> None:
    floor = Floor(sqlite)
    floor.seal_both()
    floor.plan(floor.box_101)
    set_numbering(sqlite, SERIES, who="admin", now=START)
    known = station.get("/expected", query_string={"station": "SHIP-1"}).json
    assert known["items"][0]["sscc"] is None
    number_boxes(sqlite, [1])
    again = station.get("/expected", query_string={"station": "SHIP-1", "since": known["at"]}).json
    assert (again["whole"], again["items"][0]["sscc"]) == (True, SERIES.sscc(1))
    quiet = station.get("/expected", query_string={"station": "PACK-1", "since": known["at"]}).json
    assert (quiet["whole"], quiet["items"]) == (False, [])
