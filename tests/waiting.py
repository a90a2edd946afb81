"""Waiting for what another thread, process or program does: for the event itself, never for a length of time."""

import time
from collections.abc import Callable
from typing import Final, TypeVar

HANGS_AFTER_S: Final = 300.0  # nothing that works takes so long, on the busiest machine
_LOOK_S: Final = 0.005

Found = TypeVar("Found")


def until(look: Callable[[], Found | None], why: Callable[[], object] = lambda: "it never came to that") -> Found:
    """Look again and again until there is something to be seen, and return it; ``why`` says what there was instead.

    Only for what tells nobody: the files and answers of other processes.
    """
    hangs = time.monotonic() + HANGS_AFTER_S
    while True:
        found = look()
        if found:
            return found
        assert time.monotonic() < hangs, why()
        time.sleep(_LOOK_S)
