"""Clocks that are wrong: how far a device's clock is off, and where its scans belong in time.

A device says with each request when it sent it. A request only ever arrives later than it was sent, so of several
requests the one that seems to have travelled least tells most (the same thought as the clock filter of RFC 5905,
section 10, which keeps the sample of the least delay). What a device read hours ago and sends now is late, not wrong.
A time that still cannot be, once the clock is put right, tells nothing of when the scan was made.

A clock that is ahead by 2 s or behind by a minute is wrong: ``log.at`` is put right, ``log.said_at`` keeps what the
device said. Without ``sent_at`` only scans from the future are noticed, and placed when they came.
"""

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Final

RIGHT_WITHIN: Final = timedelta(seconds=2)  # a clock ahead by more is wrong: nothing arrives before it is sent
LONGEST_WAY: Final = timedelta(minutes=1)  # a request that seems to travel longer comes from a clock that is slow
GOOD_FOR: Final = timedelta(minutes=15)  # then a clock is measured anew
MARGIN: Final = timedelta(days=1)  # a time by so much before the log begins, or ahead, cannot be
CALENDAR: Final = (datetime(2, 1, 1, tzinfo=UTC), datetime(9998, 12, 31, tzinfo=UTC))  # holds in every time zone
_NONE: Final = timedelta(0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Clock:
    """A device's clock. ``offset`` is what is added to its times; ``at`` is when that was measured.

    ``told`` says that the device tells when it sends, so that its clock is known well enough to be put right.
    ``said_at`` is the device's time of its latest scan that was placed by another time, ``placed_at`` that time.
    """

    offset: timedelta
    at: datetime
    told: bool = True
    said_at: datetime | None = None
    placed_at: datetime | None = None

    def __post_init__(self) -> None:
        if any(time is not None and time.tzinfo is None for time in (self.at, self.said_at, self.placed_at)):
            raise ValueError("a clock's times have an offset")

    @property
    def wrong(self) -> bool:
        """Whether the clock is ahead, or so far behind that no way of a request explains it."""
        return self.offset < -RIGHT_WITHIN or self.offset > LONGEST_WAY

    @property
    def ahead_s(self) -> float:
        """By how many seconds the clock is ahead; less than nothing: behind."""
        return -self.offset.total_seconds()


def measured(before: Clock | None, *, sent: datetime, received: datetime) -> Clock:
    """Return a device's clock after a request that it says it ``sent`` and that was ``received`` by the server's clock.

    A smaller difference than before is nearer to the truth. A greater one is the longer way of this request, unless it
    is greater by more than a request ever takes: then the clock was set meanwhile.
    """
    offset = received - sent
    if before is None or not before.told:
        return Clock(offset=offset, at=received)
    if offset < before.offset or offset > before.offset + LONGEST_WAY or received - before.at > GOOD_FOR:
        return replace(before, offset=offset, at=received)
    return before


def noticed(before: Clock | None, *, latest: datetime, received: datetime) -> Clock | None:
    """Return the clock of a device that does not say when it sent, from the time of its ``latest`` scan.

    Such a scan may have waited, so it proves nothing about a slow clock; one from the future proves a fast one. That is
    shown and no more: a single bad reading must not shift what is scanned after it.
    """
    offset = received - latest
    if offset < -RIGHT_WITHIN and (before is None or not before.told or received - before.at > GOOD_FOR):
        return Clock(offset=offset, at=received, told=False)
    if before is not None and not before.told and received - before.at > GOOD_FOR:
        return replace(before, offset=_NONE, at=received)
    return before


def waited(at: datetime, received: datetime) -> bool:
    """Whether a scan made ``at`` waited on its device before it was ``received``: no request travels that long."""
    return received - at > LONGEST_WAY


def put_right(clock: Clock | None, said_at: datetime) -> datetime:
    """Return what a device's time means once its clock is put right, where it is known well enough for that."""
    if clock is None or not clock.told or not clock.wrong:
        return in_calendar(said_at)
    try:
        return in_calendar(said_at + clock.offset)
    except OverflowError:
        return CALENDAR[0] if clock.offset < _NONE else CALENDAR[1]


def in_calendar(time: datetime) -> datetime:
    """Return a time, or the nearest one that can be told in every time zone."""
    return min(max(time, CALENDAR[0]), CALENDAR[1])


def can_be(time: datetime, *, began: datetime, received: datetime) -> bool:
    """Whether something can have happened then that was ``received`` by a log that ``began`` with its first row."""
    return began - MARGIN < time <= received + MARGIN


def placed(clock: Clock | None, said_at: datetime, *, received: datetime, began: datetime) -> datetime | None:
    """Return the time by which a scan takes its place: by the clock put right, and never in the future.

    What a device with a wrong clock scanned later is never placed before what it scanned earlier. None where the time
    cannot be, even so: then nobody knows more than when the scan arrived.
    """
    right = put_right(clock, said_at)
    if not can_be(right, began=began, received=received):
        return None
    if clock is not None and clock.told and clock.wrong and clock.said_at is not None and clock.placed_at is not None:
        right = max(right, clock.placed_at) if said_at >= clock.said_at else right
    return min(right, received)


def after_placing(clock: Clock, said_at: datetime, at: datetime) -> Clock:
    """Return the clock with a scan remembered that was just placed ``at`` another time than it said."""
    if clock.said_at is not None and said_at < clock.said_at:
        return clock
    return replace(clock, said_at=said_at, placed_at=at)
