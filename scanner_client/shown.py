"""Which part the damaged card and the codes of slots mean: the last single part that was read here."""

from datetime import datetime, timedelta
from typing import Final

from tracker.shop.codes import COMMAND_NUMBERS, Code, Command, Kind, MisreadError, read_code

HELD_FOR: Final = timedelta(minutes=10)
NONE: Final = "none"  # as POST /scans takes it
_ENDS: Final = frozenset({"unknown", "misread"})


class ShownPart:
    """The part that this station showed last; none after a board, a misread or an unknown code, or after ten minutes.

    Times are the station's own. Until it has read any of these, nothing is known, and the server goes by its log.
    """

    def __init__(self) -> None:
        self._part: tuple[str, datetime] | None = None
        self._is_known = False
        self._latest: datetime | None = None

    def read(self, text: str, at: datetime) -> str:
        """Note a reading, an empty text for a misread. Return what goes along with a card or a slot's code.

        That is the part that it marks, or NONE; nothing goes along while nothing is known.
        """
        code = _code(text)
        if self._latest is not None and at - self._latest > HELD_FOR:
            self._part = None
        self._latest = at
        if not text or (code and code.kind in (Kind.PART, Kind.BOARD)):
            self._part = (text, at) if code and code.kind is Kind.PART else None
            self._is_known = True
        if code is None or not marks_part(code) or not self._is_known:
            return ""
        return self._part[0] if self._part else NONE

    def answered(self, at: datetime, outcome: str) -> None:
        """Note what the server said of a reading."""
        if self._part is not None and outcome in _ENDS and at >= self._part[1]:
            self._part = None


def marks_part(code: Code) -> bool:
    """Whether a code does something to a part that was read before it."""
    return code.kind is Kind.SLOT or (code.kind is Kind.COMMAND and COMMAND_NUMBERS.get(code.number) is Command.DAMAGED)


def _code(text: str) -> Code | None:
    try:
        return read_code(text)
    except MisreadError:
        return None
