"""Where a box stands, from empty to shipped."""

from enum import StrEnum
from typing import Final


class BoxState(StrEnum):
    """Where a box stands."""

    OPEN = "open"
    PACKING = "packing"
    PARTS_IN = "complete"  # as stored and in the calls; what a box lacks, shop.completeness says
    SEALED = "sealed"
    LOADED = "loaded"
    SHIPPED = "shipped"


CLOSED_STATES: Final = frozenset({BoxState.SEALED, BoxState.LOADED, BoxState.SHIPPED})


def filling_state(*, packed: int, parts_total: int) -> BoxState:
    """The state of a box that is not yet sealed, from how much is in. One of items alone is counted at the end."""
    if packed and packed == parts_total:
        return BoxState.PARTS_IN
    return BoxState.PACKING if packed else BoxState.OPEN
