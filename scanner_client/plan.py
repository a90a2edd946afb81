"""What to do next, from what waits and what the server last said: pure functions, given the time and the chance."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from scanner_client.queue import Reading

LARGEST_BATCH: Final = 100
FIRST_PAUSE_S: Final = 0.5
LONGEST_PAUSE_S: Final = 15.0


class Heard(StrEnum):
    """What became of a sending."""

    ANSWERS = "answers"
    AWAY = "away"  # no answer, or one that makes no sense: try again later
    TOKEN_NOT_ACCEPTED = "token not accepted"  # noqa: S105 - a state, no password
    REFUSED = "refused"  # the server will never take this batch as it is


@dataclass(frozen=True, slots=True, kw_only=True)
class Last:
    """Where the sending stands after the last word with the server.

    ``suspects``: among so many of the oldest readings is one that the server refuses. ``refused_alone``: it is the
    oldest. ``failures``: how often in a row the server was away. ``at``: when, in seconds of the caller's clock.
    """

    suspects: int = 0
    refused_alone: bool = False
    failures: int = 0
    at: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Send:
    """Send these, in order."""

    readings: Sequence[Reading]


@dataclass(frozen=True, slots=True, kw_only=True)
class SetAside:
    """This one alone was refused: put it out of the way and go on with the rest."""

    reading: Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Wait:
    """Do nothing for so many seconds; None: until there is a reading."""

    seconds: float | None


def next_step(
    waiting: Sequence[Reading], last: Last, *, now: float, jitter: float, longest_s: float = LONGEST_PAUSE_S
) -> Send | SetAside | Wait:
    """Decide the next step. ``jitter`` is from 0 to 1 and stays the same until the next sending.

    ``longest_s`` is the longest pause between two tries, in seconds.

    After a refusal half of the suspects are sent at a time, until the reading that the server refuses is alone.
    """
    if not waiting:
        return Wait(seconds=None)
    if last.refused_alone:
        return SetAside(reading=waiting[0])
    due = last.at + _pause_s(last.failures, jitter, longest_s)
    if now < due:
        return Wait(seconds=due - now)
    return Send(readings=waiting[: max(1, last.suspects // 2) if last.suspects else LARGEST_BATCH])


def after(last: Last, heard: Heard, *, sent: int, answered: int, now: float) -> Last:
    """Where the sending stands after ``sent`` readings went out and ``answered`` of them were answered for."""
    match heard:
        case Heard.ANSWERS:
            return Last(suspects=max(0, last.suspects - answered), at=now)
        case Heard.REFUSED:
            return Last(suspects=sent, refused_alone=sent == 1, at=now)
        case Heard.AWAY | Heard.TOKEN_NOT_ACCEPTED:
            return Last(suspects=last.suspects, failures=last.failures + 1, at=now)


def _pause_s(failures: int, jitter: float, longest_s: float) -> float:
    """Seconds to wait after failures in a row: doubled each time, a quarter more or less, so that stations spread."""
    if not failures:
        return 0.0
    return min(longest_s, FIRST_PAUSE_S * 2.0 ** min(failures - 1, 10)) * (0.75 + 0.5 * jitter)
