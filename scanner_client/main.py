"""The ``scanner-client`` command: runs where the scanner is."""

import signal
import sys
import threading
from pathlib import Path
from types import FrameType

import click

from scanner_client.queue import Queue, QueueInUseError
from scanner_client.screen import Screen
from scanner_client.sender import Server
from scanner_client.sources import UnknownSourceError, open_source
from scanner_client.station import Station


@click.command()
@click.option("--server", required=True, help="The service's address, such as http://shop:8000.")
@click.option("--token-file", required=True, type=click.Path(path_type=Path, dir_okay=False), help="Holds the token.")
@click.option("--source", default="stdin", show_default=True, help="stdin, serial:PORT or keyboard:DEVICE.")
@click.option("--station", default="", help="The station's name; a token made for one station needs none.")
@click.option(
    "--queue", "queue_file", type=click.Path(path_type=Path, dir_okay=False), help="The queue's file on disk."
)
@click.option(
    "--drain-seconds", default=30.0, show_default=True, help="How long to wait for the last answers at the end."
)
def main(
    server: str, token_file: Path, source: str, station: str, queue_file: Path | None, drain_seconds: float
) -> None:
    """Take readings from a scanner and bring each to the server, once, in order, also when the network is gone.

    Example: scanner-client --server http://shop:8000 --token-file saw.token --source serial:/dev/ttyACM0
    """
    token = _read_token(token_file)
    screen = Screen()
    stop = threading.Event()
    try:
        service = Server(server, token, station)
        readings = open_source(source, screen.source, stop)
        queue = Queue(queue_file or Path.home() / ".flatpack-scanner" / "queue.db")
    except (ValueError, UnknownSourceError) as error:
        raise click.UsageError(str(error)) from error
    except (QueueInUseError, OSError) as error:
        raise click.ClickException(str(error)) from error
    _stop_on_signals(stop)
    at_work = Station(queue, service, screen)
    at_work.start()
    try:
        for text in readings:
            at_work.take(text)
    except (KeyboardInterrupt, SystemExit):
        drain_seconds = 0.0
    left = at_work.drain(drain_seconds)
    at_work.stop()
    queue.close()
    if left:
        raise click.ClickException(f"{left} readings wait for the server. They are kept and sent at the next start.")


def _read_token(path: Path) -> str:
    try:
        token = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise click.UsageError(f"the token file {path} cannot be read: {error}") from error
    if not token:
        raise click.UsageError(f"the token file {path} is empty")
    return token


def _stop_on_signals(stop: threading.Event) -> None:
    def end(_number: int, _frame: FrameType | None) -> None:
        stop.set()
        sys.exit(0)

    signal.signal(signal.SIGTERM, end)
    signal.signal(signal.SIGINT, end)
