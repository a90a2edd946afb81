"""Lists in pages: ``?limit=&after=``, answered with ``{"items": […], "next": …}``."""

from collections.abc import Callable, Sequence
from datetime import date
from typing import Any, TypeVar

from tracker.records.missing_lists import After, read_after
from tracker.shop.errors import InvalidInputError, fault_at

Row = TypeVar("Row")


def cut(rows: Sequence[Row], limit: int, name: Callable[[Row], str]) -> dict[str, Any]:
    """Return a page from rows of which one more than ``limit`` was asked for; ``name`` says where the next starts."""
    more = len(rows) > limit
    return {"items": rows[:limit], "next": name(rows[limit - 1]) if more else None}


def token_after(due: date, number: int) -> str:
    """Spell a place in a list that is sorted by date and number."""
    return f"{due.isoformat()}_{number}"


def date_and_number(after: str) -> tuple[date, int] | None:
    """Read what ``token_after`` spelled; nothing is the start of the list."""
    if not after:
        return None
    day, _, number = after.partition("_")
    try:
        return date.fromisoformat(day), int(number)
    except ValueError:
        raise _unreadable() from None


def box_after(after: str) -> After:
    """Read a place in the list of what is missing."""
    try:
        return read_after(after)
    except ValueError:
        raise _unreadable() from None


def number_after(after: str) -> int:
    """Read a place in a list that is sorted by number; nothing is the start of the list."""
    if not after:
        return 0
    if not (after.isascii() and after.isdigit() and len(after) <= 18):
        raise _unreadable()
    return int(after)


def _unreadable() -> InvalidInputError:
    fault = fault_at("after", "the `next` of the page before, as it was given")
    return InvalidInputError("The page cannot be found.", [fault])
