"""Databases for the tests: SQLite files and a PostgreSQL cluster of their own, both through the real migrations."""

import getpass
import itertools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from sqlalchemy import create_engine, text

from tests.examples import MORE
from tests.floor import START, Floor
from tests.played_day import Day, played_day
from tests.shops import nothing, sqlite_shop
from tests.statements import share_compiled_statements
from tracker.records.database import Database
from tracker.records.migrate import upgrade

settings.register_profile(
    "tracker", deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow], max_examples=60 * MORE
)
settings.load_profile("tracker")
share_compiled_statements()

_numbers = itertools.count(1)

# The processes that tests start are many: they keep what they compile.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def missing_tool(what: str) -> None:
    """Skip on a machine without a tool; in CI nothing is skipped."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is not installed, and in CI nothing is skipped")
    pytest.skip(f"{what} is not installed")


@pytest.fixture(scope="session")
def day(tmp_path_factory: pytest.TempPathFactory) -> Day:
    """The demo's day, played to its end."""
    return played_day(tmp_path_factory)


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty shop's SQLite file, to be copied."""
    path = tmp_path_factory.mktemp("template") / "template.db"
    sqlite_shop(path).close()
    return path


class Cluster:
    """A PostgreSQL server on a socket in a folder of its own; it never runs as root."""

    def __init__(self, binaries: Path) -> None:
        self.binaries = binaries
        self.folder = Path(tempfile.mkdtemp(prefix="tracker-pg-", dir="/tmp"))
        self.user = "postgres" if os.geteuid() == 0 else getpass.getuser()
        if os.geteuid() == 0:
            shutil.chown(self.folder, self.user)
        self._run("initdb", "-D", str(self.folder / "data"), "-U", "tracker", "-A", "trust", "-N", "-E", "UTF8")
        options = f"-k {self.folder} -c listen_addresses=''"
        for lasting in ("fsync", "full_page_writes", "synchronous_commit", "autovacuum", "jit"):
            options += f" -c {lasting}=off"
        log = str(self.folder / "log")
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-w", "-l", log, "-o", options, "start")
        self._admin = create_engine(
            self.url("postgres").replace("postgresql:", "postgresql+psycopg:"), isolation_level="AUTOCOMMIT"
        )
        self.make("template_shop", None)
        self._fill("template_shop", upgrade)
        self._has_floor = False

    def shop(self, name: str, *, floor: bool) -> Database:
        """Return a new shop: an empty one, or one with a floor."""
        if floor and not self._has_floor:
            self.make("template_floor", "template_shop")
            self._fill("template_floor", Floor)
            self._has_floor = True
        return Database(self.make(name, "template_floor" if floor else "template_shop"))

    def _fill(self, name: str, fill: Callable[[Database], object]) -> None:
        database = Database(self.url(name))
        fill(database)
        database.close()

    def _run(self, program: str, *arguments: str) -> None:
        user = self.user if os.geteuid() == 0 else None
        done = subprocess.run(
            [str(self.binaries / program), *arguments],
            user=user,
            cwd=self.folder,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            check=False,
        )
        assert done.returncode == 0, done.stderr.decode()

    def url(self, name: str) -> str:
        return f"postgresql://tracker@/{name}?host={self.folder}"

    def make(self, name: str, template: str | None) -> str:
        with self._admin.connect() as connection:
            connection.execute(text(f"CREATE DATABASE {name} TEMPLATE {template or 'template0'} STRATEGY FILE_COPY"))
        return self.url(name)

    def drop(self, name: str) -> None:
        with self._admin.connect() as connection:
            connection.execute(text(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)"))

    def stop(self) -> None:
        self._admin.dispose()
        self._run("pg_ctl", "-D", str(self.folder / "data"), "-m", "immediate", "stop")
        shutil.rmtree(self.folder, ignore_errors=True)


@pytest.fixture(scope="session")
def cluster() -> Iterator[Cluster]:
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    if not folders:
        missing_tool("PostgreSQL")
    running = Cluster(folders[-1])
    yield running
    running.stop()


def _wants_a_floor(request: pytest.FixtureRequest) -> bool:
    """Whether the test's shop has a floor: it is made once and copied, which takes less time than to make it."""
    return "floor" in request.fixturenames and not hasattr(request.module, "floor")


@pytest.fixture
def sqlite(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """An empty shop on SQLite; for a test with a floor, one with the stations and the job of the floor."""
    database = sqlite_shop(tmp_path / f"shop-{next(_numbers)}.db", Floor if _wants_a_floor(request) else nothing)
    yield database
    database.close()


@pytest.fixture
def postgresql(request: pytest.FixtureRequest, cluster: Cluster) -> Iterator[Database]:
    """The same on PostgreSQL."""
    name = f"shop_{next(_numbers)}"
    database = cluster.shop(name, floor=_wants_a_floor(request))
    yield database
    database.close()
    cluster.drop(name)


@pytest.fixture(params=["sqlite", "postgresql"])
def database(request: pytest.FixtureRequest) -> Database:
    """An empty shop, on each of the two databases in turn."""
    found: Database = request.getfixturevalue(request.param)
    return found


@pytest.fixture
def floor(database: Database) -> Floor:
    """A shop with its stations and one job of two cabinets, on each database."""
    return Floor.found_on(database, START + timedelta(seconds=1))  # the job was taken in the first second
