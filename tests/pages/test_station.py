"""The station's screen in a real browser: a simulated keyboard scanner at a tablet's size."""

import json
import threading
import time
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from PIL import Image
from playwright.sync_api import Browser, Page, Route, expect

from tests.floor import END, Floor
from tests.pages.conftest import chromium, take_cabinets
from tests.pages.looking import readable, sign_in, sign_in_by_form, violations
from tests.pages.scanning import Scanner, last_rhythm, listen
from tests.pages.stoppable_shop import until
from tests.reading import picture_of
from tests.shops import app_of, sqlite_shop
from tracker.records.database import Database
from tracker.records.jobs import job_view
from tracker.records.logged import part_history
from tracker.records.parts import parts_of_job
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.codes import Code, Kind, box_code, part_code
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.access import add_station, make_token
from tracker.work.boards import job_boards, plan_job_boards
from tracker.work.jobs import hold_job
from tracker.work.people import add_person, make_badge, withdraw_person
from tracker.work.replace import replace_part

TOKEN = "a token for the stations"  # noqa: S105
SAME_LABEL_S = 1.6


def _filled(database: Database) -> None:
    floor = Floor(database)
    add_station(database, "SAW 2", Step.CUT)
    take_cabinets(database, floor)
    make_token(database, "Ana", Role.FOREMAN, secret=TOKEN.strip, now=floor.tick())


class Shop:
    """A service on a shop of its own, and the shop's floor to look at what was kept."""

    def __init__(self, folder: Path) -> None:
        self.database = sqlite_shop(folder / "shop.db", fill=_filled)
        self.floor = Floor.found_on(self.database, datetime.now(UTC) - timedelta(hours=1))
        settings = Settings(data_dir=folder, database_url=str(self.database.url), secret_key="for tests")  # noqa: S106
        self.server = Server(app_of(settings, self.database), host="127.0.0.1", port=0)
        self.thread = threading.Thread(target=self.server.run)
        self.thread.start()
        self.site = self.server.address

    def first_part(self, job_code: str) -> str:
        """The code of a job's first part."""
        with self.database.read() as connection:
            job = job_view(connection, job_code)
            assert job is not None
            return parts_of_job(connection, job.id, limit=1)[0].code

    def stop(self) -> None:
        self.server.stop()
        self.thread.join()
        self.database.close()


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[Shop]:
    running = Shop(tmp_path)
    yield running
    running.stop()


@pytest.fixture
def page(shop: Shop, page: Page) -> Page:
    """The page, closed before its service stops."""
    return page


def open_station(page: Page, shop: Shop, station: str = "CUT-1") -> None:
    sign_in(page, shop.site, TOKEN)
    page.goto(f"{shop.site}/station/{station}")


class StationScanner(Scanner):
    """A scanner at the station's screen."""

    def read(self, code: str) -> str:
        """Read one label and return the word of the answer."""
        before = self.page.locator("#answer").inner_html()
        self.pull(code)
        answered = """before => {
            const { innerHTML, dataset } = document.getElementById("answer");
            return innerHTML !== before && dataset.outcome !== "kept"; // on a busy machine it may be told as kept first
        }"""
        self.page.wait_for_function(answered, arg=before)
        return self.page.locator("#answer .told-word").inner_text()


def answer(page: Page) -> str:
    return page.locator("#answer").inner_text()


# The station is chosen once


def test_the_station_is_chosen_once_and_the_device_goes_straight_there(page: Page, shop: Shop) -> None:
    sign_in(page, shop.site, TOKEN)
    page.goto(f"{shop.site}/station")
    assert violations(page) == []
    page.get_by_role("link", name="SAW 2 cut").click()
    page.wait_for_url("**/station/SAW%202")
    page.goto(f"{shop.site}/station")
    page.wait_for_url("**/station/SAW%202")
    page.get_by_role("link", name="Other station").click()
    page.get_by_role("link", name="CUT-1 cut").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("CUT-1 cut")


def test_a_paired_tablet_goes_straight_to_its_own_station_and_to_no_other(browser: Browser, shop: Shop) -> None:
    make_token(shop.database, "Saw", Role.STATION, "SAW 2", secret="the saw".strip, now=shop.floor.tick())
    page = browser.new_page()
    sign_in(page, shop.site, "the saw")
    for path in ("station", "station/CUT-1"):
        page.goto(f"{shop.site}/{path}")
        assert page.url.endswith("/station/SAW%202")
    assert StationScanner(page).read(shop.floor.deck) == "Done"
    assert page.get_by_role("link", name="Other station").count() == 0
    refused = post(page, "/station/CUT-1/scan", {"id": str(uuid4()), "at": "2027-03-05T09:30:00Z", "code": "P1"})
    assert refused["data"]["outcome"] == "unknown"
    page.close()


