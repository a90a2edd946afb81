"""The invented shop in the middle of its day, served, and somebody signed in who may see everything."""

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext

from tests.shops import app_of
from tracker.records.database import Database
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.roles import Role
from tracker.work.people import add_person

PASSWORD = "good enough to look"  # noqa: S105


@dataclass(frozen=True, kw_only=True)
class Demo:
    """The served shop: its address and its database."""

    address: str
    database: Database

    def signed_in(self, browser: Browser, **options: object) -> BrowserContext:
        """A browser of its own in which Ada, an admin, is signed in."""
        context = browser.new_context(**options)  # type: ignore[arg-type]
        page = context.new_page()
        page.goto(f"{self.address}/sign-in")
        page.locator("#name").fill("Ada")
        page.locator("#password").fill(PASSWORD)
        page.keyboard.press("Enter")
        page.wait_for_url(lambda url: "sign-in" not in url)
        page.close()
        return context


@contextmanager
def served_demo(path: Path) -> Iterator[Demo]:
    """Serve the shop in the database that the day was played on."""
    database = Database(f"sqlite:///{path}")
    settings = Settings(data_dir=path.parent, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    add_person(database, "Ada", Role.ADMIN, password=PASSWORD, now=datetime.now(UTC))
    server = Server(app_of(settings, database), host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run)
    thread.start()
    try:
        yield Demo(address=server.address, database=database)
    finally:
        server.stop()
        thread.join()
        database.close()
