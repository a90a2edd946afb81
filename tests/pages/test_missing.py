"""What is missing, in a real browser: the order and the facts, one tap to find, replace or hold, and the print."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect
from pypdf import PdfReader

from tests.pages.looking import hear_of_no_change, violations
from tests.pages.served_shop import TODAY, Shop, part, served, take
from tracker.records.reports import add_report
from tracker.shop.orders import ItemLine, PartLine
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.work.access import add_slot
from tracker.work.loads import plan_load


def panel(cabinet: str, name: str, quantity: int = 1, **more: object) -> PartLine:
    sizes = {"length_mm": 720.0, "width_mm": 560.0, "thickness_mm": 18.0}
    return PartLine(cabinet=cabinet, part=name, quantity=quantity, **{**sizes, **more})  # type: ignore[arg-type]  # by name


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    """Two jobs beside the small shop's own: M-1 is due first but M-2's box leaves on a load before it."""
    with served(tmp_path) as shop:
        floor = shop.floor
        pins = ItemLine(box="201", item="spring pin 8 mm", quantity=6)
        take(
            floor, "M-1", TODAY + timedelta(days=3), panel("201", "Deck", machining="DK-1"), panel("201", "Shelf", 2),
            customer="Invented House", items=(pins,),
        )  # fmt: skip
        take(floor, "M-2", TODAY + timedelta(days=20), panel("301", "End"), panel("302", "Back"))
        plan_load(shop.database, [4], TODAY + timedelta(days=1), **floor.act())  # the box of cabinet 301
        slot = add_slot(shop.database, "RACK-7")
        floor.scan(part(4), "CUT-1")
        floor.scan(part(4), "CUT-1", action=Action.PLACE, slot=slot)
        floor.scan(part(5), "CUT-1")
        yield shop


def boxes(page: Page) -> list[str]:
    return [" ".join(each.split()) for each in page.locator(".box h2, .box h3").all_inner_texts()]


def test_what_leaves_soonest_stands_first_by_its_load_or_its_due_date(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing")
    names = [re.search(r"Box (\S+)", each) for each in boxes(page)]
    assert [each[1] for each in names if each] == ["301", "201", "302", "101", "102"]
    assert violations(page) == []


def test_each_missing_part_says_its_step_its_last_place_and_time_and_who_scanned_it(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing")
    box = page.get_by_role("region", name=re.compile("Box 201"))
    deck = box.get_by_role("row", name=re.compile("Deck"))
    cells = deck.get_by_role("cell").all_inner_texts()
    assert part(4) in cells[0]
    assert cells[1] == "machine"
    assert "CUT-1" in cells[2]
    assert "slot RACK-7" in cells[2]
    assert "tester" in cells[2]
    seen = deck.locator("time").get_attribute("datetime")
    assert seen is not None
    assert timedelta(0) < datetime.now(UTC) - datetime.fromisoformat(seen) < timedelta(hours=1)
    assert "not yet seen" in box.get_by_role("row", name=re.compile(part(6))).inner_text()
    assert "lacks 3 parts, 1 kind of item not counted" in box.get_by_role("heading").inner_text()
    items = box.get_by_text("1 kind of item not counted").last
    assert not box.get_by_text("0 of 6 counted").is_visible()  # nine kinds of items bury no missing part
    items.click()
    assert box.get_by_text("spring pin 8 mm: 0 of 6 counted").is_visible()
    expect(page.locator(".sum")).to_have_text(
        "5 boxes are not complete: 8 parts are missing; 2 kinds of items are not counted."
    )


@pytest.mark.parametrize(
    ("tab", "expected"),
    [
        ("By job", ["M-1", "J-1", "M-2"]),
        ("By load", ["Load"]),
        ("By station", ["Waits for: cut", "Waits for: machine", "Waits for: pack"]),
    ],
)
def test_the_same_can_be_read_by_job_by_load_and_by_station(
    shop: Shop, page: Page, tab: str, expected: list[str]
) -> None:
    shop.sign_in(page, "/missing")
    with page.expect_navigation():
        page.get_by_role("link", name=tab).click()
    assert page.get_by_role("link", name=tab).get_attribute("aria-current") == "page"
    heads = page.locator(".group h2, .queue h2").all_inner_texts()
    for word in expected:
        assert any(head.startswith(word) for head in heads), heads
    if tab == "By load":
        found = [re.search(r"Box (\S+)", each)[1] for each in boxes(page)]  # type: ignore[index]  # they match
        assert found == ["301", "302"]  # 302 is on no load: it stays behind
        assert "boxes: 1, lacking something: 1" in heads[0]
    if tab == "By station":
        assert "MACHINE-1" in heads[1]
        assert "M-1" in page.get_by_role("region", name=re.compile("machine")).inner_text()
    assert violations(page) == []


def test_one_job_and_one_load_can_be_read_alone(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing?job=M-2")
    assert len(boxes(page)) == 2
    page.locator(".box").first.get_by_role("link", name=re.compile("load")).get_attribute("href")
    load = page.locator(".box a[href^='/loads/']").first.get_attribute("href")
    assert load is not None
    page.goto(f"{shop.address}/missing?load={load.rpartition('/')[2]}")
    assert len(boxes(page)) == 2  # the one on it, and the one that stays behind


def test_one_tap_finds_a_part_with_its_place_its_way_and_what_lies_beside_it(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing")
    page.get_by_role("link", name=f"Find Deck {part(4)}").click()
    assert page.url == f"{shop.address}/find?code={part(4)}"
    main = page.locator("main").inner_text()
    assert "CUT-1" in page.locator(".where").inner_text()
    assert "slot RACK-7" in page.locator(".where").inner_text()
    way = page.get_by_role("list", name="The stations on its way")
    assert "CUT-1" in way.get_by_role("listitem").first.inner_text()
    assert way.locator("[aria-current=step]").inner_text().startswith("machine")
    assert page.locator(".near li").all_inner_texts()[-1].startswith("Shelf")
    assert "MACHINE-1" in main
    assert "Invented House" in main
    assert page.get_by_role("img", name=re.compile("Deck")).count() == 1
    assert page.get_by_role("region", name="For the same box").get_by_role("row").count() == 3
    assert violations(page) == []


def test_a_part_is_replaced_with_a_reason_after_one_more_question(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing")
    page.get_by_role("link", name=f"Replace Deck {part(4)}").click()
    assert "counts no more, for good" in page.locator("main").inner_text()
    assert violations(page) == []
    page.get_by_text("Lost", exact=True).click()
    page.get_by_role("button", name="Replace it").click()
    assert "Ordered anew" in page.get_by_role("status").first.inner_text()
    old = shop.floor.part(part(4))
    assert old.status == "replaced"
    assert page.url.startswith(f"{shop.address}/find?code={old.replaced_by}")
    page.goto(f"{shop.address}/missing")
    box = page.get_by_role("region", name=re.compile("Box 201"))
    assert "urgent" in box.get_by_role("row", name=re.compile("Deck")).inner_text()
    assert part(4) not in box.inner_text()
    page.goto(f"{shop.address}/find?code={part(4)}")
    assert "This label counts no more" in page.locator(".where").inner_text()
    assert "Replaced by" in page.get_by_role("region", name="What happened").inner_text()
    shop.floor.check()


def test_without_a_reason_nothing_is_replaced(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, f"/parts/{part(4)}/replace?back=/missing%3Fby%3Djob")
    page.get_by_label("Or in your own words").fill("   ")
    page.get_by_role("button", name="Replace it").click()
    assert "Choose a reason" in page.get_by_role("alert").inner_text()
    assert page.get_by_role("link", name="No, leave it as it is").get_attribute("href") == "/missing?by=job"
    assert shop.floor.part(part(4)).status == "working"
    page.close()


def test_not_to_replace_leads_back_to_the_list_and_changes_nothing(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing?by=job")
    page.get_by_role("link", name=f"Replace Deck {part(4)}").click()
    page.get_by_role("link", name="No, leave it as it is").click()
    assert page.url == f"{shop.address}/missing?by=job"
    assert shop.floor.part(part(4)).status == "working"


def test_a_way_back_to_another_host_is_not_followed(shop: Shop, page: Page) -> None:
    shop.sign_in(page, f"/parts/{part(4)}/replace?back=//elsewhere.invalid/")
    href = page.get_by_role("link", name="No, leave it as it is").get_attribute("href")
    assert href == f"/find?code={part(4)}"


def test_one_tap_holds_the_job_and_another_resumes_it(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing")
    box = page.get_by_role("region", name=re.compile("Box 201"))
    with page.expect_navigation():
        box.get_by_role("button", name="Hold job M-1").click()
    assert page.url == f"{shop.address}/missing"
    assert "job on hold" in box.inner_text()
    assert shop.floor.job("M-1").status == "held"
    with page.expect_navigation():
        box.get_by_role("button", name="Resume job M-1").click()
    assert shop.floor.job("M-1").status == "open"


def test_a_damaged_part_that_was_repaired_counts_again(shop: Shop, page: Page) -> None:
    shop.floor.scan(part(5), "CUT-1", action=Action.DAMAGED)
    shop.sign_in(page, f"/find?code={part(5)}")
    page.get_by_label("It was repaired. What was done?").fill("filled and sanded")
    with page.expect_navigation():
        page.get_by_role("button", name="It is good again").click()
    assert "counts as good again" in page.get_by_role("status").first.inner_text()
    assert not shop.floor.part(part(5)).damaged


def test_who_may_not_decide_sees_the_list_without_its_buttons(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing", Role.PACKER)
    assert page.get_by_role("link", name=re.compile("^Find")).count() > 0
    assert page.get_by_role("link", name=re.compile("^Replace")).count() == 0
    assert page.get_by_role("button", name=re.compile("^Hold")).count() == 0


def test_the_list_changes_by_itself_when_a_part_is_scanned_elsewhere(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing")
    row = page.get_by_role("row", name=re.compile(part(4)))
    expect(row.get_by_role("cell", name="machine", exact=True)).to_be_visible()
    hear_of_no_change(page)
    shop.floor.scan(part(4), "MACHINE-1", at=datetime.now(UTC))
    expect(row.get_by_role("cell", name="pack", exact=True)).to_be_visible()
    expect(row).to_contain_text("MACHINE-1")
    shop.floor.scan(part(4), "PACK-1", at=datetime.now(UTC))
    expect(row).to_have_count(0)


@pytest.mark.parametrize(
    ("code", "says"),
    [("P999", "misread|read wrong|none of the shop"), (part(900), "No part of this shop"), ("", "Scan or type")],
)
def test_a_code_that_leads_nowhere_is_said_so(browser: Browser, shop: Shop, code: str, says: str) -> None:
    page = browser.new_page()
    shop.sign_in(page, f"/find?code={code}")
    assert re.search(says, page.locator("main").inner_text())
    assert violations(page) == []
    page.get_by_label("Scan or type its code").fill(part(4))
    page.keyboard.press("Enter")
    page.wait_for_url(f"{shop.address}/find?code={part(4)}")
    page.close()


# Printed


def printed(page: Page) -> list[str]:
    return [leaf.extract_text() for leaf in PdfReader(BytesIO(page.pdf(format="A4"))).pages]


def test_on_paper_stand_the_boxes_and_facts_and_no_buttons(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing")
    page.emulate_media(media="print")
    for hidden in (".top", ".tabs", ".act", "button"):
        assert page.locator(hidden).first.is_hidden()
    colours = page.evaluate(
        "[document.body, document.querySelector('.lacks'), document.querySelector('td')]"
        ".map(each => getComputedStyle(each).color)"
    )
    assert set(colours) == {"rgb(0, 0, 0)"}
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    paper = "\n".join(printed(page))
    uncounted = "1 kind of item not counted"
    for word in ("Box 301", "Box 201", "Deck", part(4), "machine", "CUT-1", "RACK-7", "tester", uncounted):
        assert word in paper
    for word in ("Replace", "Sign out", "By job", "Hold job"):
        assert word not in paper


def test_on_paper_a_page_ends_between_boxes_and_not_within_one(shop: Shop, page: Page) -> None:
    for number in range(8):
        take(shop.floor, f"N-{number}", TODAY, panel(f"4{number}", "Rail", 9))
    shop.sign_in(page, "/missing")
    leaves = printed(page)
    assert len(leaves) > 1
    for number in range(8):
        with_head = [place for place, text in enumerate(leaves) if f"Box 4{number}" in text]
        with_parts = [place for place, text in enumerate(leaves) if f"cabinet 4{number}" in text]
        assert with_head == with_parts
        assert len(with_head) == 1


# For everyone


def tab_to(page: Page, name: str) -> None:
    """Press Tab until the focus is on what has this name."""
    for _step in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.innerText || document.activeElement.value").startswith(name):
            return
    raise AssertionError(f"no way to {name} by keyboard")


def test_a_part_is_replaced_by_keyboard_alone(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/missing?job=M-1")
    tab_to(page, "Replace")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/replace"))
    tab_to(page, "lost")
    page.keyboard.press("Space")
    tab_to(page, "Replace it")
    page.keyboard.press("Enter")
    page.wait_for_url(re.compile("/find"))
    assert shop.floor.part(part(4)).status == "replaced"


# Reports from site


def report(shop: Shop, *, part_id: int | None = None, item: str = "", what: str = "missing", note: str = "") -> int:
    told = {"told_by": "A. Fitter, 555", "note": note, "at": datetime.now(UTC)}
    with shop.database.write() as connection:
        return add_report(connection, job_id=2, cabinet="201", part_id=part_id, item=item, what=what, **told)  # type: ignore[arg-type]


def test_a_report_from_site_is_read_and_its_part_replaced_which_closes_it(shop: Shop, page: Page) -> None:
    report(shop, part_id=4, item="deck", what="damaged", note="The front edge\nis broken off.")
    report(shop, item="spring pin 8 mm")
    shop.sign_in(page, "/reports")
    first = page.get_by_role("region", name=re.compile("Deck"))
    assert "A. Fitter, 555" in first.inner_text()
    assert "is broken off" in first.inner_text()
    assert violations(page) == []
    first.get_by_role("link", name=re.compile("Replace the part")).click()
    page.get_by_text("Chipped", exact=True).click()
    with page.expect_navigation():
        page.get_by_role("button", name="Replace it").click()
    assert shop.floor.part(part(4)).status == "replaced"
    page.goto(f"{shop.address}/reports")
    assert page.get_by_role("region", name=re.compile("Deck")).count() == 0
    assert page.get_by_role("region", name=re.compile("spring pin")).count() == 1


def test_a_report_is_closed_after_one_more_tap(shop: Shop, page: Page) -> None:
    report(shop, item="spring pin 8 mm")
    shop.sign_in(page, "/reports")
    assert page.get_by_role("button", name="Yes, close this report").count() == 0
    page.locator("main summary").click()
    page.get_by_role("button", name="Yes, close this report").click()
    assert "No report is open." in page.locator("main").inner_text()
