"""Tables of cabinets as they arrive: all that is wrong with any row is told in one answer."""

import io
from datetime import date

import pytest

from tracker.shop.errors import InvalidInputError
from tracker.shop.lengths import Units
from tracker.work.intake import read_order_table
from tracker.work.lists import shipped_standard

HEADER = "cabinet,family,width,height,depth,fronts,hinge"


def faults_of(*rows: str) -> list[tuple[int, str]]:
    file = io.BytesIO("\n".join([HEADER, *rows]).encode())
    with pytest.raises(InvalidInputError) as refused:
        read_order_table(
            file,
            None,
            job="J-1",
            customer="Invented",
            due=date(2027, 1, 4),
            units=Units.MM,
            standard=shipped_standard(),
        )
    return [(fault.where["line"], fault.where.get("column", "")) for fault in refused.value.faults]


def test_cells_rules_and_rows_that_are_too_long_are_told_together() -> None:
    found = faults_of(
        "101,base,600,876,600,doors,",
        "102,base,six hundred,876,600,doors,",
        "103,base,120,876,600,door,left",
        "104,base,600,876,600,doors,,more,and more",
    )
    assert found == [(3, "width"), (4, "width"), (5, "H")]


def test_a_table_of_nothing_but_long_rows_tells_them() -> None:
    assert faults_of("101,base,600,876,600,doors,,more", "102,base,600,876,600,doors,,more") == [(2, "H"), (3, "H")]
