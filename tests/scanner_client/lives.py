"""Random lives of a station: a real service and the real station program, both killed at random moments, and between
them a network that misbehaves. After each run each reading is counted exactly once, in order.

Service and program are forked from one process, so that a run of kills and a bad network takes two seconds.
"""

import multiprocessing
import os
import random
import shutil
import signal
import socket
import sys
import tempfile
import time
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, date, datetime
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Final

from sqlalchemy import select

from scanner_client.main import main
from tests.scanner_client.proxy import MOODS, Proxy
from tests.waiting import HANGS_AFTER_S, until
from tracker.records.database import Database
from tracker.records.migrate import upgrade
from tracker.records.tables import log
from tracker.shop.codes import part_code
from tracker.shop.orders import Order, PartLine
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.work.access import add_station, make_token
from tracker.work.orders import take_order
from tracker.work.verify import verify

PARTS: Final = 60
CODES: Final = [part_code(number) for number in range(1, PARTS + 1)]
TOKEN: Final = "soak"  # noqa: S105 - opens a shop of a few seconds
_PATIENCE_S: Final = HANGS_AFTER_S

# Programs are forked from one process that has read their modules, so that a life begins in a moment.
_PROCESSES: Final = multiprocessing.get_context("forkserver")
_PROCESSES.set_forkserver_preload(["tests.scanner_client.lives", "tracker.app", "tracker.server"])


def serve(folder: str, port: int) -> None:
    """A life of the service."""
    from tracker.app import create_app
    from tracker.server import Server
    from tracker.settings import Settings

    url = f"sqlite:///{folder}/tracker.db"
    settings = Settings(data_dir=Path(folder), database_url=url, secret_key="soak")  # noqa: S106 - on loopback, for a moment
    Server(create_app(settings, Database(url)), host="127.0.0.1", port=port).run_until_signalled()


def scan(folder: str) -> None:
    """A life of the station program: readings come out of the pipe ``readings``, lines go to ``shown``."""
    os.dup2(os.open(f"{folder}/readings", os.O_RDONLY), 0)
    os.dup2(os.open(f"{folder}/shown", os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600), 1)
    sys.stdin, sys.stdout = os.fdopen(0), os.fdopen(1, "w")
    main(["--settings", f"{folder}/settings.toml"])


