"""Printers added, labels printed on them and printed again, what goes wrong said: in a real browser."""

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.network_printer import NetworkPrinter, network_printer
from tests.pages.looking import readable, violations
from tests.pages.served_shop import Shop, served
from tracker.pages.words import languages
from tracker.records.printing import change_print, last_prints
from tracker.shop.printing import Cause, PrintState, Reason
from tracker.shop.roles import Role
from tracker.work.boards import plan_job_boards
from tracker.work.label_choice import Choice, What
from tracker.work.print_queue import server_clock
from tracker.work.printers import add_printer
from tracker.work.prints import Request, take_print


@pytest.fixture(scope="module")
def device(tmp_path_factory: pytest.TempPathFactory) -> Iterator[NetworkPrinter]:
    with network_printer(tmp_path_factory.mktemp("device")) as made:
        yield made


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory, device: NetworkPrinter) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("printing")) as made:
        plan_job_boards(made.database, "J-1", **made.floor.act())
        add_printer(made.database, "LABEL-1", device.address, dpi=203, stock_mm=(100, 50), now=server_clock())
        yield made


def prints(shop: Shop) -> int:
    with shop.database.read() as connection:
        return len(last_prints(connection, server_clock(), limit=1_000))


def printed_to(page: Page, where: str, reason: str = "") -> None:
    page.get_by_role("radio", name=where).check()
    if reason:
        page.get_by_role("radio", name=reason).check()
    page.get_by_role("button", name="Print", exact=True).click()


def test_an_admin_adds_a_printer_tries_it_and_takes_it_out(page: Page, shop: Shop, device: NetworkPrinter) -> None:
    shop.sign_in(page, "/printers", Role.ADMIN)
    page.get_by_label("Name", exact=True).fill("LABEL-2")
    page.get_by_label("Address", exact=True).fill(device.address)
    page.get_by_label("Width, in mm").fill("62")
    page.get_by_label("Height, in mm").fill("29,5")
    page.get_by_role("button", name="Add this printer").click()
    expect(page.get_by_role("status")).to_contain_text("Added. Print its test page and measure it.")
    entry = page.get_by_role("listitem").filter(has_text="LABEL-2")
    expect(entry).to_contain_text("ready")
    expect(entry).to_contain_text("62 × 29.5 mm")
    expect(entry).to_contain_text("It answered last")
    assert violations(page) == []
    page.get_by_role("button", name="Print a test page on LABEL-2").click()
    page.wait_for_url("**/prints/*")
    expect(page.get_by_role("status").filter(has_text="printed")).to_be_visible()
    page.goto(f"{shop.address}/printers")
    page.get_by_role("button", name="Take LABEL-2 out").click()
    expect(page.get_by_role("main")).not_to_contain_text("LABEL-2")


