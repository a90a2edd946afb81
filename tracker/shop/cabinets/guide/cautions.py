"""What the guide warns of: what is heavy, what flies, what falls, and what is the work of another trade."""

from collections.abc import Iterator
from typing import Final

from tracker.shop.cabinets.assembly import needs_wall_fixing
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import Fronts
from tracker.shop.cabinets.panels import Part
from tracker.shop.lifting import Handling
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
    Handling.TWO_PERSONS: say("two people"),
    Handling.MACHINE: say("two people and a lifting aid"),
}


def lifted_by(mass_kg: float, one_person_kg: float) -> Handling:
    """Return who lifts a mass: one person up to the limit, two up to twice that, beyond it a lifting aid."""
    if mass_kg <= one_person_kg:
        return Handling.ONE_PERSON
    return Handling.TWO_PERSONS if mass_kg <= 2 * one_person_kg else Handling.MACHINE


def general_cautions(cabinet: Cabinet, limit: float) -> Iterator[str]:
    """Yield what stands before the first step."""
    mass = mass_text(cabinet.mass_kg, cabinet.order.units)
    two = say("Two people move this cabinet: put together it weighs %(mass)s.", mass=mass)
    aid = say("Two people and a lifting aid move this cabinet: put together it weighs %(mass)s.", mass=mass)
    yield from _heavy(cabinet.mass_kg, limit, two, aid)
    if needs_wall_fixing(cabinet):
        yield FIX
    if cabinet.order.fronts in TRADES:
        yield TRADES[cabinet.order.fronts][1]
    if any(joint.fastening is Fastening.PIN for joint in cabinet.joints):
        yield EYES


def cabinet_cautions(cabinet: Cabinet, limit: float) -> tuple[str, ...]:
    """What a step says that moves the whole cabinet."""
    mass = mass_text(cabinet.mass_kg, cabinet.order.units)
    two = say("Two people: the whole cabinet weighs %(mass)s.", mass=mass)
    aid = say("Two people and a lifting aid: the whole cabinet weighs %(mass)s.", mass=mass)
    return _heavy(cabinet.mass_kg, limit, two, aid)


def part_cautions(cabinet: Cabinet, part: Part, limit: float) -> tuple[str, ...]:
    """What a step says that moves one part."""
    mass = mass_text(part.mass_kg, cabinet.order.units)
    two = say("Two people: this part weighs %(mass)s.", mass=mass)
    aid = say("Two people and a lifting aid: this part weighs %(mass)s.", mass=mass)
    return _heavy(part.mass_kg, limit, two, aid)


def _heavy(mass_kg: float, limit: float, two: str, aid: str) -> tuple[str, ...]:
    said = {Handling.ONE_PERSON: (), Handling.TWO_PERSONS: (two,), Handling.MACHINE: (aid,)}
    return said[lifted_by(mass_kg, limit)]
