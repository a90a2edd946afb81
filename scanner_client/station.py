"""The station: readings are taken and queued in one thread, sent in another. A slow server never delays a reading."""

import random
import threading
import time
from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from typing import Final, Protocol
from uuid import uuid4

from scanner_client.plan import LARGEST_BATCH, Heard, Last, Send, SetAside, Wait, after, next_step
from scanner_client.queue import Queue, QueueDiskError, Reading
from scanner_client.screen import Screen, printable
from scanner_client.sender import Reply
from tracker.shop.codes import MisreadError, read_code
from tracker.shop.sscc import find_sscc

TWICE_WITHIN_S: Final = 1.5
DISK_PAUSE_S: Final = 1.0
LAST_ANSWER_S: Final = 2.0  # how long a stop waits for the answer that is under way
LOOK_UP_S: Final = 0.02


class Service(Protocol):
    """Whatever takes readings and answers."""

    def send(self, readings: Sequence[Reading]) -> Reply:
        """Send readings in order. Never raises."""


class Station:
    """One station's readings on their way to the server. ``clock`` counts seconds."""

    def __init__(
        self,
        queue: Queue,
        service: Service,
        screen: Screen,
        *,
        name: str = "",
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._queue = queue
        self._service = service
        self._screen = screen
        self._name = name
        self._clock = clock
        self._last = Last()
        self._jitter = 0.0
        self._why = ""
        self._seen = ("", 0.0)
        self._wake = threading.Event()
        self._stop = threading.Event()
        self._sending = threading.Thread(target=self._send_all, name="sending", daemon=True)
        self.set_aside = 0

    def start(self) -> None:
        """Say what an earlier run left, and begin to send it."""
        self._screen.begins(self._queue.waiting(), len(self._queue.aside()))
        self._sending.start()

    def take(self, text: str) -> None:
        """Take a reading: it is on disk before anything is said about it. Misreads are sent too, for the log."""
        code, wrong = _judged(text)
        if self._is_twice(code):
            self._screen.twice(code)
            return
        at = datetime.now(UTC).isoformat()
        try:
            self._queue.add(Reading(id=str(uuid4()), code=code, at=at, station=self._name))
        except QueueDiskError as error:
            self._seen = ("", 0.0)
            self._screen.not_kept(code, str(error))
            return
        if wrong:
            self._screen.misread(code, wrong)
        elif self._last.failures:
            self._screen.kept(code, self._queue.waiting())
        self._wake.set()

    def _is_twice(self, code: str) -> bool:
        """Whether this label was the last one read, a moment ago. Another label in between makes it a new intention."""
        now = self._clock()
        before, at = self._seen
        self._seen = (code, now)
        return code == before and now - at < TWICE_WITHIN_S

    def step(self) -> float | None:
        """Do one step of the sending; return the seconds until the next one, None when nothing waits.

        Raises QueueDiskError.
        """
        waiting = self._queue.first(LARGEST_BATCH)
        match next_step(waiting, self._last, now=self._clock(), jitter=self._jitter):
            case Send(readings=readings):
                self._send(readings)
            case SetAside(reading=reading):
                self._queue.set_aside(reading, self._why)
                self._last = Last()
                self.set_aside += 1
                self._screen.set_aside(reading.code, self._why)
            case Wait(seconds=seconds):
                return seconds
        return 0.0

    def drain(self, seconds: float, stop: threading.Event) -> int:
        """Wait until everything is sent or ``stop`` is set, at most so long; return how many still wait."""
        patience = time.monotonic() + seconds
        while self._queue.waiting() and time.monotonic() < patience and not stop.wait(LOOK_UP_S):
            pass
        return self._queue.waiting()

    def stop(self) -> bool:
        """Stop sending; what waits stays on disk. Return False when an answer is still under way."""
        self._stop.set()
        self._wake.set()
        self._sending.join(LAST_ANSWER_S)
        return not self._sending.is_alive()

    def _send_all(self) -> None:
        while not self._stop.is_set():
            try:
                pause = self.step()
            except QueueDiskError as error:
                self._screen.disk_trouble(str(error))
                pause = DISK_PAUSE_S
            if pause != 0:
                self._wake.wait(pause)
                self._wake.clear()

    def _send(self, readings: Sequence[Reading]) -> None:
        reply = self._service.send(readings)
        known = [reading for reading in readings if reading.id in reply.answers]
        self._queue.answered([reading.id for reading in known])
        self._last = after(self._last, reply.heard, sent=len(readings), answered=len(known), now=self._clock())
        self._jitter = random.random()  # noqa: S311 - no secret
        self._why = reply.why
        if self._last.failures:
            self._screen.trouble(reply.heard, reply.why, self._queue.waiting())
        for reading in known:
            answer = reply.answers[reading.id]
            said_when_read = answer.outcome == "misread" and _judged(reading.code)[1]
            if not said_when_read:
                self._screen.answer(reading.code, answer)
        if reply.heard is Heard.ANSWERS and not self._queue.waiting():
            self._screen.all_sent()


def _judged(text: str) -> tuple[str, str]:
    """Return the code or the SSCC that was read, or the text as it was read and why it is neither."""
    shown = printable(text.strip())
    try:
        sscc = find_sscc(text)
        return sscc or str(read_code(shown)), ""
    except MisreadError as misread:
        return shown, str(misread)