def test_what_cannot_be_a_printer_is_said_field_by_field_and_what_was_typed_stays(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/printers", Role.ADMIN)
    page.get_by_label("Name", exact=True).fill("LABEL-3")
    page.get_by_label("Address", exact=True).fill("labels")
    page.get_by_label("Width, in mm").fill("x")
    page.get_by_label("Height, in mm").fill("50")
    page.get_by_role("button", name="Add this printer").click()
    alert = page.get_by_role("alert")
    expect(alert).to_contain_text("Address: wanted: ipp://HOST/PATH")
    expect(alert).to_contain_text("Width: wanted: from 10 mm to 1000 mm")
    expect(page.get_by_label("Name", exact=True)).to_have_value("LABEL-3")
    page.close()


def test_labels_are_printed_once_however_often_the_button_is_pressed_and_again_only_with_a_reason(
    page: Page, shop: Shop, device: NetworkPrinter
) -> None:
    floor, before = shop.floor, len(device.got())
    shop.sign_in(page, "/labels?job=J-1", Role.STATION)
    expect(page.get_by_role("group", name="Where to")).to_contain_text("No printer has labels of 100 × 150 mm loaded.")
    page.get_by_role("radio", name="LABEL-1").check()
    form = page.locator("form.print")
    given = form.evaluate("form => Object.fromEntries(new FormData(form))")
    page.get_by_role("button", name="Print", exact=True).click()
    page.wait_for_url("**/prints/*")
    answers = [page.request.post(f"{shop.address}/labels", form=given) for _time in range(2)]
    assert {answer.url for answer in answers} == {page.url}
    expect(page.get_by_role("status").filter(has_text="printed")).to_be_visible()
    expect(page.get_by_role("main")).to_contain_text("3 labels")
    page.reload()
    assert len(device.got()) == before + 1
    page.goto(f"{shop.address}/find?code={floor.deck}")
    expect(page.get_by_role("region", name="Its label was printed")).to_contain_text("a station")
    page.get_by_role("link", name="Its label").click()
    expect(page.get_by_role("group", name="1 of these parts has a label already")).to_be_visible()
    assert violations(page) == []
    page.get_by_label("In a few words, where it is another reason").fill("glue on it")
    printed_to(page, "LABEL-1", "another reason")
    page.wait_for_url("**/prints/*")
    expect(page.get_by_role("status").filter(has_text="printed")).to_be_visible()
    page.goto(f"{shop.address}/find?code={floor.deck}")
    expect(page.get_by_role("region", name="Its label was printed")).to_contain_text("another reason: glue on it")
    assert len(device.got()) == before + 2


def test_without_a_reason_nothing_is_printed_again(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/labels?job=J-1&what=parts", Role.STATION)
    before = prints(shop)
    printed_to(page, "LABEL-1")
    expect(page.get_by_role("alert")).to_contain_text("A label is printed again only with a reason.")
    expect(page.get_by_role("radio", name="LABEL-1")).to_be_checked()
    assert prints(shop) == before
    page.close()


def test_a_printer_that_is_off_is_said_in_words_and_the_printers_page_follows(
    page: Page, shop: Shop, device: NetworkPrinter
) -> None:
    shop.floor.take("J-2", items=())
    shop.sign_in(page, "/printers", Role.STATION)
    entry = page.get_by_role("listitem").filter(has_text="LABEL-1")
    expect(entry).to_contain_text("ready")
    device.switch_off()
    expect(entry).to_contain_text("off, or not on the network")
    page.goto(f"{shop.address}/labels?job=J-2&what=parts")
    printed_to(page, "LABEL-1")
    told = page.get_by_role("status").filter(has_text="not printed")
    expect(told).to_contain_text("The printer did not answer. Is it on, and is its cable in?")
    device.switch_on()


def test_a_print_in_doubt_asks_who_looks_what_came_out(page: Page, shop: Shop) -> None:
    wish = Request(request_id=uuid4(), choice=Choice(job="J-1", what=What.PARTS), printer=1, reason=Reason.LOST)
    number = take_print(shop.database, wish, who="Ida", now=server_clock())
    with shop.database.write() as connection:
        only = (PrintState.WAITING,)
        change_print(connection, number, PrintState.DOUBTFUL, server_clock(), only=only, cause=Cause.LOST)
    shop.sign_in(page, f"/prints/{number}", Role.STATION)
    expect(page.get_by_role("status")).to_contain_text("may have been printed: look at the printer")
    assert violations(page) == []
    page.get_by_role("button", name="Nothing came out").click()
    expect(page.get_by_role("status")).to_contain_text("a station looked at the printer and said so.")
    page.get_by_role("link", name="All prints").click()
    row = page.get_by_role("row").filter(has_text=f"Print {number}")
    expect(row).to_contain_text("not printed")
    expect(row).to_contain_text("again: the label is lost")


def test_the_order_of_the_saw_and_what_is_not_printed_are_chosen(page: Page, shop: Shop) -> None:
    shop.floor.take("J-3", items=())
    plan_job_boards(shop.database, "J-3", **shop.floor.act())
    shop.sign_in(page, "/labels?job=J-3", Role.STATION)
    page.get_by_role("combobox", name="Order").select_option(label="as they come off the saw")
    page.get_by_role("combobox", name="Only").select_option(label="not printed yet")
    page.get_by_role("combobox", name="Which").select_option(label="parts only")
    page.get_by_role("button", name="Show the labels").click()
    page.wait_for_url("**order=saw**")
    expect(page.get_by_role("heading", name="3 labels")).to_be_visible()
    printed_to(page, "As a PDF")
    page.wait_for_url("**/prints/*")
    expect(page.get_by_role("main")).to_contain_text("parts only, not printed yet, in the order of the saw")
    page.get_by_role("link", name="To these labels").click()
    expect(page.get_by_role("main")).to_contain_text("No label fits this choice.")


def test_nothing_is_printed_for_a_form_that_makes_no_sense(page: Page, shop: Shop) -> None:
    before = prints(shop)
    shop.sign_in(page, "/labels?job=J-1", Role.STATION)
    given = page.locator("form.print").evaluate("form => Object.fromEntries(new FormData(form))")
    wrong: list[dict[str, str]] = [
        {"request_id": "x"},
        {"where": "99999999999999999999-parts", "job": "nowhere"},
        {"where": "77-parts"},
        {"where": "1-parts", "reason": "other", "note": "x" * 201},
    ]
    for each in wrong:
        assert page.request.post(f"{shop.address}/labels", form={**given, **each}).status in (404, 422), each
    for path in ("/prints/99999999999999999999", "/prints/0", "/prints/0/now", "/prints/0/labels.pdf"):
        assert page.request.get(f"{shop.address}{path}").status == 404
    assert prints(shop) == before


@pytest.mark.parametrize("language", ["en", "es"])
def test_printing_is_readable_at_every_size(page: Page, shop: Shop, language: str, shots: Path | None) -> None:
    shop.sign_in(page, "/labels?job=J-1", Role.ADMIN)
    page.context.add_cookies([{"name": languages.COOKIE, "value": language, "url": shop.address}])
    with shop.database.read() as connection:
        last = last_prints(connection, server_clock(), limit=1)[0].id
    pages = {"printers": "/printers", "prints": "/prints", "print": f"/prints/{last}"}
    for name, path in pages.items():
        page.goto(f"{shop.address}{path}")
        page.wait_for_load_state("networkidle") if name != "printers" else page.wait_for_timeout(500)
        readable(page, shots, f"printing-{name}-{language}")
