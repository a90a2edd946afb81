"""Every page of the invented shop in the middle of its day: in both languages, light and dark, large, and alone.

With SHOTS=FOLDER each page leaves a picture there, at the size of a tablet, a desktop and a wall.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import quote

import pytest
from playwright.sync_api import Browser, BrowserContext, Page

from tests.pages.looking import SIZES, ZOOMED, fits, violations
from tests.pages.served_demo import Demo, served_demo
from tests.played_day import Day
from tracker.records.box_contents import boxes_of_job
from tracker.records.database import Database
from tracker.records.jobs import list_jobs
from tracker.records.missing_lists import missing_page
from tracker.records.shipping import list_loads
from tracker.work.boards import job_boards

# Each language and each scheme once: that is what one look at every page costs.
LOOKS = (("en", "light"), ("es", "dark"))
HEAVIEST_PAGE = 100_000  # bytes, all that a page loads


@dataclass(frozen=True, kw_only=True)
class Site:
    """The served shop: its address and every page that is to be looked at, by a short name."""

    demo: Demo
    address: str
    pages: dict[str, str]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, day: Day) -> Iterator[Site]:
    path = tmp_path_factory.mktemp("demo") / "tracker.db"
    path.write_bytes(day.database)
    with served_demo(path) as served:
        yield Site(demo=served, address=served.address, pages=pages_of(served.database))


def pages_of(database: Database) -> dict[str, str]:
    with database.read() as connection:
        jobs = list_jobs(connection, limit=10, status=["open", "held"])
        missing = missing_page(connection).boxes
        job = jobs[0]
        box = boxes_of_job(connection, job.id, limit=1)[0]
        loads = list_loads(connection, limit=1)
    part = missing[0].parts[0]
    board = job_boards(database, job.code)[0]
    return {
        "board": "/",
        "wall": "/?wall=1",
        "missing": "/missing",
        "missing-by-job": "/missing?by=job",
        "missing-by-load": "/missing?by=load",
        "missing-by-station": "/missing?by=station",
        "job": f"/jobs/{quote(job.code)}",
        "hold": f"/jobs/{quote(job.code)}/hold",
        "cancel": f"/jobs/{quote(job.code)}/cancel",
        "find": f"/find?code={part.code}",
        "replace": f"/parts/{part.code}/replace",
        "reports": "/reports",
        "flagged": "/flagged",
        "settled": "/flagged?settled=1",
        "stations-to-choose": "/station?choose=1",
        "station": "/station/SAW-1",
        "benches-to-choose": "/pack?choose=1",  # without that a browser goes to the bench that it chose last
        "bench": "/pack/BENCH-1",
        "box": f"/boxes/{box.code}",
        "board-to-cut": f"/boards/{board.code}",
        "sheet": f"/jobs/{quote(job.code)}/cabinets/{quote(part.cabinet)}/sheet",
        "new-order": "/orders/new",
        "search": f"/search?q={quote(part.name)}",
        "labels": "/labels",
        "labels-of-a-job": f"/labels?job={quote(job.code)}",
        "printers": "/printers",
        "prints": "/prints",
        "label-layouts": "/labels/layouts",
        "label-layout": "/labels/layouts/part%20100%20x%2050",
        "loads": "/loads",
        "load": f"/loads/{loads[0].code}",
        "new-load": "/loads/new?every=1",
        "settings": "/settings",
        "people": "/people",
        "stations": "/stations",
        "tokens": "/tokens",
        "me": "/me",
        "trust": "/trust",
        "manual": "/help",
        "manual-page": "/help/scanning",
    }


NAMES = (
    *("board", "wall", "missing", "missing-by-job", "missing-by-load", "missing-by-station", "job", "hold", "cancel"),
    *("find", "replace", "reports", "flagged", "settled", "stations-to-choose", "station", "benches-to-choose"),
    *("bench", "box", "board-to-cut", "sheet", "new-order", "search", "labels", "labels-of-a-job", "printers"),
    *("prints", "label-layouts", "label-layout", "loads", "load", "new-load", "settings", "people", "stations"),
    *("tokens", "me", "trust", "manual", "manual-page"),
)


@pytest.fixture(scope="module")
def contexts(browser: Browser, demo: Site) -> Iterator[dict[tuple[str, str], BrowserContext]]:
    """One signed-in browser for each language, light and dark."""
    width, height = SIZES["tablet"]
    made = {
        (language, scheme): demo.demo.signed_in(
            browser, locale=language, color_scheme=scheme, viewport={"width": width, "height": height}
        )
        for language, scheme in LOOKS
    }
    yield made
    for context in made.values():
        context.close()


def opened(context: BrowserContext, demo: Site, name: str) -> tuple[Page, list[str], list[int]]:
    """Open a page; return it with what went wrong and the sizes of all that it loaded."""
    page, wrong, sizes = context.new_page(), list[str](), list[int]()
    page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.on("request", lambda request: _own(request.url, demo, wrong))
    page.on("requestfinished", lambda request: sizes.append(request.sizes()["responseBodySize"]))
    answer = page.goto(f"{demo.address}{demo.pages[name]}", wait_until="load")
    assert answer is not None
    assert answer.status == 200
    return page, wrong, sizes


def _own(url: str, demo: Site, wrong: list[str]) -> None:
    if not url.startswith((demo.address, "data:", "blob:")):
        wrong.append(f"a request to another host: {url}")


def test_the_list_of_pages_is_whole(demo: Site) -> None:
    assert tuple(demo.pages) == NAMES


def not_reached(page: Page) -> int:
    """How many links, buttons and fields of a page are not reached by keyboard; what is reached shows that it is."""
    wanted: int = page.evaluate(
        """() => {
        window.reached = new Map();  // whether it shows that it has the focus, by what has had it
        const wanted = new Set([...document.querySelectorAll(
            'a[href], button, input:not([type=hidden]), select, textarea, summary')]
        .filter((each) => !each.disabled && each.checkVisibility({visibilityProperty: true}) && each.tabIndex >= 0)
        .filter((each) => each.type !== 'radio' || each.checked).slice(0, 60));
        document.addEventListener('focusin', ({target: on}) => {
            // The button within a field of dates has a ring of its own, which the browser draws.
            const ringed = getComputedStyle(on).outlineStyle !== 'none' || on.type === 'date';
            if (wanted.has(on)) window.reached.set(on, ringed);
        });
        document.activeElement?.blur?.();
        window.scrollTo(0, 0);
        document.body.tabIndex = -1;
        document.body.focus();
        return wanted.size; }"""
    )
    reached = 0
    for pressed in range(1, 3 * wanted + 41):
        page.keyboard.press("Tab")
        if pressed >= wanted:
            reached, ringed = page.evaluate("[window.reached.size, [...window.reached.values()].every(Boolean)]")
            assert ringed, "what has the focus shows it"
            if reached == wanted:
                break
    return wanted - reached


@pytest.mark.parametrize("name", NAMES)
def test_a_page_is_open_to_everybody_who_looks(
    contexts: dict[tuple[str, str], BrowserContext], demo: Site, name: str, shots: Path | None
) -> None:
    for turn, (language, scheme) in enumerate(LOOKS):
        page, wrong, sizes = opened(contexts[language, scheme], demo, name)
        assert page.locator("html").get_attribute("lang") == language
        assert violations(page, *(("color-contrast",) if turn else ())) == []  # another look has other colours alone
        if turn == 0:  # the ways of a keyboard are the same in each
            assert not_reached(page) == 0
        for size, (width, height) in {**SIZES, "zoomed": ZOOMED}.items():
            page.set_viewport_size({"width": width, "height": height})
            assert fits(page), f"sideways at {size}, {language}"
            if shots is not None:
                page.wait_for_timeout(150)
                page.screenshot(path=shots / f"{name}-{size}-{language}-{scheme}.png", full_page=size != "wall")
        page.close()
        assert wrong == []
        assert sum(sizes) < HEAVIEST_PAGE
