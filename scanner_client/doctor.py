"""What is wrong with a station, in plain words, and what to do about it."""

import os
import shutil
import socket
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Final
from urllib.parse import quote, urlsplit

from scanner_client.queue import Queue, QueueDiskError, QueueOpenError
from scanner_client.sender import Server, said_in
from scanner_client.settings import Settings, SettingsError

LEAST_ROOM: Final = 100 * 1024 * 1024  # bytes
CLOCK_RIGHT_WITHIN_S: Final = 5.0
_STALE_S: Final = 3600.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that was looked at: whether it is well, what was found, and what to do when it is not."""

    well: bool
    what: str
    found: str
    do: str = ""

    @property
    def line(self) -> str:
        """The finding for a person."""
        said = f"{'ok   ' if self.well else 'WRONG'} {self.what}: {self.found}"
        return said if self.well or not self.do else f"{said}\n      {self.do}"


def examine(settings: Settings, read_token: Callable[[Path], str]) -> Iterator[Finding]:
    """Look at everything that a station needs, one thing after the other, and change nothing."""
    yield from _examine_server(settings, read_token)
    yield _examine_source(settings.source)
    yield from _examine_disk(settings.queue)
    yield from _examine_queue(settings.queue)


def _examine_server(settings: Settings, read_token: Callable[[Path], str]) -> Iterator[Finding]:
    try:
        token = read_token(settings.checked_token_file)
        server = Server(settings.server, token, timeout_s=min(settings.timeout_seconds, 5.0))
    except (SettingsError, ValueError) as error:
        yield Finding(well=False, what="settings", found=str(error), do="Put the settings right, then ask again.")
        return
    yield Finding(
        well=True, what="settings", found=f"server {settings.server}, station {settings.station or 'of the token'}"
    )
    started = time.time()
    try:
        status, headers, body = server.ask("/healthz")
    except OSError as error:
        yield Finding(
            well=False, what="server", found=_why_unreachable(settings.server, error), do=_reach(settings.server)
        )
        return
    if status != 200:
        yield Finding(
            well=False,
            what="server",
            found=f"{settings.server} answers {status}: it is not the tracker, or not well",
            do="See that the address is right and that tracker serve runs there.",
        )
        return
    del body
    yield Finding(well=True, what="server", found=f"answers in {1000 * (time.time() - started):.0f} ms")
    yield _examine_clock(headers, started, time.time())
    yield from _examine_token(server, settings)


def _why_unreachable(address: str, error: OSError) -> str:
    reason = getattr(error, "reason", error)
    if isinstance(reason, socket.gaierror):
        return f"no computer is called {urlsplit(address).hostname}"
    if isinstance(reason, ConnectionRefusedError):
        return f"the computer is there, but nothing listens at {address}"
    if isinstance(reason, TimeoutError):
        return f"nothing answers at {address}"
    return f"{address} cannot be reached ({reason})"


def _reach(address: str) -> str:
    more = " With https, the certificate must be one that this computer trusts." if address.startswith("https") else ""
    return f"See that the network is there, that the address is right and that tracker serve runs.{more}"


def _examine_clock(headers: Mapping[str, str], started: float, ended: float) -> Finding:
    """Compare the clocks by the answer's Date (RFC 9110, section 6.6.1), which is whole seconds."""
    try:
        said = parsedate_to_datetime({name.lower(): value for name, value in headers.items()}["date"]).timestamp()
    except (KeyError, ValueError):
        return Finding(well=True, what="clock", found="the server does not say what time it is")
    offset = (started + ended) / 2 - (said + 0.5)
    found = f"{abs(offset):.0f} s {'ahead of' if offset > 0 else 'behind'} the server's"
    if abs(offset) <= CLOCK_RIGHT_WITHIN_S:
        return Finding(well=True, what="clock", found=f"within {CLOCK_RIGHT_WITHIN_S:.0f} s of the server's")
    return Finding(
        well=False,
        what="clock",
        found=found,
        do="Readings keep their order all the same. Switch the setting of the time by network on, here or there.",
    )


def _examine_token(server: Server, settings: Settings) -> Iterator[Finding]:
    asked = f"?station={quote(settings.station, safe='')}&limit=1" if settings.station else "?limit=1"
    try:
        status, _headers, body = server.ask(f"/api/v1/expected{asked}")
    except OSError as error:
        yield Finding(well=False, what="token", found=_why_unreachable(server.address, error), do="Ask again.")
        return
    said = said_in(body)
    if status == 200:
        yield Finding(well=True, what="token", found="accepted")
        yield Finding(well=True, what="station", found=f"{said.get('station')}, step {said.get('step')}")
        return
    detail = str(said.get("detail") or f"the server answers {status}")
    if status == 404 and "station" in detail.lower():
        yield Finding(well=True, what="token", found="accepted")
        yield Finding(
            well=False, what="station", found=detail, do="Give --station as the office named it, or its code."
        )
        return
    new = "Ask the office for a token: tracker token NAME --role station. Put it into the token file."
    right = "Use the station of the token, or a token for this station."
    yield Finding(well=False, what="token", found=detail, do=right if status == 403 else new if status == 401 else "")


