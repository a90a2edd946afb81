"""The command as a person or a service manager runs it, in a process of its own."""

import fcntl
import os
import pty
import re
import resource
import signal
import sqlite3
import struct
import subprocess
import sys
import termios
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import pytest
from click.testing import CliRunner

from scanner_client.main import main
from scanner_client.notices import BELL
from scanner_client.queue import Queue
from tests.scanner_client.service import Service, expected_page
from tests.waiting import HANGS_AFTER_S, until
from tracker.shop.codes import part_code

PROGRAM = "from scanner_client.main import main; main()"
CODES = [part_code(number) for number in range(1, 81)]


def _command(address: str, folder: Path, *more: str, program: str = PROGRAM) -> list[str]:
    token = folder / "token"
    token.write_text("secret\n")
    where = ["--server", address, "--token-file", str(token), "--queue", str(folder / "queue.db")]
    return [sys.executable, "-c", program, *where, *more]


def _run(command: list[str], typed: str = "", **more: str) -> subprocess.CompletedProcess[str]:
    """Run it to its end; ``more`` are environment variables."""
    return subprocess.run(
        command,
        input=typed,
        capture_output=True,
        encoding=more.get("PYTHONIOENCODING", "utf-8"),
        timeout=HANGS_AFTER_S,
        check=False,
        env={**os.environ, **more},
    )


class Running:
    """The command at work: what it shows is read from files, so that nothing waits for it."""

    def __init__(self, command: list[str], folder: Path, stdin: int | None = None) -> None:
        reader, self._writer = os.pipe()
        self._shown, self._said = folder / "shown", folder / "said"
        with self._shown.open("wb") as shown, self._said.open("wb") as said:
            self._process = subprocess.Popen(
                command, stdin=reader if stdin is None else stdin, stdout=shown, stderr=said
            )
        os.close(reader)
        self.id = self._process.pid

    @property
    def shown(self) -> str:
        return self._shown.read_text()

    @property
    def said(self) -> str:
        return self._said.read_text()

    def read(self, code: str) -> None:
        os.write(self._writer, f"{code}\n".encode())

    def end(self, number: signal.Signals) -> int:
        self._process.send_signal(number)
        return self.wait()

    def wait(self) -> int:
        return self._process.wait(HANGS_AFTER_S)

    def kill(self) -> None:
        """End it as a power cut does."""
        self._process.kill()
        self.wait()

    def close(self) -> None:
        os.close(self._writer)
        self._process.kill()
        self._process.wait()


@contextmanager
def _running(command: list[str], folder: Path, stdin: int | None = None) -> Iterator[Running]:
    running = Running(command, folder, stdin)
    try:
        yield running
    finally:
        running.close()


def _waiting(folder: Path) -> list[str]:
    queue = Queue(folder / "queue.db")
    codes = [reading.code for reading in queue.first(1_000)]
    queue.close()
    return codes


def test_from_standard_input_to_the_server_and_out(service: Service, tmp_path: Path) -> None:
    done = _run(_command(service.address, tmp_path, "--station", "SAW-1"), "\n".join(CODES[:5]))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("+ DONE") == 5
    assert service.codes == CODES[:5]
    assert {scan["station"] for scan in service.stored.values()} == {"SAW-1"}


def test_what_is_not_sent_at_the_end_is_said_with_status_1_and_sent_at_the_next_start(
    service: Service, tmp_path: Path
) -> None:
    service.trouble = 503
    first = _run(_command(service.address, tmp_path, "--drain-seconds", "0.1"), CODES[0])
    assert first.returncode == 1
    assert "1 waiting for the server" in first.stderr
    service.trouble = ""
    second = _run(_command(service.address, tmp_path))
    assert (second.returncode, service.codes) == (0, CODES[:1])
    assert "+ ALL SENT" in second.stdout


def test_a_reading_that_was_set_aside_is_not_sent_so_the_status_is_1(service: Service, tmp_path: Path) -> None:
    service.poison = {CODES[1]}
    done = _run(_command(service.address, tmp_path), "\n".join(CODES[:3]))
    assert (done.returncode, service.codes) == (1, [CODES[0], CODES[2]])
    assert "1 set aside" in done.stderr


def test_a_server_that_never_answers_does_not_hold_up_the_end(service: Service, tmp_path: Path) -> None:
    service.trouble = "stalled"
    patient = tmp_path / "patient.toml"
    patient.write_text("timeout_seconds = 120\n")  # the most that the program takes
    done = _run(_command(service.address, tmp_path, "--settings", str(patient), "--drain-seconds", "0.1"), CODES[0])
    assert done.returncode == 1
    assert (len(service.batches), service.stored) == (1, {})
    assert _waiting(tmp_path) == CODES[:1]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_a_signal_stops_it_cleanly_and_what_waits_is_said(
    service: Service, tmp_path: Path, number: signal.Signals
) -> None:
    service.trouble = 503
    with _running(_command(service.address, tmp_path), tmp_path) as station:
        station.read(CODES[0])
        until(lambda: "NO SERVER" in station.shown)
        assert station.end(number) == 0
        assert station.said.startswith("Stopped. Readings: 1 waiting for the server")
    assert _waiting(tmp_path) == CODES[:1]


