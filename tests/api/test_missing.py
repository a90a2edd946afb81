"""What is missing, and in which order, as another program reads it: the same list as on the page."""

from datetime import date
from typing import Any

import pytest

from tests.api.conftest import Caller
from tests.floor import DECK, PINS, Floor
from tracker.shop.codes import box_code, read_code
from tracker.shop.roles import Role
from tracker.work.count import Counting, count_item
from tracker.work.loads import plan_load


def listed(worker: Caller, query: str = "") -> list[dict[str, Any]]:
    page = worker.get(f"/missing{query}")
    assert page.status_code == 200, page.text
    found: list[dict[str, Any]] = page.json["items"]
    return found


def count(floor: Floor, box: str, counted: int) -> None:
    counting = Counting(box=read_code(box).number, item=PINS.item, count=counted)
    count_item(floor.database, counting, **floor.act())


def test_a_box_whose_parts_are_in_stays_listed_until_its_items_are_counted(
    callers: dict[Role, Caller], floor: Floor
) -> None:
    worker, packer = callers[Role.STATION], callers[Role.PACKER]
    floor.pack_all()
    (box,) = listed(worker)
    assert (box["box"], box["missing"]) == (floor.box_101, [])
    assert box["items"] == [{"item": "spring pin 8 mm", "quantity": 2, "counted": None}]
    assert packer.post(f"/boxes/{floor.box_101}/seal", {"items": {}}).status_code == 409
    count(floor, floor.box_101, 2)
    assert listed(worker) == []
    assert packer.post(f"/boxes/{floor.box_101}/seal", {"items": {}}).status_code == 200


def test_a_box_of_items_alone_is_complete_when_they_are_counted(callers: dict[Role, Caller], floor: Floor) -> None:
    floor.pack_all()
    floor.seal(floor.box_101, {PINS.item: 1}, override="one pin short")
    (box,) = listed(callers[Role.STATION])
    assert (box["missing"], box["items"][0]["quantity"]) == ([], 1)
    count(floor, box["box"], 1)
    assert listed(callers[Role.STATION]) == []


def test_what_leaves_soonest_comes_first_by_its_load_or_its_due_date(callers: dict[Role, Caller], floor: Floor) -> None:
    floor.take("J-0", [DECK], items=())
    plan_load(floor.database, [3], date(2027, 3, 4), **floor.act())
    found = [(box["box"], box["leaves"], box["due"]) for box in listed(callers[Role.STATION])]
    due = "2027-03-05"
    assert found == [(box_code(3), "2027-03-04", due), (box_code(1), due, due), (box_code(2), due, due)]


def test_the_pages_one_after_another_list_every_box_once(callers: dict[Role, Caller], floor: Floor) -> None:
    worker = callers[Role.STATION]
    floor.take("J-0", [DECK], items=())
    plan_load(floor.database, [3], date(2027, 3, 4), **floor.act())
    found: list[str] = []
    after: str | None = ""
    while after is not None:
        page = worker.get(f"/missing?limit=1&after={after}").json
        found += [box["box"] for box in page["items"]]
        after = page["next"]
    assert found == [box["box"] for box in listed(worker)] == [box_code(3), box_code(1), box_code(2)]


@pytest.mark.parametrize("after", ["x", "2027-03-04", "2027-03-04_1", "2027-03-04_1_2_3", "2027-13-01_1_1", "_1_1",
                                   f"2027-03-04_1_{10**12}", "2027-03-04_-1_1", "2027-03-04_1_٢"])  # fmt: skip
def test_a_page_that_cannot_be_found_is_said_so(callers: dict[Role, Caller], after: str) -> None:
    assert callers[Role.STATION].get("/missing", query_string={"after": after}).status_code == 422
