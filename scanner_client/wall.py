"""The whole terminal as a screen that is read from two metres: a large word, a shape and a colour that say the same.

Below them stand what was taken back, the latest readings, and what waits: how many and how old.
"""

import threading
import time
from collections import deque
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from rich.console import Console, Group, RenderableType
from rich.text import Text

from scanner_client.letters import cells_of, dots_of, fitted, plain_letters
from scanner_client.notices import BELL, SIGNS, Notice, Tone, printable

BEAT_S: Final = 0.18  # between two bells: without it a terminal rings once for all of them
LEAST_S: Final = 0.03  # between two drawings: ten thousand answers in a row are not drawn one by one
LOOK_S: Final = 1.0  # how often the ages are drawn anew
LAST_S: Final = 5.0  # how long a stop waits for a slow terminal to take the last drawing
TAKEN_BACK_FOR_S: Final = 15 * 60.0
_COLOURS: Final = {
    Tone.RIGHT: "bold white on #00632f",
    Tone.WRONG: "bold white on #a50000",
    Tone.ATTENTION: "bold black on #ffb300",
    Tone.PROVISIONAL: "bold white on #00508f",
    Tone.DOUBT: "bold white on #a04000",
    Tone.PLAIN: "bold white on #3a3a3a",
}
_SHAPES: Final = {
    Tone.RIGHT: "tick",
    Tone.WRONG: "cross",
    Tone.ATTENTION: "mark",
    Tone.PROVISIONAL: "question",
    Tone.DOUBT: "question",
    Tone.PLAIN: "bar",
}
_HALVED: Final = 7  # lines in which two words have room, one below the other
_LATEST: Final = 20
_TALL: Final = 32  # lines of a terminal that has room for more than two of the latest readings
_STATES: Final = frozenset({"no_server", "token_not_accepted", "all_sent", "disk", "clock"})
READY: Final = Notice(outcome="ready", tone=Tone.PLAIN, word="READY", text="Scan a label.", big=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What waits: how many readings, the oldest for how long, how many are set aside; and how the list stands."""

    waiting: int = 0
    oldest_s: float = 0.0
    aside: int = 0
    listed: str = ""


class Wall:
    """Draws notices over the whole terminal and rings its bell. ``standing`` is asked for what waits."""

    def __init__(
        self, console: Console, standing: Callable[[], Standing], *, title: str = "", bell: bool = True
    ) -> None:
        self._console = console
        self._standing = standing
        self._title = title
        self._bell = bell
        self._lock = threading.Lock()
        self._big = READY
        self._latest: deque[tuple[str, Notice]] = deque(maxlen=_LATEST)
        self._taken_back: deque[tuple[float, str, Notice]] = deque(maxlen=3)
        self._state: Notice | None = None
        self._scanner = ""
        self._bells = 0
        self._news = threading.Event()
        self._stop = threading.Event()
        self._drawing = threading.Thread(target=self._draw_all, name="wall", daemon=True)
        self._screen = console.screen(hide_cursor=True)

    def start(self) -> None:
        """Take the terminal."""
        self._screen.__enter__()
        self._drawing.start()

    def stop(self) -> None:
        """Draw what was told last, and give the terminal back as it was."""
        self._stop.set()
        self._news.set()
        self._drawing.join(LAST_S)
        self._screen.__exit__(None, None, None)

    def show(self, notice: Notice) -> None:
        """Take a notice; it is drawn at once by a thread of its own, so that a slow terminal delays no reading."""
        at = datetime.now().astimezone().strftime("%H:%M")
        with self._lock:
            if notice.outcome == "scanner":
                self._scanner = notice.text
            elif notice.outcome in _STATES:
                self._state = None if notice.outcome == "all_sent" else notice
            else:
                self._latest.appendleft((at, notice))
            if notice.loud:
                self._taken_back.appendleft((time.monotonic(), at, notice))
            if notice.big:
                self._big = notice
            self._bells = max(self._bells, notice.bells if self._bell else 0)
        self._news.set()

    def _draw_all(self) -> None:
        while True:
            last = self._stop.is_set()
            self._news.clear()
            with suppress(OSError, ValueError):  # a terminal that is gone, or knows few letters, stops no station
                self._screen.update(self.drawn())
                self._ring()
            if last:
                return
            self._news.wait(LOOK_S)
            self._stop.wait(LEAST_S)

    def _ring(self) -> None:
        """Ring the bells, until there is something new to draw: those that are left then ring after it."""
        while self._bells:
            with self._lock:
                self._bells -= 1
            self._console.file.write(BELL)
            self._console.file.flush()
            if self._stop.wait(BEAT_S) or self._news.is_set():
                return

    def drawn(self) -> RenderableType:
        """Return what is to be seen now."""
        width, height = self._console.size
        standing = self._standing()
        with self._lock:
            big, state, scanner = self._big, self._state, self._scanner
            since = time.monotonic() - TAKEN_BACK_FOR_S
            taken_back = [(at, notice) for told, at, notice in self._taken_back if told >= since]
            latest = list(self._latest)
        below = [
            *_taken_back_lines(taken_back, width),
            *_state_lines(state, width),
            *_waiting_lines(standing, width, height),
        ]
        room = height - len(below) - 1
        listed = min(5 if height >= _TALL else 2, max(0, room - 10))
        lines = [
            *_big_lines(big, width, room - listed),
            *_latest_lines(latest, listed, width),
            *below,
            _bottom_line(self._title, scanner, standing, width),
        ]
        return Group(*lines)


def _line(text: str, width: int, style: str = "") -> Text:
    return Text(printable(text)[:width].ljust(width), style=style, no_wrap=True, overflow="crop", end="\n")


def _big_lines(notice: Notice, width: int, height: int) -> list[Text]:
    """The latest word: the shape at the left, the word as large as it goes, the sentence below."""
    style = _COLOURS[notice.tone]
    sentence = _wrapped("  ".join(each for each in (notice.code, notice.text) if each), width - 4)
    room = max(1, height - len(sentence) - 3)
    shape = _shape(notice, width, room)
    gap = len(shape[0]) + 5
    word = _word(notice, width - gap - 2, room)
    tall = max(len(shape), len(word))
    above = max(0, (room - tall) // 2)
    rows = [""] * above
    shape, word = _centred(shape, tall), _centred(word, tall)
    rows += [f"  {left:<{gap - 2}}{right}" for left, right in zip(shape, word, strict=True)]
    rows += [""] * (room + 1 - len(rows))
    rows += [f"  {each}" for each in sentence]
    rows += [""] * (height - len(rows))
    return [_line(row, width, style) for row in rows[:height]]


def _word(notice: Notice, width: int, height: int) -> list[str]:
    """The word as large as it goes; where a part was marked, its name below it in as large letters."""
    if not notice.about or height < _HALVED:
        return fitted(notice.word, width, height)
    half = (height - 1) // 2
    return [*fitted(notice.word, width, half), "", *fitted(plain_letters(notice.about), width, half)]


def _shape(notice: Notice, width: int, height: int) -> list[str]:
    dots = dots_of([_SHAPES[notice.tone]])
    scale = max(1, min(width // 4 // len(dots[0]), 2 * height // len(dots), 4))
    return cells_of(dots, scale)


def _centred(lines: list[str], tall: int) -> list[str]:
    above = (tall - len(lines)) // 2
    wide = max((len(line) for line in lines), default=0)
    return [""] * above + [line.ljust(wide) for line in lines] + [""] * (tall - len(lines) - above)


def _wrapped(text: str, width: int) -> list[str]:
    lines: list[str] = []
    for word in printable(text).split(" "):
        if lines and len(lines[-1]) + 1 + len(word) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word[:width])
    return lines[:3]


def _latest_lines(latest: list[tuple[str, Notice]], count: int, width: int) -> list[Text]:
    rows = [_line(f" {at} {_signed(notice)}", width) for at, notice in latest[:count]]
    return rows + [_line("", width)] * (count - len(rows))


def _signed(notice: Notice) -> str:
    said = "  ".join(each for each in (notice.code, notice.text) if each)
    return f"{notice.sign or SIGNS[notice.tone]} {notice.word:<12} {said}"


def _taken_back_lines(taken_back: list[tuple[str, Notice]], width: int) -> list[Text]:
    return [_line(f" {at} {_signed(notice)}", width, _COLOURS[notice.tone]) for at, notice in taken_back]


def _state_lines(state: Notice | None, width: int) -> list[Text]:
    return [] if state is None else [_line(f" {_signed(state)}", width, _COLOURS[state.tone])]


def _waiting_lines(standing: Standing, width: int, height: int) -> list[Text]:
    """How many readings wait and how old the first is, large where there is room."""
    if not standing.waiting:
        return []
    words = f"{standing.waiting} WAIT {_age(standing.oldest_s)}"
    rows = cells_of(dots_of(words.upper()), 1)
    if height < 20 or len(rows[0]) > width - 2:
        rows = [words]
    return [_line(f" {row}", width, _COLOURS[Tone.ATTENTION]) for row in rows]


def _bottom_line(title: str, scanner: str, standing: Standing, width: int) -> Text:
    sent = "nothing waits" if not standing.waiting else f"{standing.waiting} wait, oldest {_age(standing.oldest_s)}"
    aside = f"{standing.aside} SET ASIDE" if standing.aside else ""
    said = (title, sent, aside, standing.listed, f"scanner {scanner}" if scanner else "")
    return Text(printable(" · ".join(each for each in said if each))[:width], style="bold", no_wrap=True, end="")


def _age(seconds: float) -> str:
    for unit, size in (("d", 86_400), ("h", 3600), ("min", 60)):
        if seconds >= size:
            return f"{seconds // size:.0f} {unit}"
    return f"{max(0.0, seconds):.0f} s"
