"""The station program: whatever happens to the network or to itself, each reading arrives once and in order."""

import os
import pty
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanner_client.keys import texts_of
from scanner_client.plan import Heard, Last, Send, SetAside, Wait, next_step
from scanner_client.queue import Queue, QueueInUseError, Reading
from scanner_client.screen import Screen
from scanner_client.sender import Server
from scanner_client.sources import Splitter, open_source
from scanner_client.station import Station
from tests.scanner_client.service import Service
from tracker.shop.codes import part_code

PROGRAM = [sys.executable, "-c", "from scanner_client.main import main; main()"]


@pytest.fixture
def service() -> Iterator[Service]:
    made = Service()
    yield made
    made.close()


@pytest.fixture
def lines() -> list[str]:
    return []


@pytest.fixture
def station(service: Service, lines: list[str], tmp_path: Path) -> Iterator[Station]:
    queue = Queue(tmp_path / "queue.db")
    made = Station(queue, Server(service.address, "secret", "CUT-1"), Screen(lines.append))
    made.start()
    yield made
    made.stop()
    queue.close()


def until(what: Callable[[], bool], seconds: float = 10) -> None:
    patience = time.monotonic() + seconds
    while not what():
        assert time.monotonic() < patience, "it never came to that"
        time.sleep(0.01)


def test_readings_arrive_in_order_and_are_answered(station: Station, service: Service, lines: list[str]) -> None:
    codes = [part_code(number) for number in range(1, 31)]
    for code in codes:
        station.take(code)
    assert station.drain(10) == 0
    assert service.codes == codes
    until(lambda: len(lines) >= 30)
    assert lines[0].startswith("+ DONE")
    assert {scan["station"] for scan in service.stored.values()} == {"CUT-1"}


def test_with_the_server_away_readings_are_kept_and_said_so_and_all_arrive_later(
    station: Station, service: Service, lines: list[str]
) -> None:
    service.trouble = "away"
    station.take(part_code(1))
    until(lambda: any("NO SERVER" in line for line in lines))
    station.take(part_code(2))
    assert any("KEPT" in line and "2 kept" in line for line in lines)
    service.trouble = "none"
    assert station.drain(10) == 0
    until(lambda: any("ALL SENT" in line for line in lines))
    assert service.codes == [part_code(1), part_code(2)]


@pytest.mark.parametrize("trouble", ["lost", "nonsense", "token"])
def test_an_answer_that_is_lost_or_no_answer_is_asked_again_with_the_same_id(
    station: Station, service: Service, trouble: str
) -> None:
    service.trouble = trouble
    station.take(part_code(1))
    until(lambda: service.requests >= 2)
    assert station.drain(0) == 1
    service.trouble = "none"
    assert station.drain(10) == 0
    assert service.codes == [part_code(1)]


def test_a_reading_that_the_server_never_takes_is_set_aside_and_the_rest_goes_on(
    station: Station, service: Service, lines: list[str]
) -> None:
    service.trouble, service.poison = "away", part_code(7)
    codes = [part_code(number) for number in range(1, 13)]
    for code in codes:
        station.take(code)
    service.trouble = "none"
    assert station.drain(15) == 0
    assert service.codes == [code for code in codes if code != service.poison]
    assert any("SET ASIDE" in line and service.poison in line for line in lines)


def test_the_same_label_twice_in_a_moment_is_sent_once_and_another_is_not_blocked(
    station: Station, service: Service, lines: list[str]
) -> None:
    for code in (part_code(1), part_code(1), part_code(2), part_code(1)):
        station.take(code)
    assert station.drain(10) == 0
    assert service.codes == [part_code(1), part_code(2), part_code(1)]
    assert any("TWICE" in line for line in lines)


def test_a_misread_is_told_on_the_spot_and_still_reaches_the_log(
    station: Station, service: Service, lines: list[str]
) -> None:
    station.take("P0000123400")
    assert any("MISREAD" in line for line in lines)
    assert station.drain(10) == 0
    assert service.codes == ["P0000123400"]


