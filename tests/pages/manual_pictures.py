"""The manual's pictures, taken anew of the invented shop: ``python -m tests.pages.manual_pictures``."""

import tempfile
from contextlib import ExitStack
from io import BytesIO
from pathlib import Path
from typing import Final

from PIL import Image
from playwright.sync_api import Page, sync_playwright

from tests.pages.conftest import chromium
from tests.pages.served_demo import Demo, served_demo
from tracker.demo.story import run_once
from tracker.pages.help.manual import PICTURES
from tracker.records.missing_lists import missing_page
from tracker.shop.steps import Step
from tracker.translations.catalogues import LANGUAGES

SIZE: Final = {"width": 1024, "height": 768}
COLOURS: Final = 24  # a screen has few, and a manual is to be small


def take_pictures(folder: Path) -> None:
    """Take the pictures of the board, a station and a bench, in each language."""
    with tempfile.TemporaryDirectory() as shop, sync_playwright() as playwright, ExitStack() as opened:
        run_once(lambda _line: None, shop)
        demo = opened.enter_context(served_demo(Path(shop) / "tracker.db"))
        browser = playwright.chromium.launch(executable_path=chromium(), args=["--no-sandbox"])
        for language in LANGUAGES:
            context = demo.signed_in(browser, locale=language, viewport=SIZE, color_scheme="light")
            page = context.new_page()
            page.goto(f"{demo.address}/")
            _keep(page, folder / f"board.{language}.png")
            page.goto(f"{demo.address}/station/SAW-1")
            _scan(page, _waiting_for_the_saw(demo))
            _keep(page, folder / f"station.{language}.png")
            page.goto(f"{demo.address}/pack/BENCH-1")
            for _ in range(3):
                _scan(page, page.locator("li.upnext").get_attribute("data-part") or "")
            _keep(page, folder / f"bench.{language}.png")
            context.close()
        browser.close()


def _waiting_for_the_saw(demo: Demo) -> str:
    """The code of a part that is to be cut."""
    with demo.database.read() as connection:
        boxes = missing_page(connection).boxes
    return next(part.code for box in boxes if not box.held for part in box.parts if part.step == Step.CUT)


def _scan(page: Page, code: str) -> None:
    """Type a code, as somebody without a scanner does, and wait for its answer."""
    page.locator("#code").fill(code)
    with page.expect_response(lambda answer: answer.url.endswith("/scan")):
        page.locator("#code").press("Enter")
    page.wait_for_load_state("networkidle")
    page.locator("#code").blur()


def _keep(page: Page, path: Path) -> None:
    seen = Image.open(BytesIO(page.screenshot()))
    seen.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(path, optimize=True)


if __name__ == "__main__":
    take_pictures(PICTURES)
