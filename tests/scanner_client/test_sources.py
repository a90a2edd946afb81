"""Where readings come from."""

import errno
import os
import pty
import threading
import time
import tty
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from scanner_client import sources
from scanner_client.keys import texts_of
from scanner_client.sources import IDLE_GAP_S, Splitter, UnknownSourceError, open_source, read_keyboard, read_stream
from tests.scanner_client.conftest import Until


def test_cr_lf_crlf_and_tab_end_a_reading_and_empty_ones_are_none() -> None:
    splitter = Splitter()
    assert splitter.feed(b"A\rB\nC\r\nD\t\r\n\tE", 0.0) == ["A", "B", "C", "D"]
    assert splitter.feed(b"F \r", 0.1) == ["EF"]


def test_a_pause_in_the_middle_drops_what_came_before_it_and_a_short_one_does_not() -> None:
    splitter = Splitter()
    assert splitter.feed(b"P0000", 10.0) == []
    assert splitter.feed(b"1\r", 10.0 + IDLE_GAP_S) == ["P00001"]
    assert splitter.feed(b"P0000", 20.0) == []
    assert splitter.feed(b"B0000007707\r", 20.1 + IDLE_GAP_S) == ["B0000007707"]


def test_noise_without_end_is_bounded_and_bytes_that_are_no_text_are_marked() -> None:
    splitter = Splitter()
    assert splitter.feed(b"\xff" * 100_000 + b"\r", 0.0) == ["\N{REPLACEMENT CHARACTER}" * sources.LONGEST_READING]


def test_a_stream_is_read_to_its_end_also_without_a_last_line_end() -> None:
    reader, writer = os.pipe()
    os.write(writer, b"one\n\ntwo\r\nthree")
    os.close(writer)
    assert list(read_stream(reader, threading.Event())) == ["one", "two", "three"]
    os.close(reader)


def test_what_was_not_taken_stays_in_the_pipe_for_the_next_program() -> None:
    reader, writer = os.pipe()
    os.write(writer, b"one\ntwo\nthree\n")
    os.close(writer)
    assert next(read_stream(reader, threading.Event())) == "one"
    assert list(read_stream(reader, threading.Event())) == ["two", "three"]
    os.close(reader)


def test_a_quiet_stream_ends_when_it_is_asked_to() -> None:
    reader, writer = os.pipe()
    stop = threading.Event()
    threading.Timer(0.05, stop.set).start()
    assert list(read_stream(reader, stop)) == []
    os.close(reader)
    os.close(writer)


@pytest.mark.parametrize("name", ["pigeon", "", "serial:", "serial", "keyboard:", "stdin:x"])
def test_a_source_that_there_is_not_is_refused_and_the_sources_are_named(name: str) -> None:
    with pytest.raises(UnknownSourceError, match="use stdin, serial:PORT or keyboard:DEVICE"):
        open_source(name, print, threading.Event())


class Scanner:
    """A serial scanner on one end of a pty pair, at a path that stays the same when it is plugged in again."""

    def __init__(self, path: Path) -> None:
        self.path = path

    def plug_in(self) -> None:
        self._controller, self._device = pty.openpty()
        tty.setraw(self._device)
        self.path.symlink_to(os.ttyname(self._device))

    def read(self, sent: bytes) -> None:
        os.write(self._controller, sent)

    def unplug(self) -> None:
        self.path.unlink()
        os.close(self._device)
        os.close(self._controller)


@dataclass
class Reader:
    """Reads a source in a thread: what was found, and what was said of the state."""

    found: list[str]
    said: list[str]


@pytest.fixture
def reading() -> Iterator[Callable[[str], Reader]]:
    stop = threading.Event()
    threads: list[threading.Thread] = []

    def begin(source: str) -> Reader:
        reader = Reader([], [])

        def read() -> None:
            for text in open_source(source, reader.said.append, stop, reopen_s=0.02):
                reader.found.append(text)

        threads.append(threading.Thread(target=read))
        threads[-1].start()
        return reader

    yield begin
    stop.set()
    for thread in threads:
        thread.join(timeout=5)
        assert not thread.is_alive()


