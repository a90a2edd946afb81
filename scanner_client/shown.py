"""Which part the damaged card and the codes of slots mean: the last single part that was read here."""

from datetime import datetime, timedelta
from typing import Final

from tracker.shop.codes import COMMAND_NUMBERS, Code, Command, Kind, MisreadError, read_code

HELD_FOR: Final = timedelta(minutes=10)
_NO_PART: Final = frozenset({"unknown", "misread"})


class ShownPart:
    """The part that this station showed last; none after a board, a misread or an unknown code, or after ten minutes.

    Times are the station's own; what it does not know, after a start, is for the server to say.
    """

    def __init__(self) -> None:
        self._part: tuple[str, datetime] | None = None
        self._latest: datetime | None = None

    def read(self, text: str, at: datetime) -> str | None:
        """Note a reading. Return the part that it marks (empty: none is shown), or None where it marks no part."""
        code = _code(text)
        if self._latest is None or at - self._latest > HELD_FOR or not text or (code and code.kind is Kind.BOARD):
            self._part = None
        self._latest = at
        if code and code.kind is Kind.PART:
            self._part = (text, at)
        if code is None or not marks_part(code):
            return None
        return self._part[0] if self._part else ""

    def answered(self, at: datetime, outcome: str) -> None:
        """Note what the server said of a reading."""
        if self._part is not None and outcome in _NO_PART and at >= self._part[1]:
            self._part = None


def marks_part(code: Code) -> bool:
    """Whether a code does something to a part that was read before it."""
    return code.kind is Kind.SLOT or (code.kind is Kind.COMMAND and COMMAND_NUMBERS.get(code.number) is Command.DAMAGED)


def _code(text: str) -> Code | None:
    try:
        return read_code(text)
    except MisreadError:
        return None
