"""What a cabinet order becomes: checked against a cabinet worked by hand, the rules of the standard, and the marks."""

from collections import defaultdict
from dataclasses import replace

import pytest

from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, STANDARD_TEXT, designed, name_of, order
from tracker.shop.cabinets.design import Cabinet, design_cabinet, kind_of
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.cabinets.panels import Face, Feature, Work
from tracker.shop.cabinets.standard import CountByLength, Standard
from tracker.shop.cabinets.standard_reading import read_standard
from tracker.shop.errors import InvalidInputError

INCH = 25.4
SMALL_BASE = order("base", 18 * INCH, 34.5 * INCH, 18 * INCH, "drawer over door", "left")


# A base 18 x 18 in with one drawer over one door in 3/4 in board, worked by hand: common practice, no source.
def test_the_small_base_has_the_parts_of_the_hand_worked_one() -> None:
    names = {part.id for part in designed(SMALL_BASE).parts}
    carcass = {
        "Left end",
        "Right end",
        "Deck",
        "Toe kick",
        "Drawer stretcher",
        "Top",
        "Top nailer",
        "Bottom nailer",
        "Back",
    }
    box = {f"Drawer 1 {name}" for name in ("left side", "right side", "box front", "box back", "bottom", "front")}
    assert names == carcass | box | {"Door", "Shelf 1"}


def test_the_small_bases_horizontal_parts_are_16_and_a_half_inches_long() -> None:
    cabinet = designed(SMALL_BASE)
    for name in ("Deck", "Toe kick", "Drawer stretcher", "Top", "Top nailer", "Bottom nailer"):
        assert cabinet.part(name).length_mm == pytest.approx(16.5 * INCH), name


def pins_of(cabinet: Cabinet) -> dict[str, int]:
    return {item.item: item.quantity for item in cabinet.items if item.item.startswith("spring pin")}


def holes_of(cabinet: Cabinet, name: str, work: Work) -> list[Feature]:
    return [feature for feature in cabinet.part(name).features if feature.work is work]


@pytest.mark.parametrize(("nailer", "lying"), [("Top nailer", "Top"), ("Bottom nailer", "Deck")])
def test_two_8_mm_spring_pins_go_through_each_nailer_and_the_back_into_top_and_deck(nailer: str, lying: str) -> None:
    cabinet = designed(SMALL_BASE)
    assert pins_of(cabinet) == {"spring pin 8 mm": 4}
    for name, count in ((nailer, 2), ("Back", 4), (lying, 2)):
        assert [each.diameter_mm for each in holes_of(cabinet, name, Work.PIN_HOLE)] == [8.0] * count, name


@pytest.mark.parametrize(("nailer", "lying"), [("Top nailer", "Top"), ("Bottom nailer", "Deck")])
def test_a_spring_pin_is_as_long_as_the_holes_that_it_fills(nailer: str, lying: str) -> None:
    """Driven flush with the nailer, a pin ends where the hole in the edge before it ends."""
    cabinet = designed(SMALL_BASE)
    names = (nailer, "Back", lying)
    deep = {name: {each.depth_mm for each in holes_of(cabinet, name, Work.PIN_HOLE)} for name in names}
    assert deep[nailer] == {cabinet.part(nailer).thickness_mm}
    assert deep["Back"] == {cabinet.part("Back").thickness_mm}
    filled = sum(sum(depths) for depths in deep.values()) + STANDARD.carcass.play_mm
    assert filled == pytest.approx(STANDARD.pins.length_mm)


def test_without_a_top_short_pins_go_through_the_top_nailer_into_the_back_alone() -> None:
    """By hand: nailer and back are 19.05 and 6.35 mm thick, and a pin of 24 mm does not stand out of them."""
    cabinet = designed(order("base", 900, 876, 600, "sink", "pair"))
    assert pins_of(cabinet) == {"spring pin 8 mm": 2, "spring pin 8 × 24 mm": 2}
    assert [len(holes_of(cabinet, name, Work.PIN_HOLE)) for name in ("Top nailer", "Back", "Deck")] == [2, 4, 2]


def test_pins_go_through_all_walls_of_a_diagonal_corner_into_deck_and_top_and_through_its_backs_into_shelves() -> None:
    """By hand: two pins a wall and edge; no edge here is shorter than 192 mm, three times the inset."""
    cabinet = designed(order("diagonal corner", 914, 876, 600, "base", "left"))
    edges = {"Deck": 4, "Top": 4, "Fixed shelf 1": 2, "Fixed shelf 2": 2}
    for name, walls in edges.items():
        assert len(holes_of(cabinet, name, Work.PIN_HOLE)) == 2 * walls, name
    assert pins_of(cabinet) == {"spring pin 8 mm": 2 * sum(edges.values())}