def test_after_a_badge_the_scans_are_its_holders(browser: Browser, shop: Shop) -> None:
    make_token(shop.database, "Saw", Role.STATION, "SAW 2", secret="the saw".strip, now=shop.floor.tick())
    number = add_person(shop.database, "Bea", Role.STATION, password=None, now=shop.floor.tick())
    badge = make_badge(shop.database, number, now=shop.floor.tick())
    page = browser.new_page()
    sign_in(page, shop.site, "the saw")
    page.goto(f"{shop.site}/station")
    scanner = StationScanner(page)
    assert scanner.read(str(Code(Kind.WORKER, 99))) == "Not taken"
    assert scanner.read(badge) == "Hello, Bea"
    assert page.locator("#who").inner_text() == "Bea"
    assert scanner.read(shop.floor.deck) == "Done"
    with shop.database.read() as connection:
        assert part_history(connection, 1, 1, limit=1)[0].who == "Bea"
    page.reload()
    assert page.locator("#who").inner_text() == "Bea"
    page.close()


def test_a_tablet_without_a_badge_asks_for_one_and_takes_scans_all_the_same(browser: Browser, shop: Shop) -> None:
    make_token(shop.database, "tablet at SAW 2", Role.STATION, "SAW 2", secret="the saw".strip, now=shop.floor.tick())
    number = add_person(shop.database, "Bea", Role.STATION, password=None, now=shop.floor.tick())
    badge = make_badge(shop.database, number, now=shop.floor.tick())
    colleague = add_person(shop.database, "Cleo", Role.STATION, password=None, now=shop.floor.tick())
    make_badge(shop.database, colleague, now=shop.floor.tick())
    page = browser.new_page()
    sign_in(page, shop.site, "the saw")
    page.goto(f"{shop.site}/station")
    hint = page.locator("#nobody")
    assert hint.inner_text() == "Scan your badge first"
    scanner = StationScanner(page)
    assert scanner.read(shop.floor.deck) == "Done"
    assert hint.is_visible()
    scanner.read(badge)
    expect(hint).to_be_hidden()
    withdraw_person(shop.database, number, now=shop.floor.tick())
    expect(hint).to_be_visible()
    assert page.locator("#who").inner_text() == "tablet at SAW 2"
    page.close()


