"""What the doctor says is wrong, and what to do: each trouble is a real one."""

import os
import pty
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from scanner_client.doctor import Finding, examine
from scanner_client.main import read_token
from scanner_client.queue import Queue, Reading
from scanner_client.settings import Settings
from tests.scanner_client.service import Service, expected_page
from tests.waiting import HANGS_AFTER_S
from tracker.shop.codes import part_code


@pytest.fixture
def token(tmp_path: Path) -> Path:
    path = tmp_path / "token"
    path.write_text("secret")
    return path


def _found(settings: Settings) -> dict[str, Finding]:
    return {finding.what: finding for finding in examine(settings, read_token)}


def _settings(service: Service, token: Path, **more: object) -> Settings:
    given = {"server": service.address, "token_file": token, "queue": token.parent / "queue.db", **more}
    return Settings(**given)  # type: ignore[arg-type]


def test_when_all_is_well_it_says_what_it_found(service: Service, token: Path) -> None:
    service.expected = expected_page(part_code(1))
    found = _found(_settings(service, token))
    assert [each.what for each in found.values() if not each.well] == []
    assert list(found) == ["settings", "server", "clock", "token", "station", "scanner", "disk", "queue"]
    assert "SAW-1, step pack" in found["station"].line
    assert "MB free" in found["disk"].line


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("http://127.0.0.1:1", "nothing listens"),
        ("http://no-such-computer.invalid", "no computer is called no-such-computer.invalid"),
        ("shop:8000", "is no server's address"),
    ],
)
def test_a_server_that_is_not_there_is_said_with_what_to_look_at(
    service: Service, token: Path, address: str, why: str
) -> None:
    wrong = [each for each in _found(_settings(service, token, server=address)).values() if not each.well]
    assert len(wrong) == 1
    assert why in wrong[0].found
    assert wrong[0].do


def test_a_token_that_is_not_accepted_and_one_for_elsewhere_and_a_station_that_there_is_not(
    service: Service, token: Path
) -> None:
    found = _found(_settings(service, token, station="SAW-9"))
    assert (found["token"].well, found["station"].well) == (True, False)
    assert "There is no station SAW-9." in found["station"].line
    with _only_health(service, 401):
        found = _found(_settings(service, token))
        assert "tracker token NAME --role station" in found["token"].line
    with _only_health(service, 403):
        assert "a token for this station" in _found(_settings(service, token))["token"].line


@contextmanager
def _only_health(service: Service, status: int) -> Iterator[None]:
    service.trouble, service.healthy = status, True
    yield
    service.trouble = ""


def test_what_answers_and_is_not_the_tracker_is_said(service: Service, token: Path) -> None:
    service.trouble = 502
    assert "answers 502" in _found(_settings(service, token))["server"].found


def test_a_clock_that_is_an_hour_off_is_said(service: Service, token: Path) -> None:
    service.date = "Mon, 01 Mar 2027 08:00:00 GMT"
    clock = _found(_settings(service, token))["clock"]
    assert (clock.well, "behind the server's" in clock.found) == (False, True)
    service.date = "no time at all"
    assert _found(_settings(service, token))["clock"].well


def test_missing_settings_and_a_token_file_that_is_empty_are_said(service: Service, token: Path) -> None:
    assert "no server is given" in _found(_settings(service, token, server=""))["settings"].found
    token.write_text("")
    assert "is empty" in _found(_settings(service, token))["settings"].found


def test_a_scanner_that_is_there_and_one_that_is_not(service: Service, token: Path) -> None:
    controller, device = pty.openpty()
    port = os.ttyname(device)
    assert _found(_settings(service, token, source=f"serial:{port}"))["scanner"].well
    os.close(controller)
    os.close(device)
    away = _found(_settings(service, token, source="serial:/dev/serial/by-id/none"))["scanner"]
    assert "is not there" in away.found
    assert "Plug the scanner in" in away.do
    assert not _found(_settings(service, token, source="pigeon"))["scanner"].well


def test_a_scanner_that_this_user_may_not_open_is_said_with_the_group(tmp_path: Path) -> None:
    """Asked in a process that is nobody where the tests are root: root may open everything."""
    root = os.getuid() == 0
    with tempfile.TemporaryDirectory(dir="/tmp") as name:
        port = Path(name) / "port"
        port.touch(mode=0o000)
        Path(name).chmod(0o755)
        program = (
            "import os; from pathlib import Path; from scanner_client.doctor import examine\n"
            "from scanner_client.main import read_token; from scanner_client.settings import Settings\n"
            f"settings = Settings(source={f'serial:{port}'!r}, queue=Path({str(tmp_path / 'queue.db')!r}))\n"
            f"{'os.setuid(65534)' if root else ''}\n"
            "print(*(each.line for each in examine(settings, read_token) if each.what == 'scanner'))\n"
        )
        done = subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, timeout=HANGS_AFTER_S, check=False
        )
    assert "this user may not open it" in done.stdout, done.stderr
    assert "usermod -aG dialout" in done.stdout


def test_a_disk_where_nothing_can_be_written_is_said(service: Service, token: Path) -> None:
    disk = _found(_settings(service, token, queue=Path("/proc/flatpack-scanner/queue.db")))["disk"]
    assert (disk.well, "nothing can be written in /proc" in disk.found) == (False, True)


def test_the_queue_is_told_how_many_since_when_and_what_was_set_aside(service: Service, token: Path) -> None:
    settings = _settings(service, token)
    queue = Queue(settings.queue)
    for number in (1, 2, 3):
        queue.add(Reading(id=str(number), code=part_code(number), at=f"2026-03-01T08:00:0{number}+00:00"))
    queue.set_aside(queue.first(1)[0], "This code spoils it.")
    assert "is at work with it" in _found(settings)["queue"].found
    queue.close()
    found = _found(settings)
    assert (found["queue"].well, found["queue"].found) == (
        False,
        "2 waiting, the oldest since 2026-03-01T08:00:02+00:00",
    )
    assert "This code spoils it." in found["set aside"].line
    assert "scanner-client send-again" in found["set aside"].line


def test_a_file_that_is_no_queue_is_said_and_kept(service: Service, token: Path) -> None:
    settings = _settings(service, token)
    settings.queue.write_text("a letter to the foreman " * 90)
    assert "is no queue" in _found(settings)["queue"].found
    assert settings.queue.read_text().startswith("a letter")
