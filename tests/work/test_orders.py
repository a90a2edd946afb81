"""Taking an order: every piece its own code, planned boxes, all or nothing."""

from dataclasses import replace
from datetime import date

import pytest

from tests.floor import DECK, END, JOB, START, TOE_KICK, Floor
from tracker.records.box_contents import boxes_of_job
from tracker.records.jobs import list_jobs
from tracker.records.logged import last_change
from tracker.records.parts import parts_of_job
from tracker.shop.boxing.values import Carton, KeepTogether, PackingRules
from tracker.shop.codes import box_code, part_code
from tracker.shop.errors import ConflictError, InvalidInputError
from tracker.shop.job_boxes import Packing, plan_boxes
from tracker.shop.orders import ItemLine, Order
from tracker.work.orders import preview_order, take_order
from tracker.work.replace import replace_part


def test_each_piece_of_a_row_has_a_code_of_its_own(floor: Floor) -> None:
    floor.take("J-2", [replace(END, quantity=3)], items=())
    with floor.database.read() as connection:
        parts = parts_of_job(connection, floor.job("J-2").id, limit=10)
    assert len({part.code for part in parts}) == 3
    assert {part.name for part in parts} == {"End"}


def test_without_a_box_one_cabinet_is_one_box_and_a_named_box_may_hold_several(floor: Floor) -> None:
    boxed = [replace(DECK, box="A"), replace(END, box="A"), TOE_KICK]
    items = (ItemLine(box="A", item="pin", quantity=4), ItemLine(box="101", item="peg", quantity=1))
    floor.take("J-2", boxed, items=items)
    with floor.database.read() as connection:
        boxes = boxes_of_job(connection, floor.job("J-2").id, limit=10)
    assert [(box.name, box.cabinets, len(box.parts)) for box in boxes] == [
        ("A", ["101", "102"], 2),
        ("101", ["101"], 1),
    ]
    assert [(item.item, item.quantity) for item in boxes[0].items] == [("pin", 4)]
    assert [part.position for part in boxes[0].parts] == [1, 2]


def test_a_box_without_a_carton_is_planned_as_high_as_its_panels_lie_on_one_another(floor: Floor) -> None:
    box = floor.box(floor.box_101)
    assert (box.length_mm, box.width_mm, box.height_mm) == (564, 560, 18 + 18)
    assert box.mass_kg == pytest.approx(sum(floor.part(code).mass_kg for code in (floor.deck, floor.toe_kick)))


def test_rooms_and_drops_are_kept_with_parts_and_boxes_and_a_follow_up_box_goes_to_the_same_drop(floor: Floor) -> None:
    placed = [replace(each, room="kitchen", drop="north door") for each in (DECK, TOE_KICK)]
    floor.take("J-2", [*placed, END], items=())
    of_101, of_102 = (floor.box(box_code(number)) for number in (3, 4))
    assert (of_101.drop, of_101.rooms, of_101.parts[0].room) == ("north door", ["kitchen"], "kitchen")
    assert (of_102.drop, of_102.rooms, of_102.parts[0].drop) == (None, [], None)
    floor.scan(of_101.parts[0].code, "PACK-1")
    rest = floor.seal(of_101.code, {}, override="the truck waits").follow_up
    assert rest is not None
    assert floor.box(rest).drop == "north door"


@pytest.mark.parametrize("cartons", [False, True])
def test_an_order_that_fills_a_box_for_two_drops_is_refused(cartons: bool) -> None:
    parts = [replace(DECK, box="A", drop="north door"), replace(END, box="A")]
    with pytest.raises(InvalidInputError) as refused:
        plan_boxes(parts, [], _ROW if cartons else None)
    assert refused.value.faults[0].where == {"box": "A", "field": "drop"}
    assert "north door, none" in refused.value.faults[0].what


def test_planned_boxes_hold_what_goes_to_one_drop() -> None:
    parts = [DECK, replace(TOE_KICK, cabinet="103", drop="north door")]
    assert [box.drop for box in plan_boxes(parts, [], _ROW)] == ["", "north door"]


