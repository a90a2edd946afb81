"""One job opened, in a real browser: cabinets, parts, boxes, boards, history; held, resumed and cancelled."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.pages.conftest import take_cabinets
from tests.pages.looking import hear_of_no_change, violations
from tests.pages.served_shop import TODAY, Shop, served, take
from tracker.shop.orders import PartLine
from tracker.shop.roles import Role
from tracker.work.boards import plan_job_boards


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """The small shop with boards planned and a part cut."""
    with served(tmp_path) as shop:
        plan_job_boards(shop.database, "J-1", **shop.floor.act())
        shop.floor.scan(shop.floor.deck, "CUT-1")
        yield shop


def test_a_job_shows_its_cabinets_parts_boxes_boards_and_history(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/jobs/J-1")
    cabinet = page.get_by_role("region", name="Cabinet 101").inner_text()
    assert "Deck" in cabinet
    assert "waits for: machine" in cabinet
    assert "CUT-1" in cabinet
    boxes = page.get_by_role("region", name="Boxes")
    assert "0 of 2" in boxes.get_by_role("row", name=re.compile("101")).inner_text()
    assert "1 of 3" in page.get_by_role("region", name="Boards").inner_text()
    assert "office" in page.get_by_role("region", name="What happened").inner_text()
    assert violations(page) == []


def test_a_designed_cabinet_leads_to_its_sheet(shop: Shop, page: Page) -> None:
    take_cabinets(shop.database, shop.floor)
    shop.sign_in(page, "/jobs/J-3")
    href = page.get_by_role("link", name=re.compile("sheet of cabinet 101")).get_attribute("href")
    assert href == "/jobs/J-3/cabinets/101/sheet"
    assert violations(page) == []


def test_a_job_is_held_and_resumed_after_a_question(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/jobs/J-1")
    page.get_by_role("link", name="Hold the job").click()
    assert "pass no station" in page.locator("main").inner_text()
    assert violations(page) == []
    with page.expect_navigation():
        page.get_by_role("button", name="Hold the job").click()
    assert page.url == f"{shop.address}/jobs/J-1"
    assert "on hold" in page.locator(".job-head").inner_text()
    assert shop.floor.job().status == "held"
    page.get_by_role("link", name="Resume the job").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Resume the job").click()
    assert shop.floor.job().status == "open"
    shop.floor.check()


def test_a_job_is_cancelled_only_after_a_grave_question(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/jobs/J-1")
    page.get_by_role("link", name="Cancel the job").click()
    assert "cannot be taken back" in page.locator("main").inner_text()
    page.get_by_role("link", name="No, leave it as it is").click()
    assert shop.floor.job().status == "open"
    page.get_by_role("link", name="Cancel the job").click()
    with page.expect_navigation():
        page.get_by_role("button", name="Cancel the job for good").click()
    assert "cancelled" in page.locator(".job-head").inner_text()
    assert page.get_by_role("link", name="Hold the job").count() == 0
    shop.floor.check()


def test_what_is_not_possible_now_is_said_on_the_question(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/jobs/J-1/resume")
    page.get_by_role("button", name="Resume the job").click()
    assert "J-1 is open" in page.get_by_role("alert").inner_text()
    page.close()


def test_a_packer_sees_the_job_but_cannot_hold_it(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/jobs/J-1", Role.PACKER)
    assert page.get_by_role("link", name="Hold the job").count() == 0
    page.goto(f"{shop.address}/jobs/J-1/hold")
    assert "needs the role foreman" in page.locator("main").inner_text()
    page.close()


def test_the_job_lives_as_the_board_does(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/jobs/J-1")
    hear_of_no_change(page)
    row = page.get_by_role("row", name=re.compile(shop.floor.end))
    shop.floor.scan(shop.floor.end, "CUT-1", at=datetime.now(UTC))
    expect(row).to_contain_text("waits for: pack")


def test_a_large_job_is_read_page_by_page_each_below_100_kilobytes(shop: Shop, page: Page) -> None:
    name = "End panel, left"
    lines = [
        PartLine(cabinet=f"Kitchen {number}", part=name, quantity=10, length_mm=720, width_mm=560, thickness_mm=18)
        for number in range(60)
    ]
    take(shop.floor, "BIG", TODAY + timedelta(days=1), *lines)
    shop.sign_in(page, "/jobs/BIG")
    assert page.locator(".cabinet tbody tr").count() == 100
    assert page.locator(".boxes tbody tr").count() == 50
    assert len(page.content()) < 90_000
    with page.expect_navigation():
        page.get_by_role("link", name="More parts").click()
    assert page.locator(".cabinet h3").first.inner_text() == "Cabinet Kitchen 10"
    with page.expect_navigation():
        page.get_by_role("link", name="More boxes").click()
    assert page.locator(".boxes tbody tr").count() == 10
