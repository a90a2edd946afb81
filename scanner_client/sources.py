"""Where readings come from: standard input, a serial scanner, a keyboard scanner."""

import sys
import threading
import time
from collections.abc import Callable, Iterator
from typing import Any, Final

from scanner_client.keys import texts_of

IDLE_GAP_S: Final = 0.5
REOPEN_S: Final = 1.0
_ENDINGS: Final = b"\r\n\t"
LONGEST_READING: Final = 200
Say = Callable[[str], None]


class UnknownSourceError(Exception):
    """The source's name is none that there is."""


def open_source(name: str, say: Say, stop: threading.Event) -> Iterator[str]:
    """Return the readings of a source: ``stdin``, ``serial:PORT`` or ``keyboard:DEVICE``."""
    kind, _, where = name.partition(":")
    if name == "stdin":
        return _stdin()
    if kind == "serial" and where:
        return _serial(where, say, stop)
    if kind == "keyboard" and where:
        return _keyboard(where, say, stop)
    raise UnknownSourceError(f"there is no source {name}: use stdin, serial:PORT or keyboard:DEVICE")


def _stdin() -> Iterator[str]:
    for line in sys.stdin:
        text = line.strip(" \r\n\t")
        if text:
            yield text


class Splitter:
    """Cuts a stream of bytes into readings: CR, LF or TAB end one, a pause in the middle drops what came before it."""

    def __init__(self) -> None:
        self._buffer = b""
        self._last = 0.0

    def feed(self, received: bytes, now: float) -> list[str]:
        """Return the readings that are complete with these bytes."""
        if self._buffer and now - self._last > IDLE_GAP_S:
            self._buffer = b""
        self._last = now
        readings = []
        for byte in received:
            if byte in _ENDINGS:
                if self._buffer:
                    readings.append(self._buffer.decode("latin-1").strip())
                self._buffer = b""
            elif len(self._buffer) < LONGEST_READING:
                self._buffer += bytes([byte])
        return [reading for reading in readings if reading]


def _serial(port: str, say: Say, stop: threading.Event) -> Iterator[str]:
    import serial

    told = ""
    while not stop.is_set():
        splitter = Splitter()
        try:
            with serial.Serial(port, timeout=0.2, exclusive=True) as device:
                say(f"{port} is ready")
                told = ""
                while not stop.is_set():
                    received = device.read(max(1, device.in_waiting))
                    if received:
                        yield from splitter.feed(received, time.monotonic())
        except (serial.SerialException, OSError) as error:
            if not told:
                told = str(error)
                say(f"{port} is not there: plug the scanner in ({error})")
            stop.wait(REOPEN_S)


def _keyboard(path: str, say: Say, stop: threading.Event) -> Iterator[str]:
    try:
        import evdev
    except ImportError as error:
        raise UnknownSourceError("a keyboard source needs the extra: pip install flatpack-tracker[keyboard]") from error
    told = False
    while not stop.is_set():
        try:
            device = evdev.InputDevice(path)
            device.grab()  # so that what is scanned is typed nowhere else
            say(f"{path} is ready")
            told = False
            yield from texts_of(_key_events(device, evdev.ecodes.EV_KEY))
        except OSError as error:
            if not told:
                told = True
                say(f"{path} is not there: plug the scanner in ({error})")
            stop.wait(REOPEN_S)


def _key_events(device: Any, key: int) -> Iterator[tuple[int, int]]:
    return ((event.code, event.value) for event in device.read_loop() if event.type == key)
