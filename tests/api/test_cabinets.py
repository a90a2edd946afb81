"""Cabinets through the service: designed without a job, ordered with one, cut, boxed, shown and reported on."""

from io import BytesIO
from typing import Any

import pytest
from flask import Flask
from PIL import Image
from pypdf import PdfReader

from tests.api.conftest import Caller
from tests.labels.printed_sheets import read
from tests.reading import codes_in
from tracker.records.database import Database
from tracker.shop.roles import Role
from tracker.work.lists import shipped_standard_text
from tracker.work.verify import verify

BASE = {
    "cabinet": "101",
    "family": "base",
    "width": 18,
    "height": 34.5,
    "depth": 24,
    "fronts": "drawer over door",
    "hinge": "left",
}
WALL = {**BASE, "cabinet": "102", "family": "wall", "height": 30, "depth": 13, "fronts": "door", "quantity": 2}
JOB = {"code": "J-7", "customer": "Invented", "due": "2027-03-05", "units": "in", "cabinets": [BASE, WALL]}
CARTONS = """
units = "mm"
layer_gap = 2
bag_height = 40
bag_mass = 1
[[carton]]
name = "long"
length = 1000
width = 700
height = 300
max_mass = 45
tare = 1.5
[[carton]]
name = "small"
length = 800
width = 500
height = 150
max_mass = 30
tare = 0.8
"""


def plan(caller: Caller, **changed: Any) -> Any:
    body = {name: value for name, value in {**BASE, "units": "in", **changed}.items() if value is not None}
    return caller.post("/plans/cabinet", body)


def test_a_cabinet_order_becomes_parts_items_joints_and_positions(station: Caller) -> None:
    answer = plan(station)
    assert answer.status_code == 200
    cabinet = answer.json
    parts = {part["id"]: part for part in cabinet["parts"]}
    assert parts["Deck"]["length_mm"] == pytest.approx(16.5 * 25.4)
    assert parts["Left end"]["place"]["origin"] == [0.0, 0.0, pytest.approx(34.5 * 25.4)]
    assert parts["Deck"]["front_side"] == "L1"
    assert {feature["kind"] for feature in parts["Door"]["machining"]} == {"hinge cup", "pull hole"}
    assert {"item": "spring pin 8 mm", "quantity": 4, "in_bag": True} in cabinet["items"]
    joint = next(joint for joint in cabinet["joints"] if joint["part"] == "Deck" and joint["onto"] == "Left end")
    assert (joint["edge"], joint["face"], joint["fastening"], joint["count"]) == ("W1", "A", "lock", 3)
    assert joint["number"] in {mark["number"] for mark in parts["Left end"]["marks"]}
    assert cabinet["assembly"][-1]["parts"] == [part for part in parts if part.startswith("Drawer 1")]
    assert cabinet["standard"] == {"name": "House standard", "version": 2}
    assert cabinet["held_by_grip"] == ["Drawer stretcher"]
    assert (cabinet["hanging_locks"], cabinet["lock_carries_kg"]) == (0, None)
    pushes = [move for move in cabinet["assembly"] if move["slide_mm"] == [0.0, -2.0, 0.0]]
    assert [(move["parts"], move["catches"], move["posture"]) for move in pushes] == [
        (["Deck", "Top", "Drawer stretcher"], catches, "lying on its base") for catches in (True, False)
    ]


@pytest.mark.parametrize(
    ("changed", "field", "rule"),
    [
        ({"width": 0}, "width", None),
        ({"width": -18}, "width", None),
        ({"width": "NaN"}, "width", None),
        ({"height": 1e12}, "height", None),
        ({"family": "wardrobe"}, "family", None),
        ({"fronts": "glass"}, "fronts", None),
        ({"width": 7}, "width", "pins.inset"),
        ({"depth": 10}, "depth", "drawers.slide_lengths"),
        ({"standard": "nobody's"}, "standard", None),
    ],
)
def test_an_order_that_cannot_be_built_is_answered_by_field_and_rule(
    station: Caller, changed: dict[str, Any], field: str, rule: str | None
) -> None:
    answer = plan(station, **changed)
    assert (answer.status_code, answer.mimetype) == (422, "application/problem+json")
    (where,) = {tuple(sorted(fault["where"].items())) for fault in answer.json["errors"]}
    assert dict(where).get("field") == field
    assert dict(where).get("rule") == rule


