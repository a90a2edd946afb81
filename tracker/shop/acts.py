"""What a row of the log is: a closed set, kept in the log for ever.

The first four are also what a reading asks for (``shop.scans.Action``); the others are done on pages and by calls.
"""

from enum import StrEnum
from typing import Final


class Act(StrEnum):
    """What was done, as the log's ``action`` names it."""

    PASS = "pass"  # noqa: S105 - a part passes a step, no password
    UNDO = "undo"
    DAMAGED = "damaged"
    PLACE = "place"
    ORDER = "order"
    PLAN = "plan"
    COUNT = "count"
    WEIGH = "weigh"
    SEAL = "seal"
    SHIP = "ship"
    LEAVE = "leave"
    HOLD = "hold"
    RESUME = "resume"
    CANCEL = "cancel"
    REPLACE = "replace"
    REPAIR = "repair"
    MOVE = "move"
    SETTLE = "settle"


# The acts on a job as a whole that say whether it is worked on.
JOB_ACTS: Final = (Act.HOLD, Act.RESUME, Act.CANCEL)
