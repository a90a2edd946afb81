"""The main job through the HTTP interface alone, as the contract promises it."""

import csv
import io
from typing import Any
from uuid import uuid4

import pytest

from tests.api.conftest import Caller
from tests.reading import codes_in
from tracker.shop.roles import Role

AT = "2027-03-01T08:00:{:02d}+00:00"
BOARD = """units = "mm"
[[board]]
name = "oak 18"
material = "oak"
length = 2800
width = 2070
thickness = 18
"""
ORDER: dict[str, Any] = {
    "code": "J-1042",
    "customer": "Larch Court (invented)",
    "due": "2027-03-05",
    "units": "mm",
    "parts": [
        {"cabinet": "101", "part": "Deck", "quantity": 1, "length": 564, "width": 560.5, "thickness": 18,
         "material": "White", "edges": ["L1"], "machining": "DK-1", "supply": "made", "box": "1"},
        {"cabinet": "101", "part": "End", "quantity": 2, "length": 720, "width": 560, "thickness": 18, "box": "1"},
        {"cabinet": "102", "part": "Drawer box", "length": 500, "width": 400, "thickness": 30, "supply": "bought",
         "box": "2"},
    ],
    "items": [{"box": "1", "item": "spring pin 8 mm", "quantity": 2}],
}  # fmt: skip


@pytest.fixture
def shop(callers: dict[Role, Caller]) -> dict[Role, Caller]:
    for step in ("cut", "machine", "band", "pack", "ship"):
        assert callers[Role.ADMIN].post("/stations", {"name": f"{step}-1", "step": step}).status_code == 201
    return callers


def scan(caller: Caller, *codes: str, station: str, **more: Any) -> list[dict[str, Any]]:
    scans = [
        {"id": str(uuid4()), "code": code, "station": station, "at": AT.format(place % 60), **more}
        for place, code in enumerate(codes)
    ]
    response = caller.post("/scans", {"scans": scans})
    assert response.status_code == 200, response.text
    results: list[dict[str, Any]] = response.json["results"]
    assert [result["id"] for result in results] == [each["id"] for each in scans]
    return results


def test_from_an_order_to_a_shipped_load(shop: dict[Role, Caller]) -> None:
    office, packer, worker = shop[Role.OFFICE], shop[Role.PACKER], shop[Role.STATION]
    made = office.post("/jobs", ORDER)
    assert made.status_code == 201, made.text
    assert (made.json["code"], made.json["parts"], len(made.json["boxes"])) == ("J-1042", 4, 2)

    parts = worker.get("/jobs/J-1042/parts").json["items"]
    routes = {part["name"]: part["route"] for part in parts}
    assert routes["Deck"] == ["cut", "machine", "band", "pack", "ship"]
    assert routes["End"] == ["cut", "pack", "ship"]
    assert routes["Drawer box"] == ["pack", "ship"]
    deck = next(part for part in parts if part["name"] == "Deck")
    assert {"code", "cabinet", "name", "material", "length_mm", "width_mm", "thickness_mm", "mass_kg", "edges", "route",
            "step", "box", "status"} <= deck.keys()  # fmt: skip
    assert (deck["step"], deck["status"], deck["edges"], deck["width_mm"]) == ("cut", "waiting", ["L1"], 560.5)

    missing = worker.get("/missing").json["items"]
    assert sorted(len(box["missing"]) for box in missing) == [1, 3]
    assert {"code", "name", "cabinet", "step", "last_seen", "expected_at"} <= missing[0]["missing"][0].keys()

    done = scan(worker, deck["code"], station="band-1")[0]
    assert (done["outcome"], done["ok"], done["inferred"], done["next"]) == ("done", True, ["cut", "machine"], "pack")
    box_1, box_2 = made.json["boxes"]
    first = [part["code"] for part in parts if part["box"] == box_1]
    scan(worker, box_1, *first[:-1], station="pack-1")
    refused = packer.post(f"/boxes/{box_1}/seal", {"items": {"spring pin 8 mm": 2}})
    assert refused.status_code == 409
    assert [entry["code"] for entry in refused.json["missing"]] == [first[-1]]

    scan(worker, first[-1], station="pack-1")
    assert packer.post(f"/boxes/{box_1}/seal", {"items": {}}).json["missing"][0]["item"] == "spring pin 8 mm"
    sealed = packer.post(f"/boxes/{box_1}/seal", {"items": {"spring pin 8 mm": 2}, "mass_kg": 13.2})
    assert (sealed.status_code, sealed.json["code"], sealed.json["state"]) == (200, box_1, "sealed")

    load = packer.post("/loads", {"ship_on": "2027-03-05", "boxes": [box_1, box_2]})
    assert load.status_code == 201
    code = load.json["code"]
    assert [r["outcome"] for r in scan(worker, code, box_1, box_2, station="ship-1")] == ["done", "done", "early"]
    short = packer.post(f"/loads/{code}/ship", {})
    assert short.status_code == 409
    assert [entry["box"] for entry in short.json["missing"]] == [box_2]

    scan(worker, *[part["code"] for part in parts if part["box"] == box_2], station="pack-1")
    packer.post(f"/boxes/{box_2}/seal", {"items": {}})
    assert scan(worker, box_2, station="ship-1")[0]["ok"]
    assert packer.post(f"/loads/{code}/ship", {}).status_code == 200

    job = worker.get("/jobs/J-1042").json
    assert job["status"] == "shipped"
    assert job["steps"]["ship"] == {"done": 4, "total": 4}
    assert job["boxes"] == {"total": 2, "sealed": 2, "shipped": 2}
    assert worker.get("/missing").json == {"items": [], "next": None}
    part = worker.get(f"/parts/{deck['code']}").json
    assert ("ship", "done") in [(entry["action"], entry["outcome"]) for entry in part["history"]]
    assert part["status"] == "shipped"
    assert part["step"] is None


