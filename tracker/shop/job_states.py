"""Where a job stands."""

from enum import StrEnum
from typing import Final

from tracker.shop.acts import Act


class JobStatus(StrEnum):
    """Whether a job is worked on."""

    OPEN = "open"
    HELD = "held"
    SHIPPED = "shipped"
    CANCELLED = "cancelled"


UNFINISHED: Final = (JobStatus.OPEN, JobStatus.HELD)
STOPPED: Final = (JobStatus.HELD, JobStatus.CANCELLED)  # nothing of it is sealed or loaded

# What an act on a job as a whole makes of it.
STATUS_AFTER: Final = {
    Act.HOLD: JobStatus.HELD,
    Act.RESUME: JobStatus.OPEN,
    Act.CANCEL: JobStatus.CANCELLED,
}
