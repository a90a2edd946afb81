"""Loads, in a real browser: planned from chosen boxes, what they lack, a box taken off, the truck gone."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.pages.looking import violations
from tests.pages.served_shop import TODAY, Shop, served
from tracker.shop.roles import Role
from tracker.work.people import add_person
from tracker.work.replace import replace_part


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with served(tmp_path) as shop:
        shop.floor.take("J-2", items=())
        yield shop


def test_a_load_is_planned_from_sealed_boxes_loaded_and_shipped(shop: Shop, page: Page) -> None:
    floor = shop.floor
    floor.seal_both()
    shop.sign_in(page, "/loads/new", Role.PACKER)
    assert page.get_by_role("checkbox").count() == 2
    page.get_by_role("button", name="All boxes of J-1").click()
    assert page.locator("#chosen .count").inner_text() == "2"
    assert violations(page) == []
    page.get_by_label("Leaves on").fill(TODAY.isoformat())
    page.get_by_role("button", name="Plan the load").click()
    expect(page.locator(".short")).to_have_count(2)
    assert "Not scanned onto the load." in page.get_by_role("main").inner_text()
    assert page.get_by_text("The truck leaves").count() == 0
    assert violations(page) == []
    load = page.url.rpartition("/")[2]
    for code in (load, floor.box_101, floor.box_102):
        assert floor.scan(code, "SHIP-1").ok
    page.reload()
    assert "All boxes are on it." in page.get_by_role("main").inner_text()
    page.get_by_text("The truck leaves").click()
    assert violations(page) == []
    page.get_by_role("button", name="It has left").click()
    expect(page.get_by_role("main")).to_contain_text("It has left:")
    assert floor.box(floor.box_101).state == "shipped"
    floor.check()
    page.goto(f"{shop.address}/loads")
    assert "has left" in page.locator(".loads").inner_text()
    assert violations(page) == []


def test_a_box_that_lacks_something_keeps_its_load_and_may_be_taken_off(shop: Shop, page: Page) -> None:
    floor = shop.floor
    shop.sign_in(page, "/loads/new?every=1", Role.FOREMAN)
    assert page.get_by_role("checkbox").count() == 4
    page.get_by_role("checkbox").nth(0).check()
    page.get_by_role("checkbox").nth(2).check()
    with page.expect_navigation():
        page.get_by_role("button", name="Plan the load").click()
    assert page.locator(".lacks").all_inner_texts() == ["Not sealed.", "Not sealed."]
    assert "lacks 2 parts" in page.locator(".short").first.inner_text()
    page.get_by_text("Take off").first.click()
    page.get_by_role("button", name="Leave box").first.click()
    expect(page.locator(".short")).to_have_count(1)
    assert floor.box(floor.box_101).load is None
    floor.check()


def test_a_load_without_a_box_is_refused_in_words(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/loads/new?every=1", Role.PACKER)
    with page.expect_navigation():
        page.get_by_role("button", name="Plan the load").click()
    assert "Choose at least one box." in page.get_by_role("alert").inner_text()
    assert violations(page) == []
    page.close()


def test_a_box_that_somebody_else_planned_meanwhile_is_told(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/loads/new?every=1", Role.PACKER)
    shop.floor.plan(shop.floor.box_101)
    page.get_by_role("checkbox").first.check()
    page.get_by_role("button", name="Plan the load").click()
    assert "planned for load" in page.get_by_role("alert").inner_text()
    page.close()


def test_a_load_that_became_short_meanwhile_stays(browser: Browser, shop: Shop) -> None:
    floor = shop.floor
    floor.seal_both()
    load = floor.plan(floor.box_101)
    floor.plan(floor.box_102)
    for code in (load, floor.box_101):
        assert floor.scan(code, "SHIP-1").ok
    page = browser.new_page()
    shop.sign_in(page, f"/loads/{load}", Role.PACKER)
    assert page.get_by_text("Take off").count() == 0  # a foreman's
    page.get_by_text("The truck leaves").click()
    assert floor.undo("SHIP-1").ok
    page.get_by_role("button", name="It has left").click()
    assert "would leave short" in page.get_by_role("alert").inner_text()
    assert "Not scanned onto the load." in page.locator(".lacks").inner_text()
    page.close()


def test_loads_can_be_planned_by_keyboard_alone(shop: Shop, page: Page) -> None:
    shop.sign_in(page, "/loads/new?every=1", Role.PACKER)
    box = page.get_by_role("checkbox").first
    box.focus()
    page.keyboard.press("Space")
    expect(box).to_be_checked()  # a Space ticks when no other key follows it at a scanner's pace
    page.keyboard.press("Enter")
    page.wait_for_url("**/loads/L*")
    assert page.locator(".short").count() == 1


def test_a_load_does_not_leave_short_unseen(shop: Shop, page: Page) -> None:
    floor = shop.floor
    floor.scan(floor.toe_kick, "PACK-1")
    follow_up = floor.seal(floor.box_101, {"spring pin 8 mm": 2}, override="the deck is not here").follow_up
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    shop.sign_in(page, "/loads/new", Role.PACKER)
    main = page.get_by_role("main")
    assert page.get_by_role("checkbox").count() == 3  # the rest of box 101 is offered though it is not sealed
    expect(main).to_contain_text("Sealed short: the rest is in box 101 follow-up, on no load.")
    expect(main).to_contain_text("holds the rest of box 101")
    load = floor.plan(floor.box_101, floor.box_102)
    for code in (load, floor.box_101, floor.box_102):
        assert floor.scan(code, "SHIP-1").ok
    page.goto(f"{shop.address}/loads")
    expect(main).to_contain_text("1 box of its jobs stays behind.")
    page.goto(f"{shop.address}/loads/{load}")
    expect(main).not_to_contain_text("All boxes are on it.")
    expect(page.get_by_role("region", name="1 box stays behind")).to_contain_text(
        "box 101 follow-up: open, lacks 1 part"
    )
    assert violations(page) == []
    page.get_by_text("The truck leaves").click()
    expect(page.locator("details.sure[open]")).to_contain_text("box 101 follow-up: open, lacks 1 part")
    assert violations(page) == []
    page.get_by_role("button", name="Put box 101 follow-up on this load").click()
    expect(main).to_contain_text("Sealed short: the rest is in box 101 follow-up, on the same load.")
    expect(page.locator(".short")).to_have_count(1)  # the rest itself, which is not sealed
    assert follow_up is not None
    assert floor.box(follow_up).load_code == load
    page.goto(f"{shop.address}/boxes/{floor.box_101}")
    expect(main).to_contain_text("Sealed short: the rest is in box 101 follow-up")


def test_a_box_that_became_short_after_the_page_was_drawn_is_asked_about_anew(shop: Shop, browser: Browser) -> None:
    floor = shop.floor
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    for code in (load, floor.box_101, floor.box_102):
        assert floor.scan(code, "SHIP-1").ok
    page = browser.new_page()
    shop.sign_in(page, f"/loads/{load}", Role.PACKER)
    replace_part(shop.database, 1, "chipped", **floor.act())
    page.get_by_text("The truck leaves").click()
    with page.expect_response(lambda answer: answer.url.endswith("/ship")) as answered:
        page.get_by_role("button", name="It has left").click()
    assert answered.value.status == 409
    expect(page.get_by_role("alert")).to_contain_text("would leave boxes of its jobs behind")
    assert floor.box(floor.box_101).state == "loaded"
    page.close()


def test_a_foreman_beside_the_packer_lets_a_box_stay_and_the_page_tells_it_afterwards(
    shop: Shop, browser: Browser
) -> None:
    floor, page = shop.floor, browser.new_page()
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    add_person(shop.database, "Fay Fore", Role.FOREMAN, password="the word of a foreman", now=floor.tick())  # noqa: S106
    shop.sign_in(page, "/loads/new?job=J-1", Role.PACKER)
    expect(page.locator(".stays")).to_contain_text("box 101: open, lacks 2 parts, 1 kind of item not counted")
    page.get_by_role("button", name="1 of 2 boxes of J-1").click()
    expect(page.get_by_role("status")).to_contain_text("Stays behind: 101")
    page.get_by_role("button", name="Plan the load").click()
    load = page.url.rpartition("/")[2]
    for code in (load, floor.box_102):
        assert floor.scan(code, "SHIP-1").ok
    page.reload()
    page.get_by_text("The truck leaves").click()
    page.get_by_label("Why do they stay?").fill("the deck is late")
    page.get_by_label("Foreman's name").fill("Fay Fore")
    page.get_by_label("Password").fill("a guess")
    page.get_by_role("button", name="It has left without them").click()
    expect(page.get_by_role("alert")).to_contain_text("is not a foreman's")
    assert floor.box(floor.box_102).state == "loaded"
    page.get_by_text("The truck leaves").click()
    page.get_by_label("Why do they stay?").fill("the deck is late")
    page.get_by_label("Foreman's name").fill("Fay Fore")
    page.get_by_label("Password").fill("the word of a foreman")
    page.get_by_role("button", name="It has left without them").click()
    stayed = page.get_by_role("region", name="1 box stayed behind")
    expect(stayed).to_contain_text("the deck is late")
    expect(stayed).to_contain_text("Fay Fore")
    page.goto(f"{shop.address}/")
    expect(page.get_by_role("main")).to_contain_text("1 of 2 boxes still owed")
    floor.check()
    page.close()
