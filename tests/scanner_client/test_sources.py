"""Where readings come from."""

import os
import pty
import struct
import threading
import tty
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from scanner_client import sources
from scanner_client.input_device import InputDevice, InputEvent
from scanner_client.keys import texts_of
from scanner_client.sources import IDLE_GAP_S, Splitter, UnknownSourceError, open_source, read_keyboard, read_stream
from tests.waiting import HANGS_AFTER_S, until


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


class Looks(threading.Event):
    """Asks for a stop, and counts how often a device was looked for in vain."""

    count = 0

    def wait(self, timeout: float | None = None) -> bool:
        self.count += 1
        return super().wait(timeout)


@dataclass
class Reader:
    """Reads a source in a thread: what was found, and what was said of the state."""

    found: list[str]
    said: list[str]
    stop: Looks


@pytest.fixture
def reading() -> Iterator[Callable[[str], Reader]]:
    readers: list[tuple[Reader, threading.Thread]] = []

    def begin(source: str) -> Reader:
        reader = Reader([], [], Looks())

        def read() -> None:
            for text in open_source(source, reader.said.append, reader.stop, reopen_s=0.02):
                reader.found.append(text)

        readers.append((reader, threading.Thread(target=read)))
        readers[-1][1].start()
        return reader

    yield begin
    for reader, thread in readers:
        reader.stop.set()
        thread.join(HANGS_AFTER_S)
        assert not thread.is_alive()


def test_a_serial_scanner_is_read_and_read_again_after_it_was_unplugged(
    tmp_path: Path, reading: Callable[[str], Reader]
) -> None:
    scanner = Scanner(tmp_path / "scanner")
    reader = reading(f"serial:{scanner.path}")
    until(lambda: reader.stop.count > 3)
    assert ["is away" in state for state in reader.said] == [True]
    scanner.plug_in()
    until(lambda: reader.said[-1].endswith("is ready"))
    scanner.read(b"P0000123421\r\nB0000007707\r")
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


def _pressed(code: int, value: int = 1, *, type: int = 1) -> InputEvent:  # noqa: A002 - the kernel's name
    return InputEvent(type, code, value)


def test_keys_become_text_by_their_position_and_only_pressing_counts() -> None:
    shift, p, zero, one, keypad_one, enter, tab = 42, 25, 11, 2, 79, 28, 15
    events = [
        _pressed(shift),
        _pressed(p),
        _pressed(4, type=4),
        _pressed(p, 2),
        _pressed(p, 0),
        _pressed(shift, 0),
        _pressed(0, 0, type=0),
    ]
    events += [_pressed(code) for code in (zero, one, keypad_one, enter, tab, one, tab, zero)]
    assert list(texts_of(events)) == ["P011", "1"]


# The keys' numbers in include/uapi/linux/input-event-codes.h of Linux 6.1.
_KERNEL = (
    "1 2, 2 3, 3 4, 4 5, 5 6, 6 7, 7 8, 8 9, 9 10, 0 11, Q 16, W 17, E 18, R 19, T 20, Y 21, U 22, I 23, "
    "O 24, P 25, A 30, S 31, D 32, F 33, G 34, H 35, J 36, K 37, L 38, Z 44, X 45, C 46, V 47, B 48, N 49, "
    "M 50, "
    "KP7 71, KP8 72, KP9 73, KP4 75, KP5 76, KP6 77, KP1 79, KP2 80, KP3 81, KP0 82, KPENTER 96, "
)


def test_every_letter_and_digit_stands_where_the_kernel_says() -> None:
    kernel = {name: int(code) for name, code in (each.split() for each in _KERNEL.rstrip(", ").split(", "))}
    wanted = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"
    events = [_pressed(kernel[character]) for character in wanted]
    events += [_pressed(kernel[f"KP{digit}"]) for digit in range(10)] + [_pressed(kernel["KPENTER"])]
    assert list(texts_of(events)) == [wanted + "0123456789"]


def test_a_key_that_no_code_has_is_not_left_out() -> None:
    minus, p, enter = 12, 25, 28
    assert list(texts_of([_pressed(p), _pressed(minus), _pressed(enter)])) == ["P?"]


class Keyboard(InputDevice):
    """A device that is a pipe, into which events are written as the kernel writes them."""

    def __init__(self, path: Path) -> None:
        os.mkfifo(path)
        self.keys = os.open(path, os.O_RDWR)
        super().__init__(str(path))
        self.done: list[str] = []

    def press(self, *codes: int) -> None:
        for code in codes:
            os.write(self.keys, struct.pack("@qqHHi", 1_772_000_000, 250_000, 1, code, 1))

    def grab(self) -> None:
        self.done.append("grab")

    def close(self) -> None:
        self.done.append("close")
        super().close()


def test_a_keyboard_scanner_is_taken_for_itself_and_given_back_when_it_is_unplugged(tmp_path: Path) -> None:
    keyboard, said = Keyboard(tmp_path / "event7"), [""]
    keyboard.press(25, 2, 28, 25)
    os.close(keyboard.keys)
    readings = read_keyboard(keyboard, said.append, threading.Event())
    assert next(readings) == "P1"
    with pytest.raises(OSError, match="ended"):
        next(readings)
    assert keyboard.done == ["grab", "close"]
    assert said[-1] == "is ready"


def test_what_is_no_input_device_cannot_be_taken(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    other = os.open(tmp_path / "pipe", os.O_RDWR)
    device = InputDevice(str(tmp_path / "pipe"))
    with pytest.raises(OSError, match="ioctl"):
        device.grab()
    device.close()
    os.close(other)


def test_a_keyboard_that_is_away_is_said_with_what_to_do(tmp_path: Path, reading: Callable[[str], Reader]) -> None:
    reader = reading(f"keyboard:{tmp_path / 'event7'}")
    until(lambda: reader.said)
    assert f"{tmp_path / 'event7'} is away" in reader.said[0]
    assert "Plug the scanner in" in reader.said[0]
