"""Where a job stands."""

from enum import StrEnum
from typing import Final


class JobStatus(StrEnum):
    """Whether a job is worked on."""

    OPEN = "open"
    HELD = "held"
    SHIPPED = "shipped"
    CANCELLED = "cancelled"


UNFINISHED: Final = (JobStatus.OPEN, JobStatus.HELD)
STOPPED: Final = (JobStatus.HELD, JobStatus.CANCELLED)  # nothing of it is sealed or loaded
