"""An order taken at a desk, in a real browser: from a file or typed, with its faults where they are, and a preview."""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Request, expect

from tests.pages.looking import readable, violations
from tests.pages.served_shop import Shop, served
from tracker.records.jobs import job_view, list_jobs
from tracker.shop.roles import Role

CABINETS = """cabinet,family,width,height,depth,quantity,fronts,hinge,finish,note
101,base,600,876,580,1,drawer over doors,,oak,
102,base,450,876,580,2,door,left,oak,beside the sink
103,tall,500,2134,580,1,pantry,right,oak,
"""
BAD_CABINETS = """cabinet,family,width,height,depth,quantity,fronts,hinge,finish,note
201,base,600,876,580,1,drawer over doors,,oak,
202,bse,600,876,580,1,door,left,oak,
203,base,600 mm x,876,580,1,door,left,oak,
204,base,600,876,580,1,door,,oak,
"""
CUT_LIST = """cabinet;part;quantity;length;width;thickness;material;edges
301;Deck;1;564;560;18;white board;L1
301;End;2;720;560;18;white board;L1
302;Shelf;3;"560,5";300;18;oak board;
"""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("orders")) as shop:
        yield shop


@pytest.fixture
def plain(browser: Browser) -> Iterator[Page]:
    """A page that is answered with refusals: the browser writes those into its console."""
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    opened = context.new_page()
    complaints: list[str] = []
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("console", lambda said: complaints.append(said.text) if _complains(said.type, said.text) else None)
    yield opened
    context.close()
    assert complaints == []


def _complains(kind: str, text: str) -> bool:
    return kind == "error" and "responded with a status of 4" not in text


def jobs(shop: Shop) -> set[str]:
    with shop.database.read() as connection:
        return {job.code for job in list_jobs(connection, limit=100)}


def fill_head(page: Page, code: str) -> None:
    page.get_by_label("Job code").fill(code)
    page.get_by_label("Customer").fill("Invented House")
    page.get_by_label("Due", exact=True).fill("2027-05-04")


def choose(page: Page, name: str, text: str, label: str = "Cut list or table of cabinets") -> None:
    page.get_by_label(label).set_input_files({"name": name, "mimeType": "text/csv", "buffer": text.encode()})


def look_at(page: Page) -> None:
    with page.expect_navigation():
        page.get_by_role("button", name="Look at what will be made").click()


def sums(page: Page) -> list[str]:
    return [" ".join(each.split()) for each in page.locator(".sums div").all_inner_texts()]


def test_a_table_of_cabinets_is_looked_at_and_taken_and_nothing_is_stored_before(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "T-1")
    choose(page, "kitchen.csv", CABINETS)
    look_at(page)
    assert page.get_by_role("heading", level=1).inner_text() == "Order T-1: what will be made"
    assert sums(page)[0] == "Cabinets 4"
    expect(page.locator(".cabinets li")).to_have_count(3)
    assert "102-1 … 102-2 × 2" in page.locator(".cabinets").inner_text()
    assert "base, door, hinges: left" in page.locator(".cabinets").inner_text()
    page.wait_for_function("() => [...document.images].every(image => image.complete && image.naturalWidth > 0)")
    assert violations(page) == []
    assert "T-1" not in jobs(shop)
    page.get_by_role("button", name="Take the order").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Order T-1 is taken")
    assert "T-1" in jobs(shop)
    assert violations(page) == []
    with shop.database.read() as connection:
        job = job_view(connection, "T-1")
    assert job is not None
    assert job.due == date(2027, 5, 4), "the due day is kept"


def test_the_boards_are_planned_from_the_page_after_taking(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "T-2")
    choose(page, "list.csv", CUT_LIST)
    look_at(page)
    page.get_by_role("button", name="Take the order").click()
    page.get_by_role("button", name="Plan the boards").click()
    expect(page.locator("ol.next")).to_contain_text("2 boards are planned.")


