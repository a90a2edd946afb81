"""A load leaves no box of its jobs behind but those that a foreman named; each load asks anew."""

from collections.abc import Callable, Collection

import pytest

from tests.floor import Floor
from tracker.records.logged import box_history
from tracker.records.shipping import ShippingBox, loading_of
from tracker.shop.codes import box_code, read_code
from tracker.shop.errors import ConflictError, IncompleteError, InvalidInputError
from tracker.shop.reasons import Reason
from tracker.shop.scans import Action
from tracker.work.count import Counting, count_item
from tracker.work.hold_box import hold_box
from tracker.work.jobs import cancel_job, hold_job, resume_job
from tracker.work.loads import add_to_load, take_off_load

PINS = {"spring pin 8 mm": 2}


def codes(boxes: Collection[ShippingBox]) -> list[str]:
    return [box.code for box in boxes]


def loaded(floor: Floor, *boxes: str) -> str:
    """Plan a load of sealed boxes and scan them onto it."""
    load = floor.plan(*boxes)
    for code in (load, *boxes):
        assert floor.scan(code, "SHIP-1").ok
    return load


def one_box_ready(floor: Floor) -> str:
    """Seal box 102 and load it; box 101 has its deck in it and lacks its toe kick and its pins."""
    floor.scan(floor.end, "PACK-1")
    floor.scan(floor.deck, "PACK-1")
    floor.seal(floor.box_102)
    return loaded(floor, floor.box_102)


def test_a_box_of_the_same_job_that_is_on_no_load_stays_behind_and_keeps_the_load(floor: Floor) -> None:
    load = one_box_ready(floor)
    (box,) = floor.staying(load)
    assert (box.job.code, box.code, box.state, box.parts_lacking, box.held) == (
        "J-1",
        floor.box_101,
        "packing",
        1,
        False,
    )
    with pytest.raises(IncompleteError, match="leave boxes of its jobs behind") as caught:
        floor.ship(load)
    assert caught.value.missing == ()
    assert caught.value.staying == (
        {
            "job": "J-1",
            "box": floor.box_101,
            "name": "101",
            "state": "packing",
            "held": False,
            "missing_count": 1,
            "items_to_count": 1,
            "says": "being packed, lacks 1 part, 1 kind of item not counted",
        },
    )
    assert floor.box(floor.box_102).state == "loaded"
    floor.check()


def test_boxes_that_shipped_are_cancelled_or_leave_on_another_load_do_not_stay_behind(floor: Floor) -> None:
    floor.take("J-2", items=())
    floor.seal_both()
    load = loaded(floor, floor.box_102)
    assert codes(floor.staying(load)) == [floor.box_101]
    other = floor.plan(floor.box_101)
    assert floor.staying(load) == floor.staying(other) == []
    floor.ship(load)
    assert floor.staying(other) == []
    with_both_jobs = floor.plan(box_code(3))
    cancel_job(floor.database, "J-2", **floor.act())
    assert floor.staying(with_both_jobs) == []
    floor.check()


def test_a_sealed_box_that_is_taken_off_a_load_or_held_stays_behind(floor: Floor) -> None:
    floor.seal_both()
    load = loaded(floor, floor.box_101, floor.box_102)
    assert floor.staying(load) == []
    hold_box(floor.database, 1, **floor.act())
    take_off_load(floor.database, read_code(load).number, 1, **floor.act())
    (box,) = floor.staying(load)
    assert (box.code, box.state, box.held, box.parts_lacking) == (floor.box_101, "sealed", True, 0)
    with pytest.raises(IncompleteError):
        floor.ship(load)
    floor.check()


def test_the_rest_of_a_box_that_was_sealed_short_stays_behind_until_it_is_on_a_load(floor: Floor) -> None:
    floor.pack_all()
    rest = floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="a pin is lost").follow_up
    floor.seal(floor.box_102)
    assert rest is not None
    load = loaded(floor, floor.box_101, floor.box_102)
    assert codes(floor.staying(load)) == [rest]
    add_to_load(floor.database, read_code(load).number, read_code(rest).number, **floor.act())
    assert floor.staying(load) == []
    floor.check()


