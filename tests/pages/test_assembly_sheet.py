"""The sheet in the carton and the page for reports from site, in a real browser."""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

import pypdf
import pytest
from playwright.sync_api import Browser, Page

from tests.pages.conftest import TOKEN
from tests.pages.looking import SIZES, fits, readable, sign_in, violations
from tests.pages.served_shop import Shop, served
from tracker.shop.roles import Role
from tracker.work.assembly_sheets import sheet_language

SHEETS = ("101", "102")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("sheets")) as shop:
        yield shop


def sign_in_in_spanish(page: Page, site: str) -> None:
    page.goto(f"{site}/sign-in")
    page.get_by_text("Tengo una llave").click()
    page.get_by_label("Su llave").fill(TOKEN)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)


def report_link(page: Page, site: str, cabinet: str) -> str:
    sign_in(page, site)
    page.goto(f"{site}/jobs/J-3/cabinets/{cabinet}/sheet")
    link = page.get_by_role("link", name="Report it here").get_attribute("href") or ""
    return site + urlsplit(link).path


def test_the_sheet_is_readable_at_every_size(page: Page, site: str, shots: Path | None) -> None:
    sign_in(page, site)
    for cabinet in SHEETS:
        page.goto(f"{site}/jobs/J-3/cabinets/{cabinet}/sheet")
        readable(page, shots, f"sheet-{cabinet}")


def test_the_sheet_shows_parts_bag_and_steps_in_order(page: Page, site: str) -> None:
    sign_in(page, site)
    page.goto(f"{site}/jobs/J-3/cabinets/102/sheet")
    text = page.get_by_role("article").inner_text()
    assert "beside the door" in text
    assert "4 × spring pin 8 mm" in text
    assert text.index("Left end") < text.index("Step by step") < text.index("Close with the right end")
    assert page.get_by_role("img").count() > 10


def test_a_sheet_speaks_the_readers_language_and_offers_the_other(
    browser: Browser, site: str, shots: Path | None
) -> None:
    context = browser.new_context(locale="es", viewport={"width": 1024, "height": 768}, color_scheme="dark")
    page = context.new_page()
    sign_in_in_spanish(page, site)
    page.goto(f"{site}/jobs/J-3/cabinets/101/sheet")
    text = page.get_by_role("article").inner_text()
    assert "Agregue «Deck»" in text
    assert "Deck\tfondo del gabinete" in text
    assert "Step by step" not in text
    assert page.get_by_role("article").get_attribute("lang") is None
    assert page.locator("html").get_attribute("lang") == "es"
    assert violations(page) == []
    assert fits(page)
    if shots is not None:
        page.screenshot(path=shots / "sheet-es.png", full_page=True)
    with page.expect_navigation():
        page.get_by_role("link", name="English").click()
    assert "Add the deck" in page.get_by_role("article").inner_text()
    assert page.locator("html").get_attribute("lang") == "en"
    page.locator(".menu summary").click()
    page.get_by_role("button", name="Español").click()
    assert "Agregue «Deck»" in page.get_by_role("article").inner_text(), "the own choice goes before the address"
    context.close()


def test_the_pdf_is_printed_in_the_language_and_on_the_paper_chosen(page: Page, site: str) -> None:
    sign_in(page, site)
    page.goto(f"{site}/jobs/J-3/cabinets/101/sheet")
    assert page.get_by_label("Language").input_value() == "en"
    form = page.locator("form.print")
    assert form.get_attribute("action") == "/jobs/J-3/cabinets/101/sheet.pdf"
    names = [form.locator("select").nth(index).get_attribute("name") for index in (0, 1)]
    assert names == ["language", "paper"]
    answer = page.request.get(f"{site}/jobs/J-3/cabinets/101/sheet.pdf?language=es&paper=letter")
    printed = pypdf.PdfReader(BytesIO(answer.body())).pages[0]
    assert "Antes de empezar" in printed.extract_text()
    assert round(float(printed.mediabox.width)) == 612  # 8 1/2 in: ANSI/ASME Y14.1 (A), from memory
    for wrong in ("language=xx", "paper=a0"):
        assert page.request.get(f"{site}/jobs/J-3/cabinets/101/sheet.pdf?{wrong}").status == 404
    assert page.request.get(f"{site}/jobs/J-3/cabinets/999/sheet.pdf").status == 404


def test_the_admin_chooses_the_language_of_the_shops_sheets(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/settings", Role.ADMIN)
    page.get_by_label("Language of the sheets").select_option("es")
    page.locator("form", has=page.get_by_label("Language of the sheets")).get_by_role("button").click()
    assert "Kept." in page.get_by_role("status").last.inner_text()
    assert page.get_by_label("Language of the sheets").input_value() == "es"
    assert violations(page) == []
    assert sheet_language(shop.database) == "es"
    page.close()


def test_who_is_no_admin_sees_the_language_of_the_sheets_but_cannot_change_it(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/settings", Role.OFFICE)
    assert "Language of the sheets" in page.get_by_role("main").inner_text()
    assert page.get_by_label("Language of the sheets").count() == 0
    page.close()


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


def test_a_fitter_with_a_spanish_sheet_reports_in_spanish_whatever_the_browser_speaks(
    browser: Browser, site: str, shots: Path | None
) -> None:
    width, height = SIZES["phone"]
    context = browser.new_context(viewport={"width": width, "height": height}, locale="en")
    page = context.new_page()
    link = report_link(page, site, "101")
    context.clear_cookies()
    page.goto(f"{link}?language=es")
    assert page.locator("html").get_attribute("lang") == "es"
    assert "bisagra" in page.get_by_role("table").inner_text()
    assert violations(page) == []
    assert fits(page)
    if shots is not None:
        page.screenshot(path=shots / "report-es.png", full_page=True)
    page.locator("#told_by").fill("A. Fitter")
    page.get_by_role("button", name="Avisar al taller").click()
    assert "Elija al menos una cosa" in page.get_by_role("alert").inner_text(), "it is refused in Spanish too"
    page.get_by_label("Deck").select_option("missing")
    page.get_by_role("button", name="Avisar al taller").click()
    assert "Gracias." in page.get_by_role("status").inner_text()
    context.close()


def test_a_language_chosen_on_the_report_page_goes_before_that_of_the_sheet(browser: Browser, site: str) -> None:
    context = browser.new_context(locale="en")
    page = context.new_page()
    link = report_link(page, site, "101")
    context.clear_cookies()
    page.goto(f"{link}?language=es")
    page.locator(".menu summary").click()
    page.get_by_role("button", name="English").click()
    assert "What is missing or damaged?" in page.get_by_role("main").inner_text()
    context.clear_cookies()
    wrong = page.goto(f"{link[:-1]}{'0' if link[-1] != '0' else '1'}?language=es")
    assert wrong is not None
    assert wrong.status == 404, "the language opens nothing without the key"
    context.close()


def test_a_report_of_nothing_is_refused_in_words(browser: Browser, site: str) -> None:
    page = browser.new_page()
    page.goto(report_link(page, site, "101"))
    page.get_by_label("Your name, and how the shop reaches you").fill("A. Fitter")
    with page.expect_navigation():
        page.get_by_role("button", name="Tell the shop").click()
    assert "Choose at least one thing" in page.get_by_role("alert").inner_text()
    assert violations(page) == []
    page.close()
