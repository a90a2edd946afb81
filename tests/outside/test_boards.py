"""Boards against published figures: data/boards.json (worked masses, EN 323, EN 316, system 32).

The file gives its own sources: one European mill's EN 323 declaration, EN 316 for fibreboard, a worked carcass.
"""

import json
from pathlib import Path

import pytest

from tests.shop.cabinets.examples import STANDARD, order
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.panels import Grain, Hand, Part, Place
from tracker.shop.cabinets.standard import Board
from tracker.shop.measures import board_mass_kg
from tracker.shop.supplies import Boards

CHECKS = json.loads((Path(__file__).parent / "data" / "boards.json").read_text())


def panel(length: float, width: float, thickness: float, density: float) -> Part:
    return Part(
        id="panel",
        name="panel",
        length_mm=length,
        width_mm=width,
        board=Board(material="board", thickness_mm=thickness, density=density, grained=False),
        grain=Grain.NONE,
        edges=(),
        tape_mm=0,
        hand=Hand.NONE,
        unit="",
        front=False,
        features=(),
        place=Place(origin=(0, 0, 0), length=(1, 0, 0), width=(0, 1, 0), thickness=(0, 0, 1)),
    )


@pytest.mark.parametrize("row", CHECKS["examples"], ids=str)
def test_a_square_metre_weighs_what_its_density_says(row: dict[str, float]) -> None:
    assert panel(1000, 1000, row["t_mm"], row["density"]).mass_kg == pytest.approx(row["kg_m2"])


@pytest.mark.parametrize("row", CHECKS["sheet_mass_kg"], ids=str)
def test_a_whole_board_weighs_what_is_worked_out(row: dict[str, float]) -> None:
    assert panel(row["l"], row["w"], row["t"], row["density"]).mass_kg == pytest.approx(row["kg"], abs=0.01)


def test_the_worked_carcass_weighs_what_its_parts_weigh() -> None:
    parts = CHECKS["cabinet_example"]["parts"]
    total = sum(board_mass_kg(length, width, thick) * count for _name, length, width, thick, count in parts)
    assert total == pytest.approx(CHECKS["cabinet_example"]["total_kg"], abs=0.001)


def test_the_shipped_standard_takes_a_declared_density_and_a_hardboard_that_is_none() -> None:
    thickness = round(STANDARD.boards.carcass.thickness_mm)
    assert STANDARD.boards.carcass.density == CHECKS["EN323_declared_P2_by_thickness"][str(thickness)]
    low, high = CHECKS["wet_process_fibreboard_EN316"]["mediumboard"]
    assert low <= STANDARD.boards.back.density <= high


def test_the_usual_board_is_one_that_mills_make() -> None:
    assert list(Boards().usual_mm) in CHECKS["sheets_mm"]


def test_the_lines_of_holes_are_those_of_system_32() -> None:
    published = CHECKS["system32"]
    lines = STANDARD.lines
    assert (lines.pitch_mm, lines.diameter_mm) == (published["hole_spacing_mm"], published["hole_diameter_mm"])
    end = design_cabinet(order("wall", 600, 760, 320, "open"), STANDARD).part("Left end")
    rows = {round(feature.y_mm, 6) for feature in end.features if feature.work == "line hole"}
    assert published["front_row_setback_mm"] in rows
