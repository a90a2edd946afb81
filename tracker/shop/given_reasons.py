"""A person's reason for a decision, as the log keeps it."""

from typing import Final

from tracker.shop.errors import InvalidInputError, fault_at
from tracker.shop.saying import say

LONGEST_REASON: Final = 200


def refuse_bad_reason(reason: str, told: str) -> None:
    """Raise InvalidInputError with ``told`` for a reason that is empty, too long or not on one line."""
    if not (reason.strip() and reason.isprintable() and len(reason) <= LONGEST_REASON):
        wanted = say("a reason of up to %(most)s characters on one line", most=LONGEST_REASON)
        raise InvalidInputError(told, [fault_at("reason", wanted)])
