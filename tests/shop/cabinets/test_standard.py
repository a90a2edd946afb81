"""Construction standards: read from text, in either unit, and refused with every value that is at fault."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.shop.cabinets.examples import STANDARD, STANDARD_TEXT, order
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.standard_reading import read_standard
from tracker.shop.errors import InvalidInputError
from tracker.shop.toml_text import LONGEST_TEXT


def changed(old: str, new: str) -> str:
    assert STANDARD_TEXT.count(old) == 1, old
    return STANDARD_TEXT.replace(old, new)


def faults_of(text: str) -> dict[str, str]:
    with pytest.raises(InvalidInputError) as refused:
        read_standard(text)
    return {fault.where["field"]: fault.what for fault in refused.value.faults}


def test_the_shipped_standard_has_a_name_and_a_version() -> None:
    assert (STANDARD.name, STANDARD.version) == ("House standard", 2)


# Common practice, no source: 32 mm pitch, 5 mm holes, 35 mm cups.
def test_the_shipped_standard_keeps_the_trades_common_measures() -> None:
    assert (STANDARD.lines.pitch_mm, STANDARD.lines.diameter_mm) == (32.0, 5.0)
    assert STANDARD.hinges.cup_diameter_mm == 35.0
    assert STANDARD.boards.carcass.thickness_mm == pytest.approx(19.05)


def test_a_bare_number_is_in_the_units_of_the_standard_and_a_text_carries_its_own() -> None:
    text = changed('units = "mm"', 'units = "in"').replace("groove_depth = 8", "groove_depth = 0.25")
    for name, value in (("narrowest_door = 140", "narrowest_door = 5.5"), ("inset = 64", 'inset = "64 mm"')):
        text = text.replace(name, value)
    with pytest.raises(InvalidInputError):
        read_standard(text)  # the other bare numbers are now absurd, and are named
    assert read_standard(changed("groove_depth = 8", 'groove_depth = "1/4 in"')).carcass.groove_depth_mm == 6.35


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("groove_depth = 8", "groove_depth = 17", "carcass.groove_depth"),
        ('groove_distance = "3/4 in"', "groove_distance = 10", "carcass.groove_distance"),
        ("play = 0.5 ", "play = 2.4 ", "boards.back.thickness"),
        ("face_depth = 10 ", "face_depth = 18 ", "dowels.face_depth"),
        ("length = 30\nface", "length = 19\nface", "dowels.length"),
        ("diameter = 8\nlength = 30", "diameter = 16\nlength = 30", "dowels.diameter"),
        ("reveal = 3 ", "reveal = 30 ", "fronts.reveal"),
        ("narrowest_door = 140", "narrowest_door = 700", "fronts.narrowest_door"),
        ("slide = 4 ", "slide = 9 ", "lock.slide"),
        ("slot_width = 6", "slot_width = 9", "lock.slot_width"),
        ("cup_depth = 13", "cup_depth = 18", "hinges.cup_depth"),
        ("slide_lengths = [250, 300,", "slide_lengths = [300, 250,", "drawers.slide_lengths"),
        ("lowest = 70", "lowest = 20", "drawers.lowest"),
        ("depth = 13\nsetback", "depth = 19\nsetback", "lines.depth"),
        ("length = 50", "length = 30", "pins.length"),
        ("length = 50", "length = 400", "pins.length"),
        ("face_length = 30", "face_length = 40", "screws.face_length"),
        ("face_length = 30", "face_length = 20", "screws.face_length"),
        ("edge_length = 45", "edge_length = 10", "screws.edge_length"),
        ("edge_length = 45", "edge_length = 70", "screws.edge_length"),
        ("inset = 32", "inset = 2", "lock.inset"),
        ("bore_depth = 24", "bore_depth = 200", "lock.bore_depth"),
        ("slide_height = 46", "slide_height = 30", "drawers.slide_height"),
    ],
)
def test_a_standard_that_contradicts_itself_is_refused_by_the_value(old: str, new: str, field: str) -> None:
    assert field in faults_of(changed(old, new))


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("groove_depth = 8", "groove_depth = -8", "carcass.groove_depth"),
        ("groove_depth = 8", "groove_depth = nan", "carcass.groove_depth"),
        ("groove_depth = 8", "groove_depth = 1e308", "carcass.groove_depth"),
        ("groove_depth = 8", "groove_depth = 0", "carcass.groove_depth"),
        ("groove_depth = 8", "groove_depth = true", "carcass.groove_depth"),
        ("groove_depth = 8", 'groove_depth = "eight"', "carcass.groove_depth"),
        ("groove_depth = 8", "", "carcass.groove_depth"),
        ("# hanging = 25", "hanging = 0", "lock.hanging"),
        ("# hanging = 25", 'hanging = "25 kg"', "lock.hanging"),
        ("groove_depth = 8", "groove_depth = 8\ndepht = 3", "carcass.depht"),
        ("version = 2", "version = 0", "version"),
        ('name = "House standard"', 'name = ""', "name"),
        ('end = ["L1"]', 'end = ["L9"]', "edging.end"),
        ('units = "mm"', 'units = "cubit"', "units"),
        ("slide_lengths = [250, 300,", "slide_lengths = [250, true,", "drawers.slide_lengths.2"),
        ("slide_lengths = [250, 300,", "slide_lengths = 250 # [", "drawers.slide_lengths"),
        ('name = "House standard"', 'name = "House\\u0007"', "name"),
    ],
)
def test_each_value_that_is_no_measure_is_named(old: str, new: str, field: str) -> None:
    assert field in faults_of(changed(old, new))


def test_what_came_later_may_be_left_out_of_a_standard_of_old() -> None:
    """Its dowels are those that come with the program, and nothing is known of what its locks may carry."""
    head, _, rest = STANDARD_TEXT.partition("[dowels]")
    standard = read_standard(head + rest[rest.index("[pins]") :])
    assert standard.dowels == STANDARD.dowels
    assert standard.lock.hanging_kg is None
    assert read_standard(changed("# hanging = 25", "hanging = 25")).lock.hanging_kg == 25.0


@pytest.mark.parametrize("text", ["", "= nonsense", "a" * (LONGEST_TEXT + 1), "[" * 50_000, "boards = 3"])
def test_what_is_no_standard_is_refused(text: str) -> None:
    with pytest.raises(InvalidInputError):
        read_standard(text)


def test_a_toe_kick_that_would_stand_behind_the_back_is_refused_by_its_rule() -> None:
    standard = read_standard(changed('toe_setback = "3 in"', "toe_setback = 540"))
    with pytest.raises(InvalidInputError) as refused:
        design_cabinet(order("base", 600, 876, 580, "doors"), standard)
    assert [fault.where for fault in refused.value.faults] == [{"field": "depth", "rule": "carcass.toe_setback"}]


@given(st.floats(min_value=15.0, max_value=25.0), st.floats(min_value=3.0, max_value=10.0))
def test_any_board_thickness_either_builds_or_is_refused_in_words(carcass: float, back: float) -> None:
    head, _, rest = STANDARD_TEXT.partition('thickness = "3/4 in"')
    text = f"{head}thickness = {carcass!r}{rest}".replace('thickness = "1/4 in"', f"thickness = {back!r}", 1)
    try:
        standard = read_standard(text)
    except InvalidInputError:
        return
    cabinet = design_cabinet(order("base", 600, 876, 600, "drawer over door", "left"), standard)
    assert cabinet.part("Deck").length_mm == pytest.approx(600 - 2 * carcass)
    assert math.isfinite(cabinet.mass_kg)
