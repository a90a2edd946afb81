"""Sends prints beside the requests that ask for them.

A printer may take a minute, and the service's threads are needed at the stations: so a request writes the print down,
hands its number over and answers at once; the screen then asks how far it is. Few senders and a short line are enough
for a shop. What is lost when the service stops is said by the print's own state (shop/printing.py): nothing of it is
remembered here, and nothing is sent after a start that was asked for before.
"""

import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from typing import Final

from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.errors import NotFoundError
from tracker.work.printers import refresh_printer
from tracker.work.prints import follow_print, give_up, send_print

SENDERS: Final = 3
MOST_WAITING: Final = 40
ASKED_ANEW_S: Final = 2.0
MOST_REMEMBERED: Final = 1_000
_log = logging.getLogger("tracker.printing")


def server_clock() -> datetime:
    """The server's time."""
    return datetime.now(UTC)


class PrintQueue:
    """The senders of one service. Nothing is started until the first print."""

    def __init__(self, database: Database, settings: Settings, clock: Callable[[], datetime] = server_clock) -> None:
        self._database = database
        self._settings = settings
        self._clock = clock
        self._pool = ThreadPoolExecutor(max_workers=SENDERS, thread_name_prefix="printing")
        self._lock = threading.Lock()
        self._waiting = 0
        self._asked: dict[str, float] = {}

    def send(self, number: int) -> None:
        """Send a print soon, or write down that too many wait: then it is never sent."""
        if not self._start(lambda: send_print(self._database, self._settings, number, self._clock)):
            give_up(self._database, number, self._clock)

    def follow(self, number: int) -> None:
        """Ask the printer soon how far a print is, unless that was just asked."""
        if self._is_due(f"print {number}"):
            self._start(lambda: follow_print(self._database, number, self._clock))

    def ask(self, printer: int) -> None:
        """Ask a printer soon how it is, unless that was just asked."""
        if self._is_due(f"printer {printer}"):
            self._start(lambda: refresh_printer(self._database, printer, now=self._clock()))

    def close(self) -> None:
        """Finish what is being sent; what waits is not sent any more, and its state says so."""
        self._pool.shutdown(cancel_futures=True)

    def _is_due(self, what: str) -> bool:
        with self._lock:
            now = time.monotonic()
            if now - self._asked.get(what, -ASKED_ANEW_S) < ASKED_ANEW_S:
                return False
            if len(self._asked) >= MOST_REMEMBERED:
                self._asked.clear()
            self._asked[what] = now
            return True

    def _start(self, work: Callable[[], object]) -> bool:
        with self._lock:
            if self._waiting >= MOST_WAITING:
                return False
            self._waiting += 1
        self._pool.submit(self._run, work)
        return True

    def _run(self, work: Callable[[], object]) -> None:
        try:
            work()
        except NotFoundError:
            pass  # it was taken out meanwhile
        except Exception:
            _log.exception("printing failed")
            raise
        finally:
            with self._lock:
                self._waiting -= 1
