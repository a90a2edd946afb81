"""A box that was sealed short, and where the rest of it is."""

from collections.abc import Sequence
from datetime import date

from tests.floor import Floor
from tracker.records import missing_lists
from tracker.records.boxes import Box
from tracker.records.follow_ups import follow_ups_of
from tracker.records.missing_lists import MissingPage, open_loads
from tracker.records.shipping import boxes_to_plan, loading_of
from tracker.shop.codes import read_code
from tracker.work.loads import add_to_load
from tracker.work.open_again import Opening, open_again
from tracker.work.replace import replace_part


def rests(floor: Floor, code: str) -> Sequence[Box]:
    number = read_code(code).number
    with floor.database.read() as connection:
        return follow_ups_of(connection, [number]).get(number, [])


def missing(floor: Floor, **asked: object) -> MissingPage:
    with floor.database.read() as connection:
        return missing_lists.missing_page(connection, **asked)  # type: ignore[arg-type]  # as the tests name them


def on_loads(floor: Floor, load: str | None = None) -> MissingPage:
    number = None if load is None else read_code(load).number
    with floor.database.read() as connection:
        return missing_lists.missing_on_loads(connection, load_id=number)


def sealed_short(floor: Floor) -> str:
    """Seal box 101 without its deck and one of its pins; return the code of its follow-up box."""
    floor.scan(floor.toe_kick, "PACK-1")
    found = floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="the deck is not here").follow_up
    assert found is not None
    return found


def test_a_box_that_was_sealed_short_names_the_box_that_holds_the_rest(floor: Floor) -> None:
    follow_up = sealed_short(floor)
    (rest,) = rests(floor, floor.box_101)
    assert (rest.code, rest.state, rest.parts_lacking, rest.load_code) == (follow_up, "open", 1, None)
    assert not rest.leaves_with(None)
    load = floor.plan(floor.box_101)
    assert not rests(floor, floor.box_101)[0].leaves_with(load)
    add_to_load(floor.database, read_code(load).number, read_code(follow_up).number, **floor.act())
    (rest,) = rests(floor, floor.box_101)
    assert (rest.load_code, rest.leaves, rest.leaves_with(load)) == (load, date(2027, 3, 4), True)
    floor.check()


def test_a_follow_up_box_of_items_alone_is_named_until_the_box_is_opened_again(floor: Floor) -> None:
    floor.pack_all()
    follow_up = floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="a pin is lost").follow_up
    assert [(rest.code, rest.parts_lacking) for rest in rests(floor, floor.box_101)] == [(follow_up, 0)]
    open_again(floor.database, Opening(box=1, reason="the pin was found"), **floor.act())
    assert rests(floor, floor.box_101) == []


def test_a_part_replaced_in_a_sealed_box_makes_that_box_short(floor: Floor) -> None:
    floor.seal_both()
    assert rests(floor, floor.box_101) == []
    replace_part(floor.database, read_code(floor.deck).number, "chipped", **floor.act())
    (rest,) = rests(floor, floor.box_101)
    assert (rest.parts_lacking, rest.load_code) == (1, None)


def test_a_load_of_which_a_box_was_sealed_short_lists_the_box_that_is_left_behind(floor: Floor) -> None:
    follow_up = sealed_short(floor)
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    assert [(box.code, box.behind) for box in missing(floor).boxes] == [(follow_up, None)]
    load = floor.plan(floor.box_101, floor.box_102)
    due, leaves = date(2027, 3, 5), date(2027, 3, 4)
    pages = [(missing(floor), due), (missing(floor, job_code="J-1"), due)]
    pages += [(on_loads(floor), leaves), (on_loads(floor, load), leaves)]
    for page, day in pages:
        (box,) = page.boxes
        assert (box.code, box.load, box.behind, box.follows) == (follow_up, None, load, floor.box_101)
        assert (box.listed_on, box.parts_lacking, box.uncounted) == (day, 1, 1)
    with floor.database.read() as connection:
        (kept,) = open_loads(connection, limit=5)
    assert (kept.short, kept.behind) == (0, 1)


def test_a_box_left_behind_stays_listed_when_it_is_sealed_until_it_is_on_a_load(floor: Floor) -> None:
    follow_up = sealed_short(floor)
    load = floor.plan(floor.box_101)
    floor.scan(floor.deck, "PACK-1")
    floor.seal(follow_up, {"spring pin 8 mm": 1})
    other, box = on_loads(floor).boxes
    assert (other.code, other.behind) == (floor.box_102, load)
    assert (box.code, box.lacking, box.state) == (follow_up, 0, "sealed")
    assert [box.code for box in missing(floor).boxes] == [floor.box_102]
    add_to_load(floor.database, read_code(load).number, read_code(follow_up).number, **floor.act())
    assert [box.code for box in on_loads(floor).boxes] == [floor.box_102]
    floor.check()


def test_who_plans_a_load_of_sealed_boxes_is_offered_the_rest_of_them_too(floor: Floor) -> None:
    follow_up = sealed_short(floor)
    with floor.database.read() as connection:
        offered = boxes_to_plan(connection, limit=10, sealed_only=True)
    assert [(box.code, box.completes) for box in offered] == [(floor.box_101, None), (follow_up, "101")]


def test_how_far_a_load_is_loaded_says_that_it_would_leave_short(floor: Floor) -> None:
    sealed_short(floor)
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(load, "SHIP-1")
    floor.scan(floor.box_101, "SHIP-1")
    with floor.database.read() as connection:
        found = loading_of(connection, read_code(load).number)
    assert (found.load.code, found.load.ship_on, found.on, found.boxes) == (load, date(2027, 3, 4), 1, 2)
    assert [box.completes for box in found.staying] == ["101"]
