"""What every test of a page does: sign in, look at it in all sizes, and let axe-core judge it."""

from collections.abc import Mapping
from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

from tests.pages.conftest import TOKEN

_AXE = Axe()
SIZES = {"tablet": (1024, 768), "desktop": (1440, 900), "wall": (1920, 1080), "phone": (390, 844)}
ZOOMED = (512, 384)  # a tablet at 200 %


def sign_in(page: Page, site: str, token: str = TOKEN) -> None:
    """Sign in with a token."""
    page.goto(f"{site}/sign-in")
    page.get_by_text("I have a token").click()
    page.get_by_label("Your token").fill(token)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def violations(page: Page) -> list[str]:
    """Return what axe-core finds wrong with a page."""
    page.wait_for_load_state()  # a page that is just being left has nothing to judge
    found = _AXE.run(page, options={"resultTypes": ["violations"]}).response["violations"]
    return [f"{entry['id']}: {entry['help']} {entry['nodes'][0]['html']}" for entry in found]


def readable(page: Page, shots: Path | None, name: str, *, sizes: Mapping[str, tuple[int, int]] = SIZES) -> None:
    """Hold a page up to everybody who looks: light and dark, at every size and at 200 %.

    It needs no scrolling sideways, and axe-core finds nothing: in the light at the first size and the narrowest, in the
    dark, where only colours are others, at the first.
    """
    for scheme in ("light", "dark"):
        page.emulate_media(color_scheme="dark" if scheme == "dark" else "light")
        for place, (size, (width, height)) in enumerate({**sizes, "zoomed": ZOOMED}.items()):
            page.set_viewport_size({"width": width, "height": height})
            assert fits(page), f"{name}: sideways at {size}"
            if place == 0 or (scheme == "light" and (width, height) == ZOOMED):
                assert violations(page) == [], f"{name}, {size}, {scheme}"
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
