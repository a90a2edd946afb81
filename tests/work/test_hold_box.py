"""A box that a foreman keeps in the shop: it may be packed, but it goes nowhere until it is let go."""

from datetime import timedelta

import pytest

from tests.floor import Floor
from tracker.shop.codes import read_code
from tracker.shop.errors import ConflictError, IncompleteError, NotFoundError
from tracker.shop.outcomes import Outcome
from tracker.work.hold_box import hold_box, let_go_box

PINS = {"spring pin 8 mm": 2}


def hold(floor: Floor, code: str) -> None:
    hold_box(floor.database, read_code(code).number, **floor.act())


def let_go(floor: Floor, code: str) -> None:
    let_go_box(floor.database, read_code(code).number, **floor.act())


def test_a_held_box_is_packed_but_not_sealed_until_it_is_let_go(floor: Floor) -> None:
    hold(floor, floor.box_101)
    assert floor.box(floor.box_101).held
    floor.pack_all()
    with pytest.raises(ConflictError, match="on hold"):
        floor.seal(floor.box_101, PINS)
    let_go(floor, floor.box_101)
    floor.seal(floor.box_101, PINS)
    floor.check()


def test_a_held_box_of_items_alone_is_not_sealed(floor: Floor) -> None:
    floor.pack_all()
    rest = floor.seal(floor.box_101, override="the pins are late").follow_up
    assert rest is not None
    hold(floor, rest)
    with pytest.raises(ConflictError, match="on hold"):
        floor.seal(rest, PINS)
    let_go(floor, rest)
    floor.seal(rest, PINS)
    floor.check()


def test_a_held_box_does_not_come_onto_its_load_and_its_load_does_not_leave(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(load, "SHIP-1")
    hold(floor, floor.box_101)
    assert floor.scan(floor.box_101, "SHIP-1").outcome is Outcome.ON_HOLD
    assert floor.scan(floor.box_102, "SHIP-1").outcome is Outcome.DONE
    with pytest.raises(IncompleteError) as stays:
        floor.ship(load)
    assert [(entry["box"], "on hold" in entry["why"]) for entry in stays.value.missing] == [(floor.box_101, True)]
    let_go(floor, floor.box_101)
    assert floor.scan(floor.box_101, "SHIP-1").outcome is Outcome.DONE
    floor.ship(load)
    floor.check()


def test_a_box_that_is_on_its_load_is_kept_from_leaving_with_it(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    for code in (load, floor.box_101, floor.box_102):
        floor.scan(code, "SHIP-1")
    hold(floor, floor.box_102)
    again = [floor.scan(code, "SHIP-1").outcome for code in (floor.box_101, floor.box_102)]
    assert again == [Outcome.AGAIN, Outcome.ON_HOLD], "the dock is told which one to take off"
    with pytest.raises(IncompleteError):
        floor.ship(load)
    floor.check()


def test_a_scan_made_before_the_hold_counts_when_it_arrives_later(floor: Floor) -> None:
    floor.seal_both()
    floor.scan(floor.plan(floor.box_101, floor.box_102), "SHIP-1")
    at = floor.tick()
    floor.tick(60)
    hold(floor, floor.box_101)
    assert floor.scan(floor.box_101, "SHIP-1", at=at + timedelta(seconds=1)).outcome is Outcome.DONE
    floor.check()


def test_holding_twice_letting_go_of_what_is_not_held_and_holding_nothing_are_refused(floor: Floor) -> None:
    with pytest.raises(ConflictError):
        let_go(floor, floor.box_101)
    hold(floor, floor.box_101)
    with pytest.raises(ConflictError):
        hold(floor, floor.box_101)
    with pytest.raises(NotFoundError):
        hold_box(floor.database, 999, **floor.act())


def test_holding_a_box_is_no_hold_of_its_job(floor: Floor) -> None:
    hold(floor, floor.box_101)
    assert floor.scan(floor.deck, "CUT-1").outcome is Outcome.DONE
    floor.check()
