"""A mass as a scale types it or a packer writes it, in kilograms."""

import re
from typing import Final

from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.lengths import Units
from tracker.shop.written import KG_PER_POUND

_READING: Final = re.compile(r"\+?\s*([0-9]{1,5}(?:[.,][0-9]{1,4})?)\s*(kg|lb)?", re.ASCII | re.IGNORECASE)


def read_mass_kg(text: str, units: Units, unit: object = None) -> float:
    """Return the kilograms that a text says: ``23.45``, ``23,45 kg``, ``51.7 lb``.

    Without a unit in the text or in ``unit`` it is in the reader's own: kilograms with millimetres, pounds with inches.
    Raises InvalidInputError for anything else.
    """
    found = _READING.fullmatch(text.strip())
    if found is None or unit not in (None, "kg", "lb"):
        fault = Fault(where={"field": "mass"}, what="a number with at most four decimals, and kg or lb")
        raise InvalidInputError("That is no mass.", [fault])
    number = float(found[1].replace(",", "."))
    named = (found[2] or "").lower() or unit or unit_of(units)
    return number * KG_PER_POUND if named == "lb" else number


def unit_of(units: Units) -> str:
    """Return the unit of mass of whoever measures in these units."""
    return "lb" if units is Units.INCH else "kg"