def test_a_standard_may_be_sent_with_the_order_and_is_checked(station: Caller) -> None:
    import tomllib

    table = tomllib.loads(shipped_standard_text())
    table["carcass"]["toe_height"] = "120 mm"
    answer = plan(station, standard=table)
    kick = next(part for part in answer.json["parts"] if part["id"] == "Toe kick")
    assert kick["width_mm"] == 120
    table["carcass"]["groove_depth"] = "18 mm"
    refused = plan(station, standard=table)
    assert refused.status_code == 422
    assert refused.json["errors"][0]["where"] == {"field": "carcass.groove_depth"}


@pytest.fixture
def office(callers: dict[Role, Caller]) -> Caller:
    return callers[Role.OFFICE]


def put_list(caller: Caller, name: str, text: str) -> Any:
    return caller.client.put(f"/api/v1/lists/{name}", headers=caller.headers, json={"text": text})


def test_a_job_from_cabinets_has_their_parts_items_and_designs(office: Caller, sqlite: Database) -> None:
    taken = office.post("/jobs", JOB)
    assert taken.status_code == 201
    assert taken.json["cabinets"] == 3
    parts = office.get("/jobs/J-7/parts?limit=500").json["items"]
    assert len(parts) == taken.json["parts"]
    deck = next(part for part in parts if (part["cabinet"], part["name"]) == ("101", "Deck"))
    assert (deck["route"], deck["edges"]) == (["cut", "machine", "band", "pack", "ship"], ["L1"])
    assert office.get("/jobs/J-7/cabinets").json == {"items": ["101", "102-1", "102-2"]}
    kept = office.get("/jobs/J-7/cabinets/102-2").json
    assert {part["id"] for part in kept["parts"]} == {part["name"] for part in parts if part["cabinet"] == "102-2"}
    boxes = office.get("/jobs/J-7/boxes").json["items"]
    assert [box["name"] for box in boxes] == ["101", "102-1", "102-2"]
    assert {"item": "spring pin 8 mm", "quantity": 4, "counted": None} in boxes[0]["items"]
    assert not list(verify(sqlite))


def test_with_cartons_the_boxes_are_planned_into_them(office: Caller, admin: Caller, sqlite: Database) -> None:
    assert put_list(admin, "cartons", CARTONS).status_code == 200
    assert office.post("/jobs", JOB).status_code == 201
    boxes = office.get("/jobs/J-7/boxes").json["items"]
    assert {box["carton"] for box in boxes} <= {"long", "small"}
    for box in boxes:
        limit = 40 if box["carton"] == "long" else 30  # the usual limit of a box, or the carton's own
        assert box["mass_kg"] <= limit
        assert len(box["places"]) == len(box["parts"])
        assert box["bag_above"] == max(place["layer"] for place in box["places"].values())
    counted = [item for box in boxes for item in box["items"]]
    assert sum(item["quantity"] for item in counted if item["item"] == "spring pin 8 mm") == 12
    assert not list(verify(sqlite))


def test_a_replacement_lies_where_its_old_part_lay_and_has_its_marks(
    office: Caller, admin: Caller, sqlite: Database
) -> None:
    put_list(admin, "cartons", CARTONS)
    office.post("/jobs", JOB)
    box = office.get("/jobs/J-7/boxes").json["items"][0]
    old = box["parts"][0]["code"]
    before = office.get(f"/parts/{old}").json
    new = admin.post(f"/parts/{old}/replace", {"reason": "scratched"}).json["code"]
    after = office.get(f"/boxes/{box['code']}").json
    copied = office.get(f"/parts/{new}").json
    assert before["marks"]
    assert (copied["marks"], copied["front_side"]) == (before["marks"], before["front_side"])
    assert after["places"][new] == box["places"][old]
    assert after["mass_kg"] == pytest.approx(box["mass_kg"])
    assert office.get(f"/labels/parts/{new}.png").status_code == 200
    assert not list(verify(sqlite))


def test_panels_larger_than_every_carton_are_named_and_nothing_is_stored(office: Caller, admin: Caller) -> None:
    put_list(admin, "cartons", CARTONS)
    tall = {**BASE, "cabinet": "9", "family": "tall", "height": 84, "fronts": "pantry"}
    answer = office.post("/jobs", {**JOB, "cabinets": [tall]})
    assert answer.status_code == 422
    assert answer.json["errors"][0]["where"] == {
        "part": "Left end",
        "field": "cartons",
        "cabinets": ["9"],
        "count": 1,
    }
    assert office.get("/jobs").json["items"] == []


@pytest.mark.parametrize(
    ("changed", "where"),
    [
        ({"width": "x"}, {"index": 1, "field": "width"}),
        ({"family": "tall"}, {"index": 1, "field": "fronts"}),
        ({"cabinet": "101"}, {"index": 1, "field": "cabinet"}),
        ({"width": 7}, {"index": 1, "field": "width", "rule": "pins.inset"}),
    ],
)
def test_one_bad_cabinet_stores_nothing_and_is_named(
    office: Caller, changed: dict[str, Any], where: dict[str, Any]
) -> None:
    answer = office.post("/jobs", {**JOB, "cabinets": [BASE, {**WALL, "quantity": 1, **changed}]})
    assert answer.status_code == 422
    assert where in [fault["where"] for fault in answer.json["errors"]]
    assert office.get("/jobs").json["items"] == []


