"""Printers and prints over the calls."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from tests.api.conftest import Caller
from tests.floor import Floor
from tests.network_printer import NetworkPrinter, network_printer
from tests.waiting import until
from tracker.records.database import Database
from tracker.shop.roles import Role

LABELS = {"job": "J-1", "what": "parts", "printer": "LABEL-1"}


@pytest.fixture
def device(tmp_path: Path) -> Iterator[NetworkPrinter]:
    with network_printer(tmp_path / "device") as made:
        yield made


@pytest.fixture
def shop(sqlite: Database, admin: Caller, device: NetworkPrinter) -> Floor:
    floor = Floor(sqlite)
    body = {"name": "LABEL-1", "address": device.address, "width_mm": 100, "height_mm": 50}
    made = admin.post("/printers", body)
    assert (made.status_code, made.json["says"]) == (201, "ready")
    return floor


def ended(caller: Caller, number: int) -> dict[str, Any]:
    def over() -> dict[str, Any] | None:
        found: dict[str, Any] = caller.get(f"/prints/{number}").json
        return None if found["state"] in ("waiting", "sending", "sent") else found

    return until(over)


def test_a_print_is_taken_sent_beside_the_call_and_followed(
    shop: Floor, station: Caller, device: NetworkPrinter
) -> None:
    body = {**LABELS, "id": str(uuid4()), "order": "saw", "only": "unprinted"}
    taken = station.post("/prints", body)
    assert (taken.status_code, taken.json["labels"], taken.json["who"]) == (202, 3, "the station")
    again = station.post("/prints", body)
    assert again.json["id"] == taken.json["id"]
    found = ended(station, taken.json["id"])
    assert (found["state"], found["says"], found["why"]) == ("printed", "printed", None)
    assert len(device.got()) == 1
    part = station.get(f"/parts/{shop.deck}").json
    assert [(each["id"], each["printer"], each["reason"]) for each in part["prints"]] == [
        (found["id"], "LABEL-1", None)
    ]
    refused = station.post("/prints", LABELS)
    assert (refused.status_code, refused.json["errors"][0]["where"]) == (422, {"field": "reason"})
    assert station.post("/prints", {**LABELS, "reason": "other"}).status_code == 422
    third = station.post("/prints", {**LABELS, "reason": "other", "note": "torn"})
    assert (third.status_code, third.json["again"]) == (202, 3)
    assert [each["id"] for each in station.get("/prints?limit=1").json["items"]] == [third.json["id"]]
    ended(station, third.json["id"])


def test_a_pdf_is_made_and_fetched(shop: Floor, station: Caller) -> None:
    made = station.post("/prints", {"job": "J-1"})
    assert (made.json["state"], made.json["labels"]) == ("file", 5)
    assert station.get(f"/prints/{made.json['id']}.pdf").data.startswith(b"%PDF")
    assert station.post("/prints", {"job": "J-1", "id": made.json["request_id"], "what": "boxes"}).status_code == 409


def test_a_printer_that_is_off_is_said_and_a_doubt_is_settled_once(
    shop: Floor, station: Caller, admin: Caller, device: NetworkPrinter
) -> None:
    device.mood("exit 1")
    number = station.post("/prints", LABELS).json["id"]
    found = ended(station, number)
    assert (found["state"], "gave up" in found["why"]) == ("doubtful", True)
    assert station.post(f"/prints/{number}/settle", {"came_out": False}).json["state"] == "failed"
    assert station.post(f"/prints/{number}/settle", {"came_out": True}).status_code == 409
    device.switch_off()
    found = ended(station, station.post("/prints", LABELS).json["id"])
    assert (found["state"], "did not answer" in found["why"]) == ("failed", True)
    assert station.post(f"/prints/{number}/cancel").status_code == 409
    printer = admin.get("/printers").json["items"][0]
    assert (printer["state"], printer["heard_at"] is not None) == ("off", True)
    assert admin.post(f"/printers/{printer['id']}/withdraw").status_code == 204
    assert station.post("/prints", LABELS).status_code == 404


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ({"job": "nowhere"}, 404),
        ({"job": "J-1", "printer": "nothing"}, 404),
        ({"job": "J-1", "copies": 0}, 422),
        ({"job": "J-1", "what": "everything"}, 422),
        ({"job": "J-1", "note": "x" * 201}, 422),
        ({"job": "J-1", "board": "D", "what": "parts"}, 404),
        ({"job": "J-1", "colour": "red"}, 422),
        ({"job": "J-1", "part": "😀" * 100}, 404),
        ({"job": "J-1", "part": "\x00"}, 422),
    ],
)
def test_what_cannot_be_printed_is_refused(
    sqlite: Database, callers: dict[Role, Caller], body: dict[str, Any], status: int
) -> None:
    Floor(sqlite)
    assert callers[Role.STATION].post("/prints", body).status_code == status


@pytest.mark.parametrize("path", ["/prints/0", "/prints/99999999999999999999", "/prints/0.pdf"])
def test_a_print_that_is_not_there_is_not_found(station: Caller, path: str) -> None:
    assert station.get(path).status_code == 404


def test_what_cannot_be_a_printer_is_refused_field_by_field(admin: Caller) -> None:
    body = {"name": " ", "address": "http://192.0.2.7", "width_mm": 100, "height_mm": 50}
    assert admin.post("/printers", body).json["errors"][0]["where"] == {"field": "name"}
    refused = admin.post("/printers", {**body, "name": "L", "width_mm": 0.1})
    assert [each["where"]["field"] for each in refused.json["errors"]] == ["address", "width_mm"]
    assert admin.post("/printers", {**body, "name": "L", "width_mm": float("nan")}).status_code == 422