def test_an_override_needs_a_foreman_and_moves_what_is_missing_to_a_follow_up_box(shop: dict[Role, Caller]) -> None:
    box_1 = shop[Role.OFFICE].post("/jobs", ORDER).json["boxes"][0]
    body = {"items": {"spring pin 8 mm": 1}, "override": {"reason": "the truck waits"}}
    assert shop[Role.PACKER].post(f"/boxes/{box_1}/seal", body).status_code == 403
    first = shop[Role.STATION].get(f"/boxes/{box_1}").json["parts"][0]["code"]
    scan(shop[Role.STATION], first, station="pack-1")
    sealed = shop[Role.FOREMAN].post(f"/boxes/{box_1}/seal", body)
    assert sealed.status_code == 200
    follow_up = shop[Role.STATION].get(f"/boxes/{sealed.json['follow_up']}").json
    assert follow_up["missing_count"] == 2
    assert follow_up["items"] == [{"item": "spring pin 8 mm", "quantity": 1, "counted": None}]
    assert shop[Role.STATION].get(f"/boxes/{box_1}").json["missing_count"] == 0


def test_a_replacement_goes_to_the_same_box_and_is_urgent(shop: dict[Role, Caller]) -> None:
    shop[Role.OFFICE].post("/jobs", ORDER)
    old = shop[Role.STATION].get("/jobs/J-1042/parts").json["items"][0]
    new = shop[Role.FOREMAN].post(f"/parts/{old['code']}/replace", {"reason": "chipped"})
    assert new.status_code == 201
    assert (new.json["box"], new.json["urgent"], new.json["step"]) == (old["box"], True, "cut")
    assert scan(shop[Role.STATION], old["code"], station="cut-1")[0]["outcome"] == "replaced"
    assert shop[Role.STATION].get(f"/parts/{old['code']}").json["status"] == "replaced"
    assert shop[Role.FOREMAN].post(f"/parts/{old['code']}/replace", {"reason": "again"}).status_code == 409


def test_a_cut_list_is_imported_with_its_items(shop: dict[Role, Caller]) -> None:
    table = "cabinet;part;quantity;length;width;thickness\n101;Deck;2;564;560,5;18\n102;End;1;720;560;18\n"
    form = {"code": "J-7", "customer": "Invented", "due": "2027-03-05", "units": "mm"}
    office = shop[Role.OFFICE]
    dry = office.upload("/jobs/import?dry_run=1", file=(io.BytesIO(table.encode()), "list.csv"), **form)
    assert (dry.status_code, dry.json["parts"], dry.json["boxes"]) == (200, 3, [])
    assert office.get("/jobs/J-7").status_code == 404
    items = b"box,item,quantity\n101,spring pin 8 mm,2\n"
    made = office.upload(
        "/jobs/import", file=(io.BytesIO(table.encode()), "list.csv"), items=(io.BytesIO(items), "items.csv"), **form
    )
    assert made.status_code == 201, made.text
    box = office.get(f"/boxes/{made.json['boxes'][0]}").json
    assert box["items"] == [{"item": "spring pin 8 mm", "quantity": 2, "counted": None}]
    assert office.upload("/jobs/import", file=(io.BytesIO(table.encode()), "l.csv"), **form).status_code == 409


