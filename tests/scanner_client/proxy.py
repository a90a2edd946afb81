"""A network that misbehaves between the station program and the real service: it cuts, delays, doubles, loses."""

import random
import socket
import threading
import time
from collections.abc import Sequence
from contextlib import suppress
from typing import Final

from tests.waiting import HANGS_AFTER_S

MOODS: Final = ("fine", "refused", "cut", "half", "lost", "slow", "twice", "late", "portal", "unwell")
_WAIT_S: Final = HANGS_AFTER_S


class Proxy:
    """Passes requests on to ``port`` of this computer, each as one of ``moods`` has it; chance is given by ``seed``."""

    def __init__(self, port: int, *, seed: int, moods: Sequence[str] = ("fine",)) -> None:
        self.port = port
        self.moods = moods
        self.seen: dict[str, int] = dict.fromkeys(MOODS, 0)
        self._chance = random.Random(seed)
        self._late: list[threading.Thread] = []
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._listening.getsockname()[1]}"
        self._thread = threading.Thread(target=self._accept_all, daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Stop, when what is under way late has arrived."""
        self._listening.shutdown(socket.SHUT_RDWR)
        self._listening.close()
        self._thread.join()
        for thread in self._late:
            thread.join()

    def _accept_all(self) -> None:
        while True:
            try:
                client, _address = self._listening.accept()
            except OSError:
                return
            mood = self._chance.choice(list(self.moods))
            self.seen[mood] += 1
            serving = threading.Thread(target=self._serve, args=(client, mood, self._chance.random()), daemon=True)
            self._late.append(serving)
            serving.start()

    def _serve(self, client: socket.socket, mood: str, share: float) -> None:
        with client, suppress(OSError):
            client.settimeout(_WAIT_S)
            if mood == "refused":
                return
            request = _whole(client)
            match mood:
                case "cut":
                    pass
                case "half":
                    self._pass(request[: int(len(request) * share)])
                case "lost":
                    self._pass(request)
                case "slow":
                    time.sleep(share)
                    _trickle(client, self._pass(request))
                case "twice":
                    self._pass(request)
                    client.sendall(self._pass(request))
                case "late":
                    client.close()
                    time.sleep(2 * share)
                    self._pass(request)
                case "portal":
                    client.sendall(b"HTTP/1.1 200 OK\r\nContent-Length: 21\r\n\r\n<html>sign in</html>\r\n")
                case "unwell":
                    client.sendall(b"HTTP/1.1 502 Bad Gateway\r\nContent-Length: 0\r\n\r\n")
                case _:
                    client.sendall(self._pass(request))

    def _pass(self, request: bytes) -> bytes:
        """Bring a request to the service, and return its whole answer."""
        with socket.create_connection(("127.0.0.1", self.port), timeout=_WAIT_S) as service:
            service.sendall(request)
            if not _is_whole(request):
                return b""
            return _whole(service)


def _whole(connection: socket.socket) -> bytes:
    """Read one request or answer to its end."""
    read = b""
    while not _is_whole(read):
        more = connection.recv(65_536)
        if not more:
            return read
        read += more
    return read


def _is_whole(read: bytes) -> bool:
    head, ended, body = read.partition(b"\r\n\r\n")
    if not ended:
        return False
    lengths = [line.split(b":")[1] for line in head.lower().split(b"\r\n") if line.startswith(b"content-length:")]
    return len(body) >= int(lengths[0] if lengths else 0)


def _trickle(client: socket.socket, answer: bytes) -> None:
    third = len(answer) // 3 + 1
    for start in range(0, len(answer), third):
        client.sendall(answer[start : start + third])
        time.sleep(0.02)
