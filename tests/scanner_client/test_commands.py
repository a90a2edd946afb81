"""Lamps and sounds: a command for each outcome, beside the scanning."""

import sys
from collections.abc import Mapping, Sequence
from pathlib import Path

from scanner_client.commands import Commands
from scanner_client.screen import Screen
from scanner_client.sender import Answer
from tests.waiting import HANGS_AFTER_S, until
from tracker.shop.codes import part_code

CODE = part_code(1)
DONE = Answer(outcome="done", ok=True, message="Well; `rm` $(done) && more")
WRONG = Answer(outcome="wrong_box", ok=False, message="No.")
NOTE = "import os, sys; open(sys.argv[1], 'a').write(' '.join([*sys.argv[2:], os.environ['SCANNER_%s']]) + '\\n')"


def _led(commands: Mapping[str, Sequence[str]], longest_s: float = HANGS_AFTER_S) -> tuple[Screen, Commands]:
    made = Commands(commands, longest_s=longest_s)
    made.start()
    screen = Screen(lambda _line: None)
    screen.watch(made.show)
    return screen, made


def _note(path: Path, *words: str, told: str = "CODE") -> list[str]:
    return [sys.executable, "-c", NOTE % told, str(path), *words]


def test_the_outcomes_own_command_runs_or_else_that_of_its_tone(tmp_path: Path) -> None:
    lamp = tmp_path / "lamp"
    screen, commands = _led(
        {"wrong_box": _note(lamp, "blink"), "wrong": _note(lamp, "red"), "right": _note(lamp, "green")}
    )
    for place, answer in enumerate((DONE, WRONG, Answer(outcome="replaced", ok=False, message="")), start=1):
        screen.answer(CODE, answer)
        until(lambda place=place: lamp.exists() and len(lamp.read_text().splitlines()) == place)  # type: ignore[misc]
    screen.source("is ready")  # no command is set for it
    commands.stop()
    assert lamp.read_text().splitlines() == [f"green {CODE}", f"blink {CODE}", f"red {CODE}"]
    assert commands.failed == ""


def test_what_was_read_comes_as_it_is_and_no_shell_reads_it(tmp_path: Path) -> None:
    lamp = tmp_path / "lamp"
    screen, commands = _led({"done": _note(lamp, "$HOME; `x`", told="TEXT")})
    screen.answer("P; touch /tmp/x\0", DONE)
    until(lambda: lamp.exists() and "more" in lamp.read_text())
    commands.stop()
    assert lamp.read_text() == f"$HOME; `x` {DONE.message}\n"


HANG = "import pathlib, sys, time\nwhile not pathlib.Path(sys.argv[1]).exists(): time.sleep(0.02)"


def test_a_command_that_hangs_delays_nothing(tmp_path: Path) -> None:
    let_go = tmp_path / "go"
    screen, commands = _led({"right": [sys.executable, "-c", HANG, str(let_go)]})
    for _time in range(1_000):
        screen.answer(CODE, DONE)
    assert commands.failed == "", "the first one still runs"
    let_go.touch()
    commands.stop()
    assert commands.failed == ""


def test_a_command_that_hangs_is_ended(tmp_path: Path) -> None:
    screen, commands = _led({"right": [sys.executable, "-c", HANG, str(tmp_path / "never")]}, longest_s=0.3)
    screen.answer(CODE, DONE)
    until(lambda: "timed out" in commands.failed)
    commands.stop()


def test_a_command_that_is_not_there_or_fails_is_remembered() -> None:
    screen, commands = _led({"right": ["/none/lamp"], "wrong": [sys.executable, "-c", "raise SystemExit(3)"]})
    screen.answer(CODE, DONE)
    until(lambda: "/none/lamp" in commands.failed)
    screen.answer(CODE, WRONG)
    until(lambda: "status 3" in commands.failed)
    commands.stop()
