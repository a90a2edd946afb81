"""The shop's lists, in a real browser: what they say, a bad one said on its line, and kept when it is good."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.pages.looking import readable, violations
from tests.pages.served_shop import Shop, served
from tracker.pages.office.list_lines import line_of, lines_by_path
from tracker.shop.roles import Role
from tracker.work.lists import packing_of

SEED = Path(__file__).parents[2] / "seed_data"
CARTONS = (SEED / "cartons.toml").read_text(encoding="utf-8")
BOARDS = (SEED / "boards.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("settings")) as shop:
        yield shop


def section(page: Page, name: str) -> str:
    return page.get_by_role("region", name=name, exact=True).first.inner_text()


def test_a_bad_list_is_said_on_its_line_and_changes_nothing_and_a_good_one_is_kept(
    browser: Browser, shop: Shop
) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/settings", Role.ADMIN)
    assert "a cabinet is a box" in page.get_by_role("main").inner_text()
    text = page.get_by_label("Cartons (TOML)")
    text.fill(CARTONS.replace("length = 1260", "length = -5").replace('name = "long 2200"', 'nam = "long 2200"'))
    form = page.locator("form", has=text)
    form.get_by_role("button", name="Keep it").click()
    told = page.get_by_role("alert").inner_text()
    assert "Line 23" in told
    assert "length = -5" in told
    assert "nam" in told
    assert CARTONS.splitlines()[22] == "length = 1260"
    assert packing_of(shop.database) is None
    assert violations(page) == []
    page.get_by_role("link", name="Line 23").click()
    chosen = page.evaluate("(t => t.value.slice(t.selectionStart, t.selectionEnd))(document.activeElement)")
    assert chosen == "length = -5"
    page.get_by_label("Cartons (TOML)").fill(CARTONS)
    page.locator("form", has=page.get_by_label("Cartons (TOML)")).get_by_role("button", name="Check it").click()
    assert "Nothing is wrong with it." in page.get_by_role("status").last.inner_text()
    assert packing_of(shop.database) is None
    page.locator("form", has=page.get_by_label("Cartons (TOML)")).get_by_role("button", name="Keep it").click()
    assert "Kept." in page.get_by_role("status").last.inner_text()
    kept = packing_of(shop.database)
    assert kept is not None
    assert [carton.id for carton in kept.cartons] == ["short 920", "wide 1260", "square 960", "long 2200"]
    assert "920 × 640 × 180 mm" in page.get_by_role("main").inner_text()
    assert violations(page) == []
    page.close()


def test_a_text_that_is_no_list_is_told_with_its_line(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/settings", Role.ADMIN)
    page.get_by_label("Boards (TOML)").fill(BOARDS.replace("kerf = 3.2", "kerf = = 3.2"))
    page.locator("form", has=page.get_by_label("Boards (TOML)")).get_by_role("button", name="Check it").click()
    assert "Line 4" in page.get_by_role("alert").inner_text()
    assert "kerf = = 3.2" in page.get_by_role("alert").inner_text()
    page.close()


def test_the_standard_is_shown_as_a_table_and_a_changed_one_is_kept_under_its_own_name(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/settings", Role.ADMIN)
    page.get_by_text("What it says").click()
    tables = page.locator(".standard").inner_text()
    assert "toe height\t101.6 mm" in tables
    assert violations(page) == []
    text = page.get_by_label("Construction standards (TOML)")
    page.get_by_text("The text of the list: Construction standards").click()
    own = text.input_value().replace('name = "House standard"', 'name = "Own standard"')
    text.fill(own)
    page.locator("form", has=text).get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("link", name="Own standard, version 2")).to_be_visible()
    page.goto(f"{shop.address}/orders/new?by=typing")
    assert page.get_by_label("Construction standard").locator("option").all_inner_texts() == [
        "House standard",
        "Own standard",
    ]


def test_the_office_reads_and_only_an_admin_changes(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/settings", Role.OFFICE)
    assert page.get_by_role("button", name="Keep it").count() == 0
    assert "None is set." in page.get_by_role("main").inner_text()
    shop.sign_in(page, "/settings", Role.FOREMAN)
    assert page.get_by_label("Cartons (TOML)").count() == 0
    page.close()


def test_the_settings_are_readable_at_every_size(page: Page, shop: Shop, shots: Path | None) -> None:
    shop.sign_in(page, "/settings", Role.ADMIN)
    page.get_by_text("What it says").click()
    readable(page, shots, "settings")


def test_the_line_of_a_value_is_found_by_its_path() -> None:
    lines = lines_by_path(CARTONS)
    texts = CARTONS.splitlines()
    assert texts[(line_of(lines, "carton.2.length") or 0) - 1] == "length = 1260"
    assert texts[(line_of(lines, "bag_mass") or 0) - 1] == "bag_mass = 1.2"
    assert line_of(lines, "carton.3.height_of_nothing") == line_of(lines, "carton.3")
    assert line_of(lines, "nowhere.at.all") is None
