"""What the worker sees and hears: one word, one sentence, one bell when all is well and three when it is not."""

import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Final

from scanner_client.plan import Heard
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
WELL, ATTENTION, WRONG = 1, 2, 3  # bells


def printable(text: str) -> str:
    """Return ``text`` with a mark in place of whatever could steer a terminal."""
    return "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in text)


def _print(line: str) -> None:
    """Write a line to standard output. A screen that is closed or knows few letters does not stop the station."""
    with suppress(OSError, ValueError):
        encoding = sys.stdout.encoding or "ascii"
        sys.stdout.write(line.encode(encoding, "replace").decode(encoding) + "\n")
        sys.stdout.flush()


class Screen:
    """Says what happens, one line each; says a change of the connection once. Safe to use from several threads."""

    def __init__(self, put: Callable[[str], None] = _print) -> None:
        self._put = put
        self._lock = threading.Lock()
        self._trouble = ""
        self._behind = False

    def _say(self, sign: str, word: str, text: str, bells: int = 0) -> None:
        with self._lock:
            self._put(printable(f"{sign} {word:<12} {text}") + BELL * bells)

    def begins(self, waiting: int, aside: int) -> None:
        """Say what an earlier run left behind, if anything."""
        if waiting:
            self._behind = True
            self._say("-", "WAITING", f"{_readings(waiting)} from before: sent first")
        if aside:
            self._say(
                "!", "SET ASIDE", f"{_readings(aside)} from before, kept with the reasons. Tell the office.", WRONG
            )

    def answer(self, code: str, answer: Answer) -> None:
        """Show what the server said about a reading."""
        sign, bells = ("+", WELL) if answer.ok else ("!", WRONG)
        word = WORDS.get(answer.outcome, answer.outcome.upper())
        self._say(sign, word, f"{code}  {answer.message}", bells)

    def misread(self, code: str, why: str) -> None:
        """Say at once that a reading is no code of the shop."""
        self._say("!", WORDS["misread"], f"{code[:40]}  {why}", WRONG)

    def twice(self, code: str) -> None:
        """Say that the same label was read twice in a moment and is sent once."""
        self._say("=", "TWICE", f"{code}  read twice in a moment: sent once")

    def kept(self, code: str, waiting: int) -> None:
        """Say that a reading is safe here while the server does not take any."""
        self._say("~", "KEPT", f"{code}  {waiting} kept here, sent as soon as the server takes them", WELL)

    def not_kept(self, code: str, why: str) -> None:
        """Say that a reading is lost unless it is made again."""
        self._say("!", "NOT KEPT", f"{code}  {why}. Make room on the disk, then scan this again.", WRONG)

    def set_aside(self, code: str, why: str) -> None:
        """Say that the server will never take a reading."""
        self._say(
            "!",
            "SET ASIDE",
            f"{code}  the server refuses it: {why.removesuffix('.')}. Kept here; tell the office.",
            WRONG,
        )

    def trouble(self, heard: Heard, why: str, waiting: int) -> None:
        """Say that the server is away or does not accept the token; the same trouble is said once."""
        if why == self._trouble:
            return
        self._trouble, self._behind = why, True
        word = "TOKEN NOT ACCEPTED" if heard is Heard.TOKEN_NOT_ACCEPTED else "NO SERVER"
        self._say("~", word, f"{why.removesuffix('.')}. Go on scanning: {waiting} kept here.", ATTENTION)

    def disk_trouble(self, why: str) -> None:
        """Say that the queue's disk fails; the same trouble is said once."""
        if why != self._trouble:
            self._trouble, self._behind = why, True
            self._say("!", "DISK", f"{why}. Make room on the disk.", WRONG)

    def all_sent(self) -> None:
        """Say that the server has everything, if it was behind."""
        if self._behind:
            self._trouble, self._behind = "", False
            self._say("+", "ALL SENT", "the server has every reading", WELL)

    def source(self, state: str) -> None:
        """Say the scanner's state."""
        self._say("-", "SCANNER", state)


def _readings(count: int) -> str:
    return "1 reading" if count == 1 else f"{count} readings"
