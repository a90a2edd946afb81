"""The first screen, in a real browser."""

from pathlib import Path
from typing import Literal

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from tests.pages.conftest import TOKEN

SIZES = {"tablet": (1024, 768), "desktop": (1440, 900), "wall": (1920, 1080), "phone": (390, 844)}


def sign_in(page: Page, site: str) -> None:
    page.goto(site)
    page.get_by_label("Your token").fill(TOKEN)
    page.keyboard.press("Enter")
    page.wait_for_url(f"{site}/")


def violations(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [f"{entry['id']}: {entry['help']} {entry['nodes'][0]['html']}" for entry in found]


def test_without_a_token_there_is_only_the_sign_in_page(page: Page, site: str) -> None:
    page.goto(site)
    assert page.url == f"{site}/sign-in"
    assert violations(page) == []


def test_a_token_that_is_not_known_is_said_so(browser: Browser, site: str) -> None:
    page = browser.new_page()
    page.goto(site)
    page.get_by_label("Your token").fill("wrong")
    page.get_by_role("button", name="Sign in").click()
    assert "Not known." in page.get_by_role("alert").inner_text()
    assert violations(page) == []
    page.close()


def test_the_jobs_and_what_their_boxes_lack_are_shown(page: Page, site: str) -> None:
    sign_in(page, site)
    first = page.get_by_role("region", name="J-1 Invented")
    assert "due Fri 05 Mar 2027" in first.inner_text()
    assert "1 of 3" in first.get_by_role("listitem").first.inner_text()
    assert "on hold" in page.get_by_role("region", name="J-2 Invented on hold").inner_text()
    table = page.get_by_role("table").first.inner_text()
    assert "Deck" in table
    assert "machine" in table
    assert "CUT-1" in table
    assert "damaged" in table
    assert "urgent" in page.get_by_role("table").nth(1).inner_text()
    assert violations(page) == []


def test_signing_out_closes_the_pages(page: Page, site: str) -> None:
    sign_in(page, site)
    page.get_by_role("button", name="Sign out").click()
    page.goto(site)
    assert page.url == f"{site}/sign-in"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", SIZES)
def test_every_size_and_scheme_is_readable(
    browser: Browser, site: str, size: str, scheme: Literal["light", "dark"], shots: Path | None
) -> None:
    width, height = SIZES[size]
    context = browser.new_context(viewport={"width": width, "height": height}, color_scheme=scheme)
    page = context.new_page()
    for path in ("sign-in", ""):
        if path:
            page.goto(f"{site}/{path}")
        else:
            sign_in(page, site)
        assert violations(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        if shots is not None:
            page.screenshot(path=shots / f"{path or 'overview'}-{size}-{scheme}.png", full_page=True)
    context.close()


def test_the_page_still_fits_at_200_percent(browser: Browser, site: str) -> None:
    context = browser.new_context(viewport={"width": 512, "height": 384}, device_scale_factor=2)
    page = context.new_page()
    sign_in(page, site)
    assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
    assert violations(page) == []
    context.close()


def test_the_page_can_be_used_by_keyboard_alone(page: Page, site: str) -> None:
    sign_in(page, site)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    names = []
    for _step in range(6):
        page.keyboard.press("Tab")
        names.append(page.evaluate("document.activeElement.ariaLabel || document.activeElement.innerText"))
    assert "Sign out" in names
    assert any(name.startswith("Missing from box") for name in names)


def test_the_readable_pages_of_the_calls_are_accessible(page: Page, site: str) -> None:
    page.goto(f"{site}/api/v1/docs")
    assert violations(page) == []