def test_on_a_short_edge_of_a_diagonal_corner_one_pin_stands_in_the_middle_between_two_locks() -> None:
    deck = designed(order("diagonal corner", 500, 760, 160, "wall", "left")).part("Deck")
    pins, locks = (
        sorted(each.x_mm for each in deck.features if each.work is work and each.face is Face.L1)
        for work in (Work.PIN_HOLE, Work.LOCK_BORE)
    )
    assert pins == pytest.approx([(locks[0] + locks[1]) / 2])


def test_a_diagonal_corner_whose_pins_would_meet_its_locks_is_refused() -> None:
    """By hand: both would stand 32 mm from the end of the edge."""
    near = replace(STANDARD, pins=replace(STANDARD.pins, inset_mm=STANDARD.lock.inset_mm))
    with pytest.raises(InvalidInputError) as refused:
        design_cabinet(order("diagonal corner", 914, 876, 600, "base", "left"), near)
    assert refused.value.faults[0].where["rule"] == "pins.inset"
    assert design_cabinet(SMALL_BASE, near).parts, (
        "across a straight cabinet no lock is in the edge that the pins enter"
    )


def test_locks_cross_what_lies_across_slides_forward_and_nailers_upward_and_the_toe_kick_has_dowels() -> None:
    cabinet = designed(SMALL_BASE)
    ways = {joint.part: joint.slide for joint in cabinet.joints if joint.onto == "Left end" and any(joint.slide)}
    forward, upward = (0.0, -STANDARD.lock.slide_mm, 0.0), (0.0, 0.0, STANDARD.lock.slide_mm)
    lying = dict.fromkeys(("Deck", "Top", "Drawer stretcher"), forward)
    assert ways == lying | dict.fromkeys(("Bottom nailer", "Top nailer"), upward)
    kick = [joint for joint in cabinet.joints if joint.part == "Toe kick"]
    assert {(joint.onto, joint.fastening, joint.count) for joint in kick} == {
        ("Left end", Fastening.DOWEL, 2),
        ("Right end", Fastening.DOWEL, 2),
    }
    deep = holes_of(cabinet, "Toe kick", Work.DOWEL_HOLE)[0].depth_mm + STANDARD.dowels.face_depth_mm
    assert deep > STANDARD.dowels.length_mm, "or the dowel would keep the joint open"
    assert {item.quantity for item in cabinet.items if item.item == "dowel 8 × 30 mm"} == {4}


def hanging(value: str) -> Standard:
    return read_standard(STANDARD_TEXT.replace("# hanging = 25", f"hanging = {value}"))


def test_a_cabinet_that_its_locks_cannot_hang_is_refused_where_their_maker_says_what_they_hang() -> None:
    """By hand: two nailers with two locks at each end are eight."""
    wall, base = order("wall", 800, 760, 320, "open"), order("base", 800, 876, 600, "open")
    mass = designed(wall).mass_kg
    assert designed(wall).hanging_locks == 8
    assert designed(wall).lock_carries_kg is None
    assert design_cabinet(wall, hanging(str(mass / 8 + 0.1))).lock_carries_kg == pytest.approx(mass / 8 + 0.1)
    assert design_cabinet(base, hanging("0.1")).hanging_locks == 0
    with pytest.raises(InvalidInputError) as refused:
        design_cabinet(wall, hanging(str(mass / 8 - 0.1)))
    assert refused.value.faults[0].where["rule"] == "lock.hanging"


def test_a_blank_is_smaller_by_the_tape_of_each_edge_that_is_banded() -> None:
    """The tape of L1 and L2 adds to the width, that of W1 and W2 to the length: such is what the saw leaves to it."""
    cabinet = designed(SMALL_BASE)
    carcass_tape, front_tape = STANDARD.edging.carcass_tape_mm, STANDARD.edging.front_tape_mm
    end, door, back = (cabinet.part(name) for name in ("Left end", "Door", "Back"))
    assert (end.edges, back.edges, len(door.edges)) == (("L1",), (), 4)
    assert end.blank_mm == (end.length_mm, end.width_mm - carcass_tape)
    assert door.blank_mm == (door.length_mm - 2 * front_tape, door.width_mm - 2 * front_tape)
    assert back.blank_mm == (back.length_mm, back.width_mm)


