"""Who carries a box, as boxes and plans tell it."""

from math import isfinite
from typing import Any

from marshmallow import Schema, fields

from tracker.shop.lifting import ASSUMED, LiftingMarks, lift_of_box, lifting_index, recommended_weight_limit_kg


class LiftingShape(Schema):
    """Who carries the box by the shop's marks.

    Beside it stands the advice of the NIOSH equation for one person, with what it assumes: the limit and the lifting
    index, null for a box that is too wide for the equation.
    """

    handling = fields.String()
    one_person_limit_kg = fields.Float()
    one_person_index = fields.Float(allow_none=True)
    assumptions = fields.List(fields.String())


def lifting_json(marks: LiftingMarks, mass_kg: float, length_mm: float, width_mm: float) -> dict[str, Any]:
    """Return what LiftingShape tells of a box of this mass and size."""
    index = lifting_index(mass_kg, length_mm, width_mm)
    return {
        "handling": marks.handling(mass_kg).value,
        "one_person_limit_kg": round(recommended_weight_limit_kg(lift_of_box(length_mm, width_mm)), 2),
        "one_person_index": round(index, 2) if isfinite(index) else None,
        "assumptions": list(ASSUMED),
    }
