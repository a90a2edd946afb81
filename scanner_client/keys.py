"""From the keys of a keyboard scanner to text: pure.

Keys are read by their position, as a scanner set to the United States layout sends them, so the layout of the computer
changes nothing. Numbers are those of linux/input-event-codes.h.
"""

from collections.abc import Iterable, Iterator
from typing import Final

from scanner_client.input_device import InputEvent

_DIGITS: Final = {2 + place: digit for place, digit in enumerate("1234567890")}
_KEYPAD: Final = {79: "1", 80: "2", 81: "3", 75: "4", 76: "5", 77: "6", 71: "7", 72: "8", 73: "9", 82: "0"}
_ROWS: Final = ((16, "QWERTYUIOP"), (30, "ASDFGHJKL"), (44, "ZXCVBNM"))
_LETTERS: Final = {start + place: letter for start, row in _ROWS for place, letter in enumerate(row)}
_CHARACTERS: Final = {**_DIGITS, **_KEYPAD, **_LETTERS}
_ENDS: Final = frozenset({28, 96, 15})  # enter, keypad enter, tab
_SILENT: Final = frozenset({42, 54, 29, 97, 56, 100, 125, 126, 58, 69, 70})  # shift, ctrl, alt, meta and the locks
_KEY_EVENT: Final = 1
_PRESSED: Final = 1
OTHER: Final = "?"


def texts_of(events: Iterable[InputEvent]) -> Iterator[str]:
    """Give the texts that are typed, each ended by enter or tab. Releases and repeats do not count.

    A key that no code has becomes ``?``: leaving it out could make a wrong text right.
    """
    spelled = ""
    for event in events:
        if event.type != _KEY_EVENT or event.value != _PRESSED or event.code in _SILENT:
            continue
        if event.code not in _ENDS:
            spelled += _CHARACTERS.get(event.code, OTHER)
            continue
        if spelled:
            yield spelled
        spelled = ""
