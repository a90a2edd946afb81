"""What signs in without a person: programs by their tokens, and tablets that are paired with a station."""

from collections.abc import Sequence
from datetime import datetime
from typing import Final

from tracker.records import people as kept
from tracker.records.database import Database
from tracker.records.people import TokenView
from tracker.shop.errors import NotFoundError
from tracker.shop.saying import say

WITHDRAWN_SHOWN: Final = 20


def tokens(database: Database) -> list[TokenView]:
    """Return the tokens in force, then those that were withdrawn last, WITHDRAWN_SHOWN at most."""
    with database.read() as connection:
        found = kept.list_tokens(connection)
    ended = [(each.withdrawn_at, each) for each in found if each.withdrawn_at is not None]
    ended.sort(key=lambda pair: pair[0], reverse=True)
    return in_force(found) + [each for _at, each in ended[:WITHDRAWN_SHOWN]]


def in_force(found: Sequence[TokenView]) -> list[TokenView]:
    """Return those tokens that still open something."""
    return [each for each in found if each.withdrawn_at is None]


def withdraw_numbered(database: Database, token_id: int, *, now: datetime) -> None:
    """Withdraw one token and so the sessions that it opened. Raises NotFoundError when it is not in force."""
    with database.write() as connection:
        count = kept.withdraw_token_numbered(connection, token_id, now)
    if not count:
        raise NotFoundError(say("There is no such token in force."))
