"""Commands of the shop's own for what a worker is told: a lamp, a sound. They run beside the scanning.

A command is a list of words and runs as it stands, without a shell; what was read comes to it in its environment.
"""

import os
import subprocess
import threading
from collections.abc import Mapping, Sequence
from typing import Final

from scanner_client.notices import Notice

LONGEST_S: Final = 5.0  # then a command is ended: the next lamp matters more
_WORDS_KEPT: Final = 200


class Commands:
    """Runs the command of each notice's outcome, or else of its tone. Only the latest waits while one runs.

    ``failed`` says of the last command that could not be run why; empty when it could.
    """

    def __init__(self, commands: Mapping[str, Sequence[str]], *, longest_s: float = LONGEST_S) -> None:
        self._commands = commands
        self._longest_s = longest_s
        self._next: Notice | None = None
        self._changed = threading.Condition()
        self._stopped = False
        self.failed = ""
        self._running = threading.Thread(target=self._run_all, name="commands", daemon=True)

    def start(self) -> None:
        """Begin to run commands."""
        self._running.start()

    def show(self, notice: Notice) -> None:
        """Take a notice. It never waits."""
        if self._command_for(notice) is not None:
            with self._changed:
                self._next = notice
                self._changed.notify()

    def stop(self) -> None:
        """Run the last command to its end, and no more."""
        with self._changed:
            self._stopped = True
            self._changed.notify()
        self._running.join(self._longest_s + 1)

    def _command_for(self, notice: Notice) -> Sequence[str] | None:
        return self._commands.get(notice.outcome) or self._commands.get(notice.tone)

    def _run_all(self) -> None:
        while True:
            with self._changed:
                while self._next is None and not self._stopped:
                    self._changed.wait()
                notice, self._next = self._next, None
            if notice is None:
                return
            self._run(notice)

    def _run(self, notice: Notice) -> None:
        told = {
            "SCANNER_OUTCOME": notice.outcome,
            "SCANNER_TONE": notice.tone,
            "SCANNER_WORD": notice.word,
            "SCANNER_CODE": _safe(notice.code),
            "SCANNER_TEXT": _safe(notice.text),
        }
        command = list(self._command_for(notice) or ())
        try:
            done = subprocess.run(  # noqa: S603 - the shop's own command, word by word, without a shell
                command,
                env={**os.environ, **told},
                stdin=subprocess.DEVNULL,
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=self._longest_s,
                check=False,
            )
        except (OSError, ValueError, subprocess.TimeoutExpired) as error:
            self.failed = f"{command[0]}: {error}"
            return
        self.failed = f"{command[0]} ended with status {done.returncode}" if done.returncode else ""


def _safe(text: str) -> str:
    return text[:_WORDS_KEPT].replace("\0", "")
