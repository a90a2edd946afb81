"""What to do next, from what waits and what the server last said: a pure function."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from scanner_client.queue import Reading

LARGEST_BATCH: Final = 100
FIRST_PAUSE_S: Final = 0.5
LONGEST_PAUSE_S: Final = 15.0


class Heard(StrEnum):
    """What became of the last sending."""

    NOTHING = "nothing"  # nothing was sent yet
    ANSWERS = "answers"
    AWAY = "away"  # no answer, or one that makes no sense: try again
    REFUSED = "refused"  # the server will not take this batch as it is
    UNKNOWN_TOKEN = "unknown token"  # noqa: S105 - a state, no password


@dataclass(frozen=True, slots=True, kw_only=True)
class Last:
    """The last sending: what was heard, how many were sent, how often in a row the server was away."""

    heard: Heard = Heard.NOTHING
    sent: int = 0
    failures: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Send:
    """Send these, in order."""

    readings: Sequence[Reading]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """This one alone was refused: keep it, with the reason, and go on with the rest."""

    reading: Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """Do nothing for so many seconds; None: until there is a reading."""

    seconds: float | None


def next_step(waiting: Sequence[Reading], last: Last, *, paused: bool, jitter: float) -> Send | SetAside | Wait:
    """Decide the next step. ``paused`` says that the pause after a failure is over; ``jitter`` is from 0 to 1.

    A refused batch is halved until the reading that spoils it is alone.
    """
    if not waiting:
        return Wait(seconds=None)
    if last.heard is Heard.REFUSED:
        return SetAside(reading=waiting[0]) if last.sent <= 1 else Send(readings=waiting[: last.sent // 2])
    if last.heard in (Heard.AWAY, Heard.UNKNOWN_TOKEN) and not paused:
        pause = min(LONGEST_PAUSE_S, FIRST_PAUSE_S * 2 ** min(last.failures - 1, 10))
        return Wait(seconds=pause * (0.75 + 0.5 * jitter))
    return Send(readings=waiting[:LARGEST_BATCH])
