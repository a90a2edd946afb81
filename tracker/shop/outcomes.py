"""What a worker is told of a scan at a glance: the contract's closed set, and the one word for each."""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from tracker.shop.saying import Said, say


class Outcome(StrEnum):
    """What a worker is told. The contract's closed set."""

    DONE = "done"
    AGAIN = "again"
    EARLY = "early"
    OFF_ROUTE = "off_route"
    WRONG_BOX = "wrong_box"
    BOX_CLOSED = "box_closed"
    ON_HOLD = "on_hold"
    REPLACED = "replaced"
    CANCELLED = "cancelled"
    UNKNOWN = "unknown"
    MISREAD = "misread"
    UNDONE = "undone"
    NOTHING_TO_UNDO = "nothing_to_undo"
    NOTED = "noted"


OK_OUTCOMES: Final = frozenset({Outcome.DONE, Outcome.AGAIN, Outcome.UNDONE, Outcome.NOTED})

# What counts for itself: one that was flagged and has another outcome waits for a foreman, and an undo means it.
COUNTING_OUTCOMES: Final = frozenset({Outcome.DONE, Outcome.NOTED})

# The one word for each, on every screen and in the station program.
OUTCOME_WORDS: Final[Mapping[Outcome, Said]] = MappingProxyType(
    {
        Outcome.DONE: say("Done"),
        Outcome.NOTED: say("Noted"),
        Outcome.UNDONE: say("Taken back"),
        Outcome.AGAIN: say("Already counted"),
        Outcome.MISREAD: say("Scan again"),
        Outcome.NOTHING_TO_UNDO: say("Nothing to take back"),
        Outcome.EARLY: say("Too early"),
        Outcome.OFF_ROUTE: say("Not here"),
        Outcome.WRONG_BOX: say("Wrong box"),
        Outcome.BOX_CLOSED: say("Closed"),
        Outcome.ON_HOLD: say("On hold"),
        Outcome.REPLACED: say("Old label"),
        Outcome.CANCELLED: say("Cancelled"),
        Outcome.UNKNOWN: say("Unknown"),
    }
)
