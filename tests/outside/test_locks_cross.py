"""No part of a cabinet can slide out of the rest once its pins are in, judged by the blocking graph of its solids."""

from dataclasses import replace

import pytest
from hypothesis import given

from tests.examples import examples
from tests.outside.blocking import groups_that_can_leave, standing
from tests.shop.cabinets.examples import ONE_OF_EACH, buildable, designed, name_of, variant
from tracker.shop.cabinets.design import Cabinet, design_cabinet
from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.cabinets.panels import Work

NAMED = {"Drawer stretcher", "Sink rail"}  # nothing stands behind them


def check(cabinet: Cabinet) -> None:
    """All holds in six directions, but what is named as held by grip, which can slide back and no other way."""
    grip = set(cabinet.held_by_grip)
    assert grip <= NAMED
    assert grip == {part.id for part in standing(cabinet)} & NAMED
    rest = frozenset(part.id for part in standing(cabinet)) - grip
    for way, groups in groups_that_can_leave(cabinet).items():
        if grip and way == "back":
            assert groups == {frozenset({own}) for own in grip}
        elif grip and way == "front":
            assert {_panels(group) for group in groups} == {rest}, "all the rest slides off it"
        else:
            assert groups == set(), f"{way}: {groups}"


def _panels(group: frozenset[str]) -> frozenset[str]:
    return frozenset(own for name in group for own in name.split(" + "))


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_nothing_slides_out_of_a_cabinet_of_each_kind(ordered: CabinetOrder) -> None:
    check(designed(ordered))


@examples(8, deadline=None)
@given(buildable())
def test_nothing_slides_out_of_any_cabinet(ordered: CabinetOrder) -> None:
    check(designed(ordered))


@pytest.mark.parametrize("name", ["16 mm board", "back far in", "no play"])
@pytest.mark.parametrize("ordered", [ONE_OF_EACH[8], ONE_OF_EACH[13], ONE_OF_EACH[19]], ids=name_of)
def test_nothing_slides_out_of_a_cabinet_by_a_shops_own_standard(name: str, ordered: CabinetOrder) -> None:
    check(design_cabinet(ordered, variant(name)))


@pytest.mark.parametrize("ordered", [ONE_OF_EACH[2], ONE_OF_EACH[18]], ids=name_of)
def test_without_its_pins_a_cabinet_comes_apart(ordered: CabinetOrder) -> None:
    """So the pins are what the proof rests on; nothing else holds by chance."""
    cabinet = designed(ordered)
    parts = tuple(
        replace(part, features=tuple(each for each in part.features if each.work is not Work.PIN_HOLE))
        for part in cabinet.parts
    )
    assert any(groups_that_can_leave(replace(cabinet, parts=parts)).values())
