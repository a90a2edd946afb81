"""Anything that can happen to queue, network, server and program, in any order: each reading arrives once, in order."""

import shutil
import tempfile
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from scanner_client.clock import SteadyClock
from scanner_client.plan import Heard
from scanner_client.provisional import Expected
from scanner_client.queue import Queue, Reading
from scanner_client.screen import Screen
from scanner_client.sender import Answer, Reply
from scanner_client.station import Station
from scanner_client.station_list import Page, StationList
from tests.examples import examples
from tracker.shop.codes import part_code

DONE = Answer(outcome="done", ok=True, message="Done.")


class Network:
    """A server behind a network: the model of both. ``mood`` is ok, away (nothing arrives) or lost (no answer does)."""

    def __init__(self) -> None:
        self.mood = "ok"
        self.stored: dict[str, str] = {}
        self.refuses: set[str] = set()

    def send(self, readings: Sequence[Reading]) -> Reply:
        if self.mood == "away":
            return Reply(heard=Heard.AWAY, why="away")
        if any(reading.code in self.refuses for reading in readings):
            return Reply(heard=Heard.REFUSED, why="refused")
        for reading in readings:
            self.stored.setdefault(reading.id, reading.code)
        if self.mood == "lost":
            return Reply(heard=Heard.AWAY, why="lost")
        return Reply(heard=Heard.ANSWERS, answers={reading.id: DONE for reading in readings})


class Half:
    """Says that every other part may come: the rest is doubted, and all of it is done."""

    def expected(self, _station: str, _since: int, _after: str = "") -> Page:
        rows = [Expected(code=part_code(number), name="End", next="cut") for number in range(1, 1_000, 2)]
        return Page(station="", step="cut", strict=False, at=1, whole=True, items=rows, gone=[], next="")


class StationMachine(RuleBasedStateMachine):
    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp(prefix="station-machine-"))
        self.lives = 0
        self.network = Network()
        self.now = 0.0
        self.read: list[str] = []
        self.lines: list[str] = []
        self.wall = datetime(2027, 3, 1, 8, 0, tzinfo=UTC)
        self.queue = Queue(self._path())
        self._start()

    def _path(self) -> Path:
        return self.folder / str(self.lives) / "queue.db"

    def _start(self) -> None:
        time_of_day = SteadyClock(wall=lambda: self.wall + timedelta(seconds=self.now), ticks=lambda: self.now)
        if newest := self.queue.state().newest:
            time_of_day.never_before(datetime.fromisoformat(newest))
        self.expected = StationList(self.folder / "list.db", of="machine")
        self.expected.refresh(Half(), "")
        self.station = Station(
            self.queue,
            self.network,
            Screen(self.lines.append),
            expected=self.expected,
            clock=lambda: self.now,
            time_of_day=time_of_day,
        )

    @rule(count=st.integers(1, 130), refused=st.booleans())
    def readings_are_made(self, count: int, refused: bool) -> None:
        for _each in range(count):
            self.read.append(part_code(len(self.read) + 1))
            self.station.take(self.read[-1])
        if refused:
            self.network.refuses.add(self.read[-count // 2 - 1])

    @rule(hours=st.sampled_from([-1, 1]))
    def the_clock_is_set(self, hours: int) -> None:
        self.wall += timedelta(hours=hours)

    @rule()
    def the_disk_gets_full_and_room_is_made(self) -> None:
        """SQLite itself is told to take no page more. The worker is told at the reading that is not kept."""
        pages = self.queue._connection.execute("PRAGMA page_count").fetchone()[0]
        self.queue._connection.execute(f"PRAGMA max_page_count={pages}")
        for _each in range(60):
            code, told = part_code(len(self.read) + 1) * 30, len(self.lines)
            self.station.take(code)
            if "NOT KEPT" in "".join(self.lines[told:]):
                break
            self.read.append(code)
        else:
            raise AssertionError("the disk never got full")
        self.queue._connection.execute("PRAGMA max_page_count=1000000")

    @rule()
    def a_worker_waits_for_the_answer(self) -> None:
        self.now += 1
        self.station.tell_what_is_due()

    @rule(mood=st.sampled_from(["ok", "away", "lost"]))
    def the_network_changes(self, mood: str) -> None:
        self.network.mood = mood

    @rule(steps=st.integers(1, 4), passing_s=st.floats(0, 20))
    def time_goes_on_and_the_program_works(self, steps: int, passing_s: float) -> None:
        for _step in range(steps):
            self.now += passing_s
            self.station.step()

    @rule()
    def the_program_is_stopped_and_started(self) -> None:
        self.queue.close()
        self.expected.close()
        self.queue = Queue(self._path())
        self._start()

    @precondition(lambda self: self.lives < 5)
    @rule()
    def the_program_is_killed_and_started(self) -> None:
        """What a killed program leaves is what lies on the disk at that moment: the file and its write-ahead log."""
        left = self._path().parent
        self.lives += 1
        shutil.copytree(left, self._path().parent)
        self.queue.close()
        self.expected.close()
        self.queue = Queue(self._path())
        self._start()

    @invariant()
    def every_reading_is_stored_or_waits_or_is_set_aside(self) -> None:
        if not hasattr(self, "queue"):
            return
        waiting = {reading.code for reading in self.queue.first(10_000)}
        aside = {reading.code for reading, _why in self.queue.aside()}
        assert waiting | aside | set(self.network.stored.values()) == set(self.read)
        assert aside <= self.network.refuses

    @invariant()
    def what_waits_has_times_in_order_of_reading(self) -> None:
        if hasattr(self, "queue"):
            times = [reading.at for reading in self.queue.first(10_000)]
            assert times == sorted(times)

    @invariant()
    def what_arrived_arrived_once_and_in_order(self) -> None:
        if hasattr(self, "network"):
            arrived = list(self.network.stored.values())
            assert arrived == [code for code in self.read if code in set(arrived)]

    def teardown(self) -> None:
        if not hasattr(self, "queue"):
            return
        self.network.mood = "ok"
        self.now += 60
        while (pause := self.station.step()) is not None:
            assert pause == 0
        assert list(self.network.stored.values()) == [code for code in self.read if code not in self.network.refuses]
        self.queue.close()
        self.expected.close()
        shutil.rmtree(self.folder)


TestStationMachine = StationMachine.TestCase
TestStationMachine.settings = examples(12, stateful_step_count=20)
