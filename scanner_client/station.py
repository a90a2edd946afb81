"""The station: readings are taken and queued in one thread, sent in another. A slow server never delays a reading."""

import random
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Final, Protocol
from uuid import uuid4

from scanner_client.clock import SteadyClock
from scanner_client.plan import LARGEST_BATCH, LONGEST_PAUSE_S, Heard, Last, Send, SetAside, Wait, after, next_step
from scanner_client.provisional import NO_GUESS, NO_PART, Guess, Look
from scanner_client.queue import Queue, QueueDiskError, Reading
from scanner_client.screen import Screen, printable
from scanner_client.sender import Answer, Reply
from scanner_client.shown import NONE, ShownPart
from scanner_client.station_list import StationList
from tracker.shop.codes import MisreadError, read_code
from tracker.shop.sscc import find_sscc

TWICE_WITHIN_S: Final = 1.5
DISK_PAUSE_S: Final = 1.0
LAST_ANSWER_S: Final = 2.0  # how long a stop waits for the answer that is under way
LOOK_UP_S: Final = 0.02
TOLD_AT_ONCE: Final = 5
PATIENCE_S: Final = 0.4  # how long a reading waits for the server's answer before the worker is told how it looks


class Service(Protocol):
    """Whatever takes readings and answers."""

    def send(self, readings: Sequence[Reading]) -> Reply:
        """Send readings in order. Never raises."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unanswered:
    """A reading that nothing was said about yet, and when its worker has waited long enough."""

    id: str
    code: str
    guess: Guess
    due: float


class Station:
    """One station's readings on their way to the server.

    ``clock`` counts seconds; ``time_of_day`` times the readings; by ``expected`` readings are judged at first.
    """

    def __init__(
        self,
        queue: Queue,
        service: Service,
        screen: Screen,
        *,
        name: str = "",
        expected: StationList | None = None,
        clock: Callable[[], float] = time.monotonic,
        time_of_day: SteadyClock | None = None,
        longest_pause_s: float = LONGEST_PAUSE_S,
    ) -> None:
        self._queue = queue
        self._service = service
        self._screen = screen
        self._name = name
        self._expected = expected
        self._clock = clock
        self._time = time_of_day or SteadyClock()
        self._longest_pause_s = longest_pause_s
        self._last = Last()
        self._jitter = 0.0
        self._why = ""
        self._shown = ShownPart()
        self._seen = ("", 0.0)
        self._unanswered: dict[str, _Unanswered] = {}
        self._told: dict[str, str] = {}
        self._telling = threading.Lock()
        self._jump_told = self._wrong_told = False
        self._wake = threading.Event()
        self._stop = threading.Event()
        self._sending = threading.Thread(target=self._send_all, name="sending", daemon=True)
        self._patience = threading.Thread(target=self._be_patient, name="patience", daemon=True)
        self.set_aside = 0
        self.server_away = False  # by whoever else speaks to it: the next reading need not find out by itself

    @property
    def idle(self) -> bool:
        """Whether the server was there when it was last spoken to and has every reading."""
        return not self._last.failures and not self._queue.waiting()

    def start(self) -> None:
        """Say what an earlier run left, and begin to send it."""
        self._screen.begins(self._queue.waiting(), len(self._queue.aside()))
        self._sending.start()
        self._patience.start()

    def take(self, text: str) -> None:
        """Take a reading: it is on disk before anything is said about it. Misreads are sent too, for the log."""
        code, wrong = _judged(text)
        if self._is_twice(code):
            self._screen.twice(code)
            return
        self._look_at_the_clock()
        at = self._time.now()
        part = self._shown.read("" if wrong else code, at)
        guess = self._guess(code, part) if not wrong else NO_GUESS
        behind = (self._last.failures > 0 or self.server_away) and not wrong
        reading = Reading(
            id=str(uuid4()),
            code=code,
            at=at.isoformat(),
            station=self._name,
            told=guess.look if behind else "",
            part=part,
        )
        if not (wrong or behind):
            with self._telling:
                self._unanswered[reading.id] = _Unanswered(
                    id=reading.id, code=code, guess=guess, due=self._clock() + PATIENCE_S
                )
        try:
            self._queue.add(reading)
        except QueueDiskError as error:
            self._seen = ("", 0.0)
            self._unanswered.pop(reading.id, None)
            self._screen.not_kept(code, str(error))
            return
        if wrong:
            self._screen.misread(code, wrong)
        elif behind:
            self.tell_what_is_due(all_of_them=True)  # the readings before it come first
            self._screen.provisional(code, guess, self._queue.waiting())
        if self._expected and not wrong:
            self._expected.note(code, guess)
        self._wake.set()

    def _guess(self, code: str, part: str) -> Guess:
        """Say how a reading looks; ``part`` is what a card or a slot's code marks."""
        if part == NONE:
            return NO_PART
        if part:
            return replace(NO_GUESS, about=self._expected.name(part) if self._expected else part)
        return self._expected.look(code) if self._expected else NO_GUESS

    def _is_twice(self, code: str) -> bool:
        """Whether this label was the last one read, a moment ago. Another label in between makes it a new intention."""
        now = self._clock()
        before, at = self._seen
        self._seen = (code, now)
        return code == before and now - at < TWICE_WITHIN_S

    def _look_at_the_clock(self) -> None:
        """Go by the computer's clock again as soon as nothing waits; say once that somebody set it."""
        jump_s = self._time.jump_s()
        if jump_s and not self._jump_told:
            self._jump_told = True
            self._screen.clock(jump_s, jumped=True)
        with suppress(QueueDiskError):
            if not self._queue.waiting():
                self._time.set_again()
                self._jump_told = False

    def step(self) -> float | None:
        """Do one step of the sending; return the seconds until the next one, None when nothing waits.

        Raises QueueDiskError.
        """
        waiting = self._queue.first(LARGEST_BATCH)
        step = next_step(waiting, self._last, now=self._clock(), jitter=self._jitter, longest_s=self._longest_pause_s)
        match step:
            case Send(readings=readings):
                self._send(readings)
            case SetAside(reading=reading):
                self._queue.set_aside(reading, self._why)
                self._last = Last()
                self.set_aside += 1
                self._answered_already(reading.id)
                self._screen.set_aside(reading.code, self._why)
            case Wait(seconds=seconds):
                return seconds
        return 0.0

    def drain(self, seconds: float, stop: threading.Event) -> None:
        """Wait until everything is sent or ``stop`` is set, at most so long."""
        patience = time.monotonic() + seconds
        while self._queue.waiting() and time.monotonic() < patience and not stop.wait(LOOK_UP_S):
            pass

    def stop(self) -> bool:
        """Stop sending; what waits stays on disk. Return False when an answer is still under way."""
        self._stop.set()
        self._wake.set()
        self._sending.join(LAST_ANSWER_S)
        self._patience.join(LAST_ANSWER_S)
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

    def _be_patient(self) -> None:
        while not self._stop.wait(PATIENCE_S / 8):
            self.tell_what_is_due()

    def tell_what_is_due(self, *, all_of_them: bool = False) -> None:
        """Say how the readings look that have waited long for their answers: the latest few, where there are many."""
        with self._telling:
            now = self._clock()
            due = [each for each in self._unanswered.values() if all_of_them or each.due <= now]
            for each in due:
                del self._unanswered[each.id]
            for each in due[-TOLD_AT_ONCE:]:
                self._told[each.id] = each.guess.look
                with suppress(QueueDiskError):
                    self._queue.tell(each.id, each.guess.look)
                    self._screen.provisional(each.code, each.guess, self._queue.waiting())

    def _answered_already(self, id_: str) -> str | None:
        """Forget a reading; return what the worker was told of it in this run, if anything."""
        self._unanswered.pop(id_, None)
        return self._told.pop(id_, None)

    def _send(self, readings: Sequence[Reading]) -> None:
        reply = self._service.send(readings)
        known = [reading for reading in readings if reading.id in reply.answers]
        self._queue.answered([reading.id for reading in known])
        self._last = after(self._last, reply.heard, sent=len(readings), answered=len(known), now=self._clock())
        self._jitter = random.random()  # noqa: S311 - no secret
        self._why = reply.why
        waiting = self._queue.waiting()
        if self._last.failures:
            self._screen.trouble(reply.heard, reply.why, waiting)
            self.tell_what_is_due(all_of_them=True)
        else:
            self.server_away = False
        for reading in known:
            self._shown.answered(datetime.fromisoformat(reading.at), reply.answers[reading.id].outcome)
            self._tell(reading, reply.answers[reading.id])
        if self._expected and known:
            self._keep_list(known, reply, latest=not waiting)
        if reply.heard is Heard.ANSWERS:
            self._tell_clock(reply.ahead_s)
            if not waiting:
                self._screen.all_sent()

    def _tell(self, reading: Reading, answer: Answer) -> None:
        """Show an answer: loudly where it takes back what was said before, quietly where it says the same."""
        with self._telling:
            told = self._answered_already(reading.id) or reading.told
            if answer.outcome == "misread" and _judged(reading.code)[1]:
                return  # it was said when it was read
            if told == Look.RIGHT and not answer.ok:
                self._screen.corrected(reading.code, answer)
            elif told == Look.DOUBT and answer.ok:
                self._screen.cleared(reading.code, answer)
            else:
                self._screen.answer(reading.code, answer, quiet=bool(told) and answer.ok)

    def _keep_list(self, readings: Sequence[Reading], reply: Reply, *, latest: bool) -> None:
        """Keep the station's list in step with what the server said of single readings."""
        expected = self._expected
        if expected is None:
            return
        for reading in readings:
            answer = reply.answers[reading.id]
            if not answer.ok:
                expected.not_passed(reading.code)
            elif answer.outcome == "undone" and answer.part:
                expected.not_passed(answer.part)
            elif answer.outcome == "done" and latest and reading is readings[-1]:
                expected.passed(reading.code)

    def _tell_clock(self, ahead_s: float) -> None:
        if ahead_s and not self._wrong_told:
            self._screen.clock(ahead_s)
        self._wrong_told = bool(ahead_s)


def _judged(text: str) -> tuple[str, str]:
    """Return the code or the SSCC that was read, or the text as it was read and why it is neither."""
    shown = printable(text.strip())
    try:
        sscc = find_sscc(text)
        return sscc or str(read_code(shown)), ""
    except MisreadError as misread:
        return shown, str(misread)
