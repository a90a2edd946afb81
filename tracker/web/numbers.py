"""Numbers in addresses, within what a database can look for."""

from typing import Any, Final

from werkzeug.routing import IntegerConverter, Map

LARGEST_ID: Final = 2**31 - 1


class RowNumber(IntegerConverter):
    """A row's number in an address (``<int:number>``): a larger one than any row has is no address of the service."""

    def __init__(self, map: Map, *args: Any, **options: Any) -> None:  # noqa: A002 - werkzeug names it so
        super().__init__(map, *args, **{"max": LARGEST_ID, **options})


def number_within(text: str) -> int | None:
    """Return the number of a row that an address names; None for a link that was cut short or is made up."""
    if not (text.isascii() and text.isdigit() and len(text) <= len(str(LARGEST_ID))):
        return None
    number = int(text)
    return number if number <= LARGEST_ID else None
