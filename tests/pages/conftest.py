"""A running service with the invented shop's day in it, and a browser."""

import os
import shutil
import threading
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Locator, Page, expect, sync_playwright

from tests.conftest import missing_tool
from tests.floor import START, Floor
from tests.shops import app_of, sqlite_shop
from tests.waiting import HANGS_AFTER_S
from tracker.records.database import Database
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.work.access import make_token
from tracker.work.intake import read_json_order
from tracker.work.jobs import hold_job
from tracker.work.lists import shipped_standard
from tracker.work.orders import take_order
from tracker.work.replace import replace_part

TOKEN = "a token for the browser"  # noqa: S105


@pytest.fixture(scope="session")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a service on a small shop in the middle of its work."""
    folder = tmp_path_factory.mktemp("site")
    database = sqlite_shop(folder / "shop.db")
    floor = Floor(database)
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.toe_kick, "CUT-1", action=Action.DAMAGED)
    replace_part(database, 3, "chipped", **floor.act())
    floor.take("J-2", items=())
    hold_job(database, "J-2", **floor.act())
    make_token(database, "browser", Role.FOREMAN, secret=TOKEN.strip, now=START)
    take_cabinets(database, floor)
    settings = Settings(data_dir=folder, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    server = Server(app_of(settings, database), host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run)
    thread.start()
    yield server.address
    server.stop()
    thread.join()
    database.close()


_TALL = {"family": "tall", "width": 500, "height": 2134, "depth": 580, "fronts": "pantry", "hinge": "left"}
CABINETS = [
    {"cabinet": "101", "family": "base", "width": 600, "height": 876, "depth": 580, "fronts": "drawer over doors"},
    {"cabinet": "102", **_TALL, "note": "beside the door"},
]


def take_cabinets(database: Database, floor: Floor) -> None:
    """Take a job of two cabinets, J-3, due after the others."""
    order = read_json_order(
        [],
        [],
        CABINETS,
        job="J-3",
        customer="Invented",
        due=date(2027, 4, 5),
        units=Units.MM,
        standard=shipped_standard(),
    )
    take_order(database, order, **floor.act())


def chromium() -> str:
    """The program of Debian's Chromium; the one without a window, where it is there, does the same with less work."""
    names = ("chromium-headless-shell", "chromium", "chromium-browser", "google-chrome")
    path = next(filter(None, map(shutil.which, names)), None)
    if path is None:
        missing_tool("Chromium")
    return path or ""


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium."""
    quiet = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking", "--disable-sync"]
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium(), args=[*quiet, "--disable-component-update"])
        yield started
        started.close()


@pytest.fixture(scope="session", autouse=True)
def _whole_pages() -> Iterator[None]:
    """Playwright ends a click when the next page has begun to come; here it ends when all of that page is there.

    Playwright gives up after 5 and 30 s, which a busy machine may need; here what it waits for has as long as all else.
    """
    press, open_context, open_page = Locator.click, Browser.new_context, Browser.new_page
    expect.set_options(timeout=1000 * HANGS_AFTER_S)

    def click(self: Locator, **options: Any) -> None:
        press(self, **options)
        self.page.wait_for_load_state()

    def new_context(self: Browser, **options: Any) -> BrowserContext:
        opened = open_context(self, **options)
        opened.set_default_timeout(1000 * HANGS_AFTER_S)
        return opened

    def new_page(self: Browser, **options: Any) -> Page:
        opened = open_page(self, **options)
        opened.set_default_timeout(1000 * HANGS_AFTER_S)
        return opened

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Locator, "click", click)
        patch.setattr(Browser, "new_context", new_context)
        patch.setattr(Browser, "new_page", new_page)
        yield


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A page at a tablet's size; what it should not do fails the test."""
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    opened = context.new_page()
    complaints: list[str] = []
    opened.on("console", lambda message: complaints.append(message.text) if message.type == "error" else None)
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("request", lambda request: _own(request.url, complaints))
    yield opened
    context.close()
    assert complaints == []


def _own(url: str, complaints: list[str]) -> None:
    if not url.startswith(("http://127.0.0.1:", "data:")):
        complaints.append(f"a request to another host: {url}")


@pytest.fixture
def shots() -> Path | None:
    """Where to leave screenshots: the folder named by SHOTS, or nowhere."""
    folder = os.environ.get("SHOTS")
    return Path(folder) if folder else None