def template(folder: Path) -> Path:
    """Make the shop that each run starts from; everything in it is invented."""
    path = folder / "template.db"
    database = Database(f"sqlite:///{path}")
    upgrade(database)
    now = datetime.now(UTC)
    add_station(database, "CUT-1", Step.CUT)
    make_token(database, "saw", Role.STATION, "CUT-1", secret=lambda: TOKEN, now=now)
    end = PartLine(cabinet="1", part="End", quantity=PARTS, length_mm=700, width_mm=500, thickness_mm=18)
    order = Order(job="J-1", customer="Invented", due=date(2027, 3, 5), parts=[end])
    take_order(database, order, who="soak", now=now)
    with database.engine.connect() as connection:
        connection.exec_driver_sql("COMMIT")
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
        connection.exec_driver_sql("BEGIN")
    database.close()
    return path


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What a run came to: the numbers of kills, and how often the network did what."""

    seed: int
    station_kills: int
    service_kills: int
    network: dict[str, int]
    seconds: float


class Run:
    """One run in a folder of its own, all chance of it from ``seed``."""

    def __init__(self, seed: int, folder: Path, made: Path) -> None:
        self.seed, self.folder = seed, folder
        self.chance = random.Random(seed)
        shutil.copy(made, folder / "tracker.db")
        os.mkfifo(folder / "readings")
        (folder / "token").write_text(TOKEN)
        self.port = _free_port()
        self.proxy = Proxy(self.port, seed=seed)
        (folder / "settings.toml").write_text(
            f'server = "{self.proxy.address}"\ntoken_file = "token"\nqueue = "queue.db"\nshow = "lines"\n'
            f"drain_seconds = {_PATIENCE_S}\ntimeout_seconds = 2\nlongest_pause_seconds = 0.3\n"
        )
        self.feeding = os.open(folder / "readings", os.O_RDWR)
        self.kills = {"station": 0, "service": 0}
        self.service = self._begin("service")
        self.station = self._begin("station")

    def _begin(self, who: str) -> BaseProcess:
        target, given = (serve, (str(self.folder), self.port)) if who == "service" else (scan, (str(self.folder),))
        process = _PROCESSES.Process(target=target, args=given)
        process.start()
        return process

    def _kill(self, who: str, process: BaseProcess) -> None:
        os.kill(process.pid or 0, signal.SIGKILL)
        process.join()
        self.kills[who] += 1

    def go(self) -> Outcome:
        """Scan all parts in bursts while things happen, then let all calm down and look."""
        begun = time.monotonic()
        left = list(CODES)
        while left:
            burst = [left.pop(0) for _each in range(min(len(left), self.chance.randint(1, 8)))]
            os.write(self.feeding, "".join(f"{code}\n" for code in burst).encode())
            self._something_happens()
            time.sleep(self.chance.uniform(0, 0.15))
        self._calm_down()
        self._look()
        return Outcome(
            seed=self.seed,
            station_kills=self.kills["station"],
            service_kills=self.kills["service"],
            network=self.proxy.seen,
            seconds=time.monotonic() - begun,
        )

    def _something_happens(self) -> None:
        match self.chance.choice(["station", "service", "network", "network", "network", "nothing"]):
            case "station" if self.kills["station"] < 3:
                self._kill("station", self.station)
                self.station = self._begin("station")
            case "service" if self.kills["service"] < 2:
                self._kill("service", self.service)
                time.sleep(self.chance.uniform(0, 0.2))
                self.service = self._begin("service")
            case "network":
                self.proxy.moods = self.chance.sample(MOODS, self.chance.randint(1, 4))

    def _calm_down(self) -> None:
        self.proxy.moods = ("fine",)
        until(lambda: not _unread(self.feeding))
        os.close(self.feeding)
        self.feeding = -1
        self.station.join(_PATIENCE_S)
        assert self.station.exitcode == 0, f"the station program ended with {self.station.exitcode}"
        self.proxy.close()
        self.service.terminate()
        self.service.join(_PATIENCE_S)

    def _look(self) -> None:
        """Each reading is counted once and in order. A kill may cost the reading in hand, of which nothing was said."""
        shown = (self.folder / "shown").read_text()
        with closing(Database(f"sqlite:///{self.folder}/tracker.db")) as database:
            with database.read() as connection:
                rows = connection.execute(select(log).where(log.c.station_id.is_not(None)).order_by(log.c.seq)).all()
            assert not list(verify(database)), "the state is not the fold of the log"
        counted = [row.code for row in rows if row.code in CODES]
        assert counted == [code for code in CODES if code in set(counted)], "a reading came twice or out of order"
        assert {row.outcome for row in rows if row.code in CODES} == {"done"}
        times = [row.at for row in rows]
        assert times == sorted(times), "a reading has an earlier time than the one before it"
        lost = set(CODES) - set(counted)
        assert len(lost) <= self.kills["station"], f"lost: {sorted(lost)}"
        assert not [code for code in lost if code in shown], "a reading was lost of which something was said"
        assert len(rows) - len(counted) <= self.kills["station"], "misreads that no kill explains"

    def close(self) -> None:
        """End what is left of a run that failed."""
        for process in (self.station, self.service):
            if process.is_alive():
                process.kill()
            process.join()
        if self.feeding >= 0:
            os.close(self.feeding)
        with suppress(OSError):
            self.proxy.close()


def _free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port: int = taken.getsockname()[1]
        return port


def _unread(pipe: int) -> int:
    import array
    import fcntl
    import termios

    count = array.array("i", [0])
    fcntl.ioctl(pipe, termios.FIONREAD, count)
    return count[0]


def run(seed: int, made: Path) -> Outcome:
    """Do one run. Raises AssertionError when a reading was not counted exactly once, in order."""
    with tempfile.TemporaryDirectory(prefix="soak-") as name:
        running = Run(seed, Path(name), made)
        try:
            return running.go()
        finally:
            running.close()
