"""The screen that is read from two metres."""

import io
import threading
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import pytest
from rich.console import Console
from rich.text import Text

from scanner_client.letters import GLYPHS, HEIGHT, cells_of, dots_of, fitted
from scanner_client.notices import BELL
from scanner_client.plan import Heard
from scanner_client.provisional import Guess, Look
from scanner_client.screen import Screen
from scanner_client.sender import Answer
from scanner_client.wall import Standing, Wall
from scanner_client.words import word_of
from tests.waiting import HANGS_AFTER_S
from tracker.shop.codes import part_code
from tracker.shop.outcomes import Outcome

CODE = part_code(1)
DONE = Answer(outcome="done", ok=True, message="Deck, cabinet 101: pack done.")
WRONG = Answer(outcome="wrong_box", ok=False, message="Not for this box.")
RIGHT = Guess(look=Look.RIGHT, word="LOOKS RIGHT", message="Deck, cabinet 101, box 1")
DOUBT = Guess(look=Look.DOUBT, word="WRONG BOX", message="Deck, cabinet 101, box 1: the box on the bench is 2")


class Terminal(io.StringIO):
    """A terminal that tells when its bell rang; ``at_a_bell`` is done when it rings for the first time."""

    def __init__(self) -> None:
        super().__init__()
        self._rang = threading.Semaphore(0)
        self.at_a_bell: Callable[[], None] | None = None

    def write(self, text: str) -> int:
        written = super().write(text)
        if text == BELL:
            begun, self.at_a_bell = self.at_a_bell, None
            if begun is not None:
                begun()
            self._rang.release()
        return written

    def wait_for_bells(self, count: int) -> None:
        for bell in range(count):
            assert self._rang.acquire(timeout=HANGS_AFTER_S), f"it rang {bell} of {count} times"


class Seen:
    """A wall on a terminal of the test's own, and the screen that leads to it."""

    def __init__(self, width: int = 80, height: int = 24) -> None:
        self.file = Terminal()
        self.console = Console(
            width=width, height=height, force_terminal=True, color_system="truecolor", file=self.file
        )
        self.standing = Standing()
        self.wall = Wall(self.console, lambda: self.standing, title="PACK-1")
        self.screen = Screen(lambda _line: None)
        self.screen.watch(self.wall.show)

    @property
    def lines(self) -> list[str]:
        with self.console.capture() as captured:
            self.console.print(self.wall.drawn(), end="")
        return Text.from_ansi(captured.get()).plain.split("\n")

    @property
    def colours(self) -> set[str]:
        return {
            str(line.style)
            for line in getattr(self.wall.drawn(), "renderables", [])
            if isinstance(line, Text) and " on " in str(line.style)
        }


def _large(word: str, lines: list[str]) -> bool:
    """Whether the word stands there in large letters of any size."""
    return any(
        all(any(row.strip() in line for line in lines) for row in cells_of(dots_of(word), scale))
        for scale in range(1, 9)
    )


def test_every_letter_of_every_word_is_drawn_and_all_are_equally_high() -> None:
    needed = set("".join(map(word_of, Outcome)) + "STOP LOOKS RIGHT? NOT KEPT SET ASIDE 0123456789 D H MIN S".upper())
    assert needed <= set(GLYPHS)
    assert {len(rows) for rows in GLYPHS.values()} == {HEIGHT}
    assert all(len({len(row) for row in rows}) == 1 for rows in GLYPHS.values())
    drawn = [rows for name, rows in GLYPHS.items() if name != " "]
    assert len(set(drawn)) == len(drawn)


def test_the_part_that_a_card_marked_is_named_in_large_letters() -> None:
    seen = Seen(width=100, height=40)
    noted = Answer(
        outcome="noted", ok=True, message="Marked.", part=CODE, part_name="Repisa fija n.\N{DEGREE SIGN}1 Ñu-7"
    )
    seen.screen.answer(CODE, noted)
    assert _large("NOTED", seen.lines)
    seen = Seen(width=100, height=40)
    seen.screen.answer(CODE, replace(noted, part_name="Décor 101"))
    assert _large("DECOR 101", seen.lines) or (_large("DECOR", seen.lines) and _large("101", seen.lines))
    seen = Seen()
    seen.screen.kept(CODE, 1, about="Deck 101")
    assert _large("KEPT", seen.lines)
    assert _large("DECK 101", seen.lines) or (_large("DECK", seen.lines) and _large("101", seen.lines))


@pytest.mark.parametrize("width", [10, 40, 62, 100, 200])
@pytest.mark.parametrize("height", [1, 3, 12, 30])
@pytest.mark.parametrize("word", [*map(word_of, Outcome), "NOT EXPECTED?", ""])
def test_a_word_fits_into_any_terminal(width: int, height: int, word: str) -> None:
    lines = fitted(word, width, height)
    assert 1 <= len(lines) <= height
    assert max(len(line) for line in lines) <= width


