"""Labels chosen, looked at and printed, in a real browser."""

from collections.abc import Iterator
from dataclasses import replace
from io import BytesIO

import pytest
import zxingcpp
from PIL import Image
from playwright.sync_api import Browser, Page
from pypdf import PageObject, PdfReader

from tests.floor import TOE_KICK
from tests.pages.looking import violations
from tests.pages.served_shop import TODAY, Shop, served, take
from tracker.shop.codes import Code, Kind
from tracker.shop.orders import PartLine
from tracker.shop.roles import Role
from tracker.work.boards import plan_job_boards


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("labels")) as shop:
        plan_job_boards(shop.database, "J-1", **shop.floor.act())
        shop.floor.take("J-2", items=())
        shop.floor.scan(shop.floor.deck, "CUT-1")
        yield shop


def shown(page: Page) -> list[str]:
    page.wait_for_load_state()
    page.get_by_role("region", name="label").wait_for()
    return [(image.get_attribute("alt") or "").removeprefix("Label ") for image in page.locator(".labels img").all()]


def fetched(page: Page, address: str) -> bytes:
    """What a link leads to, asked for with the session of the page."""
    answer = page.request.get(address)
    assert answer.ok
    return answer.body()


def printed(page: Page, shop: Shop, count: str) -> list[PageObject]:
    """Print what is shown as a PDF, with a reason where one is asked for; return its pages."""
    page.get_by_role("radio", name="As a PDF, at true size").check()
    if page.get_by_role("radio", name="the label is lost").count():
        page.get_by_role("radio", name="the label is lost").check()
    page.get_by_role("button", name="Print", exact=True).click()
    page.wait_for_url("**/prints/*")
    assert count in page.get_by_role("main").inner_text()
    link = page.get_by_role("link", name="Open the PDF").get_attribute("href") or ""
    return list(PdfReader(BytesIO(fetched(page, shop.address + link))).pages)


def test_the_labels_of_a_job_are_shown_each_box_with_its_parts_and_read_back(page: Page, shop: Shop) -> None:
    floor = shop.floor
    shop.sign_in(page, "/labels", Role.STATION)
    page.get_by_label("Job", exact=True).fill("J-1")
    with page.expect_navigation():
        page.get_by_role("button", name="Show the labels").click()
    assert shown(page) == [floor.box_101, floor.deck, floor.toe_kick, floor.box_102, floor.end]
    assert violations(page) == []
    picture = page.get_by_alt_text(f"Label {floor.deck}").get_attribute("src") or ""
    read = zxingcpp.read_barcodes(Image.open(BytesIO(fetched(page, shop.address + picture))).convert("L"))
    assert {barcode.text for barcode in read} == {floor.deck}


def test_the_chosen_labels_print_one_a_page_at_true_size(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/labels?job=J-1&what=parts&dpi=300", Role.STATION)
    pages = printed(page, shop, "3 labels")
    assert len(pages) == 3
    assert float(pages[0].mediabox.width) == pytest.approx(100 / 25.4 * 72, abs=0.3)
    assert float(pages[0].mediabox.height) == pytest.approx(50 / 25.4 * 72, abs=0.3)


@pytest.mark.parametrize(
    ("choice", "codes"),
    [
        ({"Which": "boxes only"}, [Code(Kind.BOX, 1), Code(Kind.BOX, 2)]),
        ({"Parts that wait for": "machine"}, [Code(Kind.PART, 1)]),
        ({"Parts that wait for": "cut", "Which": "parts only"}, [Code(Kind.PART, 2), Code(Kind.PART, 3)]),
        ({"Cabinet": "102"}, [Code(Kind.BOX, 2), Code(Kind.PART, 3)]),
        ({"Box": "101", "Which": "parts only"}, [Code(Kind.PART, 1), Code(Kind.PART, 2)]),
        ({"Which": "boards"}, [Code(Kind.BOARD, 1)]),
    ],
)
def test_labels_are_chosen_by_kind_step_cabinet_and_box(
    page: Page, shop: Shop, choice: dict[str, str], codes: list[Code]
) -> None:
    shop.sign_in(page, "/labels?job=J-1", Role.STATION)
    for label, option in choice.items():
        page.get_by_role("combobox", name=label, exact=True).select_option(label=option)
    with page.expect_navigation():
        page.get_by_role("button", name="Show the labels").click()
    assert shown(page) == [str(code) for code in codes]
    assert len(printed(page, shop, f"{len(codes)} label")) == len(codes)


def test_the_cards_for_the_walls_are_paged_and_printed(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/labels?what=cards", Role.STATION)
    assert len(shown(page)) == 8  # five stations, a slot, two command cards
    assert len(printed(page, shop, "8 labels")) == 8


def test_a_long_list_is_shown_page_by_page(page: Page, shop: Shop) -> None:
    shop.floor.take("J-9", parts=[replace(TOE_KICK, cabinet="9", quantity=20)], items=())
    shop.sign_in(page, "/labels?job=J-9", Role.STATION)
    assert len(shown(page)) == 8
    assert "1 to 8 of 21" in page.get_by_role("navigation", name="Pages of the preview").inner_text()
    page.get_by_role("link", name="Next").click()
    page.get_by_role("link", name="Next").click()
    assert len(shown(page)) == 5
    assert page.get_by_role("link", name="Next").count() == 0


def test_a_job_that_is_not_there_and_a_choice_without_labels_are_said_so(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/labels?job=nowhere", Role.STATION)
    assert "There is no job nowhere." in page.get_by_role("alert").inner_text()
    page.goto(f"{shop.address}/labels?job=J-2&what=boards")
    assert "No board is planned for this job." in page.get_by_role("main").inner_text()
    assert page.get_by_role("button", name="Print").count() == 0
    assert page.request.get(f"{shop.address}/labels/P0000000135.png").status == 404
    page.close()


def test_labels_are_chosen_by_keyboard_alone(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/labels", Role.STATION)
    page.get_by_label("Job", exact=True).focus()
    page.keyboard.type("J-2", delay=60)
    page.keyboard.press("Enter")
    page.wait_for_url("**/labels?*job=J-2*")
    assert len(shown(page)) == 5


def test_letters_that_the_font_lacks_are_told_before_they_are_printed(page: Page, shop: Shop) -> None:
    door = PartLine(cabinet="1", part="门 Door", quantity=1, length_mm=700, width_mm=300, thickness_mm=18)
    take(shop.floor, "J-99", TODAY, door)
    shop.sign_in(page, "/labels?job=J-99", Role.STATION)
    assert "they are printed as an open square: 门" in page.get_by_role("region", name="label").inner_text()
    shop.sign_in(page, "/labels?job=J-1", Role.STATION)
    assert "open square" not in page.get_by_role("main").inner_text()
