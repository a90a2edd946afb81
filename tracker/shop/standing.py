"""What a job is and what a box is, as the part of a sentence that says why something cannot be."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.errors import ConflictError
from tracker.shop.job_states import STOPPED, JobStatus
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


def refuse_closed(box: str, state: BoxState) -> None:
    """Raise ConflictError for a box in one of the CLOSED_STATES; ``box`` is what it is called."""
    if state in CLOSED_STATES:
        raise ConflictError(say("Box %(box)s %(is_closed)s.", box=box, is_closed=_CLOSED_BOX[state]))


def refuse_stopped(box: str, job: str, status: JobStatus) -> None:
    """Raise ConflictError for a box whose job is held or cancelled; ``box`` is what it is called."""
    if status in STOPPED:
        so = job_is(status)
        told = say("Job %(job)s %(is_so)s: box %(box)s stays as it is. Ask the foreman.", job=job, is_so=so, box=box)
        raise ConflictError(told)
