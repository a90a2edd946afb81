"""An input device of Linux, read as the kernel gives it (linux/input.h): no library is needed."""

import os
import struct
from dataclasses import dataclass
from typing import Final

_EVENT: Final = struct.Struct("@llHHi")  # struct input_event: a time of two longs, type, code, value
_AT_ONCE: Final = 64
_EVIOCGRAB: Final = 0x40044590  # _IOW('E', 0x90, int)


@dataclass(frozen=True, slots=True)
class InputEvent:
    """A key pressed or let go, or another event of a device."""

    type: int
    code: int
    value: int


class InputDevice:
    """A device at a path such as /dev/input/by-id/usb-scanner-event-kbd. Every method raises OSError."""

    def __init__(self, path: str) -> None:
        self.fd = os.open(path, os.O_RDONLY)

    def grab(self) -> None:
        """Take the device for this program alone, so that what is scanned is typed nowhere else."""
        from fcntl import ioctl

        ioctl(self.fd, _EVIOCGRAB, 1)

    def read(self) -> list[InputEvent]:
        """Return the events that are there; wait for one when there is none."""
        received = os.read(self.fd, _EVENT.size * _AT_ONCE)
        if not received:
            raise OSError("the device has ended")
        return [InputEvent(*fields) for _seconds, _parts, *fields in _EVENT.iter_unpack(received)]

    def close(self) -> None:
        """Give the device back."""
        os.close(self.fd)