def test_the_deck_of_a_diagonal_corner_weighs_what_its_outline_does() -> None:
    """The front runs at 45 degrees from one end's edge to that of the other; the area is by the shoelace formula."""
    width, depth = 900.0, 600.0
    deck = designed(order("diagonal corner", width, 876, depth, "base", "left")).part("Deck")
    low, high = deck.thickness_mm, width - deck.thickness_mm
    outline = [(low, low), (low + depth, low), (high, high - depth), (high, high), (low, high)]
    twice = sum(x * b - a * y for (x, y), (a, b) in zip(outline, outline[1:] + outline[:1], strict=True))
    assert deck.mass_kg == pytest.approx(twice / 2 * deck.thickness_mm * 1e-9 * deck.board.density)


def test_a_loose_shelf_has_its_clearance_at_both_ends() -> None:
    cabinet = designed(SMALL_BASE)
    shelf, deck = cabinet.part("Shelf 1"), cabinet.part("Deck")
    start = shelf.place.origin[0] - deck.place.origin[0]
    clearance = STANDARD.shelves.side_clearance_mm
    assert clearance > 0
    assert (start, deck.length_mm - start - shelf.length_mm) == pytest.approx((clearance, clearance))


@pytest.mark.parametrize("depth", [330, 580])
def test_the_holes_of_a_slide_lie_as_far_from_both_its_ends_as_the_lines_from_the_front(depth: float) -> None:
    cabinet = designed(order("base", 600, 876, depth, "3 drawers"))
    (length,) = {float(item.item.split()[2]) for item in cabinet.items if item.item.startswith("slide pair")}
    places = [point[1] for joint in cabinet.joints if joint.fastening is Fastening.SLIDE for point in joint.points]
    assert min(places) == pytest.approx(STANDARD.lines.setback_mm)
    assert max(places) <= length - STANDARD.lines.setback_mm


def test_the_back_stands_in_grooves_of_both_ends() -> None:
    cabinet = designed(SMALL_BASE)
    grooved = {joint.onto for joint in cabinet.joints if joint.part == "Back" and joint.fastening is Fastening.GROOVE}
    assert grooved == {"Left end", "Right end"}


def test_a_pulls_hole_is_three_sixteenths_of_an_inch_within_0_3_mm() -> None:
    cabinet = designed(SMALL_BASE)
    holes = [feature for part in cabinet.parts for feature in part.features if feature.work is Work.PULL_HOLE]
    assert len(holes) == 3, "the door's, and the drawer's through its front and the box front behind it"
    assert all(feature.diameter_mm == pytest.approx(3 / 16 * INCH, abs=0.3) for feature in holes)


@pytest.mark.parametrize("hinge", ["left", "right"])
@pytest.mark.parametrize(("family", "height", "depth"), [("base", 876, 600), ("wall", 760, 320)])
def test_a_doors_pull_is_across_from_its_hinges_and_at_the_end_that_the_hand_reaches(
    family: str, height: float, depth: float, hinge: str
) -> None:
    door = designed(order(family, 400, height, depth, "door", hinge)).part("Door")
    pull, cup = (
        next(door.from_side(each.face, each.x_mm, each.y_mm) for each in door.features if each.work is work)
        for work in (Work.PULL_HOLE, Work.HINGE_CUP)
    )
    assert (pull[0] > cup[0]) is (hinge == "left")
    assert abs(pull[0] - cup[0]) > door.width_mm / 2
    above = pull[2] - (door.place.origin[2] + door.length_mm / 2)
    assert (above > door.length_mm / 4) if family == "base" else (above < -door.length_mm / 4)


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_lines_have_32_mm_marks_tell_parts_apart_and_no_shelf_lies_on_a_hinge(ordered: CabinetOrder) -> None:
    check_all(designed(ordered))


def check_all(cabinet: Cabinet) -> None:
    check_lines_of_5_mm_holes_have_a_pitch_of_32_mm_and_hinge_cups_are_35_mm(cabinet)
    check_alike_parts_have_the_same_marks_and_others_do_not(cabinet)
    check_no_shelf_lies_on_a_hinge_plate(cabinet)


def check_lines_of_5_mm_holes_have_a_pitch_of_32_mm_and_hinge_cups_are_35_mm(cabinet: Cabinet) -> None:
    for part in cabinet.parts:
        columns = defaultdict(list)
        for feature in part.features:
            if feature.work is Work.LINE_HOLE:
                assert feature.diameter_mm == 5.0
                columns[round(feature.y_mm, 3)].append(feature.x_mm)
            if feature.work is Work.HINGE_CUP:
                assert feature.diameter_mm == 35.0
        for places in columns.values():
            for place in places:
                steps = (place - places[0]) / 32.0
                assert steps == pytest.approx(round(steps), abs=0.003)


