"""The shop's lists of cartons and boards, read from TOML with every fault named."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.boxing.values import KeepTogether
from tracker.shop.errors import InvalidInputError
from tracker.shop.lifting import LiftingMarks
from tracker.shop.supplies import read_boards, read_packing
from tracker.shop.toml_text import LONGEST_TEXT

CARTONS = """
units = "in"
layer_gap = 0.125
[[carton]]
name = "flat"
length = "36 1/4"
width = 25
height = 7
max_mass = 40
"""
BOARDS = """
kerf = 4
edge_to_edge = false
[[board]]
name = "oak"
material = "oak"
length = 2800
width = 2070
thickness = 19
grain = true
available = 3
"""


def faults_of(read: object, text: str) -> dict[str, str]:
    with pytest.raises(InvalidInputError) as refused:
        read(text)  # type: ignore[operator]
    return {fault.where["field"]: fault.what for fault in refused.value.faults}


def test_cartons_in_inches_are_kept_in_mm() -> None:
    packing = read_packing(CARTONS)
    (carton,) = packing.cartons
    assert (carton.length_mm, carton.width_mm) == pytest.approx((36.25 * 25.4, 635.0))
    assert (carton.tare_kg, carton.available) == (0.0, None)
    assert packing.rules.layer_gap_mm == pytest.approx(3.175)


def test_a_length_may_carry_a_unit_of_its_own() -> None:
    (carton,) = read_packing(CARTONS.replace("height = 7", 'height = "180 mm"')).cartons
    (stock,) = read_boards(BOARDS.replace("thickness = 19", "thickness = '3/4\"'")).stocks
    assert (carton.height_mm, stock.thickness_mm) == (180.0, 19.05)


def test_the_mass_of_a_box_and_the_mark_for_two_people_are_usual_until_the_shop_sets_them() -> None:
    usual, own = read_packing(CARTONS), read_packing(f"box_mass = 30\ntwo_people = 15\n{CARTONS}")
    assert (usual.rules.box_mass_kg, usual.marks) == (40, LiftingMarks(two_people_kg=25, trolley_kg=40))
    assert (own.rules.box_mass_kg, own.marks) == (30, LiftingMarks(two_people_kg=15, trolley_kg=30))


@pytest.mark.parametrize("keep", KeepTogether)
def test_a_shop_says_what_is_kept_together_and_cabinets_are_until_it_does(keep: KeepTogether) -> None:
    assert read_packing(CARTONS).rules.keep_together is KeepTogether.CABINET
    assert read_packing(f'keep_together = "{keep}"\n{CARTONS}').rules.keep_together is keep


def test_boards_carry_grain_number_and_the_way_of_cutting() -> None:
    boards = read_boards(BOARDS)
    (stock,) = boards.stocks
    assert (stock.grain, stock.available, stock.thickness_mm) == (True, 3, 19.0)
    assert (boards.rules.kerf_mm, boards.rules.trim_mm, boards.rules.guillotine) == (4.0, 10.0, False)
    assert boards.usual_mm == (2800.0, 2070.0)


def test_no_boards_may_be_listed_but_one_carton_must() -> None:
    assert read_boards("usual_length = 2500\nusual_width = 1250").usual_mm == (2500.0, 1250.0)
    assert "carton" in faults_of(read_packing, "layer_gap = 2")


@pytest.mark.parametrize(
    ("old", "new", "field"),
    [
        ("width = 25", "width = -25", "carton.1.width"),
        ("width = 25", "width = nan", "carton.1.width"),
        ("width = 25", 'width = "wide"', "carton.1.width"),
        ("width = 25", "", "carton.1.width"),
        ("width = 25", "width = true", "carton.1.width"),
        ("width = 25", "width = 1" + "0" * 400, "carton.1.width"),
        ("width = 25", "wdith = 25", "carton.1.wdith"),
        ("max_mass = 40", "max_mass = 40\ntare = 50", "carton.1.tare"),
        ("max_mass = 40", 'max_mass = "40 kg"', "carton.1.max_mass"),
        ("max_mass = 40", "max_mass = 40\navailable = 1.5", "carton.1.available"),
        ('name = "flat"', "name = 7", "carton.1.name"),
        ('name = "flat"', 'name = ""', "carton.1.name"),
        ("layer_gap = 0.125", "layer_gap = -1", "layer_gap"),
        ("layer_gap = 0.125", "gap = 1", "gap"),
        ('units = "in"', 'units = "ell"', "units"),
        ('units = "in"', 'units = "in"\nkeep_together = "all"', "keep_together"),
        ('units = "in"', 'units = "in"\nkeep_together = 3', "keep_together"),
        ('units = "in"', 'units = "in"\nbox_mass = 0', "box_mass"),
        ('units = "in"', 'units = "in"\ntwo_people = "many"', "two_people"),
        ("[[carton]]", "[[karton]]", "karton"),
    ],
)
def test_each_bad_value_of_a_carton_is_named(old: str, new: str, field: str) -> None:
    assert CARTONS.count(old) == 1
    assert field in faults_of(read_packing, CARTONS.replace(old, new))


@pytest.mark.parametrize(("old", "new"), [("available = 3", "available = -1"), ("grain = true", "grain = 1")])
def test_each_bad_value_of_a_board_is_named(old: str, new: str) -> None:
    assert f"board.1.{old.split(maxsplit=1)[0]}" in faults_of(read_boards, BOARDS.replace(old, new))


@pytest.mark.parametrize(
    "text", ["= x", "[" * 20_000, "kerf = 1" + "0" * 5_000, "a" * (LONGEST_TEXT + 1), "carton = 3", "carton = [1]"]
)
def test_what_is_no_list_is_refused(text: str) -> None:
    for read in (read_packing, read_boards):
        with pytest.raises(InvalidInputError):
            read(text)


@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text: str) -> None:
    for read in (read_packing, read_boards):
        try:
            read(text)
        except InvalidInputError:
            continue
