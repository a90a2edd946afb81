"""Lengths, thicknesses and masses of board."""

from typing import Final

PARTICLE_BOARD_KG_M3: Final = 650.0
THIN_FIBREBOARD_KG_M3: Final = 800.0
THIN_BELOW_MM: Final = 8.0


def board_mass_kg(length_mm: float, width_mm: float, thickness_mm: float) -> float:
    """Return the planned mass of a panel in kg.

    A cut list names a material but no density, so two are assumed: 650 kg/m³ for melamine-faced particle board (a
    mill's EN 323 declaration for 18 mm) and 800 kg/m³ for thin fibreboard backs. Boards scatter by about 4 %.
    """
    density = THIN_FIBREBOARD_KG_M3 if thickness_mm < THIN_BELOW_MM else PARTICLE_BOARD_KG_M3
    return length_mm * width_mm * thickness_mm * density / 1e9
