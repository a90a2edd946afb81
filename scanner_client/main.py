"""The ``scanner-client`` command: runs where the scanner is."""

import signal
import sys
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from datetime import UTC, datetime
from io import TextIOWrapper
from pathlib import Path
from typing import Any, Final, TypeVar

import click

from scanner_client.clock import SteadyClock
from scanner_client.commands import Commands
from scanner_client.notices import BELL
from scanner_client.queue import Queue, QueueDiskError, QueueOpenError
from scanner_client.refreshing import Refreshing
from scanner_client.screen import Screen, print_line
from scanner_client.sender import Server
from scanner_client.settings import USUAL_FILE, Settings, SettingsError, Show, read_settings, text_of
from scanner_client.sources import UnknownSourceError, open_source
from scanner_client.station import Station
from scanner_client.station_list import StationList

_FILE = click.Path(path_type=Path, dir_okay=False)
Command = TypeVar("Command", bound=Callable[..., Any])

_OPTIONS: Final = (
    click.option("--server", help="The service's address. Example: --server http://shop:8000"),
    click.option("--token-file", type=_FILE, help="The file that holds the token. Example: --token-file saw.token"),
    click.option(
        "--source",
        help="stdin (usual), serial:PORT or keyboard:DEVICE. Example: --source serial:/dev/serial/by-id/usb-scanner",
    ),
    click.option(
        "--station",
        help="The station's name or code; a token made for one station needs none. Example: --station SAW-1",
    ),
    click.option(
        "--queue",
        type=_FILE,
        help="The queue's file, one for each station. Default: .flatpack-scanner/queue.db in the home folder. "
        "Example: --queue /var/lib/saw-1/queue.db",
    ),
    click.option(
        "--drain-seconds",
        type=click.FloatRange(min=0),
        help="How long to wait for the last answers when standard input ends; usually 30. Example: --drain-seconds 5",
    ),
    click.option(
        "--show",
        type=click.Choice([each.value for each in Show]),
        help="wall: the whole terminal, large; lines: one line each; auto (usual): wall in a terminal. "
        "Example: --show lines",
    ),
    click.option(
        "--settings",
        "settings_file",
        type=_FILE,
        help=f"A file with all of these as TOML; flags go before it. Default: {USUAL_FILE.parent.name}/"
        f"{USUAL_FILE.name} in the home folder, if it is there. Example: --settings /etc/saw-1.toml",
    ),
)


def _with_options(command: Command) -> Command:
    for option in reversed(_OPTIONS):
        command = option(command)
    return command


@click.group(invoke_without_command=True)
@click.version_option(package_name="flatpack-tracker")
@_with_options
@click.pass_context
def main(context: click.Context, /, settings_file: Path | None, **flags: Any) -> None:
    """Take readings from a scanner and bring each to the server, once, in order, also when the network is gone.

    Each reading is on this computer's disk before anything is said about it. When the input ends: status 0 when
    everything was sent, 1 when readings still wait or were set aside. What waits is sent at the next start.

    Example: scanner-client --server http://shop:8000 --token-file saw.token --source serial:/dev/ttyACM0
    """
    context.obj = (settings_file, flags)
    if context.invoked_subcommand is None:
        _scan(_settings(settings_file, flags))


@main.command()
@_with_options
@click.pass_obj
def doctor(before: tuple[Path | None, dict[str, Any]], /, settings_file: Path | None, **flags: Any) -> None:
    """Say what is wrong with this station, and what to do: server, token, clock, scanner, disk, queue.

    Status 0 when all is well, 1 when something is wrong.

    Example: scanner-client doctor --settings /etc/saw-1.toml
    """
    from scanner_client.doctor import examine

    well = True
    for finding in examine(_settings(*_together(before, settings_file, flags)), read_token):
        click.echo(finding.line)
        well = well and finding.well
    if not well:
        sys.exit(1)


@main.command()
@_with_options
@click.pass_obj
def send_again(before: tuple[Path | None, dict[str, Any]], /, settings_file: Path | None, **flags: Any) -> None:
    """Let the readings that were set aside wait once more; they are sent at the next start.

    Example: scanner-client send-again --settings /etc/saw-1.toml
    """
    try:
        queue = Queue(_settings(*_together(before, settings_file, flags)).queue)
        count = queue.take_up_again()
        queue.close()
    except (QueueOpenError, QueueDiskError) as error:
        raise click.ClickException(str(error)) from error
    click.echo(f"Waiting again: {count}.")


def _together(
    before: tuple[Path | None, dict[str, Any]], settings_file: Path | None, flags: dict[str, Any]
) -> tuple[Path | None, dict[str, Any]]:
    """The options before the command's name and after it; those after it go first."""
    given = {name: value for name, value in flags.items() if value is not None}
    return settings_file or before[0], {**before[1], **given}


