"""A box and a board opened, in a real browser."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.floor import END, Floor
from tests.pages.conftest import CABINETS
from tests.pages.looking import violations
from tests.pages.served_shop import TODAY, Shop, served
from tracker.pages.bench.drawing import draw_bench, draw_layers, in_order
from tracker.records.box_contents import BoxView, boxes_of_job
from tracker.records.jobs import job_view
from tracker.shop.codes import Code, Kind
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.shop.supplies import read_packing
from tracker.work.boards import job_boards, plan_job_boards
from tracker.work.intake import read_json_order
from tracker.work.lists import shipped_standard
from tracker.work.orders import take_order

CARTONS = Path(__file__).parents[2].joinpath("seed_data/cartons.toml").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("boxes")) as shop:
        order = read_json_order(
            [], [], CABINETS, job="K-77", customer="Invented House", due=TODAY + timedelta(days=9),
            units=Units.MM, standard=shipped_standard(),
        )  # fmt: skip
        take_order(shop.database, order, packing=read_packing(CARTONS), **shop.floor.act())
        plan_job_boards(shop.database, "K-77", **shop.floor.act())
        yield shop


def cartons(shop: Shop) -> list[BoxView]:
    with shop.database.read() as connection:
        job = job_view(connection, "K-77")
        assert job is not None
        return boxes_of_job(connection, job.id, limit=50)


def test_a_box_shows_its_content_in_the_order_of_laying_and_where_each_part_is(page: Page, shop: Shop) -> None:
    floor = shop.floor
    floor.scan(floor.toe_kick, "PACK-1")
    shop.sign_in(page, f"/boxes/{floor.box_101}", Role.STATION)
    rows = page.get_by_role("row").all_inner_texts()
    assert "Deck" in rows[1]
    assert "not yet seen" in rows[1]
    assert "packed" in rows[2]
    assert "PACK-1" in rows[2]
    text = page.get_by_role("main").inner_text()
    assert "1 part missing" in text
    assert "2 × spring pin 8 mm" in text
    label = page.get_by_alt_text("The label of the box")
    label.scroll_into_view_if_needed()  # it is loaded when it is looked at
    expect(label).to_have_js_property("complete", True)
    assert label.evaluate("image => image.naturalWidth > 0")
    assert page.locator(".layers").count() == 0  # no carton was planned for it
    assert violations(page) == []


def test_a_carton_is_drawn_layer_by_layer_with_each_part_once(page: Page, shop: Shop) -> None:
    box = cartons(shop)[0]
    shop.sign_in(page, f"/boxes/{box.code}", Role.STATION)
    # As at the bench while it is laid: the same numbers, the same side up.
    drawn = [slab for _number, layer in draw_layers(box) for slab in layer.slabs]
    assert sorted(slab.number for slab in drawn) == list(range(1, len(box.parts) + 1))
    assert page.locator(".drawing").count() == len({place.layer for place in box.places.values()})
    at_bench = draw_bench(box)
    assert at_bench is not None
    laid = {slab.number: (slab.wide, slab.tall) for slab in at_bench.plan.slabs}
    assert laid.items() <= {slab.number: (slab.wide, slab.tall) for slab in drawn}.items()
    listed = page.locator("section[aria-labelledby=parts] tbody tr").all_inner_texts()
    assert all(part.code in row for part, row in zip(in_order(box), listed, strict=True))
    assert violations(page) == []


def test_a_box_leads_to_its_labels_and_to_a_load(page: Page, shop: Shop) -> None:
    shop.sign_in(page, f"/boxes/{shop.floor.box_102}", Role.PACKER)
    with page.expect_navigation():
        page.get_by_role("link", name="Plan a load").click()
    assert page.get_by_role("checkbox", checked=True).get_attribute("value") == shop.floor.box_102
    page.goto(f"{shop.address}/boxes/{shop.floor.box_102}")
    with page.expect_navigation():
        page.get_by_role("link", name="Look at them and print").click()
    assert page.get_by_role("heading", name="2 labels").is_visible()


def test_a_board_shows_the_parts_that_come_off_it(page: Page, shop: Shop) -> None:
    board = job_boards(shop.database, "K-77")[0]
    shop.sign_in(page, f"/boards/{board.code}", Role.STATION)
    assert page.locator(".plan g").count() == len(board.parts)
    assert page.get_by_role("row").count() == len(board.parts) + 1
    assert violations(page) == []


@pytest.mark.parametrize("path", ["/boxes/B0000000134", f"/boxes/{Code(Kind.BOX, 99)}", f"/boards/{Code(Kind.BOX, 1)}"])
def test_what_is_not_there_is_not_found(browser: Browser, shop: Shop, path: str) -> None:
    page = browser.new_page()
    shop.sign_in(page, "/search", Role.STATION)
    answer = page.goto(shop.address + path)
    assert answer is not None
    assert answer.status == 404
    page.close()


def sealed_box(floor: Floor, name: str) -> BoxView:
    """Take a job of one end and seal its box."""
    floor.take(name, parts=(END,), items=())
    with floor.database.read() as connection:
        job = job_view(connection, name)
        assert job is not None
        (box,) = boxes_of_job(connection, job.id, limit=2)
    for code in (box.code, box.parts[0].code):
        assert floor.scan(code, "PACK-1").ok
    floor.seal(box.code)
    return box


def test_a_foreman_opens_a_sealed_box_again_with_a_reason(browser: Browser, shop: Shop) -> None:
    page, floor = browser.new_page(), shop.floor
    box = sealed_box(floor, "O-1")
    shop.sign_in(page, f"/boxes/{box.code}", Role.PACKER)
    expect(page.get_by_text("Open again")).to_have_count(0)
    shop.sign_in(page, f"/boxes/{box.code}", Role.FOREMAN)
    page.get_by_text("Open again").click()
    why = page.get_by_label("Why?")
    why.fill("   ")
    with page.expect_navigation():
        page.get_by_role("button", name=re.compile("^Open box")).click()
    expect(page.get_by_role("alert")).to_contain_text("Write why the box is opened again.")
    assert violations(page) == []
    why.fill("a hinge  lies on the bench")
    with page.expect_navigation():
        page.get_by_role("button", name=re.compile("^Open box")).click()
    expect(page.get_by_role("status").first).to_contain_text("Opened again.")
    expect(page.get_by_role("main")).to_contain_text("opened again: a hinge lies on the bench.")
    assert floor.box(box.code).state == "complete"
    floor.check()
    page.close()


def test_a_box_that_was_loaded_meanwhile_stays_closed_and_the_page_says_so(browser: Browser, shop: Shop) -> None:
    page, floor = browser.new_page(), shop.floor
    box = sealed_box(floor, "O-2")
    load = floor.plan(box.code)
    shop.sign_in(page, f"/boxes/{box.code}", Role.FOREMAN)
    floor.scan(load, "SHIP-1")
    floor.scan(box.code, "SHIP-1")
    page.get_by_text("Open again").click()
    page.get_by_label("Why?").fill("one more look")
    with page.expect_navigation():
        page.get_by_role("button", name=re.compile("^Open box")).click()
    expect(page.get_by_role("alert")).to_contain_text("is already loaded")
    expect(page.get_by_text("Open again")).to_have_count(0)
    assert floor.box(box.code).state == "loaded"
    page.close()


def test_a_foreman_holds_a_box_with_one_tap_and_lets_it_go_again(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/missing", Role.FOREMAN)
    page.get_by_role("button", name="Hold box 101").first.click()
    page.wait_for_url(lambda url: url.endswith("/missing#box-1"))  # where it was, and not at the top
    expect(page.get_by_role("status").filter(has_text="Box 101 is on hold.")).to_be_visible()
    expect(page.get_by_text("box on hold").first).to_be_visible()
    page.goto(f"{shop.address}/boxes/{shop.floor.box_101}")
    expect(page.locator(".state")).to_contain_text("on hold")
    page.get_by_role("button", name="Let box 101 go").click()
    expect(page.locator(".state")).not_to_contain_text("on hold")
    assert not shop.floor.box(shop.floor.box_101).held
    shop.sign_in(page, f"/boxes/{shop.floor.box_101}", Role.PACKER)
    expect(page.get_by_role("button", name="Hold box")).to_have_count(0)
