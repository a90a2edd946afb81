"""Serving the application: waitress with a clean stop, and logs as lines of JSON or text."""

import json
import logging
import select
import signal
import socket
import threading
import time
from collections.abc import Callable
from datetime import UTC, datetime
from types import FrameType
from typing import Any

from flask import Flask
from waitress import wasyncore
from waitress.server import create_server

from tracker.channel import Channel
from tracker.https import Certificate, HttpsOnly, TlsChannel
from tracker.shop.errors import ConflictError

_OWN = frozenset(vars(logging.makeLogRecord({})))
STOP_WAIT_S = 20
# More threads than cores: scans that wait together are written together (tracker.work.group_commit).
THREADS = 16
MOST_CONNECTIONS = 1000
_OWN_FILES = 100  # the database's, those of a request, and what Python has open
_PROXY_HEADERS = {"x-forwarded-for", "x-forwarded-proto"}


def _files_allowed() -> int:
    """Return how many files this process may have open: a connection is one."""
    try:
        import resource
    except ImportError:  # Windows, which has no such limit
        return MOST_CONNECTIONS + _OWN_FILES
    soft = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    return MOST_CONNECTIONS + _OWN_FILES if soft == resource.RLIM_INFINITY else soft


class JsonLines(logging.Formatter):
    """One JSON object a line: time, level, logger, message, and whatever the call added (such as the request id)."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "time": _moment(record),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            **_added(record),
        }
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, default=str, ensure_ascii=False)


class TextLines(logging.Formatter):
    """The same as a line that people read."""

    def format(self, record: logging.LogRecord) -> str:
        added = "".join(f" {name}={value}" for name, value in _added(record).items())
        line = f"{_moment(record)} {record.levelname.lower()} {record.name}: {record.getMessage()}{added}"
        return f"{line}\n{self.formatException(record.exc_info)}" if record.exc_info else line


def _moment(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created, UTC).isoformat()


def _added(record: logging.LogRecord) -> dict[str, Any]:
    return {name: value for name, value in vars(record).items() if name not in _OWN and name != "message"}


class Server:
    """The service on one address. ``address`` is known as soon as it is made; port 0 takes a free one.

    ``trusted_proxy``, an IP address or ``*``, says who asked and whether by https in X-Forwarded-For and
    X-Forwarded-Proto, which it sets anew for each request. From anybody else these headers are dropped.

    With a ``certificate`` it speaks HTTPS, and plain http to the paths that begin with one of ``plain_paths`` alone.
    """

    def __init__(
        self,
        app: Flask,
        *,
        host: str,
        port: int,
        threads: int = THREADS,
        connections: int = MOST_CONNECTIONS,
        trusted_proxy: str = "",
        certificate: Certificate | None = None,
        plain_paths: tuple[str, ...] = (),
    ) -> None:
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        try:
            listening = socket.create_server((host, port), family=family, backlog=1024)
        except OSError as error:
            raise ConflictError(f"Cannot listen on {host} port {port}: {error.strerror}. Choose another.") from error
        connections = max(20, min(connections, _files_allowed() - _OWN_FILES))
        self._crowded = connections * 9 // 10
        logging.getLogger("waitress.queue").setLevel(logging.ERROR)  # a full queue is normal at shift change
        self._server = create_server(
            app if certificate is None else HttpsOnly(app, plain_paths),
            sockets=[listening],
            url_scheme="http" if certificate is None else "https",
            threads=threads,
            connection_limit=connections,
            asyncore_use_poll=hasattr(select, "poll"),  # select() knows no file above 1023
            ident=None,
            clear_untrusted_proxy_headers=True,
            trusted_proxy=trusted_proxy or None,
            trusted_proxy_headers=_PROXY_HEADERS if trusted_proxy else set(),
        )
        self._certificate = certificate
        self._server.channel_class = self._open_channel
        self._stopping = threading.Lock()
        self._waking = threading.Lock()
        self._left: dict[int, Any] = {}  # what the loop served until it was told to end
        shown = f"[{host}]" if ":" in host else host
        self.address = f"http{'' if certificate is None else 's'}://{shown}:{listening.getsockname()[1]}"

    def _open_channel(self, *given: Any, **named: Any) -> Channel:
        self._make_room()
        if self._certificate is None:
            return Channel(*given, **named)
        return TlsChannel(*given, **named, context=self._certificate.context())

    def _make_room(self) -> None:
        """When connections run short, close the one that was idle longest: idle ones must lock nobody out."""
        channels = self._channels()
        if len(channels) < self._crowded:
            return
        idle = [channel for channel in channels if not channel.requests and not channel.will_close]
        if idle:
            min(idle, key=lambda channel: channel.last_activity).will_close = True

    def run_until_signalled(self) -> None:
        """Serve until SIGTERM or SIGINT, then take no new connections and finish what was accepted."""
        for number in (signal.SIGTERM, signal.SIGINT):
            signal.signal(number, self._on_signal)
        self.run()

    def run(self) -> None:
        """Serve until ``stop``."""
        self._server.run()
        with self._waking:  # closed in mid-waking, its number could be another file's already
            wasyncore.close_all(self._left)
        self._server.task_dispatcher.shutdown()

    def _on_signal(self, _number: int, _frame: FrameType | None) -> None:
        threading.Thread(target=self.stop, name="stopping").start()

    def stop(self) -> None:
        """Take no new connections, finish the requests that were accepted, then end ``run``."""
        if not self._stopping.acquire(blocking=False):
            return
        self._in_loop(lambda: wasyncore.dispatcher.close(self._server))  # the listening socket alone
        patience = time.monotonic() + STOP_WAIT_S
        while self._busy() and time.monotonic() < patience:
            time.sleep(0.02)
        with self._waking:
            self._in_loop(self._leave)

    def _leave(self) -> None:
        served = self._server._map  # noqa: SLF001 - an empty map ends the loop
        self._left = dict(served)
        served.clear()

    def _in_loop(self, thunk: Callable[[], object]) -> None:
        # waitress's sockets belong to its loop: whatever touches them is handed to it.
        self._server.trigger.pull_trigger(thunk)

    def _busy(self) -> bool:
        dispatcher = self._server.task_dispatcher
        answering = any(channel.requests or channel.total_outbufs_len for channel in self._channels())
        return bool(dispatcher.queue) or dispatcher.active_count > 0 or answering

    def _channels(self) -> list[Any]:
        return list(self._server.active_channels.values())