def test_only_just_the_boxes_that_stay_may_be_named(floor: Floor) -> None:
    load = one_box_ready(floor)
    for named in ([floor.box_102], [floor.box_101, floor.box_102]):
        with pytest.raises(IncompleteError, match="has changed") as caught:
            floor.ship(load, *named)
        assert [entry["box"] for entry in caught.value.staying or ()] == [floor.box_101]
    add_to_load(floor.database, read_code(load).number, 1, **floor.act())
    with pytest.raises(IncompleteError):  # it is to leave now, and is not on it
        floor.ship(load, floor.box_101)
    take_off_load(floor.database, read_code(load).number, 1, **floor.act())
    floor.ship(load, floor.box_101)
    assert floor.box(floor.box_102).state == "shipped"
    assert floor.job().status == "open"
    floor.check()


def test_a_box_that_is_left_behind_is_written_to_the_log_with_the_reason(floor: Floor) -> None:
    load = one_box_ready(floor)
    floor.ship(load, floor.box_101)
    with floor.database.read() as connection:
        last = box_history(connection, 1, limit=1)[0]
    told = f"Box {floor.box_101} stayed behind load {load}: the door is late."
    assert (last.action, last.who, last.message) == ("leave", "foreman", told)


def test_a_reason_is_wanted(floor: Floor) -> None:
    load = one_box_ready(floor)
    for reason in ("", "  ", "two\nlines", "x" * 201):
        with pytest.raises(InvalidInputError, match="Say why"):
            floor.ship(load, floor.box_101, reason=reason)
    assert floor.box(floor.box_102).state == "loaded"


def test_each_load_asks_anew(floor: Floor) -> None:
    floor.take("J-2", items=())
    load = one_box_ready(floor)
    floor.ship(load, floor.box_101)
    floor.scan(floor.toe_kick, "PACK-1")
    rest = floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="a pin is lost").follow_up
    second = loaded(floor, floor.box_101)
    with pytest.raises(IncompleteError):
        floor.ship(second)
    assert rest is not None
    floor.ship(second, rest)
    assert (floor.job().boxes.shipped, floor.job().boxes.owed, floor.job().status) == (2, 1, "open")
    floor.check()


def test_a_word_on_what_stays_waives_nothing_that_is_missing(floor: Floor) -> None:
    load = one_box_ready(floor)
    hold_job(floor.database, "J-1", **floor.act())
    with pytest.raises(IncompleteError, match="short") as caught:
        floor.ship(load, floor.box_101)
    assert [entry["why"] for entry in caught.value.missing] == ["job J-1 is held"]
    resume_job(floor.database, "J-1", **floor.act())
    floor.undo("SHIP-1")
    with pytest.raises(IncompleteError, match="short"):
        floor.ship(load, floor.box_101)
    floor.check()


def test_a_load_with_a_damaged_part_in_a_box_of_it_stays_whatever_a_foreman_says_of_others(floor: Floor) -> None:
    load = one_box_ready(floor)
    assert floor.scan(floor.end, "PACK-1", action=Action.DAMAGED).ok
    with pytest.raises(IncompleteError) as caught:
        floor.ship(load, floor.box_101)
    (entry,) = caught.value.missing
    assert (entry["box"], entry["state"]) == (floor.box_102, "loaded")
    assert entry["why"] == "a part in it is no longer good: replace it or take the box off the load"
    assert floor.box(floor.box_102).state == "loaded"
    floor.check()
    take_off_load(floor.database, read_code(load).number, 2, **floor.act())
    other = floor.plan(floor.box_101)
    assert [(box.code, box.parts_lacking) for box in floor.staying(other)] == [(floor.box_102, 1)]


def test_a_box_on_a_load_that_is_not_sealed_says_there_and_at_the_dock_what_it_lacks(floor: Floor) -> None:
    load = floor.plan(floor.box_101, floor.box_102)
    for left, lack in (
        (floor.toe_kick, "lacks 2 parts, 1 kind of item not counted"),
        (floor.deck, "lacks 1 part, 1 kind of item not counted"),
        (floor.end, "1 kind of item not counted"),
    ):
        with pytest.raises(IncompleteError) as caught:
            floor.ship(load)
        told = {each["box"]: each["why"] for each in caught.value.missing}
        assert told == {floor.box_101: f"not sealed: {lack}", floor.box_102: "not sealed: lacks 1 part"}
        answer = floor.scan(floor.box_101, "SHIP-1").message
        assert answer == f"Box {floor.box_101}: The box is not sealed: {lack}. Take it back to packing."
        floor.scan(left, "PACK-1")
    assert (
        floor.scan(floor.box_102, "SHIP-1").message
        == f"Box {floor.box_102}: The box is not sealed. Take it back to packing."
    )


