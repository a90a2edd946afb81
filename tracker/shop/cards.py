"""What the damaged card and a slot's code are about: the last single part that was read at their station.

Whatever the part was answered. After anything else that is neither a part nor a box nor a load, or when nothing was
read for ten minutes, they are about nothing.

A page (``pages/scanning/shown_part.js``) and the station program (``scanner_client/shown.py``) follow the same rule.
What they do not know, after a reload or a start, the server finds in the log.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

LASTS: Final = timedelta(minutes=10)


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One reading at a station: ``seq`` is its number in the log, ``part`` the number of the part that it was about.

    ``passing`` says that it was about a box or a load: what a card is about stays. ``card`` says that it was a card or
    a slot's code, and ``meant`` the reading before it that it was about, None where the device said the part.
    """

    seq: int
    at: datetime
    part: int | None = None
    passing: bool = False
    card: bool = False
    meant: int | None = None


def meant_at(at: datetime, before: Iterable[Read]) -> Read | None:
    """Return the reading that a card read ``at`` is about; ``before`` are the station's readings, the latest first."""
    for read in before:
        if at - read.at > LASTS or not (read.passing or read.part):
            return None
        if not read.passing:
            return read
        at = read.at
    return None


def changed_by(late: Read, meant: Read, after: Iterable[Read]) -> Read | None:
    """Return the first card that would have been about something else, had the ``late`` reading come in time.

    ``meant`` is the reading that a card is about right after the late one: that one itself, or another before it that
    it lets pass. ``after`` are the station's readings that were made after it, in the order of their times.
    """
    before = late
    for read in after:
        if read.card:
            said = read.part is not None and read.meant is None
            if not said and read.part != (meant.part if read.at - before.at <= LASTS else None):
                return read
        if not (read.passing or (read.card and read.part)):
            return None
        before = read
    return None
