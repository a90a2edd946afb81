"""A sealed box that a foreman opens again."""

import pytest

from tests.floor import Floor
from tracker.records.box_contents import box_view
from tracker.records.follow_ups import follow_ups_of
from tracker.records.logged import box_history
from tracker.shop.codes import read_code
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.outcomes import Outcome
from tracker.shop.scans import Action
from tracker.work.count import weigh_box
from tracker.work.jobs import hold_job
from tracker.work.open_again import Opening, open_again

PINS = {"spring pin 8 mm": 2}


def reopen(floor: Floor, code: str, reason: str = "one part too many") -> None:
    open_again(floor.database, Opening(box=read_code(code).number, reason=reason), **floor.act())


def test_a_box_that_is_opened_again_takes_undos_and_parts_and_is_sealed_once_more(floor: Floor) -> None:
    floor.seal_both()
    assert floor.undo("PACK-1").outcome is Outcome.BOX_CLOSED
    reopen(floor, floor.box_102)
    floor.check()
    assert floor.box(floor.box_102).state == "complete"
    assert floor.job().boxes.sealed == 1
    assert floor.undo("PACK-1").outcome is Outcome.UNDONE
    assert floor.box(floor.box_102).state == "open"
    assert floor.scan(floor.end, "PACK-1").outcome is Outcome.DONE
    floor.seal(floor.box_102)
    floor.check()
    assert floor.job().boxes.sealed == 2


def test_the_log_says_who_opened_it_and_why(floor: Floor) -> None:
    floor.seal_both()
    reopen(floor, floor.box_101, "the wrong bag is in it")
    with floor.database.read() as connection:
        opening, sealing, *_ = box_history(connection, 1, limit=9)
    assert (sealing.action, opening.action, opening.who) == ("seal", "undo", "foreman")
    assert opening.message == f"Box {floor.box_101} opened again: the wrong bag is in it."


def test_what_was_counted_holds_on_and_what_was_weighed_does_not(floor: Floor) -> None:
    floor.pack_all()
    weigh_box(floor.database, 1, 4.5, **floor.act())
    floor.seal(floor.box_101, PINS)
    reopen(floor, floor.box_101)
    box = floor.box(floor.box_101)
    assert (box.items[0].counted, box.weighed_kg) == (2, None)


def test_what_a_box_lacked_is_planned_for_it_again_and_an_empty_follow_up_goes(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    follow_up = floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="the truck waits").follow_up
    assert follow_up is not None
    reopen(floor, floor.box_101, "the toe kick is here")
    floor.check()
    box = floor.box(floor.box_101)
    assert [(part.code, part.packed) for part in box.parts] == [(floor.deck, True), (floor.toe_kick, False)]
    assert [(line.quantity, line.counted) for line in box.items] == [(2, 1)]
    assert box.state == "packing"
    with floor.database.read() as connection:
        assert box_view(connection, read_code(follow_up).number) is None
    assert floor.scan(floor.toe_kick, "PACK-1").outcome is Outcome.DONE
    floor.seal(floor.box_101, PINS)
    floor.check()
    assert floor.job().boxes.total == 2


def test_what_is_packed_in_the_follow_up_stays_there_and_the_next_rest_goes_beside_it(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    follow_up = floor.seal(floor.box_101, {}, override="the truck waits").follow_up
    assert follow_up is not None
    floor.scan(follow_up, "PACK-1")
    assert floor.scan(floor.toe_kick, "PACK-1").outcome is Outcome.DONE
    reopen(floor, floor.box_101)
    assert [part.code for part in floor.box(follow_up).parts] == [floor.toe_kick]
    assert floor.box(floor.box_101).items[0].quantity == 2
    again = floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="no more pins")
    assert again.follow_up == follow_up, "one follow-up holds all the rest"
    assert [line.quantity for line in floor.box(follow_up).items] == [1]
    floor.check()
    with floor.database.read() as connection:
        assert [each.code for each in follow_ups_of(connection, [1])[1]] == [follow_up]


def test_a_part_that_was_damaged_in_a_sealed_box_is_missing_from_the_opened_one(floor: Floor) -> None:
    floor.seal_both()
    floor.scan(floor.deck, "PACK-1", action=Action.DAMAGED)
    reopen(floor, floor.box_101, "chipped when it fell")
    box = floor.box(floor.box_101)
    assert (box.state, box.missing_count) == ("packing", 1)
    floor.check()


def test_a_loaded_or_shipped_box_stays_closed_and_one_taken_off_its_load_does_not(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    for code in (load, floor.box_101, floor.box_102):
        floor.scan(code, "SHIP-1")
    with pytest.raises(ConflictError, match="already loaded"):
        reopen(floor, floor.box_102)
    floor.undo("SHIP-1")
    reopen(floor, floor.box_102)
    floor.check()
    assert floor.scan(floor.box_102, "SHIP-1").outcome is Outcome.EARLY
    floor.seal(floor.box_102)
    assert floor.scan(floor.box_102, "SHIP-1").outcome is Outcome.DONE
    floor.ship(load)
    with pytest.raises(ConflictError, match="already shipped"):
        reopen(floor, floor.box_101)
    floor.check()


def test_a_box_is_not_opened_again_without_a_seal_a_reason_or_a_running_job(floor: Floor) -> None:
    with pytest.raises(ConflictError, match="not sealed"):
        reopen(floor, floor.box_101)
    with pytest.raises(NotFoundError):
        open_again(floor.database, Opening(box=99, reason="why not"), **floor.act())
    for nonsense in ("", "  ", "two\nlines", "x" * 201):
        with pytest.raises(InvalidInputError, match="Say why"):
            Opening(box=1, reason=nonsense)
    floor.seal_both()
    hold_job(floor.database, "J-1", **floor.act())
    with pytest.raises(ConflictError, match="held"):
        reopen(floor, floor.box_101)
    floor.check()