@pytest.mark.parametrize("path", ["/jobs", "/jobs/import"])
def test_every_call_that_takes_an_order_can_be_tried_and_says_what_to_look_at(
    shop: dict[Role, Caller], path: str
) -> None:
    office = shop[Role.OFFICE]
    shop[Role.ADMIN].client.put("/api/v1/lists/boards", headers=shop[Role.ADMIN].headers, json={"text": BOARD})
    row = {"cabinet": "1", "part": "End", "length": 700, "width": 500, "thickness": 18, "material": "purple"}
    form = {"code": "J-77", "customer": "Invented", "due": "2020-01-31"}

    def send(query: str) -> Any:
        if path == "/jobs":
            return office.post(f"{path}{query}", {**form, "parts": [row]})
        table = "\n".join(",".join(map(str, each)) for each in (row, row.values()))
        return office.upload(f"{path}{query}", file=(io.BytesIO(table.encode()), "list.csv"), **form)

    for query, status in (("?dry_run=1", 200), ("", 201)):
        assert office.get("/jobs/J-77").status_code == 404
        answer = send(query)
        assert (answer.status_code, answer.json["parts"]) == (status, 1), answer.text
        late, board = answer.json["warnings"]
        assert "2020-01-31" in late
        assert "purple, 18 mm" in board


def test_other_names_are_matched_and_shown_and_columns_that_nobody_knows_refused_or_ignored(
    shop: dict[Role, Caller],
) -> None:
    table = "cab,family,w,height,depth,qty,fronts,price\n1,base,600,876,600,3,3 drawers,9\n"
    form = {"code": "J-78", "customer": "Invented", "due": "2027-03-05"}
    office = shop[Role.OFFICE]
    refused = office.upload("/jobs/import", file=(io.BytesIO(table.encode()), "c.csv"), **form)
    assert (refused.status_code, refused.json["errors"][0]["where"]) == (422, {"line": 1, "column": "price"})
    dry = office.upload(
        "/jobs/import?dry_run=1", file=(io.BytesIO(table.encode()), "c.csv"), **form, ignore="colour, Price"
    )
    assert (dry.status_code, dry.json["cabinets"]) == (200, 3), dry.text
    assert dry.json["columns"] == {"cab": "cabinet", "w": "width", "qty": "quantity"}


def test_one_bad_row_and_nothing_is_stored_and_every_bad_row_is_named(shop: dict[Role, Caller]) -> None:
    out = io.StringIO()
    rows = [["101", "Deck", 564, 560, 18], ["101", "", 564, "wide", 18], ["", "End", -3, 560, 900]]
    csv.writer(out).writerows([["cabinet", "part", "length", "width", "thickness"], *rows])
    form = {"code": "J-7", "customer": "Invented", "due": "2027-03-05"}
    refused = shop[Role.OFFICE].upload("/jobs/import", file=(io.BytesIO(out.getvalue().encode()), "list.csv"), **form)
    assert refused.status_code == 422
    assert [entry["where"] for entry in refused.json["errors"]] == [
        {"line": 3, "column": "part"},
        {"line": 3, "column": "width"},
        {"line": 4, "column": "cabinet"},
        {"line": 4, "column": "length"},
        {"line": 4, "column": "thickness"},
    ]
    assert "'wide'" in refused.json["errors"][1]["what"]
    assert shop[Role.OFFICE].get("/jobs").json["items"] == []


def test_bad_rows_of_json_are_named_by_index_and_field(shop: dict[Role, Caller]) -> None:
    bad = {**ORDER, "parts": [ORDER["parts"][0], {**ORDER["parts"][1], "length": None, "colour": "red"}]}
    refused = shop[Role.OFFICE].post("/jobs", bad)
    assert refused.status_code == 422
    assert refused.json["errors"][0]["where"] == {"index": 1, "field": "colour"}
    unboxed = {**ORDER, "items": [{"box": "9", "item": "pin", "quantity": 1}]}
    assert shop[Role.OFFICE].post("/jobs", unboxed).status_code == 422