def test_a_serial_scanner_is_read_and_read_again_after_it_was_unplugged(
    tmp_path: Path, reading: Callable[[str], Reader], until: Until
) -> None:
    scanner = Scanner(tmp_path / "scanner")
    reader = reading(f"serial:{scanner.path}")
    until(lambda: bool(reader.said))
    time.sleep(0.1)  # several looks for the device
    assert ["is away" in state for state in reader.said] == [True]
    scanner.plug_in()
    until(lambda: reader.said[-1].endswith("is ready"))
    scanner.read(b"P0000123421\r\nB00000")
    until(lambda: len(reader.found) == 1)
    scanner.read(b"07707\r")
    until(lambda: len(reader.found) == 2)
    scanner.read(b"P00")
    scanner.unplug()
    until(lambda: "is away" in reader.said[-1])
    scanner.plug_in()
    until(lambda: reader.said[-1].endswith("is ready"))
    scanner.read(b"P0000000134\r")
    until(lambda: len(reader.found) == 3)
    assert reader.found == ["P0000123421", "B0000007707", "P0000000134"]
    scanner.unplug()


@dataclass
class Event:
    """An event as a Linux input device gives it: 1 is a key; 1 is down, 0 is up, 2 is held."""

    code: int
    value: int = 1
    type: int = 1


def test_keys_become_text_by_their_position_and_only_pressing_counts() -> None:
    shift, p, zero, one, keypad_one, enter, tab = 42, 25, 11, 2, 79, 28, 15
    events = [Event(shift), Event(p), Event(4, type=4), Event(p, 2), Event(p, 0), Event(shift, 0), Event(0, 0, type=0)]
    events += [Event(code) for code in (zero, one, keypad_one, enter, tab, one, tab, zero)]
    assert list(texts_of(events)) == ["P011", "1"]


def test_every_letter_and_digit_stands_where_the_kernel_says() -> None:
    from evdev import ecodes

    wanted = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    events = [Event(getattr(ecodes, f"KEY_{character}")) for character in wanted]
    events += [Event(getattr(ecodes, f"KEY_KP{digit}")) for digit in range(10)] + [Event(ecodes.KEY_KPENTER)]
    assert list(texts_of(events)) == [wanted + "0123456789"]


def test_a_key_that_no_code_has_is_not_left_out() -> None:
    minus, p, enter = 12, 25, 28
    assert list(texts_of([Event(p), Event(minus), Event(enter)])) == ["P?"]


class Keyboard:
    """Stands for evdev and for a device of its own: what is written to its pipe are the codes of pressed keys."""

    def __init__(self) -> None:
        self.fd, self.keys = os.pipe()
        self.done: list[str] = []

    def InputDevice(self, path: str) -> "Keyboard":  # noqa: N802 - evdev's name
        self.done.append(path)
        return self

    def grab(self) -> None:
        self.done.append("grab")

    def read(self) -> Iterator[Event]:
        codes = os.read(self.fd, 100)
        if not codes:
            raise OSError(errno.ENODEV, "No such device")
        return (Event(code) for code in codes)

    def close(self) -> None:
        self.done.append("close")
        os.close(self.fd)


def test_a_keyboard_scanner_is_taken_for_itself_and_given_back_when_it_is_unplugged() -> None:
    keyboard, said = Keyboard(), [""]
    os.write(keyboard.keys, bytes([25, 2, 28, 25]))
    os.close(keyboard.keys)
    readings = read_keyboard(keyboard, "/dev/input/event7", said.append, threading.Event())
    assert next(readings) == "P1"
    with pytest.raises(OSError, match="No such device"):
        next(readings)
    assert keyboard.done == ["/dev/input/event7", "grab", "close"]
    assert said[-1] == "is ready"


def test_a_keyboard_that_is_away_is_said_with_what_to_do(
    tmp_path: Path, reading: Callable[[str], Reader], until: Until
) -> None:
    reader = reading(f"keyboard:{tmp_path / 'event7'}")
    until(lambda: bool(reader.said))
    assert f"{tmp_path / 'event7'} is away" in reader.said[0]
    assert "Plug the scanner in" in reader.said[0]