def test_a_finish_names_the_board_of_the_fronts() -> None:
    ordered = CabinetOrder(
        cabinet="1", family=SMALL_BASE.family, width_mm=457, height_mm=876, depth_mm=600, fronts=SMALL_BASE.fronts,
        hinge=SMALL_BASE.hinge, finish="walnut",
    )  # fmt: skip
    cabinet = designed(ordered)
    assert {part.board.material for part in cabinet.parts if part.front} == {"walnut"}


@pytest.mark.parametrize(
    ("ordered", "field", "rule"),
    [
        (order("base", 175, 876, 600, "door", "left"), "width", "pins.inset"),
        (order("base", 250, 876, 600, "doors"), "width", "fronts.narrowest_door"),
        (order("base", 900, 876, 600, "door", "left"), "width", "fronts.widest_door"),
        (order("base", 600, 876, 230, "3 drawers"), "depth", "drawers.slide_lengths"),
        (order("base", 600, 500, 600, "5 drawers"), "height", "drawers.lowest"),
        (order("base", 600, 200, 600, "open"), "height", "carcass.nailer"),
        (order("base", 600, 876, 60, "open"), "depth", "lines.setback"),
        (order("wall", 2000, 760, 320, "open"), "width", None),
        (order("wall", 500, 2700, 320, "door", "left"), "height", "hinges.counts"),
        (order("tall", 600, 1400, 600, "pantry", "left"), "height", "fronts.pantry_split"),
        (order("tall", 600, 1100, 600, "oven", "left"), "height", "fronts.oven_opening"),
        (order("blind corner", 700, 876, 600, "blind left"), "width", "corner.blind"),
        (order("diagonal corner", 620, 876, 600, "base", "left"), "width", "fronts.narrowest_door"),
        (order("filler", 76, 760, 40), "depth", "boards.fronts.thickness"),
        (order("end panel", 40, 760, 600), "width", "boards.fronts.thickness"),
    ],
)
def test_what_cannot_be_built_is_refused_with_its_field_and_rule(
    ordered: CabinetOrder, field: str, rule: str | None
) -> None:
    if rule is None:
        assert designed(ordered).parts
        return
    with pytest.raises(InvalidInputError) as refused:
        designed(ordered)
    fault = refused.value.faults[0]
    assert (fault.where["field"], fault.where["rule"]) == (field, rule)
    assert any(letter.isdigit() for letter in fault.what) or "longer" in fault.what


def test_a_pull_longer_than_its_front_is_refused() -> None:
    long_pulls = read_standard(STANDARD_TEXT.replace("spacing = 0 ", "spacing = 400 "))
    for ordered in (order("wall", 500, 400, 320, "door", "left"), order("base", 350, 876, 600, "3 drawers")):
        with pytest.raises(InvalidInputError) as refused:
            design_cabinet(ordered, long_pulls)
        assert refused.value.faults[0].where["rule"] == "pulls.spacing"


def check_alike_parts_have_the_same_marks_and_others_do_not(cabinet: Cabinet) -> None:
    numbers = {part.id: tuple(mark.number for mark in cabinet.marks(part)) for part in cabinet.parts}
    kinds = {part.id: kind_of(part) for part in cabinet.parts}
    for one in cabinet.parts:
        for other in cabinet.parts:
            if one is other or not (numbers[one.id] or numbers[other.id]):
                continue
            if kinds[one.id] == kinds[other.id]:
                assert numbers[one.id] == numbers[other.id], f"{one.id} and {other.id} are alike"
            else:
                assert numbers[one.id] != numbers[other.id], f"{one.id} could be put where {other.id} belongs"


@pytest.mark.parametrize(
    ("ordered", "field"),
    [
        (order("base", 600, 876, 1_200, "doors"), "depth"),
        (order("diagonal corner", 1_100, 876, 600, "base", "left"), "width"),
        (order("blind corner", 1_100, 1_300, 600, "blind left"), "height"),
    ],
    ids=["deep", "wide", "high"],
)
def test_a_joint_that_is_too_long_is_refused_by_the_size_that_makes_it_so(ordered: CabinetOrder, field: str) -> None:
    counts = (CountByLength(up_to_mm=1_000, count=4),)
    short = replace(
        STANDARD, lock=replace(STANDARD.lock, counts=counts), screws=replace(STANDARD.screws, counts=counts)
    )
    with pytest.raises(InvalidInputError) as refused:
        design_cabinet(ordered, short)
    assert [fault.where for fault in refused.value.faults] == [{"field": field, "rule": "fasteners by length"}]


