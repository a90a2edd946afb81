"""Why the database took or gave nothing, and what to do about it."""

from enum import StrEnum
from typing import Final, assert_never

from tracker.shop.saying import Said, say

RESTORE_A_BACKUP: Final = "Keep its file, stop the service and restore the last good backup."


class Failure(StrEnum):
    """What is wrong with the database."""

    DISK_FULL = "disk full"
    DAMAGED = "damaged"
    AWAY = "away"  # it does not answer, or is locked for too long


def told_of(failure: Failure) -> Said:
    """Say what is wrong and what to do."""
    match failure:
        case Failure.DISK_FULL:
            return say(
                "The disk of the shop's computer is full. Nothing was stored. Tell the office: room must be made on it."
            )
        case Failure.DAMAGED:
            return say(
                "The database is damaged. Nothing was stored. Stop the service and restore the last good backup."
            )
        case Failure.AWAY:
            return say("The database did not take this. Nothing was stored; send the same again.")
        case _:
            assert_never(failure)
