"""What a job is and what a box is, as the part of a sentence that says why something cannot be."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from tracker.shop.box_states import BoxState
from tracker.shop.job_states import JobStatus
from tracker.shop.saying import Said, say

_JOB: Final[Mapping[JobStatus, Said]] = MappingProxyType(
    {
        JobStatus.OPEN: say("is open"),
        JobStatus.HELD: say("is held"),
        JobStatus.SHIPPED: say("is shipped"),
        JobStatus.CANCELLED: say("is cancelled"),
    }
)
_CLOSED_BOX: Final[Mapping[BoxState, Said]] = MappingProxyType(
    {
        BoxState.SEALED: say("is already sealed"),
        BoxState.LOADED: say("is already loaded"),
        BoxState.SHIPPED: say("is already shipped"),
    }
)


def job_is(status: str) -> Said:
    """Return what a job of this status is: ``is held``."""
    return _JOB[JobStatus(status)]


def closed_box_is(state: BoxState) -> Said:
    """Return what a box of one of the CLOSED_STATES is: ``is already sealed``."""
    return _CLOSED_BOX[state]
