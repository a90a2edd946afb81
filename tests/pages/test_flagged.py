"""The foreman settles scans that contradict what happened meanwhile; clocks that are wrong are shown where it helps."""

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.floor import scan_of
from tests.pages.looking import SIZES, fits, violations
from tests.pages.served_shop import TOKENS, Shop, served
from tracker.records.contradictions import settled_contradictions
from tracker.shop.codes import part_code, read_code
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.work.jobs import cancel_job
from tracker.work.loads import take_off_load
from tracker.work.replace import replace_part
from tracker.work.scanning.batch import Sender, take_scans

HOUR = timedelta(hours=1)
LATER = timedelta(minutes=1)


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    with served(tmp_path) as running:
        yield running


@pytest.fixture
def anybody(browser: Browser) -> Iterator[Page]:
    """A page at which refusals are expected: the browser complains of them."""
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    yield context.new_page()
    context.close()


def packed_late(shop: Shop) -> str:
    """The toe kick was packed offline into box 101, which was sealed short meanwhile; return the follow-up box."""
    floor = shop.floor
    floor.scan(floor.deck, "PACK-1")
    before = floor.tick()
    floor.clock += LATER
    follow_up = floor.seal(floor.box_101, {"spring pin 8 mm": 2}, override="the truck waits").follow_up
    assert follow_up is not None
    floor.scan(floor.toe_kick, "PACK-1", at=before)
    return follow_up


def replaced_late(shop: Shop) -> str:
    """The end was replaced and turns up; return the code of the new one."""
    floor = shop.floor
    before = floor.tick()
    floor.clock += LATER
    new = part_code(replace_part(floor.database, 3, "lost", **floor.act()))
    floor.scan(floor.end, "CUT-1", at=before)
    return new


def loaded_late(shop: Shop) -> str:
    """Box 102 was scanned onto a load offline, and taken off it meanwhile; return the load."""
    floor = shop.floor
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_102)
    before = floor.tick()
    floor.clock += LATER
    take_off_load(floor.database, read_code(load).number, 2, **floor.act())
    floor.scan(floor.box_102, "SHIP-1", at=before)
    return load


def wrong_clock(shop: Shop, off: timedelta, device: str = "token 1") -> None:
    now = datetime.now(UTC)
    sender = Sender(name="a station", device=device)
    scan = scan_of(shop.floor.deck, "CUT-1", now + off)
    take_scans(shop.database, [scan], sender, now, sent=now + off)


def test_a_box_that_stands_on_the_truck_after_all_counts_there_by_a_foremans_word(shop: Shop, page: Page) -> None:
    load = loaded_late(shop)
    shop.sign_in(page, "/flagged")
    card = page.get_by_role("region", name=shop.floor.box_102)
    expect(card).to_contain_text(f"Scanned onto load {load} before the box was taken off it, arrived after.")
    card.get_by_text(f"It is on load {load}: count it there").click()
    card.get_by_label("How do you know?").fill("the driver sent a picture")
    card.get_by_role("button", name="Yes, settle it so").first.click()
    expect(page.get_by_role("status")).to_have_text("Settled: It is on the load and is counted there.")
    page.goto(f"{shop.address}/loads/{load}")
    expect(page.get_by_role("main")).to_contain_text("loaded")
    page.goto(f"{shop.address}/boxes/{shop.floor.box_102}")
    expect(page.get_by_role("main")).to_contain_text(f"It is on load {load}: the driver sent a picture.")
    shop.floor.check()


def test_a_part_that_lies_in_the_sealed_box_is_settled_by_a_tap_a_reason_and_a_yes(shop: Shop, page: Page) -> None:
    follow_up = packed_late(shop)
    shop.sign_in(page, "/flagged")
    card = page.get_by_role("region", name="Toe kick")
    expect(card).to_contain_text(f"Scanned into box {shop.floor.box_101} before it was sealed, arrived after.")
    expect(card).to_contain_text(f"stays planned for box {follow_up}")
    card.get_by_text(f"It lies in box {shop.floor.box_101}: count it there").click()
    card.get_by_label("How do you know?").fill("cut the tape and looked")
    card.get_by_role("button", name="Yes, settle it so").click()
    expect(page.get_by_role("status")).to_have_text("Settled: It lies in the box and is counted there.")
    expect(page.locator("main")).to_contain_text("There is none.")
    assert shop.floor.part(shop.floor.toe_kick).packed
    page.get_by_role("link", name="Settled").click()
    settled = page.get_by_role("region", name="Toe kick")
    expect(settled).to_contain_text("It lies in the box and is counted there: cut the tape and looked")
    expect(settled).to_contain_text("a foreman")
    shop.floor.check()


