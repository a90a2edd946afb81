"""From a designed cabinet to its guide: the parts with their letters and numbers, the bag, the steps, the cautions."""

from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.guide.cautions import general_cautions
from tracker.shop.cabinets.guide.parts_list import part_rows
from tracker.shop.cabinets.guide.steps import steps_of
from tracker.shop.cabinets.guide.values import Guide
from tracker.shop.lifting import LiftingMarks
from tracker.shop.written import mass_text


def guide_of(cabinet: Cabinet, marks: LiftingMarks) -> Guide:
    """Return the guide of a designed cabinet; ``marks`` say what is carried by two people or on a trolley."""
    rows = part_rows(cabinet)
    return Guide(
        parts=rows,
        bag=tuple(item for item in cabinet.items if item.in_bag),
        steps=steps_of(cabinet, rows, marks),
        cautions=tuple(general_cautions(cabinet, marks)),
        mass_kg=cabinet.mass_kg,
        mass=mass_text(cabinet.mass_kg, cabinet.order.units),
        lifted_by=marks.handling(cabinet.mass_kg),
        units=cabinet.order.units,
    )
