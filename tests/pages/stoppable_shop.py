"""A shop whose service is stopped and started again at the same address. All of it is invented."""

import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from playwright.sync_api import BrowserContext, Page, Route
from sqlalchemy import select

from tests.floor import Floor
from tests.pages.looking import sign_in
from tests.shops import app_of, sqlite_shop
from tests.waiting import HANGS_AFTER_S
from tracker.records.database import Database
from tracker.records.logged import last_change
from tracker.records.tables import log
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.work.access import make_token

KEPT = """async () => {
  const urls = performance.getEntriesByType("resource").map(({ name }) => new URL(name).pathname);
  const parts = [location.pathname, ...urls.filter((path) => /^\\/static\\/.*[.](js|css)$/.test(path))];
  const found = await Promise.all(parts.map((path) => caches.match(path, { ignoreVary: true })));
  const registration = await navigator.serviceWorker.getRegistration();
  return registration?.active?.state === "activated" && found.every(Boolean);
}"""


def _filled(database: Database) -> None:
    floor = Floor(database)
    for role in Role:
        make_token(database, f"a {role.value}", role, secret=role.value.strip, now=floor.tick())


class StoppableShop:
    """The small shop of ``tests.floor``, served at an address that stays the same."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.database = sqlite_shop(folder / "shop.db", fill=_filled)
        self.floor = Floor.found_on(self.database, datetime.now(UTC) - timedelta(hours=1))
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.address = f"http://127.0.0.1:{self.port}"
        with self.database.read() as connection:
            self._before = last_change(connection)
        self._server: Server | None = None

    def start(self) -> None:
        settings = Settings(data_dir=self.folder, database_url=str(self.database.url), secret_key="for tests")  # noqa: S106
        self._server = Server(app_of(settings, self.database), host="127.0.0.1", port=self.port)
        self._thread = threading.Thread(target=self._server.run)
        self._thread.start()

    def stop(self) -> None:
        if self._server is not None:
            self._server.stop()
            self._thread.join()
        self._server = None

    def open(self, context: BrowserContext, path: str, role: Role = Role.FOREMAN) -> Page:
        """Open a page of the shop, signed in with a role."""
        page = context.new_page()
        sign_in(page, self.address, role.value)
        page.goto(f"{self.address}{path}")
        return page

    def scans(self, *wanted: Action) -> list[str]:
        """The codes that were scanned from the pages, in the order of the log: of these actions, or of all."""
        columns = (log.c.code, log.c.action)
        query = select(*columns).where(log.c.seq > self._before, log.c.station_id.is_not(None)).order_by(log.c.seq)
        with self.database.read() as connection:
            return [row.code for row in connection.execute(query) if not wanted or row.action in wanted]

    def who(self, code: str) -> str:
        """Who scanned a code last."""
        query = select(log.c.who).where(log.c.code == code).order_by(log.c.seq.desc()).limit(1)
        with self.database.read() as connection:
            return str(connection.execute(query).scalar_one())


@contextmanager
def stoppable(folder: Path) -> Iterator[StoppableShop]:
    """Serve a shop that can be stopped."""
    shop = StoppableShop(folder)
    shop.start()
    try:
        yield shop
    finally:
        shop.stop()
        shop.database.close()


def wait_until_kept(page: Page) -> None:
    """Wait until the device has all that it needs to open this page without the server."""
    until(page, lambda: page.evaluate(KEPT))  # wait_for_function would take the promise for the answer


def wait_for_ever(page: Page) -> None:
    """Let a page wait for its answers as long as a test needs: on a busy machine five seconds are soon over."""
    page.evaluate("AbortSignal.timeout = () => new AbortController().signal")


def hold(page: Page, pattern: str) -> list[Route]:
    """Keep a page's requests from the server; return the list in which they are caught."""
    wait_for_ever(page)
    held: list[Route] = []

    def catch(route: Route) -> None:
        held.append(route)

    page.route(pattern, catch)
    return held


def until(page: Page, holds: Callable[[], object]) -> None:
    """Let the page work until something holds; fails when it hangs."""
    end = time.monotonic() + HANGS_AFTER_S
    while not holds():
        assert time.monotonic() < end
        page.wait_for_timeout(50)
