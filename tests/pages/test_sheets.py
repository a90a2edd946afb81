"""The sheet in the carton and the page for reports from site, in a real browser."""

from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, Page

from tests.pages.looking import SIZES, sign_in, violations

SHEETS = ("101", "102")


def report_link(page: Page, site: str, cabinet: str) -> str:
    sign_in(page, site)
    page.goto(f"{site}/jobs/J-3/cabinets/{cabinet}/sheet")
    link = page.get_by_role("link", name="Report it here").get_attribute("href") or ""
    return site + urlsplit(link).path


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_the_sheet_is_readable_at_every_size(
    browser: Browser, site: str, size: str, scheme: Literal["light", "dark"], shots: Path | None
) -> None:
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    sign_in(page, site)
    for cabinet in SHEETS:
        page.goto(f"{site}/jobs/J-3/cabinets/{cabinet}/sheet")
        assert violations(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        if shots is not None:
            page.screenshot(path=shots / f"sheet-{cabinet}-{size}-{scheme}.png", full_page=True)
    context.close()


def test_the_sheet_shows_parts_bag_and_steps_in_order(page: Page, site: str) -> None:
    sign_in(page, site)
    page.goto(f"{site}/jobs/J-3/cabinets/102/sheet")
    text = page.get_by_role("article").inner_text()
    assert "beside the door" in text
    assert "2 × spring pin 8 mm" in text
    assert text.index("Left end") < text.index("Step by step") < text.index("Close with the right end")
    assert page.get_by_role("img").count() > 10


def test_a_cabinet_that_is_not_there_has_no_sheet(browser: Browser, site: str) -> None:
    page = browser.new_page()
    sign_in(page, site)
    answer = page.goto(f"{site}/jobs/J-3/cabinets/999/sheet")
    assert answer is not None
    assert answer.status == 404
    page.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_fitter_reports_by_phone_and_by_keyboard_alone(
    browser: Browser, site: str, scheme: Literal["light", "dark"], shots: Path | None
) -> None:
    width, height = SIZES["phone"]
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    link = report_link(page, site, "101")
    context.clear_cookies()
    page.goto(link)
    assert violations(page) == []
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    if shots is not None:
        page.screenshot(path=shots / f"report-{scheme}.png", full_page=True)
    page.get_by_label("Deck").focus()
    page.keyboard.press("ArrowDown")
    page.get_by_label("Your name, and how the shop reaches you").focus()
    page.keyboard.type("A. Fitter, 555 0100")
    page.keyboard.press("Enter")
    assert "Thank you." in page.get_by_role("status").inner_text()
    assert violations(page) == []
    context.close()


def test_a_report_of_nothing_is_refused_in_words(browser: Browser, site: str) -> None:
    page = browser.new_page()
    page.goto(report_link(page, site, "101"))
    page.get_by_label("Your name, and how the shop reaches you").fill("A. Fitter")
    page.get_by_role("button", name="Tell the shop").click()
    assert "Choose at least one thing" in page.get_by_role("alert").inner_text()
    assert violations(page) == []
    page.close()
