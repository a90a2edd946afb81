"""The blocking graph itself, by cases that can be told by looking at them."""

from dataclasses import replace

from tests.outside.blocking import WAYS, blocking_graphs, groups_out_of
from tests.shop.cabinets.examples import ONE_OF_EACH, designed
from tracker.shop.cabinets.panels import BACK, LEFT, RIGHT, UP, Face, Feature, Part, Place, Vector, Work

SOME = designed(ONE_OF_EACH[0]).parts[0]
THICK = SOME.thickness_mm


def panel(name: str, origin: Vector, length: Vector, width: Vector, thickness: Vector, *features: Feature) -> Part:
    """A square panel of 200 mm."""
    place = Place(origin=origin, length=length, width=width, thickness=thickness)
    return replace(SOME, id=name, name=name, length_mm=200, width_mm=200, features=features, place=place)


def hole(work: Work, face: Face, x: float, y: float, depth: float, **more: float) -> Feature:
    return Feature(work=work, face=face, x_mm=x, y_mm=y, depth_mm=depth, **more)


MIDDLE = THICK / 2
BORE = hole(Work.LOCK_BORE, Face.W1, 100, MIDDLE, 24, diameter_mm=8)
LYING = panel("lying", (0, 0, 0), RIGHT, BACK, UP, BORE)


def upright(*features: Feature) -> Part:
    """It stands at the lying one's left edge, which meets the middle of its face."""
    return panel("upright", (-THICK, 0, 100 + MIDDLE), (0, 0, -1), BACK, RIGHT, *features)


def slot(dx: float, dy: float) -> Feature:
    return hole(Work.LOCK_SLOT, Face.A, 100, 100, 9, diameter_mm=6, dx_mm=dx, dy_mm=dy)


def ways_out(*parts: Part) -> set[str]:
    """The directions in which one of the panels leaves the rest, by the panel's name."""
    return {
        f"{name} {way}"
        for way, groups in groups_out_of(blocking_graphs(parts)).items()
        for group in groups
        for name in group
    }


def test_panels_that_only_touch_part_in_every_direction() -> None:
    found = ways_out(replace(LYING, features=()), upright())
    assert {each.split()[1] for each in found} == set(WAYS)
    assert "lying left" not in found, "that way it runs into the upright one"
    assert "upright right" not in found


def test_a_lock_alone_lets_go_the_way_it_came_and_no_other() -> None:
    """The head enters 4 mm above its rest, or 4 mm behind it."""
    assert ways_out(LYING, upright(slot(-4, 0))) == {"lying up", "upright down"}
    assert ways_out(LYING, upright(slot(0, 4))) == {"lying back", "upright front"}


def test_a_pin_through_the_face_into_the_edge_holds_what_the_lock_lets_go() -> None:
    pins = [hole(Work.PIN_HOLE, Face.A, 100, 60, THICK, diameter_mm=8)]
    edge = hole(Work.PIN_HOLE, Face.W1, 60, MIDDLE, 30, diameter_mm=8)
    pinned = replace(LYING, features=(BORE, edge))
    assert ways_out(pinned, upright(slot(-4, 0), *pins)) == set()


def test_what_holds_on_to_another_leaves_with_it() -> None:
    """Up, the lying panel comes out of the left one's slot and takes the right one along; back, it is the other way."""
    lying = replace(LYING, features=(BORE, hole(Work.LOCK_BORE, Face.W2, 100, MIDDLE, 24, diameter_mm=8)))
    right = panel("right", (200 + THICK, 0, -100 + MIDDLE), UP, BACK, LEFT, slot(0, 4))
    groups = groups_out_of(blocking_graphs([lying, upright(slot(-4, 0)), right]))
    assert groups == {
        "up": {frozenset({"lying", "right"})},
        "down": {frozenset({"upright"})},
        "back": {frozenset({"lying", "upright"})},
        "front": {frozenset({"right"})},
        "left": set(),
        "right": set(),
    }


def test_screwed_panels_are_one() -> None:
    screw = hole(Work.SCREW_HOLE, Face.A, 100, 60, THICK, diameter_mm=5)
    pilot = hole(Work.PILOT_HOLE, Face.W1, 60, MIDDLE, 25, diameter_mm=3)
    assert list(blocking_graphs([replace(LYING, features=(pilot,)), upright(screw)])["up"]) == ["lying + upright"]
