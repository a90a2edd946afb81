"""From a designed cabinet to its guide: the parts with their letters and numbers, the bag, the steps, the cautions."""

from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.guide.cautions import general_cautions, lifted_by
from tracker.shop.cabinets.guide.parts_list import part_rows
from tracker.shop.cabinets.guide.steps import steps_of
from tracker.shop.cabinets.guide.values import Guide
from tracker.shop.errors import InvalidInputError, fault_at
from tracker.shop.written import mass_text


def guide_of(cabinet: Cabinet, *, one_person_kg: float) -> Guide:
    """Return the guide of a designed cabinet; what is heavier than ``one_person_kg`` is lifted by two, or with an aid.

    Raises InvalidInputError when the limit is not a mass.
    """
    if not 0 < one_person_kg < 1_000:
        fault = fault_at("one_person_kg", f"{one_person_kg:g} kg; wanted: more than 0, less than 1000")
        raise InvalidInputError("This is not a mass that one person lifts.", [fault])
    rows = part_rows(cabinet)
    return Guide(
        parts=rows,
        bag=tuple(item for item in cabinet.items if item.in_bag),
        steps=steps_of(cabinet, rows, one_person_kg),
        cautions=tuple(general_cautions(cabinet, one_person_kg)),
        mass_kg=cabinet.mass_kg,
        mass=mass_text(cabinet.mass_kg, cabinet.order.units),
        lifted_by=lifted_by(cabinet.mass_kg, one_person_kg),
        units=cabinet.order.units,
    )