def test_faults_stand_on_their_rows_and_are_mended_in_place_without_the_file(plain: Page, shop: Shop) -> None:
    page = plain
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "T-3")
    choose(page, "kitchen.csv", BAD_CABINETS)
    look_at(page)
    assert page.get_by_role("heading", name="3 rows to mend").is_visible()
    assert page.locator(".faulty legend").all_inner_texts() == ["Line 3", "Line 4", "Line 5"]
    third = page.get_by_role("group", name="Line 3")
    assert "202" in third.inner_text()
    assert third.get_by_label("family").input_value() == "bse"
    assert "blind corner" in third.locator(".wrong").first.inner_text()
    assert page.get_by_label("Customer").input_value() == "Invented House"
    assert violations(page) == []
    third.get_by_label("family").fill("base")
    page.get_by_role("group", name="Line 4").get_by_label("width").fill("600")
    look_at(page)
    page.get_by_role("group", name="Line 5").get_by_label("hinge").fill("right")
    look_at(page)
    assert sums(page)[0] == "Cabinets 4"
    assert "T-3" not in jobs(shop)
    page.get_by_role("button", name="Take the order").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Order T-3 is taken")


def test_a_cut_list_with_items_in_a_second_file_is_taken(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "T-4")
    choose(page, "list.csv", CUT_LIST)
    choose(page, "items.csv", "box,item,quantity\n301,spring pin 8 mm,12\n", "Items, if they come")
    look_at(page)
    assert sums(page)[:4] == ["Cabinets 2", "Parts 6", "Items 12", "Boxes 2"]
    assert "oak board" in page.get_by_role("region", name="Table of the materials").inner_text()
    with page.expect_navigation():
        page.get_by_role("button", name="Take the order").click()
    assert "T-4" in jobs(shop)


def test_typed_cabinets_are_drawn_checked_looked_at_changed_and_taken(plain: Page, shop: Shop) -> None:
    page = plain
    shop.sign_in(page, "/orders/new?by=typing", Role.OFFICE)
    fill_head(page, "T-5")
    first = page.get_by_role("group", name="Cabinet 1", exact=True)
    first.get_by_label("Number").fill("401")
    first.get_by_label("Family").select_option("base")
    assert "pantry" not in first.get_by_label("Fronts").inner_text()
    first.get_by_label("Width").fill("60")
    first.get_by_label("Height").fill("876")
    first.get_by_label("Depth").fill("580")
    first.get_by_label("Fronts").select_option("drawer over door")
    first.get_by_label("Hinges").select_option("right")
    look_at(page)
    first = page.get_by_role("group", name="Cabinet 1", exact=True)
    assert first.locator(".wrong").count() > 0
    assert violations(page) == []
    first.get_by_label("Width").fill("600")
    first.get_by_label("Width").press("Tab")
    expect(first.locator(".drawn img")).to_have_count(1)
    look_at(page)
    assert sums(page)[0] == "Cabinets 1"
    page.get_by_role("button", name="Change it").click()
    first = page.get_by_role("group", name="Cabinet 1", exact=True)
    assert first.get_by_label("Width").input_value() == "600"
    page.get_by_role("button", name="Add a cabinet").click()
    second = page.get_by_role("group", name="Cabinet 2", exact=True)
    assert second.get_by_label("Number").input_value() == "402"
    second.get_by_label("Width").fill("450")
    second.get_by_label("Fronts").select_option("3 drawers")
    look_at(page)
    assert sums(page)[0] == "Cabinets 2"
    page.get_by_role("button", name="Take the order").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Order T-5 is taken")
    assert violations(page) == []


def test_an_uploaded_table_of_cabinets_can_be_changed_by_typing(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "T-6")
    choose(page, "kitchen.csv", CABINETS)
    look_at(page)
    page.get_by_role("button", name="Change it").click()
    tall = page.get_by_role("group", name="Cabinet 3", exact=True)
    assert tall.get_by_label("Fronts").input_value() == "pantry"
    tall.get_by_label("Width").fill("600")
    look_at(page)
    assert "600 × 2134 × 580" in page.locator(".cabinets").inner_text()