def test_a_word_is_larger_where_there_is_more_room() -> None:
    assert len(fitted("DONE", 120, 30)) > len(fitted("DONE", 60, 30)) > len(fitted("DONE", 20, 30))


@pytest.mark.parametrize(("width", "height"), [(80, 24), (120, 40), (60, 16), (40, 10), (200, 60)])
def test_it_fills_the_terminal_and_no_more(width: int, height: int) -> None:
    seen = Seen(width, height)
    seen.screen.trouble(Heard.AWAY, "gone", 3)
    for _time in range(4):
        seen.screen.corrected(CODE, WRONG)
    seen.standing = Standing(waiting=12, oldest_s=250)
    assert len(seen.lines) == height
    assert max(len(line) for line in seen.lines) <= width


def test_each_kind_of_answer_has_a_word_a_shape_and_a_colour_of_its_own() -> None:
    looks = []
    for place in range(5):
        seen = Seen()
        says: list[Callable[[], None]] = [
            partial(seen.screen.answer, CODE, DONE),
            partial(seen.screen.answer, CODE, WRONG),
            partial(seen.screen.provisional, CODE, RIGHT, 1),
            partial(seen.screen.provisional, CODE, DOUBT, 1),
            partial(seen.screen.kept, CODE, 1),
        ]
        says[place]()
        looks.append((frozenset(seen.colours), tuple(line[:16] for line in seen.lines[:14])))
    assert len({colours for colours, _shape in looks}) == 5
    shapes = [shape for _colours, shape in looks]
    assert shapes[0] != shapes[1]
    assert len(set(shapes)) >= 4  # both provisional answers ask: they differ by word and colour
    seen = Seen()
    seen.screen.answer(CODE, DONE)
    assert _large("DONE", seen.lines)


def test_the_queue_is_shown_how_many_and_how_old() -> None:
    seen = Seen()
    assert "nothing waits" in seen.lines[-1]
    seen.standing = Standing(waiting=12, oldest_s=250, aside=1, listed="list of 412, 3 min old")
    assert "12 wait, oldest 4 min" in seen.lines[-1]
    assert "1 SET ASIDE" in seen.lines[-1]
    assert "list of 412" in seen.lines[-1]
    assert _large("12 WAIT 4 MIN", seen.lines)


def test_what_is_taken_back_stays_in_sight_when_other_answers_follow() -> None:
    seen = Seen()
    seen.screen.corrected(CODE, WRONG)
    seen.screen.answer(part_code(2), DONE, quiet=True)
    assert _large("STOP", seen.lines)
    seen.screen.answer(part_code(3), DONE)
    assert not _large("STOP", seen.lines)
    assert any("STOP" in line and CODE in line for line in seen.lines)


def test_the_servers_absence_stands_below_and_goes_when_all_is_sent() -> None:
    seen = Seen()
    seen.screen.answer(CODE, DONE)
    seen.screen.trouble(Heard.AWAY, "the server does not answer", 0)
    assert any("NO SERVER" in line for line in seen.lines)
    assert _large("DONE", seen.lines)
    seen.screen.all_sent()
    assert not any("NO SERVER" in line for line in seen.lines)


def test_it_takes_the_terminal_rings_once_for_each_bell_and_gives_it_back() -> None:
    seen = Seen()
    seen.wall.start()
    seen.screen.answer(CODE, WRONG)
    seen.file.wait_for_bells(3)
    seen.wall.stop()
    written = seen.file.getvalue()
    # xterm's control sequences: 1049 is the alternate screen, h enters it and l leaves it
    assert written.index("\x1b[?1049h") < written.index("\x1b[?1049l")
    assert written.count(BELL) == 3


def test_what_is_told_while_it_rings_is_drawn_and_costs_no_bell() -> None:
    seen = Seen()
    seen.file.at_a_bell = lambda: seen.screen.source("is ready")
    seen.wall.start()
    seen.screen.answer(CODE, WRONG)
    seen.file.wait_for_bells(3)
    seen.wall.stop()
    written = seen.file.getvalue()
    assert written.index(BELL) < written.index("scanner is ready") < written.rindex(BELL)


def test_what_was_told_last_is_drawn_before_the_terminal_is_given_back() -> None:
    seen = Seen()
    seen.wall.start()
    seen.screen.answer(CODE, DONE)
    seen.wall.stop()
    assert DONE.message in seen.file.getvalue()


def test_what_could_steer_the_terminal_is_a_mark() -> None:
    seen = Seen()
    seen.screen.answer("P\x1b[2J", Answer(outcome="done", ok=True, message="a\x1b]0;x\x07b [bold]c[/bold]"))
    assert not any("\x1b" in line or "\x07" in line for line in seen.lines)
    assert any("[bold]c[/bold]" in line for line in seen.lines)
