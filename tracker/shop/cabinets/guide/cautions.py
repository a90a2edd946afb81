"""What the guide warns of: what is heavy, what flies, what falls, and what is the work of another trade."""

from collections.abc import Iterator
from typing import Final

from tracker.shop.cabinets.assembly import needs_wall_fixing
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import Fronts
from tracker.shop.cabinets.panels import Part
from tracker.shop.lifting import Handling, LiftingMarks
from tracker.shop.saying import say
from tracker.shop.written import mass_text

EYES: Final = say("Wear eye protection when you drive pins or strike with a mallet.")
FIX: Final = say("Fix the cabinet to the structure of the building before you load it. Follow the local code.")
TRADES: Final = {
    Fronts.SINK: (say("The sink"), say("Water and drain: a licensed plumber connects them.")),
    Fronts.OVEN: (say("The oven"), say("Power and gas: a licensed electrician or gas fitter connects them.")),
}
LIFTERS: Final = {
    Handling.ONE_PERSON: say("one person"),
    Handling.TWO_PEOPLE: say("two people"),
    Handling.TROLLEY: say("two people and a trolley"),
}


def general_cautions(cabinet: Cabinet, marks: LiftingMarks) -> Iterator[str]:
    """Yield what stands before the first step."""
    mass = mass_text(cabinet.mass_kg, cabinet.order.units)
    two = say("Two people move this cabinet: put together it weighs %(mass)s.", mass=mass)
    trolley = say("Two people and a trolley move this cabinet: put together it weighs %(mass)s.", mass=mass)
    yield from _heavy(cabinet.mass_kg, marks, two, trolley)
    if needs_wall_fixing(cabinet):
        yield FIX
    if cabinet.order.fronts in TRADES:
        yield TRADES[cabinet.order.fronts][1]
    if any(joint.fastening is Fastening.PIN for joint in cabinet.joints):
        yield EYES


def cabinet_cautions(cabinet: Cabinet, marks: LiftingMarks) -> tuple[str, ...]:
    """What a step says that moves the whole cabinet."""
    mass = mass_text(cabinet.mass_kg, cabinet.order.units)
    two = say("Two people: the whole cabinet weighs %(mass)s.", mass=mass)
    trolley = say("Two people and a trolley: the whole cabinet weighs %(mass)s.", mass=mass)
    return _heavy(cabinet.mass_kg, marks, two, trolley)


def part_cautions(cabinet: Cabinet, part: Part, marks: LiftingMarks) -> tuple[str, ...]:
    """What a step says that moves one part."""
    mass = mass_text(part.mass_kg, cabinet.order.units)
    two = say("Two people: this part weighs %(mass)s.", mass=mass)
    trolley = say("Two people and a trolley: this part weighs %(mass)s.", mass=mass)
    return _heavy(part.mass_kg, marks, two, trolley)


def _heavy(mass_kg: float, marks: LiftingMarks, two: str, trolley: str) -> tuple[str, ...]:
    said = {Handling.ONE_PERSON: (), Handling.TWO_PEOPLE: (two,), Handling.TROLLEY: (trolley,)}
    return said[marks.handling(mass_kg)]
