"""The time of a reading: one that never goes back while readings wait, whatever is done to this computer's clock.

Readings that are sent together are put in order by their times, so all that wait must come from one clock. It is set by
the computer's clock at the start and whenever nothing waits, and counts on by itself between.
"""

import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Final

JUMPED_S: Final = 65.0  # more than the server takes for a slow way (a minute): somebody set the clock


def _wall() -> datetime:
    return datetime.now(UTC)


def _ticks() -> float:
    """Seconds that also pass while the computer sleeps; Windows' own monotonic clock counts those already."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


class SteadyClock:
    """Tells the time in UTC."""

    def __init__(self, *, wall: Callable[[], datetime] = _wall, ticks: Callable[[], float] = _ticks) -> None:
        self._wall = wall
        self._ticks = ticks
        self._start, self._from = wall(), ticks()

    def never_before(self, time_: datetime) -> None:
        """Do not go back behind a time: that of the last reading that an earlier run left."""
        if time_ >= self.now():
            self._start, self._from = time_ + timedelta(milliseconds=1), self._ticks()

    def now(self) -> datetime:
        """Return the time."""
        return self._start + timedelta(seconds=self._ticks() - self._from)

    def jump_s(self) -> float:
        """By how many seconds the computer's clock was put forward meanwhile; less than nothing: back."""
        ahead = (self._wall() - self.now()).total_seconds()
        return ahead if abs(ahead) >= JUMPED_S else 0.0

    def set_again(self) -> None:
        """Go by the computer's clock again: nothing waits that was timed by the old one.

        Little steps back are not followed: the server would take the next reading for an earlier one.
        """
        if self.jump_s() or self._wall() > self.now():
            self._start, self._from = self._wall(), self._ticks()
