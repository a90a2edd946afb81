"""What the worker sees and hears: one word, one sentence, one bell when all is well and three when it is not."""

import sys
import threading
from collections.abc import Callable
from contextlib import suppress

from scanner_client.notices import BELL, Notice, Tone, printable
from scanner_client.plan import Heard
from scanner_client.provisional import Guess, Look
from scanner_client.sender import Answer
from scanner_client.words import word_of

__all__ = ["BELL", "Screen", "printable"]

WELL, ATTENTION, WRONG, LOUD = 1, 2, 3, 5  # bells
Watcher = Callable[[Notice], None]


def print_line(line: str) -> None:
    """Write a line to standard output. A screen that is closed or knows few letters does not stop the station."""
    with suppress(OSError, ValueError):
        encoding = sys.stdout.encoding or "ascii"
        sys.stdout.write(line.encode(encoding, "replace").decode(encoding) + "\n")
        sys.stdout.flush()


class Screen:
    """Says what happens; says a change of the connection once. Safe to use from several threads.

    ``put`` takes each notice as a line.
    """

    def __init__(self, put: Callable[[str], None] = print_line) -> None:
        self._put = put
        self._watchers: list[Watcher] = []
        self._lock = threading.Lock()
        self._trouble = ""
        self._behind = False

    def watch(self, watcher: Watcher) -> None:
        """Let another take the notices themselves: a wall, a lamp. It must not wait."""
        self._watchers.append(watcher)

    def _say(self, notice: Notice) -> None:
        with self._lock:
            self._put(notice.line)
            for watch in self._watchers:
                watch(notice)

    def begins(self, waiting: int, aside: int) -> None:
        """Say what an earlier run left behind, if anything."""
        if waiting:
            self._behind = True
            text = f"{_readings(waiting)} from before: sent first"
            self._say(Notice(outcome="waiting", tone=Tone.PLAIN, word="WAITING", text=text))
        if aside:
            text = f"{_readings(aside)} from before, kept with the reasons. Tell the office."
            self._say(Notice(outcome="set_aside", tone=Tone.WRONG, word="SET ASIDE", text=text, bells=WRONG))

    def answer(self, code: str, answer: Answer, *, quiet: bool = False) -> None:
        """Show what the server said about a reading; ``quiet`` when the worker was told the same before."""
        tone, bells = (Tone.RIGHT, WELL) if answer.ok else (Tone.WRONG, WRONG)
        word = word_of(answer.outcome)
        self._say(
            Notice(
                outcome=answer.outcome,
                tone=tone,
                word=word,
                code=code,
                text=answer.message,
                about=answer.part_name,
                bells=0 if quiet else bells,
                big=not quiet,
            )
        )

    def corrected(self, code: str, answer: Answer) -> None:
        """Take back what was said: the reading looked right, and the server says that it is not."""
        word = word_of(answer.outcome)
        text = f"was taken as right, and is not. {word}: {answer.message}"
        self._say(
            Notice(
                outcome="corrected",
                tone=Tone.WRONG,
                word="STOP",
                code=code,
                text=text,
                bells=LOUD,
                big=True,
                loud=True,
            )
        )

    def cleared(self, code: str, answer: Answer) -> None:
        """Take back a doubt: the server says that the reading is right."""
        word = word_of(answer.outcome)
        text = f"was doubted, and is right. {word}: {answer.message}"
        self._say(
            Notice(
                outcome="cleared",
                tone=Tone.RIGHT,
                word="RIGHT",
                code=code,
                text=text,
                bells=ATTENTION,
                big=True,
                loud=True,
            )
        )

    def provisional(self, code: str, guess: Guess, waiting: int) -> None:
        """Say how a reading looks by the station's list, marked as not yet said by the server."""
        if guess.look is Look.UNSURE:
            self.kept(code, waiting, about=guess.about)
            return
        right = guess.look is Look.RIGHT
        self._say(
            Notice(
                outcome="looks_right" if right else "looks_wrong",
                tone=Tone.PROVISIONAL if right else Tone.DOUBT,
                word=f"{guess.word}?",
                code=code,
                text=f"{guess.message}. Not yet said by the server: {waiting} kept here",
                bells=WELL if right else WRONG,
                big=True,
            )
        )

    def misread(self, code: str, why: str) -> None:
        """Say at once that a reading is no code of the shop."""
        self._say(
            Notice(
                outcome="misread",
                tone=Tone.WRONG,
                word=word_of("misread"),
                code=code[:40],
                text=why,
                bells=WRONG,
                big=True,
            )
        )

    def twice(self, code: str) -> None:
        """Say that the same label was read twice in a moment and is sent once."""
        text = "read twice in a moment: sent once"
        self._say(Notice(outcome="twice", tone=Tone.PLAIN, word="TWICE", code=code, text=text, sign="="))

    def kept(self, code: str, waiting: int, *, about: str = "") -> None:
        """Say that a reading is safe here while the server does not take any; ``about`` names the part it marks."""
        named = f"{about}: " if about else ""
        text = f"{named}{waiting} kept here, sent as soon as the server takes them"
        self._say(
            Notice(
                outcome="kept",
                tone=Tone.ATTENTION,
                word="KEPT",
                code=code,
                text=text,
                about=about,
                bells=WELL,
                big=True,
            )
        )

    def not_kept(self, code: str, why: str) -> None:
        """Say that a reading is lost unless it is made again."""
        text = f"{why}. Make room on the disk, then scan this again."
        self._say(
            Notice(
                outcome="not_kept",
                tone=Tone.WRONG,
                word="NOT KEPT",
                code=code,
                text=text,
                bells=WRONG,
                big=True,
            )
        )

    def set_aside(self, code: str, why: str) -> None:
        """Say that the server will never take a reading."""
        text = f"the server refuses it: {why.removesuffix('.')}. Kept here; tell the office."
        self._say(
            Notice(
                outcome="set_aside",
                tone=Tone.WRONG,
                word="SET ASIDE",
                code=code,
                text=text,
                bells=WRONG,
                loud=True,
            )
        )

    def trouble(self, heard: Heard, why: str, waiting: int) -> None:
        """Say that the server is away or does not accept the token; the same trouble is said once."""
        if why == self._trouble:
            return
        self._trouble, self._behind = why, True
        refused = heard is Heard.TOKEN_NOT_ACCEPTED
        text = f"{why.removesuffix('.')}. Go on scanning: {waiting} kept here."
        self._say(
            Notice(
                outcome="token_not_accepted" if refused else "no_server",
                tone=Tone.ATTENTION,
                word="TOKEN NOT ACCEPTED" if refused else "NO SERVER",
                text=text,
                bells=ATTENTION,
            )
        )

    def disk_trouble(self, why: str) -> None:
        """Say that the queue's disk fails; the same trouble is said once."""
        if why != self._trouble:
            self._trouble, self._behind = why, True
            text = f"{why}. Make room on the disk."
            self._say(Notice(outcome="disk", tone=Tone.WRONG, word="DISK", text=text, bells=WRONG))

    def clock(self, ahead_s: float, *, jumped: bool = False) -> None:
        """Say that this computer's clock is wrong, or was set."""
        size, way = _span(abs(ahead_s)), "ahead" if ahead_s > 0 else "behind"
        what = f"was just put {size} {'forward' if ahead_s > 0 else 'back'}" if jumped else f"is {size} {way}"
        text = f"this computer's clock {what}. Readings keep their order; see that the clock is right."
        self._say(Notice(outcome="clock", tone=Tone.ATTENTION, word="CLOCK", text=text, bells=ATTENTION))

    def all_sent(self) -> None:
        """Say that the server has everything, if it was behind."""
        if self._behind:
            self._trouble, self._behind = "", False
            text = "the server has every reading"
            self._say(Notice(outcome="all_sent", tone=Tone.RIGHT, word="ALL SENT", text=text, bells=WELL))

    def source(self, state: str) -> None:
        """Say the scanner's state."""
        self._say(Notice(outcome="scanner", tone=Tone.PLAIN, word="SCANNER", text=state))


def _readings(count: int) -> str:
    return "1 reading" if count == 1 else f"{count} readings"


def _span(seconds: float) -> str:
    """A length of time in words, in the largest unit that says it well."""
    for unit, size in (("days", 86_400), ("hours", 3600), ("min", 60)):
        if seconds >= 2 * size or (unit == "min" and seconds >= size):
            return f"{seconds / size:.0f} {unit}"
    return f"{seconds:.0f} s"
