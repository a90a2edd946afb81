"""Where readings come from: standard input, a serial scanner, a keyboard scanner.

Each source gives readings until ``stop`` is set; a complete reading that has come in is given first.
"""

import os
import select
import sys
import threading
import time
from collections.abc import Callable, Iterator
from typing import Final

from scanner_client.input_device import InputDevice, InputEvent
from scanner_client.keys import texts_of

IDLE_GAP_S: Final = 0.5
REOPEN_S: Final = 1.0
LOOK_UP_S: Final = 0.2  # how often a source that is quiet looks whether to stop
LONGEST_READING: Final = 200
_ENDINGS: Final = b"\r\n\t"
Say = Callable[[str], None]


class UnknownSourceError(Exception):
    """There is no such source, or not on this computer."""


def open_source(name: str, say: Say, stop: threading.Event, *, reopen_s: float = REOPEN_S) -> Iterator[str]:
    """Return the readings of ``stdin``, ``serial:PORT`` or ``keyboard:DEVICE``; its state is told to ``say``.

    A device that is away is tried again every ``reopen_s`` seconds.

    Raises UnknownSourceError.
    """
    kind, _, where = name.partition(":")
    if name == "stdin":
        return read_stream(sys.stdin.fileno(), stop)
    if kind == "serial" and where:
        return _again_and_again(where, lambda tell: _read_serial(where, tell, stop), say, stop, reopen_s)
    if kind == "keyboard" and where:
        if not sys.platform.startswith("linux"):
            raise UnknownSourceError("a keyboard scanner is taken by Linux alone: elsewhere it types into stdin")
        return _again_and_again(where, lambda tell: read_keyboard(InputDevice(where), tell, stop), say, stop, reopen_s)
    raise UnknownSourceError(f"there is no source {name}: use stdin, serial:PORT or keyboard:DEVICE")


class Splitter:
    """Cuts bytes into readings: CR, LF or TAB ends one; a pause of more than ``idle_gap_s`` drops an unfinished one."""

    def __init__(self, idle_gap_s: float = IDLE_GAP_S) -> None:
        self._idle_gap_s = idle_gap_s
        self._buffer = bytearray()
        self._last = 0.0

    def feed(self, received: bytes, now: float) -> list[str]:
        """Return the readings that are complete with these bytes, which came at ``now`` (seconds)."""
        if now - self._last > self._idle_gap_s:
            self._buffer.clear()
        self._last = now
        readings = []
        for byte in received:
            if byte in _ENDINGS:
                readings += self.end()
            elif len(self._buffer) < LONGEST_READING:
                self._buffer.append(byte)
        return readings

    def end(self) -> list[str]:
        """Return what is unfinished as a reading, if there is anything."""
        text = self._buffer.decode("utf-8", "replace").strip()
        self._buffer.clear()
        return [text] if text else []


def read_stream(stream: int, stop: threading.Event) -> Iterator[str]:
    """Give the lines of an open file by its number, until its end.

    It is read byte by byte: what this program has not taken yet stays in the pipe for the one that is started next.
    """
    splitter = Splitter(idle_gap_s=float("inf"))
    while not stop.is_set():
        if not _has_input(stream):
            continue
        received = os.read(stream, 1)
        if not received:
            yield from splitter.end()
            return
        yield from splitter.feed(received, 0.0)


def _has_input(stream: int) -> bool:
    """Wait a moment for input; Windows can only wait for it in the reading itself."""
    return os.name == "nt" or bool(select.select([stream], [], [], LOOK_UP_S)[0])


def _read_serial(port: str, tell: Say, stop: threading.Event) -> Iterator[str]:
    import serial

    splitter = Splitter()
    with serial.Serial(port, timeout=LOOK_UP_S, exclusive=True) as device:
        tell("is ready")
        while not stop.is_set():
            received = device.read(max(1, device.in_waiting))
            if received:
                yield from splitter.feed(received, time.monotonic())


def read_keyboard(device: InputDevice, tell: Say, stop: threading.Event) -> Iterator[str]:
    """Give what an input device types until ``stop``, and close it. Raises OSError."""

    def events() -> Iterator[InputEvent]:
        try:
            device.grab()
            tell("is ready")
            while not stop.is_set():
                if _has_input(device.fd):
                    yield from device.read()
        finally:
            device.close()

    return texts_of(events())


def _again_and_again(
    name: str, readings: Callable[[Say], Iterator[str]], say: Say, stop: threading.Event, reopen_s: float
) -> Iterator[str]:
    """Give a device's readings; open it again by the same path while it is away. A state is said once."""
    told = ""

    def tell(state: str) -> None:
        nonlocal told
        if state != told:
            told = state
            say(f"{name} {state}")

    while not stop.is_set():
        try:
            yield from readings(tell)
        except OSError as error:
            tell(f"is away ({error}). Plug the scanner in, and see that no other program holds it.")
            stop.wait(reopen_s)