def test_a_dry_run_tells_both_counts_of_the_shops_way_and_of_the_fewest_boxes() -> None:
    parts = [replace(each, cabinet=name, quantity=4) for name in ("101", "102") for each in (TOE_KICK, DECK)]
    order = Order(job="J-2", customer="Invented", due=date(2027, 3, 5), parts=parts)
    roomy = replace(_ROW, cartons=(replace(_CARTON, height_mm=300),))
    own, fewest = preview_order(order, roomy).ways
    assert (own.keep_together, own.boxes, own.stopped_at_most, own.stopped_on_average) == ("cabinet", 2, 1, 1)
    assert (fewest.keep_together, fewest.boxes, fewest.stopped_at_most) == ("fewest boxes", 1, 2)
    gathered = replace(roomy, rules=replace(roomy.rules, keep_together=KeepTogether.FEWEST_BOXES))
    assert preview_order(order, gathered).ways == (fewest,)
    assert preview_order(order).ways == ()


def test_larger_panels_are_laid_first() -> None:
    (box,) = plan_boxes([replace(TOE_KICK, quantity=2), DECK], [])
    assert [piece.part for piece in box.pieces] == ["Deck", "Toe kick", "Toe kick"]


_CARTON = Carton(id="M", length_mm=700, width_mm=700, height_mm=60, max_mass_kg=100, tare_kg=1)
_ROW = Packing(cartons=(_CARTON,), rules=PackingRules(layer_gap_mm=0))


def test_planned_cartons_take_no_name_that_the_order_gives() -> None:
    parts = [replace(DECK, box="1"), replace(DECK, box="", part="Shelf"), replace(END, box="3")]
    assert [box.name for box in plan_boxes(parts, [], _ROW)] == ["1", "3", "2"]


def test_a_replacement_lies_in_the_old_ones_place_in_its_carton_and_has_none_in_a_follow_up_box(floor: Floor) -> None:
    parts = [replace(DECK, cabinet="201"), replace(TOE_KICK, cabinet="201")]
    order = Order(job="J-2", customer="Invented", due=date(2027, 3, 5), parts=parts)
    take_order(floor.database, order, **floor.act(), packing=_ROW)
    box, deck, toe_kick = box_code(3), part_code(4), part_code(5)
    place = floor.box(box).places[deck]
    again = part_code(replace_part(floor.database, 4, "chipped", **floor.act()))
    assert floor.box(box).places[again] == place
    for code in (again, toe_kick):
        assert floor.scan(code, "PACK-1").ok
    floor.seal(box)
    last = part_code(replace_part(floor.database, 5, "dropped", **floor.act()))
    follow_up = floor.box(floor.part(last).box.code)
    assert (follow_up.follows, follow_up.places) == (box, {})


def test_items_of_a_cabinet_lie_with_most_of_its_parts() -> None:
    own = [replace(DECK, box="A", part="Front")]
    rest = [replace(DECK, box="", part="Shelf", quantity=2)]
    boxes = plan_boxes([*own, *rest], [ItemLine(box=DECK.cabinet, item="pin", quantity=4)], _ROW)
    assert [(len(box.pieces), [item.item for item in box.items]) for box in boxes] == [(1, []), (2, ["pin"])]


def test_a_job_is_taken_once_and_a_refused_order_leaves_nothing(floor: Floor) -> None:
    with floor.database.read() as connection:
        before = last_change(connection)
    with pytest.raises(ConflictError, match="taken before"):
        floor.take(JOB)
    for code, customer in (("", "x"), ("a b", "x"), ("-x", "x"), ("J-3", " "), ("J-3", "a\tb")):
        order = Order(job=code, customer=customer, due=date(2027, 3, 5), parts=[DECK])
        with pytest.raises(InvalidInputError):
            take_order(floor.database, order, who="x", now=START)
    with floor.database.read() as connection:
        assert last_change(connection) == before
        assert len(list_jobs(connection, limit=10)) == 1
    floor.take("J-2", [END], items=())
    assert floor.job("J-2").parts_total == 1
    floor.check()
