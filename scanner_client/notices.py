"""What a worker is told: one notice, whatever shows or sounds it."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class Tone(StrEnum):
    """How a notice is meant: it decides sign, colour, shape and sound."""

    RIGHT = "right"
    WRONG = "wrong"
    ATTENTION = "attention"
    PROVISIONAL = "provisional"  # looks right, and the server has not said so yet
    DOUBT = "doubt"  # does not look right, and the server has not said so yet
    PLAIN = "plain"


SIGNS: Final = {
    Tone.RIGHT: "+",
    Tone.WRONG: "!",
    Tone.ATTENTION: "~",
    Tone.PROVISIONAL: "?",
    Tone.DOUBT: "?",
    Tone.PLAIN: "-",
}
BELL: Final = "\a"


def printable(text: str) -> str:
    """Return ``text`` with a mark in place of whatever could steer a terminal."""
    return "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """One thing that a worker is told.

    ``outcome`` names it for commands (an outcome of the server, or a word of this program's). ``big``: it is about the
    label in hand. ``loud``: it takes back what was said before. ``about`` names the
    part that was marked, as large as the word.
    """

    outcome: str
    tone: Tone
    word: str
    code: str = ""
    text: str = ""
    about: str = ""
    bells: int = 0
    sign: str = ""
    big: bool = False
    loud: bool = False

    @property
    def line(self) -> str:
        """The notice as one line for a plain screen or a log, with its bells."""
        said = "  ".join(each for each in (self.code, self.text) if each)
        return printable(f"{self.sign or SIGNS[self.tone]} {self.word:<12} {said}") + BELL * self.bells
