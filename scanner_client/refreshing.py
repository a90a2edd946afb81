"""Keeps the station's list fresh while nothing else is to be sent, and notices early that the server is away."""

import random
import threading
import time
from typing import Final

from scanner_client.queue import QueueDiskError
from scanner_client.station import Station
from scanner_client.station_list import Giver, StationList

EVERY_S: Final = 20.0
_LOOK_S: Final = 0.5


class Refreshing:
    """A thread that asks the server what may come, whenever the station has nothing to send."""

    def __init__(self, station: Station, expected: StationList, giver: Giver, *, name: str) -> None:
        self._station = station
        self._expected = expected
        self._giver = giver
        self._name = name
        self._stop = threading.Event()
        self._asking = threading.Thread(target=self._ask_all, name="refreshing", daemon=True)

    def start(self) -> None:
        """Begin at once: a list that is old is worth little."""
        self._asking.start()

    def stop(self) -> None:
        """Ask no more; an answer that is under way is not waited for."""
        self._stop.set()

    def _ask_all(self) -> None:
        due = 0.0
        while not self._stop.is_set():
            if time.monotonic() >= due and self._station_is_idle():
                self._station.server_away = not self._expected.refresh(self._giver, self._name)
                # Stations that were started together do not ask together for ever.
                due = time.monotonic() + EVERY_S * (0.75 + 0.5 * random.random())  # noqa: S311 - no secret
            self._stop.wait(_LOOK_S)

    def _station_is_idle(self) -> bool:
        try:
            return self._station.idle
        except QueueDiskError:
            return False
