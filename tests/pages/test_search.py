"""Search, in a real browser: by each kind of thing that stands on a label, typed or scanned."""

from collections.abc import Iterator
from datetime import timedelta

import pytest
from playwright.sync_api import Page, expect

from tests.pages.conftest import CABINETS
from tests.pages.looking import violations
from tests.pages.scanning import Scanner
from tests.pages.served_shop import TODAY, Shop, served
from tracker.records.access import list_stations
from tracker.shop.codes import COMMAND_NUMBERS, Code, Kind
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.work.access import add_slot
from tracker.work.boards import job_boards, plan_job_boards
from tracker.work.intake import read_json_order
from tracker.work.lists import shipped_standard
from tracker.work.orders import take_order


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    with served(tmp_path_factory.mktemp("search")) as shop:
        order = read_json_order(
            [], [], CABINETS, job="K-77", customer="Ávila House, invented", due=TODAY + timedelta(days=9),
            units=Units.MM, standard=shipped_standard(),
        )  # fmt: skip
        take_order(shop.database, order, **shop.floor.act())
        plan_job_boards(shop.database, "K-77", **shop.floor.act())
        add_slot(shop.database, "RACK-7")
        shop.floor.scan(shop.floor.deck, "CUT-1")
        shop.floor.scan(shop.floor.deck, "CUT-1", action=Action.PLACE, slot="RACK-7")
        yield shop


def search(page: Page, shop: Shop, text: str) -> str:
    page.goto(f"{shop.address}/search")
    field = page.get_by_role("searchbox")
    field.fill(text)
    field.press("Enter")
    page.wait_for_url("**/search?**")
    return page.get_by_role("main").inner_text()


def scan(page: Page, code: str) -> None:
    Scanner(page).pull(code)


@pytest.mark.parametrize(
    ("text", "heading", "found"),
    [
        ("k-7", "Jobs", "K-77 Ávila House, invented"),
        ("avila", "Jobs", "K-77"),
        ("102 k-77", "Cabinets", "102 of job K-77"),
        ("deck j-1", "Parts", "Deck P0000000134"),
        ("dk-1", "Programmes", "DK-1 of job J-1"),
        ("101 j-1", "Boxes", "101 B"),
        ("rack", "Stations and slots", "RACK-7"),
        ("cut-1", "Stations and slots", "station: cut"),
    ],
)
def test_each_kind_of_thing_is_found_by_its_name(page: Page, shop: Shop, text: str, heading: str, found: str) -> None:
    shop.sign_in(page, "/search", Role.STATION)
    search(page, shop, text)
    section = page.get_by_role("region", name=heading)
    assert found in " ".join(section.inner_text().split())
    assert violations(page) == []


def test_what_is_found_leads_to_its_page(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/search", Role.FOREMAN)
    search(page, shop, "deck j-1")
    with page.expect_navigation():
        page.get_by_role("link", name="Deck P0000000134").click()
    assert page.url == f"{shop.address}/find?code=P0000000134"
    search(page, shop, "k-77")
    with page.expect_navigation():
        page.get_by_role("link", name="K-77", exact=True).first.click()
    assert page.url == f"{shop.address}/jobs/K-77"


def test_a_code_leads_straight_to_what_it_names(page: Page, shop: Shop) -> None:
    load = shop.floor.plan(shop.floor.box_102)
    board = job_boards(shop.database, "K-77")[0].code
    shop.sign_in(page, "/search", Role.FOREMAN)
    for code, path in (
        (shop.floor.deck, f"/find?code={shop.floor.deck}"),
        (shop.floor.box_101.lower(), f"/boxes/{shop.floor.box_101}"),
        (load, f"/loads/{load}"),
        (board, f"/boards/{board}"),
    ):
        page.goto(f"{shop.address}/search?q={code}")
        assert page.url == shop.address + path
        assert page.get_by_role("main").get_by_role("heading", level=1).count() == 1


def test_the_codes_of_stations_slots_and_cards_say_what_they_are(page: Page, shop: Shop) -> None:
    with shop.database.read() as connection:
        station = Code(Kind.STATION, list_stations(connection)[0].id)
    shop.sign_in(page, f"/search?q={station}", Role.STATION)
    assert "A station for the step: cut." in page.get_by_role("main").inner_text()
    assert violations(page) == []
    page.goto(f"{shop.address}/search?q={Code(Kind.SLOT, 2)}")
    assert "1 part was last seen in this slot" in page.get_by_role("main").inner_text()
    assert "Deck" in page.get_by_role("main").inner_text()
    assert violations(page) == []
    page.goto(f"{shop.address}/search?q={Code(Kind.COMMAND, next(iter(COMMAND_NUMBERS)))}")
    assert "A command card" in page.get_by_role("main").inner_text()
    page.goto(f"{shop.address}/search?q={Code(Kind.WORKER, 1)}")
    assert "A badge" in page.get_by_role("main").inner_text()


def test_a_scanner_is_heard_on_any_of_the_offices_pages(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/labels", Role.FOREMAN)
    page.get_by_label("Job", exact=True).focus()
    scan(page, shop.floor.box_101)
    page.wait_for_url(f"**/boxes/{shop.floor.box_101}")


def test_a_misread_code_is_never_guessed_at(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/search?q=P0000000135", Role.STATION)
    assert "Scan again." in page.get_by_role("alert").inner_text()
    assert page.get_by_role("region").count() == 0
    assert violations(page) == []


def test_nothing_found_is_said_so(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/search", Role.STATION)
    assert "Nothing found." in search(page, shop, "<b>nowhere</b>")


def test_searching_by_keyboard_alone(page: Page, shop: Shop) -> None:
    shop.sign_in(page, "/search", Role.STATION)
    page.get_by_role("searchbox").focus()
    page.keyboard.type("toe j-1", delay=60)
    page.keyboard.press("Enter")
    expect(page.get_by_role("status").last).to_contain_text("found")
    link = page.get_by_role("link", name="Toe kick")
    for _ in range(20):
        page.keyboard.press("Tab")
        if link.evaluate("link => link === document.activeElement"):
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/find?code=*")
