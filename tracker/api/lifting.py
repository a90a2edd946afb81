"""Who may lift a box, as boxes and plans tell it."""

from typing import Any

from marshmallow import Schema, fields

from tracker.shop.lifting import grade_lifting


class LiftingShape(Schema):
    """Who may lift the box by the NIOSH equation, with the assumptions."""

    handling = fields.String()
    one_person_limit_kg = fields.Float()
    two_persons_limit_kg = fields.Float()
    assumptions = fields.List(fields.String())


def lifting_json(mass_kg: float, length_mm: float, width_mm: float) -> dict[str, Any]:
    """Return what LiftingShape tells of a box of this mass and size."""
    grade = grade_lifting(mass_kg, length_mm, width_mm)
    return {
        "handling": grade.handling.value,
        "one_person_limit_kg": round(grade.one_person_limit_kg, 2),
        "two_persons_limit_kg": round(grade.two_persons_limit_kg, 2),
        "assumptions": grade.assumptions.printed(),
    }
