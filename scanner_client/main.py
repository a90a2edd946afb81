"""The ``scanner-client`` command: runs where the scanner is."""

import signal
import threading
from collections.abc import Iterator
from pathlib import Path

import click

from scanner_client.queue import Queue, QueueDiskError, QueueOpenError
from scanner_client.screen import Screen
from scanner_client.sender import Server
from scanner_client.sources import UnknownSourceError, open_source
from scanner_client.station import Station

_FILE = click.Path(path_type=Path, dir_okay=False)


@click.command()
@click.option("--server", required=True, help="The service's address. Example: --server http://shop:8000")
@click.option(
    "--token-file", required=True, type=_FILE, help="The file that holds the token. Example: --token-file saw.token"
)
@click.option(
    "--source",
    default="stdin",
    show_default=True,
    help="stdin, serial:PORT or keyboard:DEVICE. Example: --source serial:/dev/serial/by-id/usb-scanner",
)
@click.option(
    "--station",
    default="",
    help="The station's name or code; a token made for one station needs none. Example: --station SAW-1",
)
@click.option(
    "--queue",
    "queue_file",
    type=_FILE,
    help="The queue's file, one for each station. Default: .flatpack-scanner/queue.db in the home folder. "
    "Example: --queue /var/lib/saw-1/queue.db",
)
@click.option(
    "--drain-seconds",
    type=click.FloatRange(min=0),
    default=30.0,
    show_default=True,
    help="How long to wait for the last answers when standard input ends. Example: --drain-seconds 5",
)
def main(
    server: str, token_file: Path, source: str, station: str, queue_file: Path | None, drain_seconds: float
) -> None:
    """Take readings from a scanner and bring each to the server, once, in order, also when the network is gone.

    Each reading is on this computer's disk before anything is said about it. When the input ends: status 0 when
    everything was sent, 1 when readings still wait or were set aside. What waits is sent at the next start.

    Example: scanner-client --server http://shop:8000 --token-file saw.token --source serial:/dev/ttyACM0
    """
    screen = Screen()
    stop = threading.Event()
    try:
        service = Server(server, _read_token(token_file))
        readings = open_source(source, screen.source, stop)
    except (ValueError, UnknownSourceError) as error:
        raise click.UsageError(str(error)) from error
    try:
        queue = Queue(queue_file or Path.home() / ".flatpack-scanner" / "queue.db")
        _run(Station(queue, service, screen, name=station), queue, readings, stop, drain_seconds)
    except (QueueOpenError, QueueDiskError) as error:
        raise click.ClickException(str(error)) from error


def _run(station: Station, queue: Queue, readings: Iterator[str], stop: threading.Event, drain_seconds: float) -> None:
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    station.start()
    for text in readings:
        station.take(text)
    left = station.drain(drain_seconds, stop)
    if station.stop():
        left = queue.waiting()
        queue.close()
    _tell_the_end(left, station.set_aside, asked_to_stop=stop.is_set())


def _tell_the_end(left: int, set_aside: int, *, asked_to_stop: bool) -> None:
    said = [f"{left} waiting for the server, kept and sent at the next start"] if left else []
    said += [f"{set_aside} set aside"] if set_aside else []
    if not said:
        return
    if not asked_to_stop:
        raise click.ClickException(f"Not every reading was sent: {'; '.join(said)}.")
    click.echo(f"Stopped. Readings: {'; '.join(said)}.", err=True)


def _read_token(path: Path) -> str:
    try:
        token = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise ValueError(f"the token file {path} cannot be read: {error}") from error
    if not token:
        raise ValueError(f"the token file {path} is empty: put a token into it (tracker token NAME --role station)")
    return token
