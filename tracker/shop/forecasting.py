"""When a job will be packed at the pace that the shop has kept: a plain estimate that says how it was reckoned.

The shop packs in the order of due dates, so a job is ready when its own parts and those of all jobs due before it are
packed. The pace is the number of parts packed a day over the last days, weekends and all, so that days of the calendar
can be counted on. Nothing is guessed: with too few days to go by there is no estimate.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from enum import StrEnum
from typing import Final

from tracker.shop.errors import refuse_faults

LOOK_BACK_DAYS: Final = 14  # two weeks: one weekend more or less does not tip the pace
LEAST_DAYS: Final = 3  # days on which something was packed; fewer say nothing about the next
FARTHEST_DAYS: Final = 3_650  # a date farther away than ten years is no estimate


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """How many parts the shop packed in how many days of the calendar."""

    parts: int
    days: int

    def __post_init__(self) -> None:
        faults = [("parts", "a whole number of parts above 0")] if self.parts < 1 else []
        faults += [("days", "a whole number of days above 0")] if self.days < 1 else []
        refuse_faults("pace", "", faults)

    @property
    def per_day(self) -> float:
        """Parts a day."""
        return self.parts / self.days

    def days_for(self, parts: int) -> int:
        """Return how many whole days ``parts`` take at this pace, a part of a day counted as one."""
        return -(-parts * self.days // self.parts)


def pace_of(packed: Mapping[date, int], *, today: date) -> Pace | None:
    """Return the pace from the parts packed each day, or None when too little is known.

    Looks at the LOOK_BACK_DAYS before ``today``, which is not over and does not count; a shop that began later is
    measured from its first day. Parts taken out again count against a day, which may be below 0.
    """
    seen = {day: count for day, count in packed.items() if 1 <= (today - day).days <= LOOK_BACK_DAYS}
    busy = [day for day, count in seen.items() if count > 0]
    total = sum(seen.values())
    if len(busy) < LEAST_DAYS or total < 1:
        return None
    return Pace(parts=total, days=(today - min(busy)).days)


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenJob:
    """A job that has not shipped: when it is due and how many of its parts are not packed yet."""

    id: int
    due: date
    parts_left: int
    held: bool = False

    def __post_init__(self) -> None:
        refuse_faults("job", str(self.id), [("parts_left", "0 or more parts")] if self.parts_left < 0 else [])


class Outlook(StrEnum):
    """What is to be expected of a job."""

    LATE = "late"  # due before today, and still here
    HELD = "held"  # nobody works on it, so no day can be named
    READY = "ready"  # all parts packed
    WILL_BE_LATE = "will_be_late"
    IN_TIME = "in_time"
    NOT_KNOWN = "not_known"


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What is to be expected of one job.

    ``ready_on`` is the day on which it would be packed at the pace, None where none can be named; ``days_late`` are the
    days since it was due, or that it will be late by, 0 for a job that is not.
    """

    job_id: int
    outlook: Outlook
    ready_on: date | None = None
    days_late: int = 0


def forecast(jobs: Sequence[OpenJob], pace: Pace | None, *, today: date) -> Iterator[Forecast]:
    """Say of each job what is to be expected; ``jobs`` are all open ones, in the order in which they are worked on."""
    ahead = 0
    for job in jobs:
        if not job.held:
            ahead += job.parts_left
        yield _forecast(job, ahead, pace, today)


def _forecast(job: OpenJob, ahead: int, pace: Pace | None, today: date) -> Forecast:
    ready_on = _ready_on(job, ahead, pace, today)
    if job.due < today:
        return Forecast(job_id=job.id, outlook=Outlook.LATE, ready_on=ready_on, days_late=(today - job.due).days)
    if job.held:
        return Forecast(job_id=job.id, outlook=Outlook.HELD)
    if job.parts_left == 0:
        return Forecast(job_id=job.id, outlook=Outlook.READY)
    if ready_on is None:
        return Forecast(job_id=job.id, outlook=Outlook.NOT_KNOWN)
    late_by = (ready_on - job.due).days
    outlook = Outlook.WILL_BE_LATE if late_by > 0 else Outlook.IN_TIME
    return Forecast(job_id=job.id, outlook=outlook, ready_on=ready_on, days_late=max(0, late_by))


def _ready_on(job: OpenJob, ahead: int, pace: Pace | None, today: date) -> date | None:
    """The day on which the last part is packed: work for one day is done today."""
    if pace is None or job.held or job.parts_left == 0:
        return None
    days = pace.days_for(ahead) - 1
    if days > FARTHEST_DAYS:
        return None
    return today + timedelta(days=days)
