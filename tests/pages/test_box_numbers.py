"""The GS1 prefix on the page of the settings, and boxes found by their SSCC, in a real browser."""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, expect

from tests.pages.looking import readable, violations
from tests.pages.scanning import Scanner
from tests.pages.served_shop import Shop, served
from tracker.labels.symbols import draw_code128, draw_gs1_128
from tracker.pages.scanning.pictures import codes_in_picture
from tracker.shop.codes import box_code
from tracker.shop.roles import Role
from tracker.shop.sscc import Series
from tracker.work.box_numbers import number_boxes, numbering, set_numbering, stop_numbering

SERIES = Series(prefix="4012345", extension=3)
SSCC = SERIES.sscc(1)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("numbers")) as shop:
        yield shop


@pytest.fixture
def numbered(shop: Shop) -> Shop:
    """The shop with its prefix set and box 101 labelled."""
    set_numbering(shop.database, SERIES, who="admin", now=shop.floor.tick())
    number_boxes(shop.database, [1])
    return shop


def section(page: Page) -> str:
    return page.get_by_role("region", name="Numbers on box labels").inner_text()


def keep(page: Page) -> None:
    with page.expect_navigation():
        page.get_by_role("region", name="Numbers on box labels").get_by_role("button", name="Keep it").click()


def test_the_prefix_is_set_and_a_wrong_one_is_refused_with_what_is_wanted(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    stop_numbering(shop.database)
    shop.sign_in(page, "/settings", Role.ADMIN)
    assert "None is set." in section(page)
    page.get_by_label("GS1 company prefix").fill("40 12345")
    page.get_by_label("Next serial number").fill("many")
    keep(page)
    assert "Not kept." in page.get_by_role("alert").inner_text()
    assert "wanted: the 4 to 12 digits" in section(page)
    assert page.get_by_label("GS1 company prefix").input_value() == "40 12345"
    assert violations(page) == []
    page.get_by_label("GS1 company prefix").fill("4012345")
    page.get_by_label("Extension digit").fill("3")
    keep(page)
    assert "wanted: a number in digits" in section(page)
    assert numbering(shop.database) is None
    page.get_by_label("Next serial number").fill("")
    keep(page)
    expect(page.get_by_role("status")).to_have_text("Kept. Boxes that have a number keep it.")
    now = numbering(shop.database)
    assert now is not None
    assert now.series == SERIES
    assert f"The next box gets SSCC {SERIES.sscc(now.last + 1)}; " in section(page)
    page.get_by_label("GS1 company prefix").fill("")
    keep(page)
    assert "None is set." in section(page)
    assert numbering(shop.database) is None
    page.close()


def test_used_up_numbers_are_said_where_labels_are_printed_and_set(page: Page, shop: Shop) -> None:
    small = Series(prefix="401234567890", extension=9)
    set_numbering(shop.database, small, who="admin", now=shop.floor.tick(), next_serial=9_999)
    number_boxes(shop.database, [2])
    shop.sign_in(page, "/settings", Role.ADMIN)
    assert "are used up" in section(page)
    page.goto(f"{shop.address}/labels?job=J-1&what=boxes")
    assert "are used up" in page.get_by_role("main").inner_text()


def test_the_office_sees_the_prefix_and_only_an_admin_sets_it(page: Page, numbered: Shop) -> None:
    numbered.sign_in(page, "/settings", Role.OFFICE)
    assert page.get_by_label("GS1 company prefix").input_value() == "4012345"
    assert page.get_by_role("button", name="Keep it").count() == 0


@pytest.mark.parametrize("typed", [SSCC, f"(00) {SSCC}", f"]C100{SSCC}"])
def test_a_box_is_found_by_its_number_as_by_its_code(page: Page, numbered: Shop, typed: str) -> None:
    numbered.sign_in(page, "/search", Role.STATION)
    field = page.get_by_role("searchbox")
    field.fill(typed)
    field.press("Enter")
    page.wait_for_url(f"**/boxes/{box_code(1)}")
    assert SSCC in page.get_by_role("main").inner_text()
    page.goto(f"{numbered.address}/boxes/{SSCC}")
    assert "Box 101" in page.get_by_role("heading", level=1).inner_text()
    page.goto(f"{numbered.address}/find?code={SSCC}")
    page.wait_for_url(f"**/boxes/{box_code(1)}")


def test_a_number_read_wrong_or_of_another_company_is_said(browser: Browser, numbered: Shop) -> None:
    page = browser.new_page()  # an address of nothing is answered with 404
    numbered.sign_in(page, f"/search?q={SSCC[:-1]}0", Role.STATION)
    assert f"The check digits of {SSCC[:-1]}0 are wrong" in page.get_by_role("main").inner_text()
    page.goto(f"{numbered.address}/search?q=106141412345678908")
    assert "are wrong" not in page.get_by_role("main").inner_text()
    page.goto(f"{numbered.address}/find?code=106141412345678908")
    assert "No box of this shop has the SSCC 106141412345678908." in page.get_by_role("main").inner_text()
    page.close()


@pytest.mark.parametrize("sent", [f"00{SSCC}", f"]C100{SSCC}"])
@pytest.mark.parametrize("path", ["/station/PACK-1", "/pack/PACK-1"])
def test_a_stations_scanner_reads_the_number_like_the_code(page: Page, numbered: Shop, path: str, sent: str) -> None:
    numbered.sign_in(page, path, Role.PACKER)
    Scanner(page).pull(sent)
    expect(page.get_by_role("main")).to_contain_text("The box is open: lacks")
    numbered.floor.check()


class SeparatorScanner(Scanner):
    """A scanner that types the group separator as Ctrl and a bracket."""

    def _key(self, key: str, code: str, text: str, every_s: float) -> dict[str, Any]:
        if key != "\x1d":
            return super()._key(key, code, text, every_s)
        pressed = super()._key("]", "BracketRight", "]", every_s)
        return {**pressed, "type": "rawKeyDown", "modifiers": 2, "text": ""}


def test_a_scanner_that_types_the_separator_before_the_number_is_understood(page: Page, numbered: Shop) -> None:
    numbered.sign_in(page, "/station/SHIP-1", Role.STATION)
    SeparatorScanner(page).pull(f"\x1d00{SSCC}")
    expect(page.get_by_role("main")).to_contain_text("Box 101")


def picture(*drawn: Image.Image) -> bytes:
    sheet = Image.new("L", (900, 300 * len(drawn)), 255)
    for place, image in enumerate(drawn):
        sheet.paste(image, (60, 300 * place + 40))
    buffer = BytesIO()
    sheet.save(buffer, "PNG")
    return buffer.getvalue()


def test_in_a_photo_the_number_counts_only_where_no_own_code_stands() -> None:
    number = draw_gs1_128(SSCC, width_mm=94, height_mm=25, dpi=203)
    own = draw_code128(box_code(1), width_mm=94, height_mm=25, dpi=203)
    assert codes_in_picture(picture(number)) == [SSCC]
    assert codes_in_picture(picture(number, own)) == [box_code(1)]


def test_the_form_is_readable_at_every_size(browser: Browser, numbered: Shop, shots: Path | None) -> None:
    page = browser.new_page()  # what is refused is an error of the console, too
    numbered.sign_in(page, "/settings", Role.ADMIN)
    page.get_by_label("GS1 company prefix").fill("123")
    keep(page)
    page.get_by_role("region", name="Numbers on box labels").scroll_into_view_if_needed()
    readable(page, shots, "box-numbers")
    page.close()
