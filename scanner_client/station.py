"""The station: readings are taken and queued in one thread, sent in another. A slow server never delays a reading."""

import random
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final, Protocol
from uuid import uuid4

from scanner_client.plan import Heard, Last, Send, SetAside, Wait, next_step
from scanner_client.queue import Queue, Reading
from scanner_client.screen import Screen
from scanner_client.sender import Reply
from tracker.shop.codes import MisreadError, read_code

TWICE_WITHIN_S: Final = 1.5


class Service(Protocol):
    """Whatever takes readings and answers."""

    def send(self, readings: list[Reading]) -> Reply:
        """Send readings in order."""


class Station:
    """One station's readings on their way to the server."""

    def __init__(
        self, queue: Queue, service: Service, screen: Screen, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._queue = queue
        self._service = service
        self._screen = screen
        self._clock = clock
        self._last = Last()
        self._last_code = ("", -TWICE_WITHIN_S)
        self._wake = threading.Event()
        self._stop = threading.Event()
        self._sender = threading.Thread(target=self._send_all, name="sending", daemon=True)

    def start(self) -> None:
        """Begin to send what waits."""
        self._sender.start()

    def take(self, text: str) -> None:
        """Take a reading: it is on disk before anything is said about it."""
        code = text.strip().upper()
        seen, at = self._last_code
        now = self._clock()
        self._last_code = (code, now)
        if code == seen and now - at < TWICE_WITHIN_S:
            self._screen.twice(code)
            return
        self._queue.add(Reading(id=str(uuid4()), code=code[:80], at=datetime.now(UTC).isoformat()))
        try:
            read_code(code)
        except MisreadError as misread:
            self._screen.misread(code, str(misread))
        if self._last.failures:
            self._screen.kept(code, self._queue.waiting())
        self._wake.set()

    def drain(self, seconds: float) -> int:
        """Wait until everything is sent, at most so long; return how many still wait."""
        patience = time.monotonic() + seconds
        while self._queue.waiting() and time.monotonic() < patience:
            self._wake.set()
            time.sleep(0.02)
        return self._queue.waiting()

    def stop(self) -> None:
        """Stop sending; what waits stays on disk."""
        self._stop.set()
        self._wake.set()
        self._sender.join()

    def _send_all(self) -> None:
        paused = False
        while not self._stop.is_set():
            self._wake.clear()
            waiting = self._queue.first(100)
            match next_step(waiting, self._last, paused=paused, jitter=random.random()):  # noqa: S311 - no secret
                case Send(readings=readings):
                    paused = False
                    self._send(list(readings))
                case SetAside(reading=reading):
                    self._queue.set_aside(reading, "refused")
                    self._screen.set_aside(reading.code, "refused by the server")
                    self._last = Last(heard=Heard.ANSWERS)
                case Wait(seconds=None):
                    self._wake.wait()
                case Wait(seconds=seconds):
                    self._stop.wait(seconds)
                    paused = True

    def _send(self, readings: list[Reading]) -> None:
        reply = self._service.send(readings)
        known = [reading for reading in readings if reading.id in reply.answers]
        failed = reply.heard in (Heard.AWAY, Heard.UNKNOWN_TOKEN) or (reply.heard is Heard.ANSWERS and not known)
        heard = Heard.AWAY if reply.heard is Heard.ANSWERS and not known else reply.heard
        self._last = Last(heard=heard, sent=len(readings), failures=self._last.failures + 1 if failed else 0)
        if failed:
            self._screen.trouble(reply.why or "the answer makes no sense", self._queue.waiting())
            return
        self._queue.answered([reading.id for reading in known])
        for reading in known:
            self._screen.answer(reading.code, reply.answers[reading.id])
        if known and not self._queue.waiting():
            self._screen.all_sent()