def test_rooms_and_drops_are_taken_and_told_and_a_dry_run_tells_the_boxes_of_both_ways(
    admin: Caller, office: Caller
) -> None:
    put_list(admin, "cartons", f"box_mass = 45\n{CARTONS}")
    here, there = {**BASE, "room": "kitchen", "drop": "north door"}, {**WALL, "drop": "south door"}
    order = {**JOB, "code": "J-9", "cabinets": [here, there]}
    own, fewest = office.post("/jobs?dry_run=1", order).json["ways"]
    assert own == {"keep_together": "cabinet", "boxes": 3, "stopped_at_most": 1, "stopped_on_average": 1.0}
    assert (fewest["keep_together"], fewest["boxes"], fewest["stopped_at_most"]) == ("fewest boxes", 2, 2)
    assert office.post("/jobs", order).json["ways"] == []
    boxes = office.get("/jobs/J-9/boxes").json["items"]
    assert [(box["cabinets"], box["rooms"], box["drop"]) for box in boxes] == [
        (["101"], ["kitchen"], "north door"),
        (["102-1"], [], "south door"),
        (["102-2"], [], "south door"),
    ]
    (part, *_) = office.get("/jobs/J-9/parts").json["items"]
    assert (part["room"], part["drop"]) == ("kitchen", "north door")
    assert {box["lifting"]["handling"] for box in boxes} <= {"one person", "two people"}


TABLE = "Cabinet;Family;Width;Height;Depth;Quantity;Fronts;Hinge;Finish;Note\n"


def test_a_table_of_cabinets_is_imported_like_a_cut_list(office: Caller) -> None:
    rows = TABLE + "1;base;600;876;600;2;3 drawers;;walnut;left of the window\n2;wall;600;760;320;;doors;;;\n"
    form = {"code": "J-8", "customer": "Invented", "due": "2027-03-05"}
    dry = office.client.post(
        "/api/v1/jobs/import?dry_run=1",
        headers=office.headers,
        data={**form, "file": (BytesIO(rows.encode()), "c.csv")},
    )
    assert (dry.status_code, (dry.json or {})["cabinets"]) == (200, 3)
    taken = office.upload("/jobs/import", **form, file=(BytesIO(rows.encode()), "c.csv"))
    assert taken.status_code == 201
    assert {part["material"] for part in office.get("/jobs/J-8/parts?limit=500").json["items"]} >= {"walnut"}


def test_a_bad_row_of_a_cabinet_table_is_named_by_line_and_column(office: Caller) -> None:
    rows = TABLE + "1;base;600;876;600;;3 drawers;;;\n2;base;600;876;100;;3 drawers;;;\n3;shed;600;876;600;;;;;\n"
    form = {"code": "J-8", "customer": "Invented", "due": "2027-03-05"}
    answer = office.upload("/jobs/import", **form, file=(BytesIO(rows.encode()), "c.csv"))
    assert answer.status_code == 422
    assert {"line": 4, "column": "family"} in [fault["where"] for fault in answer.json["errors"]]
    rows = rows.replace("shed", "base").replace("600;;;;;\n", "600;;open;;;\n")
    answer = office.upload("/jobs/import", **form, file=(BytesIO(rows.encode()), "c.csv"))
    assert [fault["where"] for fault in answer.json["errors"]] == [
        {"line": 3, "column": "depth", "rule": "lines.setback"}
    ]
    answer = office.upload("/jobs/import", **form, file=(BytesIO(b"cabinet,family\n1,base\n"), "c.csv"))
    assert {"line": 1, "column": "width, height, depth"} in [fault["where"] for fault in answer.json["errors"]]


