"""From the keys of a keyboard scanner to text: pure. Codes have one letter and digits, whatever the keyboard layout."""

from collections.abc import Iterable, Iterator
from typing import Final

# Linux input event codes (linux/input-event-codes.h), by position, so that a foreign layout changes nothing.
_DIGITS: Final = {2 + place: digit for place, digit in enumerate("1234567890")}
_KEYPAD: Final = {79: "1", 80: "2", 81: "3", 75: "4", 76: "5", 77: "6", 71: "7", 72: "8", 73: "9", 82: "0"}
_ROWS: Final = ((16, "QWERTYUIOP"), (30, "ASDFGHJKL"), (44, "ZXCVBNM"))
_LETTERS: Final = {start + place: letter for start, row in _ROWS for place, letter in enumerate(row)}
CHARACTERS: Final = {**_DIGITS, **_KEYPAD, **_LETTERS}
ENDS: Final = frozenset({28, 96, 15})  # enter, keypad enter, tab
PRESSED: Final = 1


def texts_of(keys: Iterable[tuple[int, int]]) -> Iterator[str]:
    """Give the texts that key events (code, value) spell, each ended by enter or tab; releases do not count."""
    spelled = ""
    for code, value in keys:
        if value != PRESSED:
            continue
        if code in ENDS:
            if spelled:
                yield spelled
            spelled = ""
        else:
            spelled += CHARACTERS.get(code, "")
