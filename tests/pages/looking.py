"""What every test of a page does: sign in, look at it in all sizes, and let axe-core judge it."""

import re
from collections.abc import Mapping
from html import unescape
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.pages.conftest import TOKEN

_AXE = Axe().axe_script
_JUDGE = """async (rules) =>
  (await axe.run({ resultTypes: ["violations"], ...(rules && { runOnly: rules }) })).violations"""
SIZES = {"tablet": (1024, 768), "desktop": (1440, 900), "wall": (1920, 1080), "phone": (390, 844)}
ZOOMED = (512, 384)  # a tablet at 200 %


def sign_in(page: Page, site: str, token: str = TOKEN) -> None:
    """Sign in with a token, by calls alone: a form costs a browser as much as most of what is tested behind it."""
    calls, address = page.context.request, f"{site}/sign-in"
    found = re.search(r'name="csrf-token" content="([^"]+)"', calls.get(address).text())
    assert found is not None
    answer = calls.post(address, form={"csrf_token": unescape(found.group(1)), "token": token}, max_redirects=0)
    assert answer.status == 302, answer.text()


def sign_in_by_form(page: Page, site: str, token: str = TOKEN) -> None:
    """Sign in with a token as people do."""
    page.goto(f"{site}/sign-in")
    page.get_by_text("I have a token").click()
    page.get_by_label("Your token").fill(token)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def violations(page: Page, *rules: str) -> list[str]:
    """Return what axe-core finds wrong with a page, by all rules or by these."""
    page.wait_for_load_state()  # a page that is just being left has nothing to judge
    if page.evaluate("typeof axe === 'undefined'"):
        page.evaluate(_AXE)
    found = page.evaluate(_JUDGE, list(rules) or None)
    return [f"{entry['id']}: {entry['help']} {entry['nodes'][0]['html']}" for entry in found]


def readable(page: Page, shots: Path | None, name: str, *, sizes: Mapping[str, tuple[int, int]] = SIZES) -> None:
    """Hold a page up to everybody who looks: light and dark, at every size and at 200 %.

    It needs no scrolling sideways, and axe-core finds nothing: in the light at the first size and the narrowest, in the
    dark, where only colours are others, at the first, by the rule of colours.
    """
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        for place, (size, (width, height)) in enumerate({**sizes, "zoomed": ZOOMED}.items()):
            page.set_viewport_size({"width": width, "height": height})
            assert fits(page), f"{name}: sideways at {size}"
            if place == 0 or (scheme == "light" and (width, height) == ZOOMED):
                rules = ("color-contrast",) if scheme == "dark" else ()
                assert violations(page, *rules) == [], f"{name}, {size}, {scheme}"
            if shots is not None:
                page.screenshot(path=shots / f"{name}-{size}-{scheme}.png", full_page=size != "wall")
    page.emulate_media(color_scheme="light")


def fits(page: Page) -> bool:
    """Say whether the page needs no scrolling sideways."""
    return bool(page.evaluate("document.documentElement.scrollWidth <= window.innerWidth"))


def hear_of_no_change(page: Page) -> None:
    """Let the page ask what is new once more, and be told that nothing has changed."""
    with page.expect_response(lambda answer: answer.status == 304):
        pass