def test_killed_in_mid_stream_again_and_again_each_reading_arrives_once_and_in_order(
    service: Service, tmp_path: Path
) -> None:
    """The stream is one pipe through all lives. A kill can cost only the reading in hand, which was not shown."""
    command, lives = _command(service.address, tmp_path), 4
    reader, writer = os.pipe()
    for life in range(lives):
        with _running(command, tmp_path, reader) as station:
            os.write(writer, "".join(code + "\n" for code in CODES[20 * life : 20 * life + 20]).encode())
            wanted = 20 * life + 4 * life
            until(lambda wanted=wanted: len(service.codes) > wanted)  # type: ignore[misc]
            station.kill()
    os.close(writer)
    with _running(command, tmp_path, reader) as station:
        assert station.wait() == 0
    os.close(reader)
    whole = [code for code in service.codes if code in CODES]
    assert whole == [code for code in CODES if code in whole]
    assert len(CODES) - len(whole) <= lives


def test_killed_right_after_a_reading_was_shown_nothing_that_was_shown_is_lost(
    service: Service, tmp_path: Path
) -> None:
    service.trouble = 503
    command = _command(service.address, tmp_path)
    for life in range(3):
        first, second = CODES[2 * life : 2 * life + 2]
        with _running(command, tmp_path) as station:
            station.read(first)
            until(lambda station=station: "NO SERVER" in station.shown)  # type: ignore[misc]
            station.read(second)
            until(lambda station=station, second=second: f"KEPT         {second}" in station.shown)  # type: ignore[misc]
            station.kill()
    service.trouble = ""
    assert _run(command).returncode == 0
    assert service.codes == CODES[:6]


def test_a_full_disk_is_told_at_each_reading_and_what_was_kept_is_sent(service: Service, tmp_path: Path) -> None:
    limited = f"import resource; resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000)); {PROGRAM}"
    service.trouble = 503
    command = _command(service.address, tmp_path, "--drain-seconds", "0", program=limited)
    done = _run(command, "\n".join(CODES[:40]))
    lost = re.findall(r"! NOT KEPT     (\w+)", done.stdout)
    assert done.returncode == 1
    assert "Traceback" not in done.stderr
    assert lost
    service.trouble = ""
    assert _run(_command(service.address, tmp_path)).returncode == 0
    assert service.codes == [code for code in CODES[:40] if code not in lost]


def test_a_disk_that_takes_nothing_for_a_while_costs_nothing_that_was_kept(service: Service, tmp_path: Path) -> None:
    service.trouble = 503
    with _running(_command(service.address, tmp_path), tmp_path) as running:
        running.read(CODES[0])
        until(lambda: CODES[0] in running.shown)
        kept = (tmp_path / "queue.db-wal").stat().st_size
        resource.prlimit(running.id, resource.RLIMIT_FSIZE, (kept, resource.RLIM_INFINITY))
        running.read(CODES[1])
        until(lambda: f"! NOT KEPT     {CODES[1]}" in running.shown)
        service.trouble = ""
        until(lambda: service.codes == CODES[:1])
        until(lambda: "! DISK" in running.shown)  # that the answer is there cannot be noted either
        resource.prlimit(running.id, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))
        running.read(CODES[1])
        until(lambda: service.codes == CODES[:2])
        assert running.end(signal.SIGTERM) == 0
    assert _waiting(tmp_path) == []


def test_a_screen_that_is_gone_or_knows_few_letters_does_not_stop_the_station(service: Service, tmp_path: Path) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    command = _command(service.address, tmp_path)
    gone = subprocess.run(
        command,
        input="\n".join(CODES[:3]).encode(),
        stdout=writer,
        stderr=subprocess.PIPE,
        timeout=HANGS_AFTER_S,
        check=False,
    )
    os.close(writer)
    assert (gone.returncode, gone.stderr) == (0, b"")
    done = subprocess.run(
        command,
        input="Größe\n",
        capture_output=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        timeout=HANGS_AFTER_S,
        check=False,
    )
    assert (done.returncode, "SCAN AGAIN   Gr??e" in done.stdout) == (0, True)
    assert service.codes == [*CODES[:3], "Größe"]