def test_nobody_is_asked_for_a_badge_who_has_signed_in(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    assert not page.locator("#nobody").is_visible()


def test_a_tablet_is_called_one_in_the_readers_language(browser: Browser, shop: Shop) -> None:
    make_token(shop.database, "tablet at SAW 2", Role.STATION, "SAW 2", secret="the saw".strip, now=shop.floor.tick())
    page = browser.new_page(locale="es")
    page.goto(f"{shop.site}/sign-in")
    page.locator("details:has([name=token]) > summary").click()
    page.locator("[name=token]").fill("the saw")
    page.keyboard.press("Enter")
    page.wait_for_url("**/station/SAW%202")
    assert page.locator("#who").inner_text() == "tableta de SAW 2"
    assert page.locator(".menu > summary").inner_text() == "tableta de SAW 2"
    page.close()


def test_a_benchs_tablet_is_led_to_the_packers_screen(browser: Browser, shop: Shop) -> None:
    make_token(shop.database, "Bench", Role.STATION, "PACK-1", secret="the bench".strip, now=shop.floor.tick())
    page = browser.new_page()
    sign_in_by_form(page, shop.site, "the bench")
    assert page.url.endswith("/pack/PACK-1")
    assert page.locator("#nobody").count() == 0, "nobody in this shop has a badge"
    number = add_person(shop.database, "Bea", Role.PACKER, password=None, now=shop.floor.tick())
    make_badge(shop.database, number, now=shop.floor.tick())
    page.reload()
    assert page.locator("#nobody").inner_text() == "Scan your badge first"
    page.close()


# A scan is one word, one sound, one next action


def test_a_scan_says_done_names_the_part_and_where_it_goes_next(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    page.context.add_cookies([{"name": "language", "value": "es", "url": page.url}])  # chosen in another page
    scanner = StationScanner(page)
    assert scanner.read(shop.floor.deck) == "Done"
    told = answer(page)
    for fact in ("Deck", "cabinet 101", "J-1", "machine", "MACHINE-1", shop.floor.box_101):
        assert fact in told
    assert page.locator("#answer").get_attribute("data-sound") == "ok"
    assert "banded edges: L1" in (page.locator("#answer svg.outline").get_attribute("aria-label") or "")
    assert shop.floor.part(shop.floor.deck).step == "machine"
    shop.floor.check()


def test_a_designed_part_shows_its_joints_and_the_arrow_to_the_front(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    StationScanner(page).read(part_code(4))
    title = page.locator("#answer svg.outline").get_attribute("aria-label") or ""
    assert "joints: " in title
    assert "front is " in title


def test_each_kind_of_answer_has_its_own_word_and_sound(page: Page, shop: Shop) -> None:
    floor = shop.floor
    floor.scan(floor.toe_kick, "CUT-1", action=Action.DAMAGED)
    replace_part(shop.database, 2, "chipped", **floor.act())
    floor.take("J-9", items=())
    hold_job(shop.database, "J-9", **floor.act())
    held = shop.first_part("J-9")
    open_station(page, shop)
    scanner = StationScanner(page)

    def told(code: str) -> tuple[str, str | None]:
        return scanner.read(code), page.locator("#answer").get_attribute("data-sound")

    assert told(floor.deck) == ("Done", "ok")
    scanner.rest(SAME_LABEL_S)
    assert told(floor.deck) == ("Already counted", "look")
    assert told(floor.deck[:-1] + str((int(floor.deck[-1]) + 1) % 10)) == ("Scan again", "look")
    assert told(part_code(99_999)) == ("Unknown", "stop")
    assert told(floor.toe_kick) == ("Old label", "stop")
    assert "took its place" in answer(page)
    assert told(box_code(1)) == ("Not here", "stop")
    assert told(held) == ("On hold", "stop")
    assert "J-9" in answer(page)
    shop.floor.check()


def test_what_was_said_of_the_part_before_fades_as_soon_as_the_next_is_read(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    scanner.read(shop.floor.deck)
    page.evaluate("""() => {
        const answer = document.getElementById("answer");
        window.faded = [];
        new MutationObserver(() => answer.classList.contains("old") && window.faded.push(answer.innerText))
          .observe(answer, { attributes: true });
    }""")
    assert scanner.read(shop.floor.end) == "Done"
    assert all("Deck" in told for told in page.evaluate("window.faded"))
    assert page.evaluate("window.faded.length") > 0
    assert "old" not in (page.locator("#answer").get_attribute("class") or "")


def test_too_early_says_where_to_bring_it(page: Page, shop: Shop) -> None:
    open_station(page, shop, "SHIP-1")
    scanner = StationScanner(page)
    assert scanner.read(shop.floor.deck) == "Too early"
    assert "A part ships in its box" in answer(page)


def test_a_part_of_another_box_is_told_its_own_box_and_the_packers_screen_is_pointed_to(page: Page, shop: Shop) -> None:
    open_station(page, shop, "PACK-1")
    scanner = StationScanner(page)
    scanner.read(shop.floor.box_101)
    assert scanner.read(shop.floor.end) == "Wrong box"
    assert "It belongs in box 102, not in box 101." in answer(page)
    assert page.get_by_role("link", name="To the packer's screen").get_attribute("href") == "/pack/PACK-1"


def test_a_board_passes_all_its_parts_and_is_taken_back_as_one(page: Page, shop: Shop) -> None:
    plan_job_boards(shop.database, "J-1", **shop.floor.act())
    (board,) = job_boards(shop.database, "J-1")
    open_station(page, shop)
    assert StationScanner(page).read(board.code) == "Done"
    assert "Board 1, job J-1" in answer(page)
    assert "Cut: 3 parts of the board." in answer(page)
    expect(page.locator("#recent li[data-sound]")).to_have_count(1)
    page.get_by_role("button", name="Take back").click()
    expect(page.locator("#answer .told-word")).to_have_text("Taken back")
    assert "The parts of board 1 no longer count as cut." in answer(page)
    expect(page.locator("#recent li[data-sound]")).to_have_count(2)
    shop.floor.check()


def test_each_kind_of_answer_sounds_in_a_rhythm_of_its_own(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    listen(page)
    scanner = StationScanner(page)
    heard = []
    for code in (shop.floor.deck, "P0000000000", part_code(99_999)):
        scanner.read(code)
        heard.append(last_rhythm(page))
    assert heard == [1, 2, 3]


# The scanner


def test_labels_one_right_after_the_other_are_counted_without_touching_the_screen(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    codes = [part_code(number) for number in range(1, 11)]
    for code in codes:
        scanner.pull(code)
    expect(page.locator("#recent li[data-sound=ok]")).to_have_count(len(codes))
    assert all("cut" not in (shop.floor.part(code).step or "") for code in codes)
    shop.floor.check()


def test_the_same_label_read_twice_at_once_is_counted_once(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    assert scanner.read(shop.floor.deck) == "Done"
    scanner.pull(shop.floor.deck, at_once=True)
    expect(page.locator("#twice")).to_have_text("Read twice, counted once.")
    assert scanner.read(shop.floor.end) == "Done"
    expect(page.locator("#recent li[data-sound]")).to_have_count(2)


def test_a_scan_presses_no_button_and_leaves_nothing_in_a_field(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    page.locator("#undo").focus()
    assert scanner.read(shop.floor.deck) == "Done"
    page.locator("#code").fill("P00")
    page.locator("#code").focus()
    assert scanner.read(shop.floor.end) == "Done"
    assert page.locator("#code").input_value() == "P00"
    shop.floor.check()
    assert shop.floor.part(shop.floor.deck).step == "machine"


def test_a_scan_whose_answer_was_lost_is_sent_again_and_counts_once(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()  # a failed request is a console error by nature
    open_station(page, shop)
    ids: list[str] = []

    def lose(route: Route) -> None:
        ids.append((route.request.post_data_json or {})["id"])
        response = route.fetch()
        if len(ids) == 1:
            route.fulfill(status=503, body="{}", content_type="application/json")
        else:
            route.fulfill(response=response)

    page.route("**/scan", lose)
    StationScanner(page).pull(shop.floor.deck)
    expect(page.locator("#answer")).to_have_attribute("data-outcome", "done")
    StationScanner(page).pull(shop.floor.end)
    expect(page.locator("#recent li[data-sound=ok]")).to_have_count(2)
    assert ids[0] == ids[1] != ids[2]
    shop.floor.check()
    page.close()


def test_a_scan_that_the_service_fails_over_does_not_hold_up_the_next(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    open_station(page, shop)

    def fail(route: Route) -> None:
        if shop.floor.deck in (route.request.post_data or ""):
            route.fulfill(status=500, json={"detail": "The service failed."})
        else:
            route.continue_()

    page.route("**/scan", fail)
    scanner = StationScanner(page)
    scanner.pull(shop.floor.deck)
    scanner.pull(shop.floor.end)
    expect(page.locator("#unsent-says")).to_contain_text("Not yet sent: 2,")
    expect(page.locator("#recent li[data-sound=ok]")).to_have_count(1)
    expect(page.locator("#corrections li")).to_have_count(1)
    expect(page.locator("#corrections")).to_contain_text("The service failed.")
    page.close()


# By hand, by camera, by photo


def test_a_code_can_be_typed(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    page.get_by_label("Type a code").fill(shop.floor.deck.lower())
    page.get_by_role("button", name="Enter", exact=True).click()
    expect(page.locator("#answer .told-word")).to_have_text("Done")
    assert page.get_by_label("Type a code").input_value() == ""


def photo_of(code: str) -> bytes:
    buffer = BytesIO()
    picture_of(code, 300).save(buffer, "JPEG")
    return buffer.getvalue()


def test_a_photo_of_a_label_counts_as_a_scan(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    files = {"name": "label.jpg", "mimeType": "image/jpeg", "buffer": photo_of(shop.floor.deck)}
    page.get_by_label("Photo of a label").set_input_files(files)  # type: ignore[arg-type]
    expect(page.locator("#answer .told-word")).to_have_text("Done")
    assert shop.floor.part(shop.floor.deck).step == "machine"


@pytest.mark.parametrize("shows", ["bars", "link"])
def test_a_browser_that_reads_codes_itself_asks_the_server_nothing(page: Page, shop: Shop, shows: str) -> None:
    """Debian's Chromium has no decoder of its own (Shape Detection API): one that sees what is given stands in."""
    link = f"HTTPS://SHOP.EXAMPLE/Q/{shop.floor.deck}/ABCDEFGH"
    seen = shop.floor.deck.lower() if shows == "bars" else link
    page.add_init_script(
        f"window.BarcodeDetector = class {{ async detect() {{ return [{{ rawValue: {json.dumps(seen)} }}]; }} }};"
    )
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    open_station(page, shop)
    files = {"name": "label.jpg", "mimeType": "image/jpeg", "buffer": photo_of(shop.floor.end)}
    page.get_by_label("Photo of a label").set_input_files(files)  # type: ignore[arg-type]
    expect(page.locator("#answer .told-word")).to_have_text("Done")
    assert shop.floor.part(shop.floor.deck).step == "machine"
    assert not [url for url in asked if url.endswith("/station/picture")]


def test_a_photo_without_a_label_says_what_to_do(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    buffer = BytesIO()
    Image.new("L", (400, 300), 90).save(buffer, "PNG")
    files = {"name": "bench.png", "mimeType": "image/png", "buffer": buffer.getvalue()}
    page.get_by_label("Photo of a label").set_input_files(files)  # type: ignore[arg-type]
    expect(page.locator("#seen")).to_contain_text("Go nearer")


def film_of(code: str, path: Path) -> Path:
    """A film of one still, as Y4M (YUV4MPEG2: a header, then frames of one plane of light and two of colour)."""
    picture = Image.new("L", (1280, 720), 140)
    picture.paste(picture_of(code, 203), (240, 160))
    frame = b"FRAME\n" + picture.tobytes() + bytes([128]) * (1280 * 720 // 2)
    path.write_bytes(b"YUV4MPEG2 W1280 H720 F10:1 Ip A1:1 C420jpeg\n" + frame * 2)
    return path


def test_a_label_before_the_camera_counts_once_and_the_camera_can_be_closed(
    browser: Browser, shop: Shop, tmp_path: Path
) -> None:
    film = film_of(shop.floor.deck, tmp_path / "label.y4m")
    fake = ["--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
    args = ["--no-sandbox", *fake, f"--use-file-for-fake-video-capture={film}"]
    seeing = browser.browser_type.launch(executable_path=chromium(), args=args)
    page = seeing.new_page(permissions=["camera"])
    open_station(page, shop)
    page.get_by_role("button", name="Camera", exact=True).click()
    expect(page.locator("#answer .told-word")).to_have_text("Done")
    looks: list[str] = []
    page.on("response", lambda response: looks.append(response.url) if "/picture" in response.url else None)
    page.wait_for_timeout(2 * SAME_LABEL_S * 1000)
    until(page, lambda: len(looks) >= 3)
    expect(page.locator("#answer .told-word")).to_have_text("Done")
    assert violations(page) == []
    page.get_by_role("button", name="Close the camera").click()
    assert not page.locator("#video").is_visible()
    expect(page.locator("#recent li[data-sound]")).to_have_count(1)
    seeing.close()


def test_a_label_counts_again_only_when_it_was_out_of_the_cameras_sight(browser: Browser, shop: Shop) -> None:
    """A decoder that sees what is listed stands in; where it sees nothing the server looks, and sees nothing."""
    fake = ["--no-sandbox", "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream"]
    seeing = browser.browser_type.launch(executable_path=chromium(), args=fake)
    page = seeing.new_page(permissions=["camera"])
    deck, end = shop.floor.deck, shop.floor.end
    sights = [deck, deck, None, None, deck, None, None, None, deck, end, end, deck]
    page.add_init_script(
        f"""window.sights = {json.dumps(sights)};
        window.BarcodeDetector = class {{ async detect() {{
          const seen = window.sights.shift();
          return seen ? [{{ rawValue: seen }}] : [];
        }} }};"""
    )
    open_station(page, shop)
    page.get_by_role("button", name="Camera", exact=True).click()
    until(page, lambda: page.evaluate("window.sights.length") == 0)
    expect(page.locator("#recent li[data-sound]")).to_have_count(4)
    assert [shop.floor.part(code).step for code in (deck, end)] == ["machine", "pack"]
    words = page.locator("#recent li[data-sound] .what").all_inner_texts()
    assert words == ["Already counted", "Done", "Already counted", "Done"]
    seeing.close()


# Undo and damage


def test_undo_takes_back_this_stations_last_scan_and_says_what(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    scanner.read(shop.floor.deck)
    scanner.read(shop.floor.end)
    page.get_by_role("button", name="Take back").click()
    expect(page.locator("#answer .told-word")).to_have_text("Taken back")
    assert "End" in answer(page)
    assert "It no longer counts as done: cut." in answer(page)
    expect(page.locator("#recent li.undone")).to_contain_text("End")
    assert shop.floor.part(shop.floor.end).step == "cut"
    assert shop.floor.part(shop.floor.deck).step == "machine"
    shop.floor.check()


def test_nothing_to_take_back_is_said(page: Page, shop: Shop) -> None:
    open_station(page, shop, "BAND-1")
    page.get_by_role("button", name="Take back").click()
    expect(page.locator("#answer .told-word")).to_have_text("Nothing to take back")


def test_the_last_part_is_marked_damaged_in_two_taps(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    StationScanner(page).read(shop.floor.deck)
    page.get_by_role("button", name="Chipped").click()
    expect(page.locator("#asked")).to_have_text("Damaged: Chipped. Is it Deck 101 · J-1? Or scan another.")
    page.get_by_role("button", name="Yes, damaged").click()
    expect(page.locator("#answer")).to_have_attribute("data-outcome", "noted")
    expect(page.locator("#answer .told-word")).to_have_text("Noted")
    assert shop.floor.part(shop.floor.deck).damaged
    assert not page.locator("#confirm").is_visible()
    with shop.database.read() as connection:
        assert "Marked damaged: Chipped." in part_history(connection, 1, 1, limit=1)[0].message
    shop.floor.check()


def test_a_reason_and_then_a_scan_marks_the_scanned_part(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    page.get_by_role("button", name="Scratched").click()
    expect(page.locator("#asked")).to_have_text("Damaged: Scratched. Scan the part that is meant.")
    assert scanner.read(shop.floor.end) == "Noted"
    assert shop.floor.part(shop.floor.end).damaged
    assert scanner.read(shop.floor.deck) == "Done"
    assert not shop.floor.part(shop.floor.deck).damaged


def test_a_reason_is_for_the_next_reading_alone(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    page.get_by_role("button", name="Scratched").click()
    assert scanner.read(shop.floor.slot) == "Nothing marked"
    expect(page.locator("#asked")).to_be_hidden()
    assert scanner.read(shop.floor.deck) == "Done"
    assert not shop.floor.part(shop.floor.deck).damaged


def shade(page: Page) -> tuple[str | None, str]:
    """How the answer is shaded, and the colour behind its word."""
    behind = page.evaluate("getComputedStyle(document.querySelector('#answer .told-word')).backgroundColor")
    return page.locator("#answer").get_attribute("data-shade"), behind


def test_neither_marking_damage_nor_taking_back_looks_as_done_does(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    scanner.read(shop.floor.end)
    done = shade(page)
    page.get_by_role("button", name="Scratched").click()
    assert scanner.read(shop.floor.deck) == "Noted"
    marked = shade(page)
    page.get_by_role("button", name="Take back").click()
    expect(page.locator("#answer .told-word")).to_have_text("Taken back")
    back = shade(page)
    assert [name for name, _behind in (done, marked, back)] == ["ok", "aside", "back"]
    assert len({behind for _name, behind in (done, marked, back)}) == 3


@pytest.mark.parametrize("station", ["CUT-1", "MACHINE-1", "BAND-1", "PACK-1"])
def test_a_damaged_part_is_told_as_loud_at_every_step_and_sent_nowhere(page: Page, shop: Shop, station: str) -> None:
    floor = shop.floor
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    open_station(page, shop, station)
    assert StationScanner(page).read(floor.deck) == "Damaged, put it aside"
    assert shade(page)[0] == page.locator("#answer").get_attribute("data-sound") == "stop"
    assert "Ask the foreman." in answer(page)
    assert page.locator("#answer .told-next").count() == 0
    expect(page.locator("#recent li").first).to_contain_text("Damaged, put it aside")


def test_the_button_says_what_it_takes_back(page: Page, shop: Shop) -> None:
    plan_job_boards(shop.database, "J-1", **shop.floor.act())
    (board,) = job_boards(shop.database, "J-1")
    open_station(page, shop)
    named = page.locator("#undo")
    expect(named).to_have_text("Take back")
    scanner = StationScanner(page)
    scanner.read(board.code)
    expect(named).to_have_text("Take back Board 1, job J-1")
    scanner.rest(SAME_LABEL_S)
    assert scanner.read(board.code) == "Already counted"
    expect(named).to_have_text("Take back Board 1, job J-1")
    page.get_by_role("button", name="Chipped").click()
    scanner.read(shop.floor.deck)
    expect(named).to_have_text("Take back damaged, Deck 101")
    named.click()
    expect(named).to_have_text("Take back Board 1, job J-1")


def test_an_older_list_does_not_put_an_older_name_on_the_button(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    scanner.read(shop.floor.end)
    older = page.evaluate(
        "fetch('/station/CUT-1/now', { headers: { Accept: 'application/json' } }).then((a) => a.json())"
    )
    page.route("**/now", lambda route: route.fulfill(json=older))
    with page.expect_response("**/now"):
        scanner.read(shop.floor.deck)
    expect(page.locator("#undo")).to_have_text("Take back Deck 101")


def test_a_second_tap_right_after_the_first_takes_nothing_back(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    scanner.read(shop.floor.deck)
    scanner.read(shop.floor.end)
    page.evaluate("for (const _tap of [1, 2]) document.getElementById('undo').click()")
    expect(page.locator("#answer .told-word")).to_have_text("Taken back")
    assert shop.floor.part(shop.floor.end).step == "cut"
    assert shop.floor.part(shop.floor.deck).step == "machine"
    page.evaluate("document.getElementById('undo').click()")
    expect(page.locator("#twice")).to_have_text("Pressed twice, taken back once.")
    time.sleep(SAME_LABEL_S)
    page.locator("#undo").click()
    expect(page.locator("#undo")).to_have_text("Take back")
    assert shop.floor.part(shop.floor.deck).step == "cut"


# At the dock


def test_the_dock_says_how_many_boxes_are_on_the_load_and_when_the_truck_may_leave(page: Page, shop: Shop) -> None:
    floor = shop.floor
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    open_station(page, shop, "SHIP-1")
    assert answer(page) == "Scan a load, then its boxes"
    assert page.locator("#reasons button").all_inner_texts() == ["Chipped", "Scratched"]
    scanner = StationScanner(page)
    count = page.locator("#answer .told-load strong")
    for code, told, may_leave in ((load, "0 of 2", 0), (floor.box_101, "1 of 2", 0), (floor.box_102, "2 of 2", 1)):
        assert scanner.read(code) == "Done"
        assert count.inner_text() == told
        assert answer(page).count("The truck may leave.") == may_leave
    assert shade(page)[0] == "ok"
    page.locator("#undo").click()
    expect(count).to_have_text("1 of 2")


def test_a_full_load_that_would_leave_short_does_not_look_done(page: Page, shop: Shop) -> None:
    floor = shop.floor
    floor.scan(floor.deck, "PACK-1")
    floor.seal(floor.box_101, override="the rest comes later")
    floor.plan(floor.box_101)
    open_station(page, shop, "SHIP-1")
    assert StationScanner(page).read(floor.box_101) == "Done, but wait"
    assert "box 101 follow-up: open, lacks 1 part" in answer(page)
    assert "The truck does not leave yet." in answer(page)
    assert shade(page)[0] == "aside"


def test_a_box_on_no_load_says_what_to_do_with_it(page: Page, shop: Shop) -> None:
    shop.floor.seal_both()
    open_station(page, shop, "SHIP-1")
    assert StationScanner(page).read(shop.floor.box_101) == "Not here"
    assert "Put it aside and ask the foreman for a load." in answer(page)


# What waits


def test_what_waits_stands_there_most_urgent_first_and_follows_other_stations(page: Page, shop: Shop) -> None:
    floor = shop.floor
    floor.scan(floor.toe_kick, "CUT-1", action=Action.DAMAGED)
    replace_part(shop.database, 2, "chipped", **floor.act())
    open_station(page, shop)
    first = page.locator("#waiting li").first
    expect(first).to_contain_text("Toe kick")
    expect(first).to_contain_text("urgent")
    waiting = page.locator("#waiting")
    expect(waiting).to_contain_text("Deck")
    floor.scan(floor.deck, "SAW 2")
    taken = waiting.locator("li").filter(has_text="Deck").filter(has_text="cabinet 101 · J-1")
    expect(taken).to_have_count(0)


def test_at_the_dock_the_sealed_boxes_wait(page: Page, shop: Shop) -> None:
    shop.floor.seal_both()
    load = shop.floor.plan(shop.floor.box_101)
    open_station(page, shop, "SHIP-1")
    expect(page.locator("#waiting li")).to_have_count(1)
    expect(page.locator("#waiting")).to_contain_text(load)
    assert StationScanner(page).read(shop.floor.box_101) == "Done, but wait", "box 102 stays behind"


# What is refused


def post(page: Page, path: str, body: object) -> dict[str, Any]:
    found: dict[str, Any] = page.evaluate(
        """async ([path, body]) => {
            const headers = { "Content-Type": "application/json",
              "X-CSRF-Token": document.querySelector('meta[name="csrf-token"]').content };
            const answer = await fetch(path, { method: "POST", headers, body: JSON.stringify(body) });
            return { status: answer.status, data: await answer.json().catch(() => null) };
        }""",
        [path, body],
    )
    return found


def test_a_body_that_is_no_scan_is_refused_with_every_field(browser: Browser, shop: Shop) -> None:
    page = browser.new_page()
    open_station(page, shop)
    refused = post(page, "/station/CUT-1/scan", {"id": 7, "at": "yesterday", "action": "seal", "code": 5})
    assert refused["status"] == 422
    assert [error["field"] for error in refused["data"]["errors"]] == ["id", "at", "action", "code"]
    assert post(page, "/station/CUT-1/scan", [1, 2])["status"] == 422
    assert post(page, "/station/NOWHERE/scan", {})["status"] == 404
    page.close()


def test_the_same_id_has_one_effect_and_one_answer(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    body = {"id": str(uuid4()), "at": "2027-03-05T09:30:00Z", "code": shop.floor.deck}
    answers = [post(page, "/station/CUT-1/scan", body)["data"] for _time in range(2)]
    assert [each["outcome"] for each in answers] == ["done", "done"]
    shop.floor.check()


def test_a_name_that_looks_like_markup_is_shown_as_text(page: Page, shop: Shop) -> None:
    shop.floor.take("J-8", [replace(END, part="<img src=x onerror=alert(1)>")], items=())
    open_station(page, shop)
    StationScanner(page).read(shop.first_part("J-8"))
    assert "<img src=x" in answer(page)
    assert page.locator("#floor img").count() == 0


# Everybody can use it


def test_it_can_be_used_by_keyboard_alone(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    StationScanner(page).read(shop.floor.deck)
    page.locator("#undo").focus()
    reached = [""]
    while reached[-1] != "photo" and len(reached) < 40:
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.id || document.activeElement.value"))
    assert [each for each in reached if each in ("chipped", "waiting", "recent", "code", "photo")] == [
        *("chipped", "waiting", "recent", "code", "photo")
    ]
    page.locator("#reasons button").first.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("button", name="Yes, damaged")).to_be_focused()
    page.keyboard.press("Enter")
    expect(page.locator("#answer .told-word")).to_have_text("Noted")
    page.locator("#undo").focus()
    page.keyboard.press("Space")
    expect(page.locator("#answer .told-word")).to_have_text("Taken back")


def test_every_size_and_scheme_is_readable(browser: Browser, shop: Shop, shots: Path | None) -> None:
    context = browser.new_context(reduced_motion="reduce")
    page = context.new_page()
    sign_in(page, shop.site, TOKEN)
    page.goto(f"{shop.site}/station?choose=1")
    readable(page, shots, "station-choose")
    page.goto(f"{shop.site}/station/CUT-1")
    scanner = StationScanner(page)
    for told, code in {"done": part_code(4), "stop": part_code(99_999), "look": "P0000000000"}.items():
        scanner.read(code)
        readable(page, shots, f"station-{told}")
    scanner.read(part_code(5))
    page.get_by_role("button", name="Chipped").click()
    readable(page, shots, "station-damaged")
    context.close()


def test_on_a_tablet_all_is_in_sight_and_nothing_moves_with_an_answers_length(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    scanner = StationScanner(page)
    tops = set()
    for code in (shop.floor.deck, part_code(99_999), part_code(4), part_code(5), part_code(6), shop.floor.end):
        scanner.read(code)
        tops.add(page.locator("#undo").evaluate("(button) => button.getBoundingClientRect().top"))
        assert page.locator("#answer").evaluate("(box) => box.scrollHeight <= box.clientHeight")
    assert len(tops) == 1
    assert page.evaluate("document.documentElement.scrollHeight <= window.innerHeight")
    expect(page.locator("#recent li").first).to_contain_text("End")
    assert len(set(page.locator("#recent li").evaluate_all("(all) => all.map((li) => li.offsetLeft)"))) == 1


def test_what_gloves_touch_is_large_enough(page: Page, shop: Shop) -> None:
    open_station(page, shop)
    for button in page.locator("#floor button:visible, #floor input:visible").all():
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 56


def test_the_page_weighs_less_than_100_kb(page: Page, shop: Shop) -> None:
    sign_in(page, shop.site, TOKEN)
    sizes: list[int] = []
    page.on("response", lambda response: sizes.append(len(response.body())))
    page.goto(f"{shop.site}/station/CUT-1", wait_until="load")
    page.wait_for_timeout(300)
    assert 0 < sum(sizes) < 100_000
