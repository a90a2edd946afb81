"""The boxes that are not complete, in the order in which they leave, with where each missing part is."""

from dataclasses import replace
from datetime import date

from tests.floor import Floor, scan_of
from tracker.records import missing_lists
from tracker.records.missing_lists import SCREEN, MissingPage, Owed, missing_on_loads, open_loads
from tracker.records.parts import LastSeen
from tracker.shop.codes import read_code
from tracker.shop.orders import Order, PartLine
from tracker.shop.scans import Action
from tracker.work.count import Counting, count_item
from tracker.work.jobs import cancel_job, hold_job
from tracker.work.loads import plan_load
from tracker.work.orders import take_order
from tracker.work.replace import replace_part
from tracker.work.scanning.batch import Sender, take_scans


def page(floor: Floor, **asked: object) -> MissingPage:
    with floor.database.read() as connection:
        return missing_lists.missing_page(connection, **asked)  # type: ignore[arg-type]  # as the tests name them


def codes(found: MissingPage) -> list[str]:
    return [box.code for box in found.boxes]


def take(floor: Floor, job: str, due: date, parts: int = 1, *, boxes: int = 1) -> None:
    lines = [
        PartLine(cabinet=f"{job}-{number}", part="End", quantity=parts, length_mm=720, width_mm=560, thickness_mm=18)
        for number in range(boxes)
    ]
    order = Order(job=job, customer="Invented", due=due, parts=lines)
    take_order(floor.database, order, who="office", now=floor.tick())


def test_a_box_leaves_with_its_load_and_else_when_its_job_is_due(floor: Floor) -> None:
    take(floor, "J-2", date(2027, 3, 3))  # box 3, due before the load of the 4th
    take(floor, "J-3", date(2027, 3, 5), boxes=2)  # boxes 4 and 5, due with J-1
    load = floor.plan(codes(page(floor, job_code="J-3"))[1])
    found = page(floor)
    assert [(box.name, box.leaves.day, box.load_code) for box in found.boxes] == [
        ("J-2-0", 3, None),
        ("J-3-1", 4, load),
        ("101", 5, None),
        ("102", 5, None),
        ("J-3-0", 5, None),
    ]
    assert found.next is None


def test_each_missing_part_says_what_it_waits_for_and_where_when_and_by_whom_it_was_seen(floor: Floor) -> None:
    cut_at = floor.tick()
    floor.scan(floor.deck, "CUT-1", at=cut_at)
    floor.scan(floor.toe_kick, "CUT-1", action=Action.DAMAGED)
    found = page(floor)
    first = found.boxes[0]
    deck, toe_kick = first.parts
    assert (deck.name, deck.step, deck.last_seen) == (
        "Deck",
        "machine",
        LastSeen(station="CUT-1", at=cut_at, slot=None),
    )
    assert found.who[deck.id] == "tester"
    assert (toe_kick.damaged, toe_kick.step) == (True, "cut")
    assert [(item.item, item.quantity, item.counted) for item in first.items] == [("spring pin 8 mm", 2, None)]
    assert first.lacking == 3
    unseen = page(floor).boxes[1].parts[0]
    assert unseen.last_seen is None


def test_the_last_who_is_that_of_the_last_scan_also_when_it_was_refused(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.deck, "SHIP-1")  # refused, but it says where the part is
    found = page(floor)
    deck = found.boxes[0].parts[0]
    assert deck.last_seen is not None
    assert (deck.last_seen.station, deck.step, found.who[deck.id]) == ("SHIP-1", "machine", "tester")


def test_of_two_who_scanned_a_part_at_one_moment_the_place_and_the_name_are_those_of_the_same_one(floor: Floor) -> None:
    at = floor.tick()
    for who, station in (("Ada", "CUT-1"), ("Bo", "MACHINE-1")):
        take_scans(floor.database, [scan_of(floor.deck, station, at)], Sender(name=who), floor.clock)
    found = page(floor)
    deck = found.boxes[0].parts[0]
    assert deck.last_seen is not None
    assert (deck.code, deck.last_seen.station, found.who[deck.id]) == (floor.deck, "MACHINE-1", "Bo")


def test_complete_boxes_and_jobs_that_are_cancelled_are_not_listed(floor: Floor) -> None:
    take(floor, "J-2", date(2027, 3, 3))
    cancel_job(floor.database, "J-2", **floor.act())
    floor.seal_both()
    assert codes(page(floor)) == []
    floor.check()


