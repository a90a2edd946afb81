"""POST /plans/boxes: stateless, and every bad size is named."""

from typing import Any

import pytest

from tests.api.conftest import Caller
from tracker.shop.boxing.planner import MOST_PANELS

CARTON = {"id": "large", "length_mm": 800, "width_mm": 600, "height_mm": 200, "max_mass_kg": 30, "tare_kg": 1.2}


def panel(name: str, **more: Any) -> dict[str, Any]:
    return {"id": name, "length_mm": 720, "width_mm": 560, "thickness_mm": 18, "mass_kg": 4.7, **more}


def test_panels_are_laid_into_boxes_within_size_and_mass(station: Caller) -> None:
    panels = [panel(f"end {number}") for number in range(8)]
    answer = station.post("/plans/boxes", {"panels": panels, "cartons": [CARTON], "layer_gap_mm": 1})
    assert answer.status_code == 200, answer.text
    plan = answer.json
    assert (len(plan["boxes"]), plan["lower_bound"], plan["proved_least"], plan["unplaceable"]) == (2, 2, True, [])
    laid = [each["id"] for box in plan["boxes"] for each in box["panels"]]
    assert sorted(laid) == sorted(each["id"] for each in panels)
    for box in plan["boxes"]:
        assert box["carton"] == "large"
        assert box["mass_kg"] == pytest.approx(1.2 + 4.7 * len(box["panels"]))
        assert box["mass_kg"] <= 30
        assert box["height_mm"] <= 200
        assert {"id", "x_mm", "y_mm", "z_mm", "rotated"} <= box["panels"][0].keys()
        assert box["lifting"]["handling"] == ("one person" if box["mass_kg"] <= 25 else "two people")
        assert "23 kg" in " ".join(box["lifting"]["assumptions"])


def test_groups_lie_in_cartons_of_their_own_and_drops_never_share_one(station: Caller) -> None:
    panels = [panel(f"{group}-{n}", mass_kg=1, group=group) for group in ("101", "102") for n in range(4)]
    together = station.post("/plans/boxes", {"panels": panels, "cartons": [CARTON]}).json
    inside = [{each["id"][:3] for each in box["panels"]} for box in together["boxes"]]
    assert inside == [{"101"}, {"102"}]
    assert "each group has cartons of its own" in together["bound_for"]
    drops = [panel(f"{drop}-{n}", mass_kg=1, drop=drop) for drop in ("north", "south") for n in range(2)]
    assert len(station.post("/plans/boxes", {"panels": drops, "cartons": [CARTON]}).json["boxes"]) == 2


def test_the_shops_own_limit_and_fronts_that_come_late_are_taken_into_the_plan(station: Caller) -> None:
    panels = [panel("end", group="101"), panel("door", group="101", front=True)]
    for more, boxes in (({}, 1), ({"keep_together": "fronts apart"}, 2), ({"box_mass_kg": 8}, 2)):
        plan = station.post("/plans/boxes", {"panels": panels, "cartons": [CARTON], **more}).json
        assert len(plan["boxes"]) == boxes, more
    refused = station.post("/plans/boxes", {"panels": panels, "cartons": [CARTON], "box_mass_kg": 0})
    assert refused.status_code == 422
    assert refused.json["errors"][0]["where"] == {"field": "box_mass_kg"}


def test_what_fits_nowhere_is_named_with_the_reason(station: Caller) -> None:
    panels = [panel("end"), panel("worktop", length_mm=3000), panel("stone", mass_kg=80)]
    plan = station.post("/plans/boxes", {"panels": panels, "cartons": [CARTON]}).json
    assert {each["id"] for each in plan["unplaceable"]} == {"worktop", "stone"}
    assert all(each["why"] for each in plan["unplaceable"])
    assert len(plan["boxes"]) == 1


def test_bad_sizes_are_named_by_their_place(station: Caller) -> None:
    body = {
        "panels": [panel("a"), panel("b", length_mm=0), panel("c", width_mm=-1, thickness_mm=1e9)],
        "cartons": [CARTON],
    }
    answer = station.post("/plans/boxes", body)
    assert answer.status_code == 422
    fields = [entry["where"]["field"] for entry in answer.json["errors"]]
    assert fields == ["panels.1.length_mm", "panels.2.width_mm", "panels.2.thickness_mm"]
    text = '{"panels": [{"id": "a", "length_mm": NaN, "width_mm": 1, "thickness_mm": 1, "mass_kg": 1}], "cartons": []}'
    headers = {**station.headers, "Content-Type": "application/json"}
    not_a_number = station.client.post("/api/v1/plans/boxes", data=text, headers=headers)
    assert not_a_number.status_code == 422
    assert not_a_number.get_json()["errors"] == [
        {"where": {"field": "panels.0.length_mm"}, "what": "a number of more than 0 is wanted"}
    ]


def test_too_many_panels_and_ids_that_stand_twice_are_refused(station: Caller) -> None:
    for panels in ([panel(str(number)) for number in range(MOST_PANELS + 1)], [panel("a"), panel("a")]):
        answer = station.post("/plans/boxes", {"panels": panels, "cartons": [CARTON]})
        assert answer.status_code == 422
        assert answer.mimetype == "application/problem+json"
    schemas = station.get("/openapi.json").get_json()["components"]["schemas"]
    assert schemas["PanelsShape"]["properties"]["panels"]["maxItems"] == MOST_PANELS, "what the planner takes"
    assert station.post("/plans/boxes", {"panels": [panel("a")], "cartons": []}).status_code == 422
    assert station.post("/plans/boxes", {"panels": [], "cartons": [CARTON]}).json["boxes"] == []
