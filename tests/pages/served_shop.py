"""A shop of its own for the foreman's pages, served, with a clock that reads as the real one. All of it is invented."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

from playwright.sync_api import Page

from tests.floor import START, Floor
from tests.pages.looking import sign_in
from tests.shops import app_of, sqlite_shop
from tracker.records.database import Database
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.codes import Code, Kind
from tracker.shop.orders import Order, PartLine
from tracker.shop.roles import Role
from tracker.work.access import make_token
from tracker.work.orders import take_order

TOKENS = {role: f"the token of a {role.value}" for role in Role}
TODAY = datetime.now(UTC).date()


@dataclass(frozen=True, kw_only=True)
class Shop:
    """A served shop: its address, and the floor on which things happen elsewhere while a page is looked at."""

    address: str
    floor: Floor
    database: Database

    def sign_in(self, page: Page, path: str = "/", role: Role = Role.FOREMAN) -> None:
        """Open a path of the shop, signed in with a role."""
        sign_in(page, self.address, TOKENS[role])
        page.goto(f"{self.address}{path}")


def _filled(database: Database) -> None:
    Floor(database, start=datetime.now(UTC) - timedelta(days=14))
    for role, token in TOKENS.items():
        make_token(database, f"a {role.value}", role, secret=token.strip, now=START)


@contextmanager
def served(folder: Path) -> Iterator[Shop]:
    """Serve the small shop of ``tests.floor``, which began two weeks ago, its clock set to the last half hour."""
    database = sqlite_shop(folder / "shop.db", fill=_filled)
    floor = Floor.found_on(database, datetime.now(UTC) - timedelta(minutes=30))
    settings = Settings(data_dir=folder, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    server = Server(app_of(settings, database), host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield Shop(address=server.address, floor=floor, database=database)
    finally:
        server.stop()
        thread.join()
        database.close()


def take(floor: Floor, job: str, due: date, *lines: PartLine, customer: str = "Invented", **more: Any) -> None:
    """Take a job; without lines one of one end."""
    lines = lines or (PartLine(cabinet="1", part="End", quantity=1, length_mm=720, width_mm=560, thickness_mm=18),)
    order = Order(job=job, customer=customer, due=due, parts=lines, **more)
    take_order(floor.database, order, who="office", now=floor.tick())


def part(number: int) -> str:
    """The code of a part by its number."""
    return str(Code(Kind.PART, number))


def bytes_of(page: Page, address: str) -> int:
    """Open an address and return how many bytes all its answers have on their way."""
    sizes: list[int] = []
    page.on("requestfinished", lambda request: sizes.append(request.sizes()["responseBodySize"]))
    answer = page.goto(address, wait_until="networkidle")
    assert answer is not None
    assert answer.ok
    return sum(sizes)
