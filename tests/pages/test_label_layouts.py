"""How labels look, in a real browser: a layout drawn as it is typed, kept, chosen; and where a QR code leads."""

from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

import pytest
import zxingcpp
from flask import Flask
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from tests.floor import Floor
from tests.pages.looking import fits, violations
from tests.pages.served_shop import Shop, served
from tests.shops import app_of
from tracker.labels.contents import LabelKind
from tracker.settings import Settings
from tracker.shop.codes import Kind, read_code
from tracker.shop.roles import Role
from tracker.work.label_setup import label_link, label_setup
from tracker.work.labels import label_png


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("layouts")) as shop:
        yield shop


def settings_of(shop: Shop, folder: Path, site_url: str = "") -> Settings:
    url = str(shop.database.url)
    return Settings(data_dir=folder, database_url=url, secret_key="for tests", site_url=site_url)  # noqa: S106


def ink(page: Page) -> int:
    """How many dots of the preview are black."""
    count: int = page.locator("#preview").evaluate(
        """canvas => {
        const dots = canvas.getContext("2d").getImageData(0, 0, canvas.width, canvas.height).data;
        return dots.filter((value, index) => index % 4 === 0 && value < 99).length;
        }"""
    )
    return count


def test_a_layout_is_drawn_as_it_is_typed_its_faults_said_and_kept_under_its_own_name(
    page: Page, shop: Shop, tmp_path: Path
) -> None:
    shop.sign_in(page, "/labels/layouts/slot%20100%20x%2050", Role.ADMIN)
    page.wait_for_function("() => document.getElementById('preview').width === 799")
    before = ink(page)
    assert before > 10_000
    text = page.get_by_label("The text of the layout")
    own = text.input_value().replace('name = "slot 100 x 50"', 'name = "slot with a shout"')
    text.fill(own.replace("size = [70, 13]", "size = [200, 13]"))
    expect(page.locator("#wrongs")).to_contain_text("reaches over the edge of the label")
    expect(page.locator("#wrongs")).to_contain_text("5: text.1")
    assert violations(page) == []
    text.fill(own.replace("{title}", "TO {title} 🚪"))
    expect(page.locator("#wrongs")).to_contain_text("The font lacks these letters: 🚪")
    text.fill(own.replace("{title}", "CART {title}"))
    expect(page.locator("#wrongs")).to_have_text("")
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("status").first).to_contain_text("Kept.")
    page.goto(f"{shop.address}/labels/layouts")
    page.get_by_role("group", name="slot").get_by_label("Layout").select_option("slot with a shout")
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("status")).to_contain_text("The next labels are printed so.")
    chosen = label_setup(shop.database, settings_of(shop, tmp_path)).chosen[LabelKind.SLOT]
    assert chosen.layout.name == "slot with a shout"
    assert violations(page) == []
    page.set_viewport_size({"width": 1024, "height": 768})
    assert fits(page)


def test_a_layout_larger_than_its_stock_is_refused_and_what_was_kept_stays(
    browser: Browser, shop: Shop, tmp_path: Path
) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/labels/layouts", Role.ADMIN)
    page.get_by_role("group", name="box").get_by_label("Printed on").select_option("roll 100 x 50 mm")
    page.get_by_role("button", name="Keep it").click()
    told = page.get_by_role("alert").inner_text()
    assert "Not kept." in told
    assert "box 100 x 145, 100 mm by 145 mm, is larger than the labels of roll 100 x 50 mm" in told
    chosen = label_setup(shop.database, settings_of(shop, tmp_path)).chosen[LabelKind.BOX]
    assert chosen.stock.name == "roll 100 x 150 mm"


