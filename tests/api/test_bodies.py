"""What a body may be: bounded by its path, its JSON neither deep nor odd, and its lists looked at by length first."""

import json
import time
from typing import Any

import pytest

from tests.api.conftest import Caller
from tests.api.test_who_may import NEEDED
from tracker.web.bodies import DEEPEST, LARGEST, SMALL, most_bytes

CALLS = sorted(path for verb, path in NEEDED if verb == "POST" and path.startswith("/api/v1/"))
ODD = {
    "deep lists": "[" * 990 + "]" * 990,
    "deep objects": '{"scans":' * 990 + "1" + "}" * 990,
    "deeper than Python reads": "[" * 30_000 + "]" * 30_000,
    "a number of 5,000 digits": '{"quantity": ' + "1" * 5_000 + "}",
    "an object of 1,001 names": json.dumps({f"name {number}": 0 for number in range(1_001)}),
    "half a character": '{"code": "\\ud800"}',
    "half a character in a name": '{"\\udfff": 1}',
}


@pytest.mark.parametrize(
    ("path", "most"),
    [
        ("/sign-in", SMALL),
        ("/api/v1/jobs/J-1/hold", SMALL),
        ("/nowhere", SMALL),
        ("/api/v1/scans", 1024**2),
        ("/station/CUT-1/scan", 1024**2),
        ("/api/v1/jobs", 8 * 1024**2),
        ("/api/v1/plans/boxes", 8 * 1024**2),
        ("/api/v1/jobs/import", LARGEST),
        ("/orders/preview", LARGEST),
    ],
)
def test_how_large_a_body_may_be_follows_from_its_path(path: str, most: int) -> None:
    assert most_bytes(path) == most


@pytest.mark.parametrize("path", CALLS)
def test_a_body_over_the_limit_of_its_path_is_a_problem_document(admin: Caller, path: str) -> None:
    path = path.replace("<int:number>", "1").replace("<int:seq>", "1").replace("<code>", "X").replace("<name>", "X")
    large = admin.client.post(
        path, headers=admin.headers, data=b" " * (most_bytes(path) + 1), content_type="application/json"
    )
    assert (large.status_code, large.mimetype) == (413, "application/problem+json")
    assert large.json is not None
    assert f"at most {most_bytes(path):,} bytes" in large.json["detail"]


@pytest.mark.parametrize("odd", ODD.values(), ids=ODD)
@pytest.mark.parametrize("path", ["/scans", "/jobs", "/plans/boxes", "/loads", "/boxes/B0000000141/seal", "/stations"])
def test_json_that_nobody_can_use_is_a_bad_request(admin: Caller, path: str, odd: str) -> None:
    answer = admin.client.post(f"/api/v1{path}", headers=admin.headers, data=odd, content_type="application/json")
    assert (answer.status_code, answer.mimetype) == (400, "application/problem+json"), answer.text
    assert answer.json is not None
    assert "JSON" in answer.json["detail"]


def test_json_as_deep_as_is_read_and_a_whole_character_in_two_escapes_are_taken(admin: Caller) -> None:
    deep: Any = 1
    for _ in range(DEEPEST - 2):
        deep = [deep]
    answer = admin.post("/plans/boxes", {"panels": [deep]})
    assert answer.status_code == 422
    escaped = json.dumps({"name": "\N{BROOM}", "step": "cut"})
    made = admin.client.post("/api/v1/stations", headers=admin.headers, data=escaped, content_type="application/json")
    assert made.status_code == 201, made.text


@pytest.mark.parametrize(
    ("path", "field"), [("/scans", "scans"), ("/jobs", "parts"), ("/jobs", "cabinets"), ("/plans/boxes", "panels"),
                        ("/plans/boxes", "cartons")]
)  # fmt: skip
def test_a_list_that_is_too_long_is_refused_before_anything_in_it_is_read(admin: Caller, path: str, field: str) -> None:
    body = f'{{"{field}": [{",".join(["[]"] * 300_000)}]}}'
    began = time.process_time()
    answer = admin.client.post(f"/api/v1{path}", headers=admin.headers, data=body, content_type="application/json")
    assert time.process_time() - began < 3, "0.3 s; it took 9 s while the elements were read first"
    assert answer.status_code == 422
    assert answer.json is not None
    assert [error["where"]["field"] for error in answer.json["errors"] if field in error["where"]["field"]] == [field]


def test_of_a_list_that_is_all_wrong_no_more_faults_are_told_than_help(admin: Caller) -> None:
    answer = admin.post("/jobs", {"code": "J-9", "customer": "x", "due": "2027-03-05", "parts": [[]] * 150_000})
    assert answer.status_code == 422
    assert len(answer.json["errors"]) == 1_000