def test_what_is_wrong_with_the_head_stands_at_its_fields(plain: Page, shop: Shop) -> None:
    page = plain
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "J-1")
    choose(page, "kitchen.csv", CABINETS)
    look_at(page)
    assert "taken before" in page.locator("#code-wrong").inner_text()
    page.get_by_label("Job code").fill("no spaces please")
    look_at(page)
    assert "1 to 40 letters" in page.locator("#code-wrong").inner_text()
    assert page.get_by_label("Job code").get_attribute("aria-invalid") == "true"
    assert violations(page) == []


def test_a_file_that_is_no_table_is_said_so(plain: Page, shop: Shop) -> None:
    page = plain
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "T-7")
    choose(page, "nothing.csv", "some,words\n1,2\n")
    look_at(page)
    assert "thickness: these columns are needed and are not there" in page.get_by_role("alert").inner_text()
    assert violations(page) == []


def test_a_kept_file_goes_when_the_order_is_taken_and_a_gone_one_is_asked_for_again(plain: Page, shop: Shop) -> None:
    page = plain
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "T-8")
    choose(page, "kitchen.csv", CABINETS)
    look_at(page)
    name = page.locator("input[name=upload]").first.input_value()
    kept = list(_uploads(shop).glob(f"{name}.*"))
    assert len(kept) == 1
    kept[0].unlink()
    page.evaluate("document.querySelector('form[action$=take]').submit()")
    assert "no longer kept" in page.get_by_role("alert").inner_text()
    choose(page, "kitchen.csv", CABINETS)
    look_at(page)
    page.get_by_role("button", name="Take the order").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Order T-8 is taken")


def _uploads(shop: Shop) -> Path:
    return Path(shop.database.url.database or "").parent / "uploads"


def test_only_the_office_takes_orders(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/orders/new", Role.FOREMAN)
    assert page.get_by_role("button", name="Look at what will be made").count() == 0
    page.close()


def test_an_order_is_typed_and_taken_by_keyboard_alone(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/orders/new?by=typing", Role.OFFICE)
    page.get_by_label("Job code").focus()
    keys = page.keyboard
    keys.type("T-9", delay=60)
    keys.press("Tab")
    keys.type("Invented", delay=60)
    page.get_by_label("Due", exact=True).fill("2027-05-04")  # a day is typed in the order of the browser's own language
    page.get_by_role("group", name="Cabinet 1", exact=True).get_by_label("Number").focus()
    for text in ("501", "base", "600", "876", "580", "1", "doors"):
        keys.type(text, delay=60)
        keys.press("Tab")
    keys.press("Enter")
    look_at_button = page.get_by_role("button", name="Look at what will be made")
    if look_at_button.count():
        look_at_button.focus()
        keys.press("Enter")
    page.get_by_role("button", name="Take the order").focus()
    keys.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("Order T-9 is taken")


def test_the_pages_of_an_order_are_readable_at_every_size(plain: Page, shop: Shop, shots: Path | None) -> None:
    page = plain
    shop.sign_in(page, "/orders/new?by=typing", Role.OFFICE)
    readable(page, shots, "order-typed")
    page.goto(f"{shop.address}/orders/new")
    fill_head(page, "V-1")
    choose(page, "kitchen.csv", BAD_CABINETS)
    look_at(page)
    readable(page, shots, "order-faults")
    choose(page, "kitchen.csv", CABINETS)
    look_at(page)
    readable(page, shots, "order-preview")


def test_the_preview_of_a_large_order_stays_small(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    sent: list[Request] = []

    def note(request: Request) -> None:
        sent.append(request)

    page.on("requestfinished", note)
    rows = "".join(f"{number},base,{400 + number % 40},876,580,1,doors,,,\n" for number in range(1000, 1200))
    shop.sign_in(page, "/orders/new", Role.OFFICE)
    fill_head(page, "V-3")
    choose(page, "large.csv", CABINETS.splitlines()[0] + "\n" + rows)
    sent.clear()
    look_at(page)
    page.wait_for_load_state("networkidle")
    assert sums(page)[0] == "Cabinets 200"
    assert sum(each.sizes()["responseBodySize"] for each in sent) < 100_000
    page.close()