@pytest.mark.parametrize("show", ["wall", "lines", "auto"])
def test_the_kind_of_screen_can_be_chosen(service: Service, tmp_path: Path, show: str) -> None:
    done = _run(_command(service.address, tmp_path, "--show", show), CODES[0])
    assert (done.returncode, done.stderr) == (0, "")
    assert f"+ DONE         {CODES[0]}" in done.stdout
    assert ("█" in done.stdout) is (show == "wall")


def test_large_letters_that_a_terminal_cannot_draw_stop_no_station(service: Service, tmp_path: Path) -> None:
    for encoding in ("ascii", "cp1252"):  # cp1252: what Windows gives to a program whose output is led elsewhere
        done = _run(_command(service.address, tmp_path, "--show", "wall"), CODES[0], PYTHONIOENCODING=encoding)
        assert (done.returncode, done.stderr) == (0, "")
        assert "no list yet" in done.stdout
        assert "cannot be read" not in done.stdout  # the queue is there as long as the screen


@pytest.mark.parametrize(
    ("more", "why"),
    [
        (["--source", "pigeon"], "no source"),
        (["--server", "shop:8000"], "http://"),
        (["--token-file", "/none"], "cannot be read"),
        (["--token-file", os.devnull], "is empty"),
        (["--drain-seconds", "-1"], "drain-seconds"),
        (["--pigeon"], "No such option"),
    ],
)
def test_wrong_use_is_said_with_status_2(tmp_path: Path, more: list[str], why: str) -> None:
    done = CliRunner().invoke(main, _command("http://shop", tmp_path, *more)[3:])
    assert done.exit_code == 2
    assert why in done.stderr
    assert not (tmp_path / "queue.db").exists()


def test_a_queue_that_another_holds_is_said_with_status_1(tmp_path: Path) -> None:
    queue = Queue(tmp_path / "queue.db")
    done = _run(_command("http://shop", tmp_path))
    assert (done.returncode, "in use by another scanner-client" in done.stderr) == (1, True)
    queue.close()


def test_every_option_has_help_with_an_example() -> None:
    shown = CliRunner().invoke(main, ["--help"], terminal_width=200).output
    options = [option for option in main.params if option.name not in ("help", "version")]
    assert shown.count("Example: --") == len(options)
    for name in main.commands:
        assert f"Example: scanner-client {name}" in CliRunner().invoke(main, [name, "--help"]).output
    assert "Example: scanner-client --server" in shown


def test_one_file_of_settings_says_all_and_a_command_runs_for_each_outcome(service: Service, tmp_path: Path) -> None:
    lamp = tmp_path / "lamp"
    note = "import os, sys; print(os.environ['SCANNER_OUTCOME'], file=open(sys.argv[1], 'a'))"
    (tmp_path / "token").write_text("secret")
    settings = tmp_path / "saw.toml"
    settings.write_text(
        f'server = "{service.address}"\ntoken_file = "token"\nqueue = "queue.db"\nstation = "SAW-1"\nbell = false\n'
        f'[commands]\nright = ["{sys.executable}", "-c", "{note}", "{lamp}"]\n'
    )
    done = _run([sys.executable, "-c", PROGRAM, "--settings", str(settings)], CODES[0])
    assert (done.returncode, done.stderr) == (0, "")
    assert "+ DONE" in done.stdout
    assert BELL not in done.stdout
    assert {scan["station"] for scan in service.stored.values()} == {"SAW-1"}
    assert lamp.read_text() == "done\n"


def test_what_was_set_aside_is_sent_again_when_it_is_asked_for(service: Service, tmp_path: Path) -> None:
    service.poison = {CODES[0]}
    command = _command(service.address, tmp_path)
    assert _run(command, CODES[0]).returncode == 1
    service.poison = set()
    again = _run([*command, "send-again"])
    assert (again.returncode, again.stdout) == (0, "Waiting again: 1.\n")
    assert _run(command).returncode == 0
    assert service.codes == CODES[:1]


def test_the_doctor_ends_with_1_when_something_is_wrong_and_with_0_when_not(service: Service, tmp_path: Path) -> None:
    command = _command(service.address, tmp_path)
    sick = _run([*command[:3], "doctor", *command[3:], "--station", "SAW-9"])
    assert sick.returncode == 1
    assert "WRONG station: There is no station SAW-9." in sick.stdout
    service.expected = expected_page(CODES[0])
    well = _run([*command, "doctor"])
    assert (well.returncode, well.stderr) == (0, "")
    assert "WRONG" not in well.stdout