def test_a_queue_is_held_by_one_program_at_a_time(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    with pytest.raises(QueueInUseError, match="in use"):
        Queue(tmp_path / "queue.db")
    queue.close()
    Queue(tmp_path / "queue.db").close()


def _command(service: Service, folder: Path, *more: str) -> list[str]:
    token = folder / "token"
    token.write_text("secret\n")
    where = ["--server", service.address, "--token-file", str(token), "--queue", str(folder / "queue.db")]
    return [*PROGRAM, *where, *more]


def test_from_standard_input_to_the_server_and_out(service: Service, tmp_path: Path) -> None:
    typed = "\n".join(part_code(number) for number in range(1, 6)) + "\n"
    done = subprocess.run(
        _command(service, tmp_path), input=typed, capture_output=True, text=True, timeout=30, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("DONE") == 5
    assert service.codes == [part_code(number) for number in range(1, 6)]


def test_what_is_not_sent_at_the_end_is_said_with_status_1_and_sent_at_the_next_start(
    service: Service, tmp_path: Path
) -> None:
    service.trouble = "away"
    command = _command(service, tmp_path, "--drain-seconds", "0.3")
    first = subprocess.run(command, input=part_code(1) + "\n", capture_output=True, text=True, timeout=30, check=False)
    assert first.returncode == 1
    assert "1 readings wait" in first.stderr
    service.trouble = "none"
    second = subprocess.run(command[:-2], input="", capture_output=True, text=True, timeout=30, check=False)
    assert (second.returncode, service.codes) == (0, [part_code(1)])


def test_killed_at_any_moment_no_reading_that_was_shown_is_lost_or_doubled(service: Service, tmp_path: Path) -> None:
    codes = [part_code(number) for number in range(1, 61)]
    fed = 0
    for life in range(4):
        process = subprocess.Popen(
            _command(service, tmp_path), stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )
        assert process.stdin is not None
        assert process.stdout is not None
        for code in codes[fed : fed + 12]:
            process.stdin.write(code + "\n")
            process.stdin.flush()
            assert "DONE" in process.stdout.readline()
            fed += 1
        process.stdin.write(codes[fed] + "\n")
        process.stdin.flush()
        time.sleep(0.002 * life)
        process.send_signal(signal.SIGKILL)
        process.stdin.close()
        process.stdout.close()
        process.wait()
        if codes[fed] in service.codes or _in_queue(tmp_path, codes[fed]):
            fed += 1
    rest = "\n".join(codes[fed:]) + "\n"
    assert subprocess.run(_command(service, tmp_path), input=rest, text=True, timeout=30, check=False).returncode == 0
    assert service.codes == codes


def _in_queue(folder: Path, code: str) -> bool:
    """Whether a reading is on disk, looked up in a copy."""
    copied = folder / "copied"
    copied.mkdir(exist_ok=True)
    for name in ("queue.db", "queue.db-wal"):
        if (folder / name).exists():
            shutil.copyfile(folder / name, copied / name)
        else:
            (copied / name).unlink(missing_ok=True)
    (copied / "queue.db-shm").unlink(missing_ok=True)
    queue = Queue(copied / "queue.db")
    found = any(reading.code == code for reading in queue.first(1_000))
    queue.close()
    return found


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (["--source", "pigeon"], "no source"),
        (["--server", "shop:8000"], "http://"),
        (["--token-file", "/none"], "cannot"),
    ],
)
def test_wrong_use_is_said_with_status_2(service: Service, tmp_path: Path, more: list[str], why: str) -> None:
    done = subprocess.run(_command(service, tmp_path, *more), input="", capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert why in done.stderr


def test_a_serial_scanner_is_read_and_read_again_after_it_was_unplugged() -> None:
    controller, device = pty.openpty()
    said: list[str] = []
    stop = threading.Event()
    readings = open_source(f"serial:{os.ttyname(device)}", said.append, stop)
    found: list[str] = []

    def read() -> None:
        found.extend(readings)

    thread = threading.Thread(target=read, daemon=True)
    thread.start()
    until(lambda: any("ready" in line for line in said))
    os.write(controller, b"P0000123421\r\nB00000")
    time.sleep(0.05)
    os.write(controller, b"07707\n\r\n")
    until(lambda: len(found) == 2)
    assert found == ["P0000123421", "B0000007707"]
    os.close(device)
    os.close(controller)
    until(lambda: any("not there" in line for line in said))
    stop.set()
    thread.join(timeout=5)


def test_a_pause_in_the_middle_drops_what_came_before_it() -> None:
    splitter = Splitter()
    assert splitter.feed(b"P00001", 0.0) == []
    assert splitter.feed(b"B0000007707\r", 1.0) == ["B0000007707"]
    assert splitter.feed(b"\r\n\t", 1.1) == []


def test_keys_become_text_by_their_position_and_releases_are_passed_over() -> None:
    down, up = 1, 0
    keys = [
        (42, down),
        (25, down),
        (25, up),
        (42, up),
        (11, down),
        (2, down),
        (79, down),
        (28, down),
        (28, up),
        (15, down),
    ]
    assert list(texts_of(keys)) == ["P011"]


READINGS = [Reading(id=str(number), code=f"code {number}", at="") for number in range(150)]


@given(
    st.integers(0, 150), st.sampled_from(Heard), st.integers(0, 100), st.integers(0, 9), st.booleans(), st.floats(0, 1)
)
def test_a_step_always_starts_at_the_oldest_reading_and_never_skips_one(
    count: int, heard: Heard, sent: int, failures: int, paused: bool, jitter: float
) -> None:
    waiting = READINGS[:count]
    step = next_step(waiting, Last(heard=heard, sent=sent, failures=failures), paused=paused, jitter=jitter)
    match step:
        case Send(readings=readings):
            assert list(readings) == waiting[: len(readings)]
            assert 1 <= len(readings) <= 100
        case SetAside(reading=reading):
            assert heard is Heard.REFUSED
            assert reading is waiting[0]
        case Wait(seconds=None):
            assert not waiting
        case Wait(seconds=seconds):
            assert seconds is not None
            assert 0 < seconds < 20


@settings(max_examples=20)
@given(st.lists(st.sampled_from(["read", "read", "away", "lost", "none", "restart"]), max_size=12))
def test_through_any_trouble_and_restart_each_reading_arrives_once_in_order(
    tmp_path_factory: pytest.TempPathFactory, events: list[str]
) -> None:
    service = Service()
    path = tmp_path_factory.mktemp("queue") / "queue.db"
    queue = Queue(path)
    station = Station(queue, Server(service.address, "secret"), Screen(lambda _line: None))
    station.start()
    read: list[str] = []
    for event in events:
        if event == "read":
            read.append(part_code(len(read) + 1))
            station.take(read[-1])
        elif event == "restart":
            station.stop()
            queue.close()
            queue = Queue(path)
            station = Station(queue, Server(service.address, "secret"), Screen(lambda _line: None))
            station.start()
        else:
            service.trouble = event
    service.trouble = "none"
    assert station.drain(20) == 0
    station.stop()
    queue.close()
    service.close()
    assert service.codes == read
