"""Debian's ``ippeveprinter``: a printer that speaks IPP as the standard's own authors read it. It judges ours.

What it prints it hands to a command of ours that keeps the document and the job's attributes, and then does what the
file ``mood`` says: wait, fail, or report that something is wrong with the printer.
"""

import os
import shutil
import signal
import socket
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from tests.conftest import missing_tool
from tests.waiting import HANGS_AFTER_S, until

_COMMAND = """#!/bin/sh
cp "$1" "{folder}/got-$IPP_JOB_ID.pdf"
env | grep ^IPP_ > "{folder}/attributes-$IPP_JOB_ID"
. "{folder}/mood"
"""
# A roll of labels up to 108 mm wide at 203 dpi, as the printers of the trade describe themselves (invented).
_ATTRIBUTES = """
ATTR collection media-size-supported {
  MEMBER rangeOfInteger x-dimension 2000-10800
  MEMBER rangeOfInteger y-dimension 1000-30000
}
ATTR resolution printer-resolution-supported 203dpi
ATTR resolution printer-resolution-default 203dpi
ATTR keyword print-scaling-supported none
"""
_PDF = "ATTR mimeMediaType document-format-supported application/pdf,application/octet-stream\n"


def _tool(name: str) -> str:
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/bin")
    if found is None:
        missing_tool(name)
    return str(found)


def _free_port() -> int:
    with socket.socket() as line:
        line.bind(("127.0.0.1", 0))
        return int(line.getsockname()[1])


class NetworkPrinter:
    """One printer on a free port, with all that it printed in a folder."""

    def __init__(self, folder: Path, bus: Path, *, takes_pdf: bool = True) -> None:
        self.folder, self._bus = folder, bus
        self.port = _free_port()
        for each in ("spool", "keys"):
            (folder / each).mkdir(parents=True)
        command = folder / "print"
        command.write_text(_COMMAND.format(folder=folder))
        command.chmod(0o755)
        formats = _PDF if takes_pdf else _PDF.replace("application/pdf,", "image/pwg-raster,")
        (folder / "printer.conf").write_text(_ATTRIBUTES + formats)
        self.mood("exit 0")
        self._process: subprocess.Popen[bytes] | None = None
        self.switch_on()

    @property
    def address(self) -> str:
        return f"ipp://localhost:{self.port}/ipp/print"

    @property
    def secure_address(self) -> str:
        return f"ipps://localhost:{self.port}/ipp/print"

    def mood(self, script: str) -> None:
        """Say in shell what happens with the next prints: ``sleep 5``, ``exit 1``, ``echo 'STATE: …' >&2``."""
        (self.folder / "mood").write_text(script + "\n")

    def switch_on(self) -> None:
        given = ("-r", "off", "-p", str(self.port), "-n", "localhost", "-K", str(self.folder / "keys"))
        kept = ("-d", str(self.folder / "spool"), "-c", str(self.folder / "print"))
        with (self.folder / "said").open("ab") as said:
            self._process = subprocess.Popen(
                [_tool("ippeveprinter"), "-v", *given, *kept, "-a", str(self.folder / "printer.conf"), "Labels"],
                env={**os.environ, "DBUS_SYSTEM_BUS_ADDRESS": f"unix:path={self._bus}"},
                stdout=said,
                stderr=said,
                start_new_session=True,
            )
        until(self._listens, why=self.said)

    def _listens(self) -> bool:
        try:
            socket.create_connection(("localhost", self.port), timeout=HANGS_AFTER_S).close()
        except OSError:
            return False
        return True

    def switch_off(self) -> None:
        """Pull the plug: nothing is said to anybody."""
        if self._process is not None:
            os.killpg(self._process.pid, signal.SIGKILL)
            self._process.wait()
        self._process = None

    def freeze(self) -> None:
        """Let it hang: it still takes connections and bytes and answers nothing."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    def got(self) -> list[bytes]:
        """The documents that it printed, in their order."""
        files = sorted(self.folder.glob("got-*.pdf"), key=lambda file: int(file.stem.removeprefix("got-")))
        return [file.read_bytes() for file in files]

    def attributes(self, job: int) -> dict[str, str]:
        """What it understood of a job: the attributes by their names in capitals."""
        lines = (self.folder / f"attributes-{job}").read_text().splitlines()
        return dict(line.removeprefix("IPP_").split("=", 1) for line in lines)

    def said(self) -> str:
        """All that it said since it was made."""
        return (self.folder / "said").read_text(errors="replace")


@contextmanager
def message_bus(folder: Path) -> Iterator[Path]:
    """A bus of its own, without which ``ippeveprinter`` does not start; nothing is announced on the network."""
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / "bus"
    address = f"--address=unix:path={path}"
    process = subprocess.Popen(
        [_tool("dbus-daemon"), "--session", "--nofork", "--nopidfile", address],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    until(path.exists)
    try:
        yield path
    finally:
        process.kill()
        process.wait()


@contextmanager
def network_printer(folder: Path, *, takes_pdf: bool = True) -> Iterator[NetworkPrinter]:
    """A printer that is on until the end, or until it is switched off."""
    with message_bus(folder) as bus:
        made = NetworkPrinter(folder / "printer", bus, takes_pdf=takes_pdf)
        try:
            yield made
        finally:
            made.switch_off()


class LostAnswer:
    """Stands between the shop and a printer, and swallows the answer to the first document that goes through."""

    def __init__(self, device: NetworkPrinter) -> None:
        self._device = device
        self._listening = socket.create_server(("127.0.0.1", 0))
        self.address = f"ipp://127.0.0.1:{self._listening.getsockname()[1]}/ipp/print"

    def __enter__(self) -> "LostAnswer":
        threading.Thread(target=self._serve, daemon=True).start()
        return self

    def __exit__(self, *_what: object) -> None:
        self._listening.close()

    def _serve(self) -> None:
        while True:
            try:
                line, _address = self._listening.accept()
            except OSError:
                return
            with line, socket.create_connection(("localhost", self._device.port)) as onward:
                self._pass_on(line, onward)

    def _pass_on(self, line: socket.socket, onward: socket.socket) -> None:
        line.settimeout(0.3)
        onward.settimeout(5)
        asked = b""
        try:
            while more := line.recv(65536):
                asked += more
                onward.sendall(more)
        except TimeoutError:
            pass  # all of the request is through
        answer = onward.recv(65536)
        if b"%PDF" not in asked:
            line.sendall(answer)
