"""What pages tell of boxes, loads and the latest scans, without a browser."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from uuid import uuid4

import pytest

from tests.floor import START, Floor
from tests.pages.callers import Caller, callers_of, in_words
from tests.shops import sqlite_shop
from tracker.shop.codes import Code, Kind, read_code
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.access import add_station
from tracker.work.hold_box import hold_box
from tracker.work.people import add_person
from tracker.work.replace import replace_part


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    database = sqlite_shop(tmp_path / "shop.db")
    yield Floor(database, start=datetime.now(UTC) - timedelta(hours=6))
    database.close()


@pytest.fixture
def foreman(floor: Floor, tmp_path: Path) -> Caller:
    return callers_of(floor, tmp_path, [Role.FOREMAN])[Role.FOREMAN]


def scan(caller: Caller, station: str, code: str) -> str:
    """Scan at a station as its page does; return what it shows."""
    body = {"id": str(uuid4()), "code": code, "at": datetime.now(UTC).isoformat()}
    answer = caller.post(f"/station/{station}/scan", json.dumps(body))
    assert answer.status_code == 200, answer.text
    return in_words(json.loads(answer.text)["html"])


def test_a_box_of_which_only_the_items_lack_says_so_on_its_load_and_at_the_dock(floor: Floor, foreman: Caller) -> None:
    floor.pack_all()
    assert "all parts in, 1 kind of item not counted" in foreman.read("/loads/new?every=1")
    load = floor.plan(floor.box_101)
    assert "all parts in · 1 kind of item not counted Not sealed." in foreman.read(f"/loads/{load}")
    told = "The box is not sealed: 1 kind of item not counted. Take it back to packing."
    assert told in scan(foreman, "SHIP-1", floor.box_101)


def test_the_last_part_of_a_box_says_what_is_next_with_items_and_without(floor: Floor, foreman: Caller) -> None:
    scan(foreman, "PACK-1", floor.deck)
    assert "next Count the items and seal the box" in scan(foreman, "PACK-1", floor.toe_kick)
    assert "next Seal the box" in scan(foreman, "PACK-1", floor.end)


def test_a_box_that_a_load_left_behind_is_owed_since_then(floor: Floor, foreman: Caller) -> None:
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_102)
    for code in (load, floor.box_102):
        floor.scan(code, "SHIP-1")
    assert f"on no load: load {load} leaves without it" in foreman.read("/missing?job=J-1")
    floor.ship(load, floor.box_101)
    page = foreman.read("/missing?job=J-1")
    assert "on no load" not in page
    assert f"owed since load {load} left on {floor.clock:%a, %b} {floor.clock.day}" in page
    floor.plan(floor.box_101)
    assert f"owed since load {load}" in foreman.read("/missing?job=J-1")


def test_what_was_done_before_says_where_and_when_it_was_read(floor: Floor, foreman: Caller) -> None:
    add_station(floor.database, "CUT-2", Step.CUT)
    assert floor.scan(floor.deck, "CUT-2").ok
    read = f"{floor.clock:%a, %b} {floor.clock.day}, {floor.clock:%H:%M}"
    for station in ("CUT-1", "CUT-1", "CUT-2"):
        assert f"It counts once. It was read at CUT-2, {read}." in scan(foreman, station, floor.deck)
    assert floor.undo("CUT-2", at=datetime.now(UTC)).ok
    assert "It counts once. It was read at CUT-1," in scan(foreman, "CUT-2", floor.deck)
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(load, "SHIP-1")
    floor.scan(floor.box_102, "SHIP-1")
    read = f"{floor.clock:%a, %b} {floor.clock.day}, {floor.clock:%H:%M}"
    assert f"It counts once. It was read at SHIP-1, {read}." in scan(foreman, "SHIP-1", floor.box_102)


def test_boxes_are_named_with_their_job_in_the_last_scans_and_beside_take_back(floor: Floor, foreman: Caller) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(load, "SHIP-1")
    assert "Box 102 of J-1" in scan(foreman, "SHIP-1", floor.box_102)
    page = foreman.read("/station/SHIP-1")
    assert "Take back Box 102 of J-1" in page
    assert "Box 102 of J-1" in page.split("Last scans")[1]


def test_a_load_that_has_left_tells_in_the_past_what_stayed(floor: Floor, foreman: Caller) -> None:
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_102)
    for code in (load, floor.box_102):
        floor.scan(code, "SHIP-1")
    floor.ship(load, floor.box_101)
    other = floor.plan(floor.box_101)
    assert "It is scanned before the boxes" in foreman.read(f"/loads/{other}")
    on_load = f"planned for load {other}"
    page = foreman.read(f"/loads/{load}")
    assert "It is scanned before the boxes" not in page
    stands = f"J-1 box 101 : open, lacks 2 parts, 1 kind of item not counted, {on_load}"
    assert f"as they stand now. {stands} the door is late (foreman, " in page
    assert "stays behind" not in page


def test_a_flag_on_the_order_of_scans_names_the_other_part(floor: Floor, foreman: Caller) -> None:
    floor.scan(floor.toe_kick, "PACK-1")
    before = floor.tick()
    floor.scan(floor.end, "PACK-1")
    add_station(floor.database, "PACK-2", Step.PACK)
    floor.scan(floor.deck, "PACK-2", at=before)
    told = f"A later scan, of End of cabinet 102 ({floor.end}), would have been answered otherwise"
    assert told in foreman.read("/flagged")


def test_a_packers_own_name_and_password_are_no_foremans_word_on_a_box_that_stays(floor: Floor, tmp_path: Path) -> None:
    password = "a long invented password"  # noqa: S105 - of nobody
    for name, role in (("Ida", Role.PACKER), ("Ada", Role.FOREMAN)):
        add_person(floor.database, name, role, password=password, now=START)
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_102)
    floor.scan(floor.box_102, "SHIP-1")
    packer = callers_of(floor, tmp_path, [Role.PACKER])[Role.PACKER]
    told = {"stays": floor.box_101, "reason": "the toe kick is late", "password": password}
    refused = packer.send(f"/loads/{load}/ship", name="Ida", **told)
    assert (refused.status_code, floor.box(floor.box_102).state) == (403, "loaded")
    assert "Ida is no foreman." in refused.text
    assert packer.send(f"/loads/{load}/ship", name="Ada", **told).status_code == 303
    assert floor.box(floor.box_102).state == "shipped"


def test_a_box_on_hold_is_marked_by_station_too(floor: Floor, foreman: Caller) -> None:
    assert "on hold" not in foreman.read("/missing?by=station")
    hold_box(floor.database, read_code(floor.box_102).number, **floor.act())
    assert "102 J-1 box on hold" in foreman.read("/missing?by=station")


def test_a_part_damaged_in_a_sealed_box_lies_there_and_waits_for_the_foreman(floor: Floor, foreman: Caller) -> None:
    floor.seal_both()
    floor.scan(floor.end, "PACK-1", action=Action.DAMAGED)
    found = foreman.read(f"/find?code={floor.end}")
    assert "In box 102" in found
    assert "Waits for the foreman" in found
    for page in (found, foreman.read("/missing"), foreman.read("/missing?by=station")):
        assert "pack (PACK-1" not in page
        assert "next : PACK-1" not in page
        assert "aits for: pack" not in page
    assert "the foreman it lies in its box" in foreman.read("/missing")
    assert "Waits for the foreman" in foreman.read("/missing?by=station")
    assert "waits for the foreman" in foreman.read(f"/find?code={floor.end}")


def test_a_damaged_part_that_is_not_packed_waits_for_the_foreman_where_it_was_seen(
    floor: Floor, foreman: Caller
) -> None:
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    found = foreman.read(f"/find?code={floor.deck}")
    assert "Waits for the foreman" in found
    assert "In box" not in found
    assert "it lies in its box" not in foreman.read("/missing")


def test_what_is_flagged_is_called_late_only_where_it_came_late(floor: Floor, foreman: Caller) -> None:
    floor.pack_all()
    floor.seal(floor.box_102)
    floor.scan(floor.end, "PACK-1", action=Action.DAMAGED)
    page = foreman.read("/flagged")
    assert "Found damaged, but recorded in box" in page
    assert "late" not in page.lower()
    before = floor.tick()
    floor.tick(90)
    replace_part(floor.database, 3, "split", **floor.act())
    floor.scan(floor.end, "CUT-1", at=before)
    page = foreman.read("/flagged")
    assert page.lower().count("late") == 1
    assert f"came late: {floor.clock:%a, %b} {floor.clock.day}, {floor.clock:%H:%M}" in page


def test_the_history_of_a_part_says_which_rows_came_late_and_since_when_they_are_known(
    floor: Floor, foreman: Caller
) -> None:
    before = floor.tick()
    floor.scan(floor.deck, "MACHINE-1")
    address = f"/find?code={floor.deck}"
    assert "came late" not in foreman.read(address)
    floor.tick(90)
    floor.scan(floor.deck, "CUT-1", at=before)
    page = foreman.read(address)
    assert page.count("came late") == 1
    assert f"came late Known since {floor.clock:%a, %b} {floor.clock.day}, {floor.clock:%H:%M}." in page


def test_a_flagged_card_leads_to_the_part_that_it_marked(floor: Floor, foreman: Caller) -> None:
    floor.scan(floor.deck, "CUT-1")
    between = floor.tick()
    floor.scan(str(Code(Kind.COMMAND, 2)), "CUT-1")
    floor.scan(floor.end, "CUT-1", at=between)
    page = foreman.get("/flagged").text
    assert all(f'href="/find?code={code}"' in page for code in (floor.deck, floor.end))
    assert f"take the mark off {floor.deck}" in page


def test_a_load_that_is_planned_for_a_day_that_is_past_says_so_until_it_has_left(floor: Floor, foreman: Caller) -> None:
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    planned = foreman.send("/loads/new", box=floor.box_102, ship_on="2020-02-03")
    assert planned.status_code == 303, "it is a warning and refuses nothing"
    told = "Look at this: The day when it leaves, Mon, Feb 3, 2020, is past."
    assert told in foreman.read(planned.location)
    load = planned.location.rpartition("/")[2]
    for code in (load, floor.box_102):
        floor.scan(code, "SHIP-1")
    floor.ship(load, floor.box_101)
    assert "Look at this" not in foreman.read(planned.location)
    ahead = foreman.send("/loads/new", box=floor.box_101, ship_on="2099-02-03")
    assert "Look at this" not in foreman.read(ahead.location)


def test_a_box_on_hold_of_which_all_is_in_is_not_to_be_sealed(floor: Floor, foreman: Caller) -> None:
    hold_box(floor.database, 2, **floor.act())
    said = scan(foreman, "PACK-1", floor.end)
    assert "next box on hold" in said
    again = scan(foreman, "PACK-1", floor.box_102)
    assert "All parts are in. The box is on hold: ask the foreman." in again
    assert "eal the box" not in said + again


def test_a_part_of_a_sealed_box_is_not_told_to_seal_it(floor: Floor, foreman: Caller) -> None:
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    said = scan(foreman, "CUT-1", floor.end)
    assert "next ship SHIP-1" in said
    assert "eal the box" not in said


def test_a_part_that_is_packed_says_in_which_box_while_another_one_is_open(floor: Floor, foreman: Caller) -> None:
    scan(foreman, "PACK-1", floor.deck)
    scan(foreman, "PACK-1", floor.box_102)
    said = scan(foreman, "PACK-1", floor.deck)
    assert said.startswith("Already counted Deck")
    assert "It counts once: it is packed in box 101, not in box 102." in said
    assert "It belongs in box 101, not in box 102." in scan(foreman, "PACK-1", floor.toe_kick)
