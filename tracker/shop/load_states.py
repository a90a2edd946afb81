"""Where a load stands."""

from enum import StrEnum


class LoadState(StrEnum):
    """Whether a load has left."""

    OPEN = "open"
    SHIPPED = "shipped"