def test_offline_a_reading_is_judged_by_the_list_that_an_earlier_run_left(service: Service, tmp_path: Path) -> None:
    service.expected = expected_page(CODES[0])
    command = _command(service.address, tmp_path)
    with _running(command, tmp_path) as station:
        until(lambda: _listed(tmp_path))
        station.end(signal.SIGTERM)
    service.trouble = 503
    with _running(command, tmp_path) as station:
        station.read(CODES[0])
        station.read(CODES[1])
        until(lambda: "? NOT EXPECTED?" in station.shown)
        assert f"? LOOKS RIGHT? {CODES[0]}  End, cabinet 101, box 1." in station.shown
        station.kill()
    service.trouble = ""
    done = _run(command)
    assert (done.returncode, service.codes) == (0, CODES[:2])
    assert f"+ RIGHT        {CODES[1]}  was doubted, and is right." in done.stdout


def _listed(folder: Path) -> list[tuple[str]]:
    try:
        with closing(sqlite3.connect(folder / "queue.list.db")) as file:
            return file.execute("SELECT code FROM expected").fetchall()
    except sqlite3.Error:
        return []


def test_in_a_terminal_that_cannot_draw_large_letters_it_writes_lines(service: Service, tmp_path: Path) -> None:
    controller, terminal = pty.openpty()
    env = {**os.environ, "PYTHONIOENCODING": "latin-1"}
    subprocess.run(
        _command(service.address, tmp_path),
        input=CODES[0].encode(),
        stdout=terminal,
        timeout=HANGS_AFTER_S,
        check=True,
        env=env,
    )
    shown = os.read(controller, 100_000).decode("latin-1")
    assert "+ DONE" in shown
    assert "\x1b[?1049h" not in shown
    for number in (controller, terminal):
        os.close(number)


def test_in_a_terminal_it_fills_the_terminal_and_gives_it_back(service: Service, tmp_path: Path) -> None:
    controller, terminal = pty.openpty()
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
    reader, writer = os.pipe()
    process = subprocess.Popen(
        _command(service.address, tmp_path), stdin=reader, stdout=terminal, env={**os.environ, "TERM": "xterm-256color"}
    )
    shown = bytearray()
    os.set_blocking(controller, False)

    def sees(wanted: str) -> bool:
        with suppress(BlockingIOError):
            shown.extend(os.read(controller, 100_000))
        return wanted in shown.decode("utf-8", "replace")

    until(lambda: sees("\x1b[?1049h"))  # xterm's alternate screen
    os.write(writer, f"{CODES[0]}\n".encode())
    until(lambda: sees("The service says done."))
    assert sees("█")
    process.send_signal(signal.SIGTERM)
    until(lambda: sees("\x1b[?1049l"))
    assert process.wait(HANGS_AFTER_S) == 0
    for number in (controller, terminal, reader, writer):
        os.close(number)


def test_it_is_small(service: Service, tmp_path: Path) -> None:
    with _running(_command(service.address, tmp_path), tmp_path) as station:
        station.read(CODES[0])
        until(lambda: "DONE" in station.shown)
        most = re.search(r"VmHWM:\s+(\d+) kB", Path(f"/proc/{station.id}/status").read_text())
    assert most is not None
    assert int(most[1]) < 60 * 1024


def test_a_station_that_does_not_exist_is_refused_at_the_start_and_nothing_is_read(
    service: Service, tmp_path: Path
) -> None:
    done = _run(_command(service.address, tmp_path, "--station", "SAW-9"), "\n".join(CODES[:2]))
    assert (done.returncode, done.stdout) == (2, "")
    assert "Error: There is no station SAW-9. Give --station as the office named it" in done.stderr
    assert (service.batches, (tmp_path / "queue.db").exists()) == ([], False)


def test_readings_of_a_station_that_turns_out_not_to_exist_are_kept_and_sent_once_it_does(
    service: Service, tmp_path: Path
) -> None:
    service.trouble = 503
    away = _run(
        _command(service.address, tmp_path, "--station", "SAW-9", "--drain-seconds", "0.1"), "\n".join(CODES[:2])
    )
    assert "2 waiting for the server" in away.stderr
    service.trouble = ""
    service.expected = expected_page(CODES[0])
    done = _run(_command(service.address, tmp_path, "--station", "SAW-1"), CODES[2])
    assert (done.returncode, service.codes) == (1, [CODES[2]])
    assert "2 set aside" in done.stderr
    assert "There is no station SAW-9." in done.stdout
    service.no_station = ""
    again = CliRunner().invoke(main, ["send-again", "--queue", str(tmp_path / "queue.db")])
    assert again.stdout == "Waiting again: 2.\n"
    assert _run(_command(service.address, tmp_path, "--station", "SAW-1")).returncode == 0
    assert {scan["code"]: scan["station"] for scan in service.stored.values()} == {
        CODES[0]: "SAW-9",
        CODES[1]: "SAW-9",
        CODES[2]: "SAW-1",
    }