def test_labels_come_as_pictures_and_as_a_document(shop: dict[Role, Caller]) -> None:
    from PIL import Image

    made = shop[Role.OFFICE].post("/jobs", ORDER).json
    code = shop[Role.STATION].get("/jobs/J-1042/parts").json["items"][0]["code"]
    for path, wanted in ((f"/labels/parts/{code}.png?dpi=300", code), (f"/labels/boxes/{made['boxes'][0]}.png", None)):
        response = shop[Role.STATION].get(path)
        assert response.mimetype == "image/png"
        image = Image.open(io.BytesIO(response.data)).convert("L")
        assert codes_in(image) == [wanted or made["boxes"][0]]
    document = shop[Role.STATION].get("/labels/jobs/J-1042.pdf")
    assert document.data.startswith(b"%PDF-")
    assert shop[Role.STATION].get(f"/labels/parts/{code}.png?dpi=72").status_code == 422


def test_changes_are_cheap_when_nothing_changed(shop: dict[Role, Caller]) -> None:
    shop[Role.OFFICE].post("/jobs", ORDER)
    worker = shop[Role.STATION]
    first = worker.get("/changes")
    assert first.json["jobs"] == ["J-1042"]
    now = first.json["now"]
    assert worker.get("/changes?since=-1").status_code == 422
    assert worker.get(f"/changes?since={10**30}").status_code == 422
    quiet = worker.get(f"/changes?since={now}")
    assert quiet.json["parts"] == []
    assert worker.get(f"/changes?since={now}", headers={"If-None-Match": quiet.headers["ETag"]}).status_code == 304
    code = worker.get("/jobs/J-1042/parts").json["items"][0]["code"]
    scan(worker, code, station="cut-1")
    loud = worker.get(f"/changes?since={now}", headers={"If-None-Match": quiet.headers["ETag"]})
    assert (loud.status_code, loud.json["parts"], loud.json["jobs"]) == (200, [code], ["J-1042"])


def test_lists_come_in_pages(shop: dict[Role, Caller]) -> None:
    for number in range(5):
        shop[Role.OFFICE].post("/jobs", {**ORDER, "code": f"J-{number}"})
    worker = shop[Role.STATION]
    for path, size in (("/jobs?", 5), ("/jobs?status=open&", 5), ("/missing?", 10), ("/jobs/J-0/parts?", 4)):
        found: list[str] = []
        after: str | None = ""
        while after is not None:
            page = worker.get(f"{path}limit=2&after={after}")
            assert page.status_code == 200, page.text
            found += [str(entry.get("code") or entry.get("box")) for entry in page.json["items"]]
            after = page.json["next"]
        assert len(found) == len(set(found)) == size
    assert worker.get("/missing?job=J-3").json["items"][0]["job"] == "J-3"
    assert worker.get("/jobs?after=nonsense").status_code == 422


def test_a_sealed_box_is_opened_again_by_a_foreman_who_says_why(shop: dict[Role, Caller]) -> None:
    shop[Role.OFFICE].post("/jobs", ORDER)
    foreman, box = shop[Role.FOREMAN], shop[Role.STATION].get("/jobs/J-1042/boxes").json["items"][0]
    scan(shop[Role.STATION], *[part["code"] for part in box["parts"]], station="pack-1")
    why = {"reason": "the wrong bag is in it"}
    assert foreman.post(f"/boxes/{box['code']}/open-again", why).status_code == 409
    shop[Role.PACKER].post(f"/boxes/{box['code']}/seal", {"items": {"spring pin 8 mm": 2}})
    assert shop[Role.PACKER].post(f"/boxes/{box['code']}/open-again", why).status_code == 403
    assert foreman.post(f"/boxes/{box['code']}/open-again", {"reason": " "}).status_code == 422
    assert foreman.post(f"/boxes/{box['code']}/open-again", why).json["state"] == "complete"


def test_hold_resume_and_cancel(shop: dict[Role, Caller]) -> None:
    shop[Role.OFFICE].post("/jobs", ORDER)
    foreman = shop[Role.FOREMAN]
    assert foreman.post("/jobs/J-1042/hold", {}).json["status"] == "held"
    assert foreman.post("/jobs/J-1042/hold", {}).status_code == 409
    resumed = foreman.client.post("/api/v1/jobs/J-1042/resume", headers=foreman.headers)
    assert resumed.get_json()["status"] == "open"
    assert foreman.post("/jobs/J-1042/cancel", {}).json["status"] == "cancelled"
    assert foreman.get("/missing").json["items"] == []