def test_an_own_sheet_can_be_written_and_chosen(page: Page, shop: Shop, tmp_path: Path) -> None:
    shop.sign_in(page, "/labels/layouts", Role.ADMIN)
    page.get_by_text("The text of the list").click()
    sheet = "[[stock]]\nname = 'sheet of 8'\npage = [210, 297]\nlabel = [100, 70]\nacross = 2\ndown = 4\n"
    page.get_by_label("Own stocks").fill(sheet + "first = [4, 8]\npitch = [102, 70]")
    page.get_by_role("button", name="Keep it").click()
    page.get_by_role("group", name="part").get_by_label("Printed on").select_option("sheet of 8")
    page.get_by_role("button", name="Keep it").click()
    expect(page.get_by_role("group", name="part").get_by_label("Printed on")).to_have_value("sheet of 8")
    assert label_setup(shop.database, settings_of(shop, tmp_path)).chosen[LabelKind.PART].stock.count == 8


def test_only_an_admin_changes_how_labels_look(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/labels/layouts/slot%20100%20x%2050", Role.OFFICE)
    assert page.get_by_role("button", name="Keep it").count() == 0
    page.wait_for_function("() => document.getElementById('preview').width === 799")


@pytest.mark.parametrize(("stock", "size"), [("roll 4 x 2 in", (102, 51)), ("sheet A4, 10 of 100 x 50 mm", (210, 297))])
def test_the_page_to_try_a_printer_with_is_as_large_as_its_stock_and_its_bars_read(
    page: Page, shop: Shop, stock: str, size: tuple[int, int]
) -> None:
    shop.sign_in(page, "/labels", Role.STATION)
    answer = page.request.get(f"{shop.address}/labels/calibration.pdf", params={"stock": stock, "dpi": "300"})
    (sheet,) = PdfReader(BytesIO(answer.body())).pages
    assert tuple(round(float(each) / 72 * 25.4) for each in sheet.mediabox[2:]) == size
    picture = sheet.images[0].image
    assert picture is not None
    read = zxingcpp.read_barcodes(picture.convert("L"))
    assert len(read) >= 3
    assert {read_code(each.text).number for each in read} == {0}


SITE = "https://labels.example"


@pytest.fixture
def app(shop: Shop, tmp_path: Path) -> Flask:
    return app_of(settings_of(shop, tmp_path, site_url=SITE), shop.database)


def test_the_qr_code_of_a_shop_with_an_address_is_a_link_that_a_station_reads_as_the_code(
    shop: Shop, tmp_path: Path
) -> None:
    settings = settings_of(shop, tmp_path, site_url=SITE)
    picture = Image.open(BytesIO(label_png(shop.database, settings, read_code(shop.floor.deck), dpi=203)))
    read = {str(each.format): each.text for each in zxingcpp.read_barcodes(picture.convert("L"))}
    assert read["Code 128"] == shop.floor.deck
    assert read["QR Code"] == label_link(SITE, "for tests", shop.floor.deck)
    assert read["QR Code"].startswith("HTTPS://LABELS.EXAMPLE/Q/")
    assert str(read_code(read["QR Code"])) == shop.floor.deck
    assert read_code(read["QR Code"].lower()).kind is Kind.PART


def test_a_phone_that_is_not_signed_in_learns_what_to_tell_the_shop_and_a_guess_learns_nothing(
    app: Flask, shop: Shop
) -> None:
    visitor = app.test_client()
    path = label_link(SITE, "for tests", shop.floor.deck).removeprefix("HTTPS://LABELS.EXAMPLE")
    told = visitor.get(path)
    assert told.status_code == 200
    assert b"J-1" in told.data
    assert shop.floor.deck.encode() in told.data
    assert visitor.get(path.lower()).status_code == 200
    assert visitor.get(path[:-1] + ("A" if path[-1] != "A" else "B")).status_code == 404
    assert visitor.get(path.replace(shop.floor.deck, shop.floor.end)).status_code == 404


def test_who_works_here_is_led_to_the_part_itself(page: Page, shop: Shop) -> None:
    path = label_link(SITE, "for tests", shop.floor.deck).removeprefix("HTTPS://LABELS.EXAMPLE")
    shop.sign_in(page, path, Role.STATION)
    assert page.url.endswith(f"/find?code={shop.floor.deck}")
    assert isinstance(shop.floor, Floor)