def _examine_source(source: str) -> Finding:
    kind, _, where = source.partition(":")
    if source == "stdin":
        return Finding(well=True, what="scanner", found="readings come from standard input")
    if kind not in ("serial", "keyboard") or not where:
        do = "Use stdin, serial:PORT or keyboard:DEVICE."
        return Finding(well=False, what="scanner", found=f"there is no source {source}", do=do)
    if os.name == "nt":
        return _examine_windows_port(where)
    if not Path(where).exists():
        return Finding(
            well=False,
            what="scanner",
            found=f"{where} is not there",
            do=f"Plug the scanner in. There are: {', '.join(_devices(kind)) or 'none of that kind'}.",
        )
    if not os.access(where, os.R_OK | (os.W_OK if kind == "serial" else 0)):
        group = "dialout" if kind == "serial" else "input"
        return Finding(
            well=False,
            what="scanner",
            found=f"{where} is there, but this user may not open it",
            do=f"Put the user into the group {group} (usermod -aG {group} USER), then sign in again.",
        )
    return Finding(well=True, what="scanner", found=f"{where} is there and may be opened")


def _examine_windows_port(where: str) -> Finding:
    ports = _serial_ports()
    there = where.upper() in [port.upper() for port in ports]
    do = f"Plug the scanner in, and see the device manager. There are: {', '.join(ports) or 'none'}."
    return Finding(well=there, what="scanner", found=f"{where} is {'' if there else 'not '}there", do=do)


def _devices(kind: str) -> list[str]:
    if kind == "serial":
        by_id = sorted(str(path) for path in Path("/dev/serial/by-id").glob("*"))
        return by_id or _serial_ports()
    return sorted(str(path) for path in Path("/dev/input/by-id").glob("*-event-kbd"))


def _serial_ports() -> list[str]:
    from serial.tools.list_ports import comports

    return sorted(port.device for port in comports())


def _examine_disk(queue: Path) -> Iterator[Finding]:
    folder = next(each for each in (queue.parent, *queue.parent.parents) if os.path.exists(each))  # noqa: PTH110 - asks where this user may not look, too
    if not _may_write(folder):
        yield Finding(
            well=False,
            what="disk",
            found=f"nothing can be written in {folder}",
            do="See that the disk is not mounted read-only and that this user owns the folder.",
        )
        return
    free = shutil.disk_usage(folder).free
    found = f"{free / 1024**2:,.0f} MB free in {folder}"
    yield Finding(well=free >= LEAST_ROOM, what="disk", found=found, do="Make room: readings are kept there.")


def _may_write(folder: Path) -> bool:
    """Try it: what the rights say is not what a disk that is full or mounted read-only does."""
    trial = folder / f".flatpack-scanner-{os.getpid()}.try"
    try:
        trial.write_bytes(b"x" * 4096)
    except OSError:
        return False
    finally:
        try:
            trial.unlink(missing_ok=True)
        except OSError:
            return False
    return True


def _examine_queue(path: Path) -> Iterator[Finding]:
    if not os.path.exists(path):  # noqa: PTH110
        yield Finding(well=True, what="queue", found="none yet: nothing waits")
        return
    try:
        queue = Queue(path)
    except QueueOpenError as error:
        running = "in use" in str(error)
        found = "a scanner-client is at work with it: its screen shows what waits" if running else str(error)
        yield Finding(well=running, what="queue", found=found, do="Keep the file: readings may be in it.")
        return
    try:
        state, aside = queue.state(), queue.aside()
    except QueueDiskError as error:
        yield Finding(well=False, what="queue", found=str(error), do="Keep the file: readings may be in it.")
        return
    finally:
        queue.close()
    age_s = 0.0 if state.oldest is None else (datetime.now(UTC) - datetime.fromisoformat(state.oldest)).total_seconds()
    found = f"{state.count} waiting" + (f", the oldest since {state.oldest}" if state.oldest else "")
    yield Finding(
        well=age_s < _STALE_S,
        what="queue",
        found=found,
        do="They are sent as soon as scanner-client runs and the server answers.",
    )
    for reading, why in aside[:20]:
        yield Finding(
            well=False,
            what="set aside",
            found=f"{reading.code} of {reading.at}: {why}",
            do="When the cause is gone: scanner-client send-again.",
        )
