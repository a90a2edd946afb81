"""The board in a real browser: what it says, that it lives, on the wall, small, by keyboard, for everyone."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.pages.looking import fits, hear_of_no_change, violations
from tests.pages.served_shop import TODAY, Shop, bytes_of, part, served, take
from tracker.shop.orders import PartLine
from tracker.shop.scans import Action
from tracker.work.jobs import hold_job


def ends(count: int) -> PartLine:
    return PartLine(
        cabinet="1", part="End", quantity=count, length_mm=720, width_mm=560, thickness_mm=18, edges=("L1",)
    )


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """A shop with a late job, one that will be, one in time, one on hold, and a pace of two parts a day."""
    with served(tmp_path_factory.mktemp("board")) as shop:
        floor = shop.floor
        take(floor, "K-LATE", TODAY - timedelta(days=2), ends(4), customer="Invented House")
        take(floor, "K-SOON", TODAY + timedelta(days=1), ends(12))
        take(floor, "K-TIME", TODAY + timedelta(days=40), ends(2))
        take(floor, "K-HELD", TODAY + timedelta(days=3), ends(3))
        hold_job(shop.database, "K-HELD", **floor.act())
        take(floor, "K-PACE", TODAY + timedelta(days=50), ends(8))
        noon = datetime.combine(TODAY, datetime.min.time(), UTC) + timedelta(hours=12)
        codes = [part(number) for number in range(25, 33)]
        for place, code in enumerate(codes):
            floor.scan(code, "PACK-1", at=noon - timedelta(days=4 - place // 2))
        yield shop


def row(page: Page, job: str) -> str:
    return page.get_by_role("region", name=re.compile(f"^{job}")).inner_text()


def test_each_job_says_when_it_is_due_and_what_is_to_be_expected_of_it(shop: Shop, page: Page) -> None:
    shop.sign_in(page)
    late = row(page, "K-LATE")
    assert "2 days late" in late
    assert "Invented House" in late
    assert "will be" in row(page, "K-SOON")
    assert "in time" in row(page, "K-TIME")
    assert "packed about" in row(page, "K-TIME")
    assert "on hold" in row(page, "K-HELD")
    assert "packed about" not in row(page, "K-HELD")
    assert "all packed" in row(page, "K-PACE")
    assert "1 late" in page.locator(".sum").inner_text()


def test_the_board_says_how_the_days_are_reckoned(shop: Shop, page: Page) -> None:
    shop.sign_in(page)
    how = page.locator(".how").inner_text()
    assert "2.0 parts a day" in how
    assert "last 4 days" in how


def test_a_shop_that_has_packed_nothing_says_that_it_does_not_know(page: Page, tmp_path: Path) -> None:
    with served(tmp_path) as empty:
        take(empty.floor, "K-1", TODAY + timedelta(days=9))
        empty.sign_in(page)
        assert "not enough known" in row(page, "K-1")
        assert "Not enough is known" in page.locator(".how").inner_text()


def test_the_five_steps_are_filled_lengths_with_their_numbers_beside_them(shop: Shop, page: Page) -> None:
    shop.sign_in(page)
    region = page.get_by_role("region", name=re.compile("^K-PACE"))
    lengths = region.get_by_role("listitem")
    assert lengths.count() == 5
    assert region.get_by_role("progressbar", name="pack").get_attribute("value") == "8"
    assert "8 of 8" in lengths.nth(3).inner_text()
    assert "none" in lengths.nth(1).inner_text()


def test_the_board_changes_by_itself_when_a_scan_arrives_elsewhere(shop: Shop, page: Page) -> None:
    shop.sign_in(page)
    cut = page.get_by_role("region", name=re.compile("^K-SOON")).get_by_role("listitem").first
    before = cut.inner_text()
    hear_of_no_change(page)
    shop.floor.scan(part(8), "CUT-1", at=datetime.now(UTC))
    expect(cut).not_to_have_text(before)
    shop.floor.undo("CUT-1", at=datetime.now(UTC))
    expect(cut).to_contain_text("0 of 12")


def test_a_change_moves_neither_the_focus_nor_the_scroll_nor_what_did_not_change(shop: Shop, page: Page) -> None:
    page.set_viewport_size({"width": 1024, "height": 500})
    shop.sign_in(page)
    link = page.get_by_role("link", name="K-SOON")
    link.focus()
    page.evaluate("window.scrollTo(0, 300)")
    page.evaluate("document.querySelector('[data-key] h2 a').closest('[data-key]').wasHere = true")
    cut = page.get_by_role("region", name=re.compile("^K-SOON")).get_by_role("listitem").first
    shop.floor.scan(part(9), "CUT-1", at=datetime.now(UTC))
    expect(cut).to_contain_text("1 of 12")
    assert page.evaluate("document.activeElement.innerText") == "K-SOON"
    assert page.evaluate("window.scrollY") == 300
    assert page.evaluate("document.querySelector('[data-key] h2 a').closest('[data-key]').wasHere")
    shop.floor.undo("CUT-1", at=datetime.now(UTC))
    expect(cut).to_contain_text("0 of 12")


def test_nothing_is_sent_while_nothing_changes(shop: Shop, page: Page) -> None:
    shop.sign_in(page)
    hear_of_no_change(page)
    for _poll in range(2):
        with page.expect_response("**/*") as answered:
            pass
        assert answered.value.status == 304


def test_the_page_keeps_no_more_nodes_however_long_it_is_looked_at(shop: Shop, page: Page) -> None:
    shop.sign_in(page)
    session = page.context.new_cdp_session(page)

    def nodes() -> int:
        session.send("HeapProfiler.collectGarbage")
        return int(session.send("Memory.getDOMCounters")["nodes"])

    cut = page.get_by_role("region", name=re.compile("^K-SOON")).get_by_role("listitem").first
    counts = []
    for _change in range(4):
        shop.floor.scan(part(10), "CUT-1", at=datetime.now(UTC))
        expect(cut).to_contain_text("1 of 12")
        shop.floor.undo("CUT-1", at=datetime.now(UTC))
        expect(cut).to_contain_text("0 of 12")
        counts.append(nodes())
    assert counts[-1] <= counts[0] + 20


def test_a_job_leads_to_its_own_page(shop: Shop, page: Page) -> None:
    shop.sign_in(page)
    with page.expect_navigation():
        page.get_by_role("link", name="K-LATE").click()
    assert page.url == f"{shop.address}/jobs/K-LATE"
    assert "2 days late" in page.locator("main").inner_text()


def test_the_board_can_be_used_by_keyboard_alone(shop: Shop, page: Page) -> None:
    shop.sign_in(page)
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    for _step in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText") == "K-LATE":
            break
    page.keyboard.press("Enter")
    page.wait_for_url(f"{shop.address}/jobs/K-LATE")


# On the wall


def wall(browser: Browser, shop: Shop, **more: object) -> Page:
    context = browser.new_context(viewport={"width": 1920, "height": 1080}, **more)  # type: ignore[arg-type]  # by name
    page = context.new_page()
    shop.sign_in(page, "/?wall=1")
    return page


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_on_the_wall_everything_that_matters_is_large_and_nothing_needs_scrolling(
    browser: Browser, shop: Shop, scheme: Literal["light", "dark"], shots: Path | None
) -> None:
    # ISO 9241-303 asks for characters of at least 16 minutes of arc (from memory): at five metres that is 23 mm, on a
    # display of 55 inches (1210 mm across 1920 dots) 37 dots. Our capitals are 0.7 of the size of the letter.
    page = wall(browser, shop, color_scheme=scheme)
    sizes = page.evaluate(
        "[...document.querySelectorAll('.leaf-row:not([hidden]) *')]"
        ".filter(each => [...each.childNodes].some(node => node.nodeType === 3 && node.data.trim()))"
        ".map(each => parseFloat(getComputedStyle(each).fontSize))"
    )
    assert min(sizes) * 0.7 >= 37
    assert page.evaluate("document.documentElement.scrollHeight <= window.innerHeight")
    assert fits(page)
    assert violations(page) == []
    if shots is not None:
        page.screenshot(path=shots / f"wall-{scheme}.png")
    page.context.close()


def test_on_the_wall_six_jobs_stand_at_a_time_and_the_leaves_turn_by_themselves(
    browser: Browser, tmp_path: Path
) -> None:
    with served(tmp_path) as shop:
        for number in range(14):
            take(shop.floor, f"W-{number:02}", TODAY + timedelta(days=number))
        page = wall(browser, shop, reduced_motion="reduce")
        page.clock.install()
        page.reload()
        shown = page.locator(".leaf-row:visible .code")
        assert shown.all_inner_texts() == [f"W-{number:02} Invented" for number in range(6)]
        assert page.locator("#leaf").inner_text() == "Page 1 of 3"
        page.clock.run_for(20_000)
        assert shown.all_inner_texts() == [f"W-{number:02} Invented" for number in range(6, 12)]
        assert page.evaluate("document.getAnimations().length") == 0
        page.clock.run_for(20_000)
        assert page.locator("#leaf").inner_text() == "Page 3 of 3"
        page.get_by_role("button", name="Stop turning").click()
        page.clock.run_for(60_000)
        assert page.locator("#leaf").inner_text() == "Page 3 of 3"
        page.context.close()


def test_the_wall_lives_as_the_board_does(browser: Browser, shop: Shop) -> None:
    page = wall(browser, shop)
    left = page.get_by_role("region", name="K-SOON").get_by_role("listitem").first
    expect(left).to_have_text("12")
    shop.floor.scan(part(11), "CUT-1", at=datetime.now(UTC))
    expect(left).to_have_text("11")
    shop.floor.undo("CUT-1", at=datetime.now(UTC))
    expect(left).to_have_text("12")
    page.context.close()


def test_the_readable_pages_of_the_calls_are_accessible(shop: Shop, page: Page) -> None:
    page.goto(f"{shop.address}/api/v1/docs")
    assert violations(page) == []


# A thousand open jobs


@pytest.fixture(scope="module")
def busy(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    """A shop with a thousand open jobs, most parts of them missing."""
    with served(tmp_path_factory.mktemp("busy")) as shop:
        long_name = "Invented Houses and Sons, Long Street"
        for number in range(1_000):
            take(shop.floor, f"B-{number:04}", TODAY + timedelta(days=number // 20), ends(8), customer=long_name)
        for number in range(1, 40):
            shop.floor.scan(part(number + 3), "CUT-1", at=datetime.now(UTC) - timedelta(hours=2))
        shop.floor.scan(part(50), "CUT-1", action=Action.DAMAGED)
        yield shop


@pytest.mark.parametrize(
    "path", ["/", "/?wall=1", "/missing", "/missing?by=job", "/missing?by=station", "/jobs/B-0001"]
)
def test_with_a_thousand_open_jobs_each_page_is_below_100_kilobytes_in_all(busy: Shop, page: Page, path: str) -> None:
    busy.sign_in(page, "/reports")
    assert bytes_of(page, f"{busy.address}{path}") < 100_000


def test_a_thousand_jobs_are_read_page_by_page(busy: Shop, page: Page) -> None:
    busy.sign_in(page)
    assert "1001 open jobs" in page.locator(".sum").inner_text().replace(",", "")
    first = page.locator(".job h2 a").all_inner_texts()
    with page.expect_navigation():
        page.get_by_role("link", name="More jobs, due later").click()
    second = page.locator(".job h2 a").all_inner_texts()
    assert len(first) == len(second) == 25
    assert set(first).isdisjoint(second)
    with page.expect_navigation():
        page.get_by_role("link", name="Back to the soonest").click()
    assert page.locator(".job h2 a").all_inner_texts() == first


@pytest.mark.parametrize("language", ["en", "es"])
def test_on_the_wall_the_five_lengths_have_one_scale_and_no_head_is_cut(
    browser: Browser, shop: Shop, language: str
) -> None:
    page = wall(browser, shop)
    page.context.add_cookies([{"name": "language", "value": language, "url": shop.address}])
    page.reload()
    widths = page.evaluate("[...document.querySelectorAll('.leaf-row progress')].map(each => each.clientWidth)")
    assert max(widths) - min(widths) <= 1
    assert page.evaluate(
        "[...document.querySelectorAll('.heads li')].every(each => each.scrollWidth <= each.clientWidth)"
    )
    page.context.close()