def test_a_sealed_box_of_which_a_part_was_found_damaged_lacks_it(floor: Floor) -> None:
    floor.seal_both()
    floor.scan(floor.deck, "PACK-1", action=Action.DAMAGED)
    (box,) = page(floor).boxes
    assert (box.code, box.state, [part.name for part in box.parts]) == (floor.box_101, "sealed", ["Deck"])


def test_held_jobs_stay_on_the_list_and_say_so(floor: Floor) -> None:
    hold_job(floor.database, "J-1", **floor.act())
    assert [box.held for box in page(floor).boxes] == [True, True]


def test_the_pages_one_after_another_list_every_box_once_and_in_order(floor: Floor) -> None:
    for number in range(2, 9):
        take(floor, f"J-{number}", date(2027, 3, 1 + number % 3), 3, boxes=9)
    every = [f"B{number}" for number in range(3, 66)]
    on_load = [box.code for box in page(floor, job_code="J-4").boxes][:4]
    floor.plan(*on_load)
    seen: list[tuple[date, int, int]] = []
    found = page(floor)
    while True:
        assert len(found.boxes) <= SCREEN.boxes
        assert sum(box.lacking for box in found.boxes) <= SCREEN.rows
        seen += [(box.listed_on, box.job.id, box.id) for box in found.boxes]
        if found.next is None:
            break
        found = page(floor, after=found.next)
    assert seen == sorted(seen)
    assert len({box_id for *_, box_id in seen}) == len(seen) == len(every) + 2


def test_a_job_and_a_load_can_be_asked_for_alone(floor: Floor) -> None:
    take(floor, "J-2", date(2027, 3, 3))
    load = floor.plan(floor.box_102)
    assert codes(page(floor, job_code="J-1")) == [floor.box_102, floor.box_101]
    with floor.database.read() as connection:
        for asked in (read_code(load).number, None):  # box 101 stays behind
            assert codes(missing_on_loads(connection, load_id=asked)) == [floor.box_101, floor.box_102]
    assert codes(page(floor, job_code="none")) == []


def test_a_box_that_lacks_very_much_says_how_much_more_than_is_listed(floor: Floor) -> None:
    most = SCREEN.rows_a_box
    assert most is not None
    take(floor, "J-2", date(2027, 3, 1), most + 7)
    found = page(floor)
    first = found.boxes[0]
    assert (len(first.parts), first.more, first.lacking) == (most, 7, most + 7)


def test_a_load_says_how_many_of_its_boxes_lack_something_are_unsealed_or_are_on_it(floor: Floor) -> None:
    take(floor, "J-2", date(2027, 3, 3))
    third = codes(page(floor, job_code="J-2"))[0]
    for code in (floor.deck, floor.toe_kick):
        floor.scan(code, "PACK-1")
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_101, floor.box_102, third)
    floor.scan(load, "SHIP-1")
    assert floor.scan(floor.box_102, "SHIP-1").ok
    for short, unsealed in ((2, 0), (1, 1)):  # before the items of box 101 are counted, and after
        with floor.database.read() as connection:
            (found,) = open_loads(connection, limit=5)
        assert (found.code, found.boxes, found.short, found.unsealed, found.on_it) == (load, 3, short, unsealed, 1)
        counting = Counting(box=1, item="spring pin 8 mm", count=2)
        count_item(floor.database, counting, **floor.act())


def test_a_box_on_its_load_of_which_a_part_was_found_damaged_is_told_once_as_lacking(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    for code in (load, floor.box_101, floor.box_102):
        assert floor.scan(code, "SHIP-1").ok
    floor.scan(floor.end, "PACK-1", action=Action.DAMAGED)
    with floor.database.read() as connection:
        (found,) = open_loads(connection, limit=5)
    assert (found.boxes, found.short, found.unsealed, found.on_it) == (2, 1, 0, 1)


def test_a_box_of_which_only_the_items_are_not_counted_is_not_complete(floor: Floor) -> None:
    floor.pack_all()
    (box,) = page(floor).boxes
    assert (box.code, box.state, box.parts, box.lacking) == (floor.box_101, "complete", [], 1)
    assert [(each.item, each.quantity) for each in box.items] == [("spring pin 8 mm", 2)]


def test_by_load_stands_every_box_that_stays_behind_it_under_the_first_load_of_its_job(floor: Floor) -> None:
    floor.pack_all()
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_102)
    with floor.database.read() as connection:
        for asked in (None, read_code(load).number):
            (found,) = missing_on_loads(connection, load_id=asked).boxes
            assert (found.code, found.load, found.behind, found.uncounted) == (floor.box_101, None, load, 1)
        (kept,) = open_loads(connection, limit=5)
    assert kept.behind == len(floor.staying(load)) == 1
    floor.plan(floor.box_101)
    with floor.database.read() as connection:
        assert [each.behind for each in open_loads(connection, limit=5)] == [0, 0]


