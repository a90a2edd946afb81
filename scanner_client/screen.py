"""What the worker sees and hears: one word, one sentence, one bell when all is well and three when it is not."""

import sys
import threading
from collections.abc import Callable
from typing import Final

from scanner_client.sender import Answer

WORDS: Final = {
    "done": "DONE",
    "again": "AGAIN",
    "early": "TOO EARLY",
    "off_route": "NOT HERE",
    "wrong_box": "WRONG BOX",
    "box_closed": "BOX CLOSED",
    "on_hold": "ON HOLD",
    "replaced": "REPLACED",
    "cancelled": "CANCELLED",
    "unknown": "UNKNOWN",
    "misread": "MISREAD",
    "undone": "TAKEN BACK",
    "nothing_to_undo": "NOTHING TO TAKE BACK",
    "noted": "NOTED",
}
BELL: Final = "\a"


def _print(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


class Screen:
    """Says what happens, one line each; says a change of the connection once."""

    def __init__(self, put: Callable[[str], None] = _print) -> None:
        self._put = put
        self._lock = threading.Lock()
        self._trouble = ""

    def _say(self, line: str) -> None:
        with self._lock:
            self._put(line)

    def answer(self, code: str, answer: Answer) -> None:
        """Show what the server said about a reading."""
        sign, bells = ("+", BELL) if answer.ok else ("!", BELL * 3)
        word = WORDS.get(answer.outcome, answer.outcome.upper())
        self._say(f"{sign} {word:<12} {code}  {answer.message}{bells}")

    def misread(self, code: str, why: str) -> None:
        """Say at once that a reading is no code of the shop."""
        self._say(f"! MISREAD      {code[:40]}  {why}{BELL * 3}")

    def twice(self, code: str) -> None:
        """Say that the same label was read twice in a moment and is sent once."""
        self._say(f"= TWICE        {code}  read twice in a moment: sent once")

    def kept(self, code: str, waiting: int) -> None:
        """Say that a reading is safe here while the server is away."""
        self._say(f"~ KEPT         {code}  no server: {waiting} kept here, they are sent when it is back{BELL}")

    def set_aside(self, code: str, why: str) -> None:
        """Say that the server will never take a reading."""
        self._say(f"! SET ASIDE    {code}  the server does not take this: {why}. Tell the office.{BELL * 3}")

    def trouble(self, why: str, waiting: int) -> None:
        """Say that the server is away or does not know the token; the same trouble is said once."""
        if why != self._trouble:
            self._trouble = why
            self._say(f"~ NO SERVER    {why}. Go on scanning: {waiting} kept here.{BELL * 2}")

    def all_sent(self) -> None:
        """Say that the server is back and has everything."""
        if self._trouble:
            self._trouble = ""
            self._say(f"+ ALL SENT     the server is back and has every reading{BELL}")

    def source(self, state: str) -> None:
        """Say the scanner's state."""
        self._say(f"- SCANNER      {state}")
