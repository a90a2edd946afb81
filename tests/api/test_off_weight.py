"""Sealing a box whose mass is off, as another program sees it."""

from typing import Any

import pytest

from tests.api.conftest import Caller
from tests.floor import Floor
from tracker.records.database import Database
from tracker.shop.roles import Role


@pytest.fixture
def floor(sqlite: Database) -> Floor:
    floor = Floor(sqlite)
    floor.pack_all()
    return floor


def test_a_box_that_is_off_is_answered_with_the_masses_and_sealed_by_a_foremans_word_alone(
    callers: dict[Role, Caller], floor: Floor
) -> None:
    expected = floor.box(floor.box_101).mass_kg
    body: dict[str, Any] = {"items": {"spring pin 8 mm": 2}, "mass_kg": round(expected + 3, 2)}
    refused = callers[Role.PACKER].post(f"/boxes/{floor.box_101}/seal", body)
    assert (refused.status_code, refused.json["type"]) == (409, "/problems/off-weight")
    assert refused.json["weight"] == {
        "expected_kg": pytest.approx(expected, abs=0.001),
        "weighed_kg": body["mass_kg"],
        "limit_kg": 0.5,
    }
    assert "missing" not in refused.json
    body["override"] = {"reason": "heavier board"}
    assert callers[Role.PACKER].post(f"/boxes/{floor.box_101}/seal", body).status_code == 403
    sealed = callers[Role.FOREMAN].post(f"/boxes/{floor.box_101}/seal", body)
    assert sealed.json == {"code": floor.box_101, "state": "sealed", "follow_up": None}


def test_an_admin_alone_sets_the_limit_and_the_office_reads_it(callers: dict[Role, Caller], floor: Floor) -> None:
    path, text = "/api/v1/lists/weighing", "percent = 60\nleast = 4\n"
    for role, status in ((Role.OFFICE, 403), (Role.ADMIN, 200)):
        caller = callers[role]
        assert caller.client.put(path, headers=caller.headers, json={"text": text}).status_code == status
    assert callers[Role.OFFICE].get("/lists/weighing").json["text"] == text
    body = {"items": {"spring pin 8 mm": 2}, "mass_kg": floor.box(floor.box_101).mass_kg + 3}
    assert callers[Role.PACKER].post(f"/boxes/{floor.box_101}/seal", body).status_code == 200
