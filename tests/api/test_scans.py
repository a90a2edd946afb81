"""POST /scans at its edges."""

from typing import Any
from uuid import uuid4

import pytest

from tests.api.conftest import Caller
from tests.floor import Floor
from tracker.shop.codes import Code, Kind, part_code


def good(code: str, **more: Any) -> dict[str, Any]:
    return {"id": str(uuid4()), "code": code, "station": "CUT-1", "at": "2027-03-01T08:00:00Z", **more}


def test_a_row_that_makes_no_sense_is_answered_and_the_others_are_judged(station: Caller, floor: Floor) -> None:
    rows: list[Any] = [
        good(floor.deck),
        {**good(floor.end), "at": "yesterday"},
        {**good(floor.end), "id": "not a uuid"},
        {**good(floor.end), "surprise": 1},
        "not even a row",
        good(floor.toe_kick),
    ]
    response = station.post("/scans", {"scans": rows})
    assert response.status_code == 200, response.text
    outcomes = [result["outcome"] for result in response.json["results"]]
    assert outcomes == ["done", "misread", "misread", "misread", "misread", "done"]
    assert "at:" in response.json["results"][1]["message"]
    again = station.post("/scans", {"scans": rows})
    assert again.json == response.json
    floor.check()


@pytest.mark.parametrize(
    "body", [{}, {"scans": []}, {"scans": "many"}, {"scans": [{}] * 501}, [], {"scans": [{}], "more": 1}]
)
def test_a_batch_of_the_wrong_shape_is_refused_whole(station: Caller, body: Any) -> None:
    response = station.post("/scans", body)
    assert response.status_code == 422
    assert response.mimetype == "application/problem+json"
    assert response.json["errors"]


def test_a_body_that_is_no_json_is_told_apart_from_one_of_another_type(station: Caller) -> None:
    headers = station.headers
    broken = station.client.post("/api/v1/scans", headers=headers, data="{", content_type="application/json")
    assert broken.status_code == 422
    typed = station.client.post("/api/v1/scans", headers=headers, data="a=b", content_type="text/plain")
    assert typed.status_code == 415
    assert typed.mimetype == "application/problem+json"


def test_codes_are_read_whatever_their_case_and_suffix(station: Caller, floor: Floor) -> None:
    rows = [good(f"  {floor.deck.lower()}\r\n"), good(f"{floor.deck}\t")]
    results = station.post("/scans", {"scans": rows}).json["results"]
    assert [result["outcome"] for result in results] == ["done", "again"]


def test_a_card_with_the_part_that_the_device_showed_marks_that_one(station: Caller, floor: Floor) -> None:
    rows = [good(floor.deck), good(str(Code(Kind.COMMAND, 2)), part=floor.end, at="2027-03-01T08:00:01Z")]
    response = station.post("/scans", {"scans": rows})
    assert [result["part"] for result in response.json["results"]] == [floor.deck, floor.end]
    assert [result.get("part_name") for result in response.json["results"]] == [None, "End 102"]
    assert floor.part(floor.end).damaged


def test_an_answer_gives_its_reason_and_values_and_the_same_ones_again(station: Caller, floor: Floor) -> None:
    row = good(floor.deck)
    first, again = (station.post("/scans", {"scans": [row]}).json["results"][0] for _ in range(2))
    assert (first["reason"], first["values"]) == ("step_done", {"step": "cut", "next": "machine", "inferred": []})
    assert again == first
    (lost,) = station.post("/scans", {"scans": [good(part_code(77))]}).json["results"]
    assert (lost["reason"], lost["values"]) == ("unknown_code", {"code": part_code(77)})