def test_a_box_that_loads_left_behind_is_owed_since_the_first_of_them_left(floor: Floor) -> None:
    take(floor, "J-2", date(2027, 3, 3), boxes=3)
    boxes = codes(page(floor, job_code="J-2"))
    loads, left_at = [], []
    for number, code in enumerate(boxes[:2], start=1):
        floor.scan(floor.box(code).parts[0].code, "PACK-1")
        floor.seal(code)
        loads.append(floor.plan(code))
        for each in (loads[-1], code):
            floor.scan(each, "SHIP-1")
        floor.ship(loads[-1], *boxes[number:])
        left_at.append(floor.clock)
    (last,) = page(floor, job_code="J-2").boxes
    assert (last.code, last.owed) == (boxes[2], Owed(load=loads[0], since=left_at[0]))
    assert left_at[0] < left_at[1]
    assert [box.owed for box in page(floor, job_code="J-1").boxes] == [None, None]


def ship_box(floor: Floor, code: str, *, ship_on: date, leaving: list[str]) -> str:
    """Let a box leave alone; return its load."""
    floor.scan(floor.box(code).parts[0].code, "PACK-1")
    floor.seal(code)
    load = plan_load(floor.database, [read_code(code).number], ship_on, **floor.act())
    for each in (load, code):
        floor.scan(each, "SHIP-1")
    floor.ship(load, *leaving)
    return load


def test_the_rest_of_a_box_is_owed_since_others_of_its_job_left_whether_it_was_a_box_then_or_not(floor: Floor) -> None:
    load = ship_box(floor, floor.box_102, ship_on=date(2027, 3, 4), leaving=[floor.box_101])
    left_at = floor.clock
    floor.scan(floor.deck, "PACK-1")
    rest = floor.seal(floor.box_101, {"spring pin 8 mm": 2}, override="the toe kick is late").follow_up
    floor.tick()
    replace_part(floor.database, 3, "split on site", **floor.act())
    first, second = page(floor).boxes
    assert (first.code, second.follows) == (rest, floor.box_102)
    assert first.owed == second.owed == Owed(load=load, since=left_at)
    assert floor.job().boxes.owed == 3, "the board counts the same boxes, and the sealed one"


def test_an_owed_box_stands_where_it_should_have_left_and_one_that_is_planned_anew_by_its_load(floor: Floor) -> None:
    take(floor, "J-2", date(2027, 3, 2))
    take(floor, "J-3", date(2027, 3, 20), boxes=3)
    take(floor, "J-4", date(2027, 3, 4))
    late, soon, gone = codes(page(floor, job_code="J-3"))
    ship_box(floor, gone, ship_on=date(2027, 3, 3), leaving=[late, soon])

    def listed(**asked: object) -> list[tuple[str, int]]:
        return [(box.code, box.listed_on.day) for box in page(floor, **asked).boxes if box.job.code != "J-1"]

    j2, j4 = codes(page(floor, job_code="J-2"))[0], codes(page(floor, job_code="J-4"))[0]
    assert listed() == [(j2, 2), (late, 3), (soon, 3), (j4, 4)]
    plan_load(floor.database, [read_code(late).number], date(2027, 3, 9), **floor.act())
    assert listed() == [(j2, 2), (soon, 3), (j4, 4), (late, 9)]
    assert listed(job_code="J-3") == [(soon, 3), (late, 9)]
    bounds = replace(SCREEN, boxes=1)
    read, after = [], None
    for _ in range(6):
        found = page(floor, bounds=bounds, after=after)
        read += codes(found)
        after = found.next
    assert (read, after) == (codes(page(floor)), None)


def test_a_box_of_a_job_that_was_due_before_its_first_load_left_stays_where_it_was_due(floor: Floor) -> None:
    ship_box(floor, floor.box_102, ship_on=date(2027, 3, 9), leaving=[floor.box_101])
    assert [box.listed_on.day for box in page(floor).boxes] == [5]