def test_boards_are_planned_labelled_and_scanned(office: Caller, admin: Caller) -> None:
    office.post("/jobs", JOB)
    admin.post("/stations", {"name": "SAW-1", "step": "cut"})
    planned = admin.post("/jobs/J-7/boards").json
    boards = admin.get("/jobs/J-7/boards").json
    assert planned["need"] == boards["need"]
    assert sum(boards["need"].values()) == len(boards["items"]) == planned["boards"] >= planned["lower_bound"]
    board = boards["items"][0]
    label = admin.get(f"/labels/boards/{board['code']}.png?dpi=300")
    assert board["code"] in codes_in(Image.open(BytesIO(label.data)))
    assert len(PdfReader(BytesIO(admin.get("/labels/jobs/J-7/boards.pdf").data)).pages) == planned["boards"]
    scan = {"id": "5b0f9b0e-6d0c-4f43-9f07-7b1f0a6f1f11", "code": board["code"], "station": "SAW-1"}
    scan["at"] = "2027-03-01T08:00:00Z"
    (result,) = admin.post("/scans", {"scans": [scan]}).json["results"]
    assert (result["outcome"], result["ok"]) == ("done", True)
    part = admin.get(f"/parts/{board['parts'][0]['code']}").json
    assert (part["board"], part["step"] == "cut") == (board["code"], False)
    assert part["front_side"] in {"L1", "L2", "W1", "W2", "A", "B"}
    done = admin.get("/jobs/J-7").json["steps"]["cut"]["done"]
    assert done == len(board["parts"])
    assert all(part["cut"] for part in admin.get("/jobs/J-7/boards").json["items"][0]["parts"])


def test_lists_are_kept_as_given_and_bad_ones_are_refused(admin: Caller) -> None:
    assert put_list(admin, "cartons", CARTONS).json["name"] == "cartons"
    assert admin.get("/lists/cartons").json["text"] == CARTONS
    refused = put_list(admin, "cartons", CARTONS.replace("height = 300", "height = -1"))
    assert refused.json["errors"][0]["where"] == {"field": "carton.1.height"}
    assert admin.get("/lists/cartons").json["text"] == CARTONS
    own = shipped_standard_text().replace('name = "House standard"', 'name = "Ours"')
    assert put_list(admin, "standard", own).json["name"] == "standard/Ours"
    again = put_list(admin, "standard", own.replace("bag", "bag").replace("slide = 4 ", "slide = 3.5 "))
    assert again.json["errors"][0]["where"] == {"field": "version"}
    assert plan(admin, standard="Ours").json["standard"]["name"] == "Ours"
    assert put_list(admin, "colours", "x = 1").status_code == 422
    assert admin.get("/lists/boards").status_code == 404


def test_the_sheet_of_a_cabinet_is_a_pdf_with_its_parts(office: Caller) -> None:
    office.post("/jobs", JOB)
    document = office.get("/labels/sheets/J-7/101.pdf")
    assert (document.status_code, document.mimetype) == (200, "application/pdf")
    text = " ".join(read(document.data))
    assert "101" in text
    assert "Left end" in text
    assert office.get("/labels/sheets/J-7/999.pdf").status_code == 404


def test_the_sheet_is_in_the_language_that_is_asked_for(office: Caller) -> None:
    office.post("/jobs", JOB)
    document = office.get("/labels/sheets/J-7/101.pdf?language=es&paper=letter")
    text = " ".join(read(document.data))
    assert "Antes de empezar" in text
    assert "Before you start" not in text
    assert office.get("/labels/sheets/J-7/101.pdf?language=xx").status_code == 422


def test_a_fitter_reports_what_is_missing_and_the_foreman_closes_it(
    app: Flask, office: Caller, callers: dict[Role, Caller]
) -> None:
    office.post("/jobs", JOB)
    page = office.client.get("/jobs/J-7/cabinets/101/sheet")
    assert page.status_code == 302  # a page wants a session; the report page does not
    path = report_path_of(app)
    fitter = app.test_client()
    assert "Deck" in fitter.get(path).text
    assert "fondo del gabinete" in fitter.get(f"{path}?language=es").text
    assert fitter.get(path[:-1] + "x").status_code == 404
    refused = fitter.post(path, data={"is:Deck": "missing"})
    assert refused.status_code == 422
    assert "Write your name" in refused.text
    sent = fitter.post(path, data={"is:Deck": "missing", "is:hinge": "damaged", "told_by": "A. Fitter", "note": ""})
    assert "2 things" in sent.text
    foreman = callers[Role.FOREMAN]
    reports = foreman.get("/reports").json["items"]
    assert [(each["name"], each["what"], each["told_by"]) for each in reports] == [
        ("Deck", "missing", "A. Fitter"),
        ("hinge", "damaged", "A. Fitter"),
    ]
    assert foreman.get(f"/parts/{reports[0]['part']}").json["name"] == "Deck"
    assert foreman.post(f"/reports/{reports[0]['id']}/close").status_code == 204
    assert foreman.post(f"/reports/{reports[0]['id']}/close").status_code == 404
    assert len(foreman.get("/reports").json["items"]) == 1


def report_path_of(app: Flask) -> str:
    from tracker.work.assembly_sheets import report_path

    return report_path(app.extensions["shop_settings"], "J-7", "101")
