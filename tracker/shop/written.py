"""Lengths and masses as a person of the shop reads them: millimetres, or inches in fractions as a rule shows them."""

from fractions import Fraction
from typing import Final

from tracker.shop.lengths import MM_PER_INCH, Units
from tracker.shop.saying import millimetres

KG_PER_POUND: Final = 0.45359237  # exactly, by the international pound of 1959
FINEST_INCH: Final = 32


def length_number(length_mm: float, units: Units) -> str:
    """Return a length without its unit: ``560.5``, ``19.05`` if it is thin, ``22 1/16`` to the nearest 1/32 in."""
    if units is Units.MM:
        return millimetres(length_mm)
    parts = round(Fraction(length_mm) / MM_PER_INCH * FINEST_INCH)
    whole, rest = divmod(abs(parts), FINEST_INCH)
    sign = "-" if parts < 0 else ""
    fraction = str(Fraction(rest, FINEST_INCH)) if rest else ""
    return sign + (" ".join(filter(None, (str(whole) if whole else "", fraction))) or "0")


def length_text(length_mm: float, units: Units) -> str:
    """Return a length with its unit."""
    return f"{length_number(length_mm, units)} {units.value}"


def size_text(lengths_mm: tuple[float, ...], units: Units) -> str:
    """Return lengths one times the other, with the unit once: ``564 × 560.5 × 19 mm``."""
    return f"{' × '.join(length_number(each, units) for each in lengths_mm)} {units.value}"


def mass_text(mass_kg: float, units: Units, *, digits: int = 0) -> str:
    """Return a mass in kg, or in lb where lengths are in inches."""
    if units is Units.MM:
        return f"{mass_kg:.{digits}f} kg"
    return f"{mass_kg / KG_PER_POUND:.{digits}f} lb"
