"""The kitchens of the invented shop and one more, packed by its list of cartons: what a fitter finds in each box."""

from collections import defaultdict
from datetime import date
from io import BytesIO
from pathlib import Path

import pytest

from tracker.shop.cabinets.orders import Family
from tracker.shop.job_boxes import Packing, plan_boxes
from tracker.shop.lengths import Units
from tracker.shop.orders import Order
from tracker.shop.supplies import read_packing
from tracker.work.intake import read_order_table
from tracker.work.lists import shipped_standard

SEED = Path(__file__).parents[2] / "seed_data"
OWN = """cabinet,family,width,height,depth,fronts,hinge
1,base,300,876,580,door,left
2,base,500,876,580,4 drawers,
3,base,1000,876,580,doors,
4,wall,600,760,320,doors,
5,tall,450,2134,580,pantry,left
6,tall,600,2134,580,oven,left
7,filler,80,876,19,,
8,filler,80,760,19,,
9,end panel,19,876,600,,
"""
WIDE_MM = 800
SMALL = (Family.FILLER, Family.END_PANEL)


def kitchen(name: str) -> tuple[Order, Packing]:
    table = OWN.encode() if name == "own" else (SEED / f"{name}.csv").read_bytes()
    order = read_order_table(
        BytesIO(table),
        None,
        job="J-1",
        customer="Invented",
        due=date(2027, 3, 5),
        units=Units.INCH if name == "mill-lane" else Units.MM,
        standard=shipped_standard(),
    )
    return order, read_packing((SEED / "cartons.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", ["larch-court", "heron-street", "mill-lane", "quarry-road", "own"])
def test_a_cabinet_has_a_carton_of_its_own_where_40_kg_allow_it_a_wide_base_two_and_a_tall_three(name: str) -> None:
    order, packing = kitchen(name)
    boxes = plan_boxes(order.parts, order.items, packing)
    families = {own: design.cabinet.order for design in order.designs for own in design.names}
    homes = defaultdict(set)
    for box in boxes:
        assert box.size is not None
        assert box.size.mass_kg <= 40
        assert sum(families[own].family not in SMALL for own in box.cabinets) <= 1
        assert len(box.cabinets) <= 3
        for own in box.cabinets:
            homes[own].add(box.name)
    empty = min(carton.tare_kg for carton in packing.cartons) + packing.rules.bag_mass_kg
    masses = {own: design.cabinet.mass_kg + empty for design in order.designs for own in design.names}
    for own, cabinet in families.items():
        wide = cabinet.width_mm >= WIDE_MM
        most = 3 if cabinet.family is Family.TALL else 2 if wide or masses[own] > 40 else 1
        assert len(homes[own]) <= most, (own, masses[own])