def _settings(settings_file: Path | None, flags: dict[str, Any]) -> Settings:
    try:
        show = flags.get("show")
        return read_settings(settings_file, {**flags, "show": Show(show) if show else None})
    except SettingsError as error:
        raise click.UsageError(str(error)) from error


def _scan(settings: Settings) -> None:
    stop = threading.Event()
    walled = settings.show is Show.WALL or (settings.show is Show.AUTO and sys.stdout.isatty() and _draws_blocks())
    screen = Screen(_no_line) if walled else Screen() if settings.bell else Screen(_print_silently)
    clock = SteadyClock()
    try:
        token = read_token(settings.checked_token_file)
        server = Server(settings.server, token, timeout_s=settings.timeout_seconds, clock=clock.now)
        readings = open_source(settings.source, screen.source, stop)
        if refusal := server.station_refusal(settings.station):
            raise ValueError(f"{refusal} Give --station as the office named it, or its code")  # noqa: TRY301
    except (ValueError, UnknownSourceError) as error:
        raise click.UsageError(str(error)) from error
    try:
        queue = Queue(settings.queue)
        if newest := queue.state().newest:
            clock.never_before(datetime.fromisoformat(newest))
        expected = StationList(settings.list_file, of=f"{server.address} {settings.station}")
        station = Station(
            queue,
            server,
            screen,
            name=settings.station,
            expected=expected,
            time_of_day=clock,
            longest_pause_s=settings.longest_pause_seconds,
        )
        with ExitStack() as running:
            if settings.commands:
                _lead_to_commands(screen, settings, running)
            if walled:
                _lead_to_wall(screen, settings, queue, expected, running)
            refreshing = Refreshing(station, expected, server, name=settings.station)
            running.callback(refreshing.stop)
            all_quiet = _run(station, readings, stop, settings.drain_seconds, refreshing)
        left = queue.waiting()
        if all_quiet:
            queue.close()  # what shows how it stands has ended before
        _tell_the_end(left, station.set_aside, asked_to_stop=stop.is_set())
    except (QueueOpenError, QueueDiskError) as error:
        raise click.ClickException(str(error)) from error


def _draws_blocks() -> bool:
    """Whether the terminal has the signs that large letters are made of."""
    try:
        "█▀▄".encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True


def _no_line(_line: str) -> None:
    """Take a line that the wall shows already."""


def _print_silently(line: str) -> None:
    print_line(line.rstrip(BELL))


def _lead_to_commands(screen: Screen, settings: Settings, running: ExitStack) -> None:
    commands = Commands(settings.commands)
    commands.start()
    running.callback(commands.stop)
    screen.watch(commands.show)


def _lead_to_wall(screen: Screen, settings: Settings, queue: Queue, expected: StationList, running: ExitStack) -> None:
    from rich.console import Console

    from scanner_client.wall import Standing, Wall

    if isinstance(sys.stdout, TextIOWrapper):
        sys.stdout.reconfigure(errors="replace")  # asked for where it cannot be drawn: the words at least are read

    def standing() -> Standing:
        try:
            state = queue.state()
        except QueueDiskError:
            return Standing(listed="the queue cannot be read")
        now = datetime.now(UTC)
        oldest = now if state.oldest is None else datetime.fromisoformat(state.oldest)
        age_s = expected.age_s()
        listed = "no list yet" if age_s is None else f"list of {expected.count()}, {age_s / 60:.0f} min old"
        return Standing(
            waiting=state.count,
            oldest_s=(now - oldest).total_seconds(),
            aside=state.aside,
            listed=expected.trouble or listed,
        )

    wall = Wall(Console(), standing, title=settings.station, bell=settings.bell)
    wall.start()
    running.callback(wall.stop)
    screen.watch(wall.show)


def _run(
    station: Station, readings: Iterator[str], stop: threading.Event, drain_seconds: float, refreshing: Refreshing
) -> bool:
    """Take readings to their end; return False when an answer is still under way."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: stop.set())
    station.start()
    refreshing.start()
    for text in readings:
        station.take(text)
    station.drain(drain_seconds, stop)
    return station.stop()


def _tell_the_end(left: int, set_aside: int, *, asked_to_stop: bool) -> None:
    said = [f"{left} waiting for the server, kept and sent at the next start"] if left else []
    said += [f"{set_aside} set aside"] if set_aside else []
    if not said:
        return
    if not asked_to_stop:
        raise click.ClickException(f"Not every reading was sent: {'; '.join(said)}.")
    click.echo(f"Stopped. Readings: {'; '.join(said)}.", err=True)


def read_token(path: Path) -> str:
    """Return the token in a file. Raises ValueError."""
    try:
        token = text_of(path).strip()
    except (OSError, ValueError) as error:
        raise ValueError(f"the token file {path} cannot be read: {error}") from error
    if not token:
        raise ValueError(f"the token file {path} is empty: put a token into it (tracker token NAME --role station)")
    return token