@pytest.mark.parametrize("family", ["diagonal corner", "base"])
def test_a_door_that_is_too_wide_is_told_to_be_a_pair_only_where_a_pair_can_hang(family: str) -> None:
    fronts = ("base", "left") if family == "diagonal corner" else ("door", "left")
    with pytest.raises(InvalidInputError) as refused:
        design_cabinet(order(family, 1_300 if family == "diagonal corner" else 900, 876, 450, *fronts), STANDARD)
    assert [("order a pair" in fault.what) for fault in refused.value.faults] == [family == "base"]


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_each_joints_number_stands_at_both_mating_sides(ordered: CabinetOrder) -> None:
    cabinet = designed(ordered)
    for joint in cabinet.joints:
        for own, side in ((joint.part, joint.side), (joint.onto, joint.onto_side)):
            assert any(mark.number == joint.number and mark.side is side for mark in cabinet.marks(cabinet.part(own)))


def test_both_marks_of_a_joint_stand_at_the_same_place() -> None:
    cabinet = designed(SMALL_BASE)
    deck, end = cabinet.part("Deck"), cabinet.part("Left end")
    (one,) = (mark for mark in cabinet.marks(deck) if mark.side is Face.W1)
    others = [mark for mark in cabinet.marks(end) if mark.number == one.number]
    assert len(others) == 2, "the top is like the deck, and may be swapped with it"
    here = deck.place.to_cabinet(one.along_mm, one.across_mm, deck.thickness_mm / 2)
    there = [end.place.to_cabinet(other.along_mm, other.across_mm, end.thickness_mm) for other in others]
    assert any(here == pytest.approx(each) for each in there)


def test_the_arrow_points_to_the_front_of_every_part() -> None:
    cabinet = designed(SMALL_BASE)
    assert {cabinet.front_side(cabinet.part(name)) for name in ("Left end", "Right end", "Deck", "Top")} == {Face.L1}
    assert {cabinet.front_side(cabinet.part(name)) for name in ("Door", "Toe kick", "Back")} == {Face.A}


@pytest.mark.parametrize("ordered", [each for each in ONE_OF_EACH if "drawer" in each.fronts], ids=name_of)
def test_a_drawers_pull_is_screwed_through_the_box_front_behind_its_front(ordered: CabinetOrder) -> None:
    cabinet = designed(ordered)
    shown = [part for part in cabinet.parts if part.id.startswith("Drawer ") and part.front]
    for front in shown:
        box = cabinet.part(f"{front.unit} box front")
        seen, behind = (
            [part.from_side(each.face, each.x_mm, each.y_mm) for each in part.features if each.work is Work.PULL_HOLE]
            for part in (front, box)
        )
        assert [(round(x, 3), round(z, 3)) for x, _y, z in seen] == [(round(x, 3), round(z, 3)) for x, _y, z in behind]
    (screws,) = (item for item in cabinet.items if item.item.startswith("drawer pull screw"))
    assert (screws.item, screws.quantity) == ("drawer pull screw 45 mm", len(shown))


def check_no_shelf_lies_on_a_hinge_plate(cabinet: Cabinet) -> None:
    plates = [point[2] for joint in cabinet.joints if joint.fastening is Fastening.HINGE for point in joint.points]
    for shelf in (part for part in cabinet.parts if part.name == "Shelf"):
        low, high = shelf.place.origin[2] - 2.5, shelf.place.origin[2] + shelf.thickness_mm
        assert all(plate + 16 < low or plate - 16 > high for plate in plates), shelf.id


@pytest.mark.parametrize("width", [500, 457.2, 610])
def test_equal_drawers_are_one_kind_though_their_measures_lie_at_half_a_digit(width: float) -> None:
    cabinet = design_cabinet(order("base", width, 876, 580, "5 drawers"), STANDARD)
    assert len({kind_of(part) for part in cabinet.parts if part.id.endswith("left side")}) == 1


@pytest.mark.parametrize(("width", "height", "depth"), [(600, 876, 120), (460, 876, 48), (870, 350, 534)])
def test_a_diagonal_corner_too_small_to_go_together_is_refused(width: float, height: float, depth: float) -> None:
    with pytest.raises(InvalidInputError) as refused:
        design_cabinet(order("diagonal corner", width, height, depth, "base", "left"), STANDARD)
    assert refused.value.faults[0].where["rule"]
