"""Boxes are sealed whole or by a foreman's reason; loads do not leave short; replacements go where they are needed."""

import pytest

from tests.floor import DECK, END, JOB, Floor
from tracker.records.logged import box_history, changes_since, last_change
from tracker.records.missing_lists import missing_page
from tracker.shop.codes import box_code, part_code, read_code
from tracker.shop.errors import ConflictError, IncompleteError, InvalidInputError, NotFoundError
from tracker.shop.scans import Action
from tracker.work.jobs import cancel_job, hold_job
from tracker.work.loads import add_to_load, take_off_load
from tracker.work.replace import repair_part, replace_part

PINS = {"spring pin 8 mm": 2}


def test_a_box_with_a_part_or_an_item_short_does_not_seal_and_says_what_is_missing(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    with pytest.raises(IncompleteError) as caught:
        floor.seal(floor.box_101, {"spring pin 8 mm": 1})
    part, pins = caught.value.missing
    assert (part["code"], part["step"]) == (floor.toe_kick, "cut")
    assert (pins["item"], pins["quantity"], pins["counted"]) == ("spring pin 8 mm", 2, 1)
    assert floor.box(floor.box_101).state == "packing"
    floor.check()


def test_a_whole_box_is_sealed_once(floor: Floor) -> None:
    floor.seal_both()
    assert floor.box(floor.box_101).state == "sealed"
    assert floor.box(floor.box_101).items[0].counted == 2
    assert floor.job().boxes.sealed == 2
    with pytest.raises(ConflictError, match="already sealed"):
        floor.seal(floor.box_101, PINS)
    floor.check()


def test_a_count_that_does_not_fit_the_box_is_refused(floor: Floor) -> None:
    floor.pack_all()
    for counted in ({"hinge": 1}, {"spring pin 8 mm": 3}):
        with pytest.raises(InvalidInputError):
            floor.seal(floor.box_101, counted)
    with pytest.raises(NotFoundError):
        floor.seal(box_code(999))
    floor.check()


def test_an_override_moves_what_is_missing_to_a_follow_up_box(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    sealed = floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="the truck waits")
    assert sealed.follow_up is not None
    follow_up = floor.box(sealed.follow_up)
    assert [part.code for part in follow_up.parts] == [floor.toe_kick]
    assert [(item.item, item.quantity) for item in follow_up.items] == [("spring pin 8 mm", 1)]
    assert follow_up.follows == floor.box_101
    assert [part.code for part in floor.box(floor.box_101).parts] == [floor.deck]
    assert floor.scan(floor.toe_kick, "PACK-1", box=floor.box_101).outcome == "box_closed"
    assert floor.scan(floor.toe_kick, "PACK-1", box=sealed.follow_up).outcome == "done"
    floor.seal(sealed.follow_up, {"spring pin 8 mm": 1})
    assert floor.job().boxes.total == 3
    with floor.database.read() as connection:
        latest = box_history(connection, 1, limit=1)[0]
    assert "the truck waits" in latest.message
    assert latest.who == "foreman"
    floor.check()


def test_a_box_that_is_sealed_short_and_its_follow_up_are_each_planned_as_heavy_as_what_is_left_to_them(
    floor: Floor,
) -> None:
    """The load's mass and the lifting grade go by it."""
    floor.scan(floor.deck, "PACK-1")
    rest = floor.seal(floor.box_101, PINS, override="the truck waits").follow_up
    assert rest is not None
    for box, part in ((floor.box(floor.box_101), floor.deck), (floor.box(rest), floor.toe_kick)):
        assert (box.mass_kg, box.height_mm) == pytest.approx((floor.part(part).mass_kg, 18))


def test_an_empty_box_is_not_sealed_even_by_override(floor: Floor) -> None:
    with pytest.raises(ConflictError, match="nothing in"):
        floor.seal(floor.box_102, override="whatever")
    floor.check()


def test_a_damaged_part_in_the_box_keeps_it_from_being_sealed(floor: Floor) -> None:
    floor.pack_all()
    floor.scan(floor.end, "PACK-1", action=Action.DAMAGED)
    with pytest.raises(IncompleteError) as caught:
        floor.seal(floor.box_102)
    assert caught.value.missing[0]["damaged"] is True
    repair_part(floor.database, read_code(floor.end).number, "filled", **floor.act())
    floor.seal(floor.box_102)
    with pytest.raises(ConflictError, match="not marked damaged"):
        repair_part(floor.database, read_code(floor.end).number, "filled", **floor.act())
    floor.check()


def test_a_load_leaves_only_with_each_of_its_boxes_scanned_onto_it(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(floor.box_101, "SHIP-1")
    with pytest.raises(IncompleteError) as caught:
        floor.ship(load)
    assert caught.value.missing == (
        {"box": floor.box_102, "job": JOB, "state": "sealed", "why": "not scanned onto the load"},
    )
    floor.scan(floor.box_102, "SHIP-1")
    floor.ship(load)
    assert floor.job().status == "shipped"
    assert {floor.part(code).status for code in (floor.deck, floor.toe_kick, floor.end)} == {"shipped"}
    with pytest.raises(ConflictError, match="has shipped"):
        floor.ship(load)
    floor.check()


def test_a_box_may_be_left_out_of_a_load(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(floor.box_101, "SHIP-1")
    floor.scan(floor.box_102, "SHIP-1")
    take_off_load(floor.database, 1, 2, **floor.act())
    assert floor.box(floor.box_102).state == "sealed"
    floor.ship(load, floor.box_102)
    assert floor.job().status == "open"
    with pytest.raises(NotFoundError):
        take_off_load(floor.database, 99, 2, **floor.act())
    second = floor.plan(floor.box_102)
    floor.scan(floor.box_102, "SHIP-1")
    floor.ship(second)
    assert floor.job().status == "shipped"
    floor.check()


def test_a_box_is_taken_off_no_load_but_its_own(floor: Floor) -> None:
    floor.seal_both()
    own, other = floor.plan(floor.box_101), floor.plan(floor.box_102)
    assert floor.scan(floor.box_101, "SHIP-1").ok
    with pytest.raises(NotFoundError, match="not planned for load"):
        take_off_load(floor.database, read_code(other).number, 1, **floor.act())
    assert (floor.box(floor.box_101).load_code, floor.box(floor.box_101).state) == (own, "loaded")


def test_a_load_that_has_left_takes_no_box_any_more(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101)
    floor.scan(floor.box_101, "SHIP-1")
    floor.ship(load, floor.box_102)
    with pytest.raises(ConflictError, match="has shipped"):
        add_to_load(floor.database, read_code(load).number, 2, **floor.act())
    assert (floor.box(floor.box_102).load, floor.box(floor.box_102).state) == (None, "sealed")


def test_two_jobs_that_leave_on_one_load_have_each_shipped_with_their_own_boxes(floor: Floor) -> None:
    floor.take("J-2", [END], items=())
    floor.scan(part_code(4), "PACK-1")
    floor.seal_both()
    floor.seal(box_code(3))
    boxes = (floor.box_101, floor.box_102, box_code(3))
    load = floor.plan(*boxes)
    for code in boxes:
        assert floor.scan(code, "SHIP-1").ok
    floor.ship(load)
    told = [(job.status, job.boxes.shipped, job.boxes.total) for job in (floor.job(JOB), floor.job("J-2"))]
    assert told == [("shipped", 2, 2), ("shipped", 1, 1)]
    floor.check()


def test_a_box_is_planned_for_one_load_at_a_time_and_only_while_it_may_leave(floor: Floor) -> None:
    floor.plan(floor.box_101)
    with pytest.raises(InvalidInputError) as caught:
        floor.plan(floor.box_101, box_code(999))
    assert len(caught.value.faults) == 2
    cancel_job(floor.database, JOB, **floor.act())
    with pytest.raises(InvalidInputError):
        floor.plan(floor.box_102)
    floor.check()


def test_the_changes_name_the_job_of_a_box_that_is_planned_for_a_load(floor: Floor) -> None:
    with floor.database.read() as connection:
        before = last_change(connection)
    floor.plan(floor.box_101)
    with floor.database.read() as connection:
        found = changes_since(connection, before, limit=10)
    assert (found.jobs, found.boxes) == ([JOB], [floor.box_101])


def test_a_held_job_seals_and_ships_nothing(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101)
    floor.scan(floor.box_101, "SHIP-1")
    hold_job(floor.database, JOB, **floor.act())
    with pytest.raises(IncompleteError, match="short"):
        floor.ship(load)
    with pytest.raises(ConflictError):
        hold_job(floor.database, JOB, **floor.act())
    floor.check()


def test_a_job_of_which_a_box_has_shipped_is_not_cancelled(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101)
    floor.scan(floor.box_101, "SHIP-1")
    floor.ship(load, floor.box_102)
    with pytest.raises(ConflictError, match="shipped already"):
        cancel_job(floor.database, JOB, **floor.act())
    with pytest.raises(NotFoundError):
        hold_job(floor.database, "J-404", **floor.act())
    floor.check()


def test_a_packed_part_that_is_replaced_leaves_its_place_open_for_the_new_one(floor: Floor) -> None:
    floor.pack_all()
    new = part_code(replace_part(floor.database, 1, "scratched", **floor.act()))
    box = floor.box(floor.box_101)
    assert (box.state, box.missing_count) == ("packing", 1)
    assert floor.part(new).urgent
    assert floor.part(new).replaces == floor.deck
    assert floor.part(floor.deck).replaced_by == new
    assert floor.job().steps["cut"].done == 2
    assert floor.scan(new, "PACK-1").outcome == "done"
    floor.seal(floor.box_101, PINS)
    with pytest.raises(ConflictError, match="before"):
        replace_part(floor.database, 1, "again", **floor.act())
    floor.check()


def test_a_replacement_for_a_closed_box_goes_to_its_follow_up_box_also_after_it_shipped(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(floor.box_101, "SHIP-1")
    floor.scan(floor.box_102, "SHIP-1")
    first = part_code(replace_part(floor.database, 1, "dropped", **floor.act()))
    assert floor.box(floor.box_101).missing_count == 0
    floor.ship(load, floor.part(first).box.code)
    second = part_code(replace_part(floor.database, 2, "broken on site", **floor.act()))
    assert floor.part(first).box == floor.part(second).box
    assert floor.part(first).box.follows == floor.box_101
    assert floor.job().status == "open"
    floor.scan(first, "PACK-1")
    floor.scan(second, "PACK-1")
    floor.seal(floor.part(first).box.code)
    floor.check()


def test_a_replacement_goes_to_the_last_of_several_follow_up_boxes_and_to_no_box_of_its_own(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    first = floor.seal(floor.box_101, override="the truck waits").follow_up
    assert first is not None
    floor.scan(floor.toe_kick, "PACK-1")
    second = floor.seal(first, {"spring pin 8 mm": 1}, override="a pin is lost").follow_up
    new = part_code(replace_part(floor.database, 1, "dropped", **floor.act()))
    assert (floor.part(new).box.code, floor.job().boxes.total) == (second, 4)
    floor.check()


def test_a_packed_part_that_was_damaged_and_then_replaced_is_counted_once(floor: Floor) -> None:
    floor.pack_all()
    before = floor.job().steps["pack"].done
    floor.scan(floor.deck, "PACK-1", action=Action.DAMAGED)
    replace_part(floor.database, read_code(floor.deck).number, "chipped", **floor.act())
    assert floor.job().steps["pack"].done == before - 1
    assert floor.box(floor.box_101).missing_count == 1
    floor.check()


def test_a_shipped_job_is_open_again_when_a_part_of_it_is_made_anew(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    for code in (load, floor.box_101, floor.box_102):
        floor.scan(code, "SHIP-1")
    floor.ship(load)
    assert floor.job().status == "shipped"
    new = part_code(replace_part(floor.database, 2, "broken on site", **floor.act()))
    assert floor.job().status == "open"
    floor.scan(new, "PACK-1")
    rest = floor.part(new).box.code
    floor.seal(rest)
    second = floor.plan(rest)
    floor.scan(second, "SHIP-1")
    floor.scan(rest, "SHIP-1")
    floor.ship(second)
    assert floor.job().status == "shipped"
    floor.check()


def test_what_is_missing_names_the_step_and_the_last_place(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.slot, "CUT-1")
    floor.take("J-0", [DECK], items=())
    with floor.database.read() as connection:
        boxes = missing_page(connection).boxes
        narrowed = missing_page(connection, job_code="J-0").boxes
    assert [[item.item for item in box.items] for box in boxes] == [["spring pin 8 mm"], [], []]
    assert [(box.job.code, len(box.parts)) for box in boxes] == [(JOB, 2), (JOB, 1), ("J-0", 1)]
    assert [box.job.code for box in narrowed] == ["J-0"]
    deck = next(part for part in boxes[0].parts if part.code == floor.deck)
    assert deck.step == "machine"
    assert deck.last_seen is not None
    assert (deck.last_seen.station, deck.last_seen.slot) == ("CUT-1", "CART-1")
    cancel_job(floor.database, JOB, **floor.act())
    with floor.database.read() as connection:
        assert [box.job.code for box in missing_page(connection).boxes] == ["J-0"]
