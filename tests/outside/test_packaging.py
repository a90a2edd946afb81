"""What a carton bears, against data/packaging.json (McKee's simplified formula and stacks worked from it)."""

import json
from pathlib import Path
from typing import Any

import pytest

from tracker.shop.compression import GRAVITY_M_S2, box_compression_n, stack_levels

DATA: dict[str, Any] = json.loads((Path(__file__).parent / "data" / "packaging.json").read_text(encoding="utf-8"))
NEWTON_A_POUND = 4.4482216
MM_AN_INCH = 25.4


def test_mckees_formula_gives_the_worked_force_in_newton_and_in_pounds() -> None:
    in_inches, in_mm = DATA["mckee_simplified"]["examples"]
    length, width = in_inches["L_in"] * MM_AN_INCH, in_inches["W_in"] * MM_AN_INCH
    force = box_compression_n(in_mm["ECT_N_mm"], in_mm["h_mm"], length, width)
    assert force == pytest.approx(in_mm["BCT_N"], rel=1e-4)
    assert force / NEWTON_A_POUND == pytest.approx(in_inches["BCT_lb"], rel=1e-4)


@pytest.mark.parametrize("example", DATA["stack"]["examples"])
def test_a_stack_is_as_high_as_worked(example: dict[str, float]) -> None:
    assert stack_levels(example["BCT_kg"] * GRAVITY_M_S2, example["box_kg"], example["SF"]) == example["levels"]