def test_a_replaced_part_that_turned_up_gets_the_new_label(shop: Shop, page: Page) -> None:
    new = replaced_late(shop)
    shop.sign_in(page, "/flagged")
    card = page.get_by_role("region", name="End")
    card.get_by_text(f"Use the old piece: it gets the new label {new}").click()
    card.get_by_role("button", name="Yes, settle it so").click()
    expect(page.get_by_role("status")).to_contain_text("Settled")
    assert shop.floor.part(new).step == "pack"
    shop.floor.check()


def test_a_choice_that_is_no_longer_sound_is_refused_in_words(shop: Shop, anybody: Page) -> None:
    page, new = anybody, replaced_late(shop)
    shop.sign_in(page, "/flagged")
    shop.floor.scan(new, "CUT-1")
    card = page.get_by_role("region", name="End")
    card.get_by_text("Use the old piece").click()
    card.get_by_role("button", name="Yes, settle it so").click()
    expect(page.get_by_role("alert")).to_contain_text("things changed meanwhile")
    expect(card).not_to_contain_text("Use the old piece")
    card.get_by_text("It is waste: put it aside").click()
    card.get_by_role("button", name="Yes, settle it so").click()
    expect(page.get_by_role("status")).to_have_text("Settled: It is waste: put it aside.")


def test_a_grave_choice_without_a_reason_and_nonsense_are_refused(shop: Shop, page: Page) -> None:
    packed_late(shop)
    shop.sign_in(page, "/flagged")
    address = page.locator("section form").first.get_attribute("action")
    secret = page.locator("section [name=csrf_token]").first.input_value()

    def post(path: str, **form: str) -> int:
        return page.request.post(f"{shop.address}{path}", form={"csrf_token": secret, **form}, max_redirects=0).status

    assert address is not None
    assert post(address, choice="in_box", reason=" ") == 422
    assert post(address, choice="eat_it", reason="hungry") == 422
    assert post("/flagged/1/settle", choice="seen") == 404
    assert post(f"/flagged/{2**64}/settle", choice="seen") == 404
    assert post(address, choice="leave") == 303
    assert post(address, choice="leave") == 409


def test_who_is_no_foreman_reads_but_does_not_settle(shop: Shop, page: Page) -> None:
    packed_late(shop)
    shop.sign_in(page, "/flagged", role=Role.PACKER)
    card = page.get_by_role("region", name="Toe kick")
    expect(card).to_contain_text("A foreman settles it.")
    expect(card.locator("form")).to_have_count(0)


def test_the_page_goes_on_where_there_are_many(shop: Shop, page: Page) -> None:
    floor = shop.floor
    floor.seal_both()
    for _ in range(11):
        for code in (floor.deck, floor.end):
            floor.scan(code, "PACK-1", action=Action.DAMAGED)
    shop.sign_in(page, "/flagged")
    expect(page.get_by_role("link", name="To settle: 22")).to_be_visible()
    expect(page.locator("section.box")).to_have_count(20)
    page.get_by_role("link", name="More of them").click()
    expect(page.locator("section.box")).to_have_count(2)


@pytest.mark.parametrize(("language", "scheme"), [("en", "light"), ("es", "dark")])
def test_the_page_is_readable_and_fits_in_every_size(
    shop: Shop, browser: Browser, language: str, scheme: str, shots: Path | None
) -> None:
    packed_late(shop)
    replaced_late(shop)
    shop.floor.scan(shop.floor.deck, "PACK-1", action=Action.DAMAGED)
    cancel_job(shop.database, "J-1", **shop.floor.act())
    wrong_clock(shop, -3 * HOUR)
    context = browser.new_context(locale=language, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(f"{shop.address}/sign-in")
    page.locator("details:has(#token) summary").click()
    page.locator("#token").fill(TOKENS[Role.FOREMAN])
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)
    for path in ("/flagged", "/flagged?settled=1", "/stations"):
        page.goto(f"{shop.address}{path}")
        for summary in page.locator(".acts summary").all():
            summary.click()
        assert violations(page) == []
        for size in ("tablet", "phone"):
            width, height = SIZES[size]
            page.set_viewport_size({"width": width, "height": height})
            assert fits(page), (path, size)
            if shots is not None:
                name = path.strip("/").replace("?", "-").replace("=", "-")
                page.screenshot(path=shots / f"{name}-{size}-{scheme}.png", full_page=True)
    context.close()


def test_a_wrong_clock_is_shown_to_the_foreman_and_at_the_stations(shop: Shop, page: Page) -> None:
    wrong_clock(shop, 2 * HOUR)
    shop.sign_in(page, "/flagged")
    says = "The clock of a station is fast by 2 hours. Its scans are placed by the right time; set the clock."
    expect(page.locator(".clock")).to_contain_text(says)
    page.goto(f"{shop.address}/stations")
    expect(page.get_by_role("region", name="CUT-1")).to_contain_text(says)
    expect(page.get_by_role("region", name="BAND-1")).not_to_contain_text("clock")


