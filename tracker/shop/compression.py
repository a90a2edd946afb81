"""How much a carton bears when boxes stand on it."""

import math
from typing import Final

GRAVITY_M_S2: Final = 9.80665


def box_compression_n(edge_crush_n_mm: float, board_mm: float, length_mm: float, width_mm: float) -> float:
    """Return the force in N at which a carton gives way, from the edge crush of its board in N/mm and its sizes in mm.

    McKee's simplified formula: 5.87 · ECT · √(board thickness · perimeter). A new, dry carton in a press; damp, time
    and a bad stack take most of it away, hence the safety factor of ``stack_levels``.
    """
    return 5.87 * edge_crush_n_mm * math.sqrt(board_mm * 2 * (length_mm + width_mm))


def stack_levels(compression_n: float, box_mass_kg: float, safety_factor: float) -> int:
    """Return how many boxes of this mass in kg may stand one on the other; the lowest bears all the others.

    A safety factor from 3 (days, dry) to 5 (months, damp) is common practice, no source.
    """
    return 1 + int(compression_n / (safety_factor * box_mass_kg * GRAVITY_M_S2))