def test_items_are_counted_only_where_a_box_has_some_that_are_not(floor: Floor) -> None:
    floor.scan(floor.toe_kick, "PACK-1")
    to_count, to_seal = "All parts are in. Count the items and seal the box.", "Everything is in. Seal the box."
    assert to_count in floor.scan(floor.deck, "PACK-1").message
    assert to_seal in floor.scan(floor.end, "PACK-1").message
    assert floor.scan(floor.box_101, "PACK-1").message == f"Box {floor.box_101}: {to_count}"
    count_item(floor.database, Counting(box=1, item="spring pin 8 mm", count=2), **floor.act())
    assert floor.scan(floor.box_101, "PACK-1").message == f"Box {floor.box_101}: {to_seal}"


def test_what_a_job_is_owed_follows_from_its_boxes(floor: Floor) -> None:
    assert floor.job().boxes.owed == 2
    load = one_box_ready(floor)
    floor.ship(load, floor.box_101)
    assert floor.job().boxes.owed == 1
    floor.scan(floor.toe_kick, "PACK-1")
    floor.seal(floor.box_101, PINS)
    floor.ship(loaded(floor, floor.box_101))
    assert floor.job().boxes.owed == 0
    floor.take("J-2", items=())
    cancel_job(floor.database, "J-2", **floor.act())
    assert floor.job("J-2").boxes.owed == 0


def test_the_dock_and_its_answers_name_what_stays_behind(floor: Floor) -> None:
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_102)
    far = {"load": load, "day": "2027-03-04", "boxes": 1, "staying": [floor.box_101]}
    opened = floor.scan(load, "SHIP-1")
    assert (opened.reason, opened.values) == (Reason.LOAD_OPENED, {**far, "on": 0})
    on_it = floor.scan(floor.box_102, "SHIP-1")
    assert (on_it.reason, on_it.values) == (Reason.LOADED_BUT_STAYING, {**far, "on": 1})
    assert on_it.message.endswith(f"Stays behind: {floor.box_101}. Ask the foreman.")
    again = floor.scan(load, "SHIP-1")
    assert (again.reason, again.values) == (on_it.reason, on_it.values)
    with floor.database.read() as connection:
        found = loading_of(connection, read_code(load).number)
    assert (found.boxes, found.on, codes(found.staying)) == (1, 1, [floor.box_101])


@pytest.mark.parametrize("stop", [hold_job, cancel_job])
def test_a_box_of_a_job_that_is_held_or_cancelled_is_not_sealed(floor: Floor, stop: Callable[..., None]) -> None:
    floor.pack_all()
    stop(floor.database, "J-1", **floor.act())
    for override in ("", "whatever"):
        with pytest.raises(ConflictError, match="stays as it is"):
            floor.seal(floor.box_102, override=override)
    assert floor.box(floor.box_102).state == "complete"
    floor.check()


def test_a_load_that_is_scanned_with_all_its_boxes_on_it_says_that_it_may_leave(floor: Floor) -> None:
    floor.seal_both()
    load = loaded(floor, floor.box_101, floor.box_102)
    told = f"Load {load}: All boxes are on load {load} of 2027-03-04: 2. The truck may leave."
    assert floor.scan(load, "SHIP-1").message == told


def test_a_load_that_a_box_on_it_keeps_from_leaving_may_not_leave(floor: Floor) -> None:
    floor.seal_both()
    load = loaded(floor, floor.box_101, floor.box_102)
    floor.scan(floor.end, "PACK-1", action=Action.DAMAGED)
    told = floor.scan(load, "SHIP-1").message
    assert told.endswith("The truck does not leave yet. 1 box keeps it: look at the page of the load.")


def test_a_box_that_has_left_is_planned_for_no_other_load(floor: Floor) -> None:
    floor.seal_both()
    load = loaded(floor, floor.box_101, floor.box_102)
    floor.ship(load)
    with pytest.raises(InvalidInputError) as caught:
        floor.plan(floor.box_101)
    assert [fault.what for fault in caught.value.faults] == [
        f"box 101 of J-1 ({floor.box_101}) has left with load {load}"
    ]