def test_a_station_with_a_wrong_clock_is_told_so_and_its_scan_is_placed_right(shop: Shop, page: Page) -> None:
    page.clock.install(time=datetime.now(UTC) - 3 * HOUR)
    shop.sign_in(page, "/station/CUT-1", role=Role.STATION)
    page.locator("#code").fill(shop.floor.deck)
    page.locator("#code").press("Enter")
    expect(page.locator("#answer")).to_contain_text("Done")
    expect(page.locator("#answer")).to_contain_text("This device's clock is slow by 3 hours.")
    seen = shop.floor.part(shop.floor.deck).last_seen
    assert seen is not None
    assert abs(datetime.now(UTC) - seen.at) < timedelta(minutes=2)


def test_the_call_lists_what_may_be_chosen_and_settles(shop: Shop, page: Page) -> None:
    follow_up = packed_late(shop)
    headers = {"Authorization": f"Bearer {TOKENS[Role.FOREMAN]}"}
    listed = page.request.get(f"{shop.address}/api/v1/flagged", headers=headers).json()
    (item,) = listed["items"]
    assert (item["kind"], item["part"], item["box"]) == ("packed", shop.floor.toe_kick, shop.floor.box_101)
    assert [(each["choice"], each["wants_reason"]) for each in item["choices"]] == [("in_box", True), ("leave", False)]
    assert follow_up in item["choices"][1]["says"]
    path = f"{shop.address}/api/v1/flagged/{item['seq']}/settle"
    refused = page.request.post(path, headers=headers, data={"choice": "in_box"})
    assert (refused.status, refused.json()["errors"][0]["where"]) == (422, {"field": "reason"})
    settled = page.request.post(path, headers=headers, data={"choice": "leave", "reason": "nothing in it"}).json()
    assert (settled["settled"]["choice"], settled["settled"]["reason"], settled["choices"]) == (
        *("leave", "nothing in it"),
        [],
    )
    assert page.request.post(path, headers=headers, data={"choice": "leave"}).status == 409
    assert page.request.get(f"{shop.address}/api/v1/flagged", headers=headers).json()["items"] == []
    done = page.request.get(f"{shop.address}/api/v1/flagged?settled=true", headers=headers).json()
    assert [each["seq"] for each in done["items"]] == [item["seq"]]
    with shop.database.read() as connection:
        (kept,) = settled_contradictions(connection, limit=2)
    assert kept.part_id == read_code(shop.floor.toe_kick).number


def test_the_call_for_scans_corrects_a_clock_and_says_so(shop: Shop, page: Page) -> None:
    headers = {"Authorization": f"Bearer {TOKENS[Role.STATION]}"}
    said = datetime.now(UTC) - 2 * HOUR
    scan = {"id": "7b0c3b0e-6a53-4c8e-9d2f-0a5f4f7f6c11", "code": shop.floor.deck, "station": "CUT-1"}
    body = {"scans": [{**scan, "at": said.isoformat()}], "sent_at": said.isoformat()}
    answer = page.request.post(f"{shop.address}/api/v1/scans", headers=headers, data=body).json()
    assert answer["results"][0]["outcome"] == "done"
    assert answer["clock_ahead_s"] == pytest.approx(-7200, abs=60)
    (entry,) = page.request.get(f"{shop.address}/api/v1/parts/{shop.floor.deck}", headers=headers).json()["history"]
    assert datetime.fromisoformat(entry["said_at"]) == said
    assert datetime.fromisoformat(entry["at"]) > said + HOUR


def test_the_button_names_the_late_scan_that_an_undo_would_take_back_and_it_is_that_one(shop: Shop, page: Page) -> None:
    floor = shop.floor
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(floor.box_101, "SHIP-1")
    scanned = floor.tick()
    floor.clock += 2 * LATER
    take_off_load(shop.database, read_code(load).number, 2, **floor.act())
    shop.sign_in(page, "/station/SHIP-1")
    undo = page.locator("#undo")
    expect(undo).to_have_text("Take back Box 101 of J-1")
    floor.scan(floor.box_102, "SHIP-1", at=scanned)
    expect(undo).to_have_text("Take back Box 102 of J-1")
    undo.click()
    expect(page.locator("#answer .told-word")).to_have_text("Taken back")
    expect(page.locator("#answer")).to_contain_text("Box 102")
    expect(undo).to_have_text("Take back Box 101 of J-1")
    assert floor.box(floor.box_101).state == "loaded"
    floor.check()
