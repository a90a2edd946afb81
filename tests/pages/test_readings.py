"""What a page takes as a reading: a scanner beside somebody who types, and answers that come late."""

import itertools
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Route, expect

from tests.floor import DECK, END, TOE_KICK
from tests.pages.looking import sign_in
from tests.pages.scanning import Scanner
from tests.pages.stoppable_shop import StoppableShop, hold, stoppable, until
from tracker.records.box_contents import boxes_of_job
from tracker.records.jobs import job_view
from tracker.shop.codes import Code, Kind, part_code
from tracker.shop.orders import ItemLine
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.access import add_station, make_token
from tracker.work.people import add_person, make_badge

PINS = ItemLine(box="101", item="spring pin 8 mm", quantity=40)
FAST_S, SLOW_S = 0.045, 0.12  # between two keys of a quick typist, and of everybody else
_numbers = itertools.count(1)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[StoppableShop]:
    with stoppable(tmp_path_factory.mktemp("readings")) as running:
        yield running


@pytest.fixture
def context(browser: Browser, shop: StoppableShop) -> Iterator[BrowserContext]:
    made = browser.new_context(viewport={"width": 1024, "height": 768}, reduced_motion="reduce")
    yield made
    made.close()


def job(shop: StoppableShop) -> tuple[list[str], list[str]]:
    """Take a job; return the codes of its parts (deck and toe kick in a box, end in another) and of its boxes."""
    name = f"R-{next(_numbers)}"
    shop.floor.take(name, parts=(DECK, TOE_KICK, END), items=(PINS,))
    with shop.database.read() as connection:
        found = job_view(connection, name)
        assert found is not None
        boxes = boxes_of_job(connection, found.id, limit=10)
    return [part.code for box in boxes for part in box.parts], [box.code for box in boxes]


def bench(shop: StoppableShop, context: BrowserContext, role: Role = Role.FOREMAN) -> Page:
    """A bench of its own."""
    name = f"BENCH-{next(_numbers)}"
    add_station(shop.database, name, Step.PACK)
    return shop.open(context, f"/pack/{name}", role)


def scan(page: Page, code: str, outcome: str = "done") -> None:
    """Read one label and wait for its answer."""
    page.locator("#answer").evaluate("(answer) => delete answer.dataset.outcome")
    Scanner(page).pull(code)
    expect(page.locator("#answer")).to_have_attribute("data-outcome", outcome)


def head(page: Page) -> Any:
    return page.locator("[data-region=head]")


class Typist:
    """Somebody who types, each key after its own pause, by a clock that a busy machine does not stretch."""

    def __init__(self, page: Page) -> None:
        self.wire = page.context.new_cdp_session(page)
        self.clock = time.time() + 1

    def type(self, text: str, *pauses: float) -> None:
        """Type a text; the last pause holds for all further keys. A line feed is Enter."""
        for place, sign in enumerate(text):
            self.clock += pauses[min(place, len(pauses) - 1)]
            self.wire.send("Input.dispatchKeyEvent", {"type": "keyDown", **_key(sign), "timestamp": self.clock})
            self.wire.send("Input.dispatchKeyEvent", {"type": "keyUp", **_key(sign), "timestamp": self.clock + 0.001})


def _key(sign: str) -> dict[str, Any]:
    if sign == "\n":
        return {"key": "Enter", "code": "Enter", "text": "\r", "windowsVirtualKeyCode": 13}
    code = f"Digit{sign}" if sign.isdigit() else f"Key{sign.upper()}" if sign.isalpha() else ""
    return {"key": sign, "code": code, "text": sign, "windowsVirtualKeyCode": ord(sign.upper())}


# A scanner beside somebody who types


def test_somebody_who_types_fast_into_a_form_is_no_scanner(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, "/orders/new?by=typing", Role.OFFICE)
    page.locator("#customer").focus()
    Typist(page).type("Ring", SLOW_S, FAST_S)
    expect(page.locator("#customer")).to_have_value("Ring")
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    Typist(page).type("Ring\n", SLOW_S, FAST_S, FAST_S, FAST_S, 0.1)
    page.wait_for_timeout(500)
    assert not [url for url in asked if "/search" in url]


def test_the_end_of_a_password_is_never_a_scan(shop: StoppableShop, context: BrowserContext) -> None:
    (deck, _toe_kick, _end), _boxes = job(shop)
    page = bench(shop, context, Role.PACKER)
    scan(page, deck)
    page.get_by_role("button", name="A foreman lets it go short").click()
    page.get_by_label("Why?").fill("late")
    page.get_by_label("Foreman's name").fill("Nobody")
    page.get_by_label("Password").focus()
    before = shop.scans()
    Typist(page).type("secretpass", SLOW_S, SLOW_S, SLOW_S, SLOW_S, SLOW_S, FAST_S)
    expect(page.get_by_label("Password")).to_have_value("secretpass")
    Typist(page).type("ss\n", FAST_S)
    expect(page.get_by_role("dialog").get_by_role("alert")).to_be_visible()
    page.wait_for_timeout(300)
    assert shop.scans() == before


def test_a_label_that_is_longer_than_any_code_is_one_misread_and_presses_nothing(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, "/station/CUT-1")
    page.locator("#undo").focus()
    sent: list[dict[str, Any]] = []
    page.on("request", lambda request: sent.append(request.post_data_json or {}) if request.method == "POST" else None)
    for length in (82, 83, 160):
        sent.clear()
        scan(page, f"{length}HTTPS".ljust(length, "7"), "misread")
        assert [each["action"] for each in sent] == ["pass"]


def test_a_long_text_typed_by_a_scanner_into_a_field_stays_in_the_field(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, "/search")
    field = page.locator("#q")
    field.fill("")
    field.focus()
    text = "label of somebody else " * 4  # longer than any code
    Typist(page).type(text, 0.004)
    expect(field).to_have_value(text)


@pytest.mark.parametrize(
    "path", ["/", "/missing", "/flagged", "/reports", "/stations", "/me", "/loads", "/find?code={}"]
)
def test_a_code_that_is_scanned_on_any_page_leads_to_what_has_it(
    shop: StoppableShop, context: BrowserContext, path: str
) -> None:
    (deck, *_), _boxes = job(shop)
    page = shop.open(context, path.format(shop.floor.deck))
    Scanner(page).pull("4006381333931")  # a label of somebody else's leads nowhere
    unclear = page.get_by_role("alert").filter(has_text="Not understood 4006381333931")
    expect(unclear).to_be_visible()
    page.get_by_role("main").click(position={"x": 1, "y": 1})  # a tap takes it away from what it covers
    expect(unclear).to_be_hidden()
    Scanner(page).pull(deck)
    page.wait_for_url(lambda url: deck in url)


def test_a_slow_scanner_that_sends_a_space_first_presses_no_button(
    shop: StoppableShop, context: BrowserContext
) -> None:
    (deck, toe_kick, _end), _boxes = job(shop)
    page = shop.open(context, "/station/CUT-1")
    scan(page, deck)
    page.locator("#undo").focus()
    scanner = Scanner(page)
    scanner.pull(f" {toe_kick}", every_s=0.19)
    expect(page.locator("#answer")).to_contain_text("Toe kick")
    scanner.press(" ")  # a lone one presses it
    expect(page.locator("#answer")).to_have_attribute("data-outcome", "undone")
    assert [shop.floor.part(code).step for code in (deck, toe_kick)] == ["machine", "cut"]


def test_a_tap_leaves_the_focus_on_no_button(shop: StoppableShop, context: BrowserContext) -> None:
    (deck, *_), _boxes = job(shop)
    page = shop.open(context, "/station/CUT-1")
    scan(page, deck)
    for tapped in (page.get_by_role("button", name="Chipped"), page.locator("#no"), page.locator("#undo")):
        tapped.click()
        assert page.evaluate("document.activeElement.tagName") == "BODY"
    page = bench(shop, context)
    page.locator("#damaged-on").click()
    page.locator("#damaged-off").click()
    assert page.evaluate("document.activeElement.tagName") == "BODY"


@pytest.mark.parametrize("path", ["/station/CUT-1", "/pack/PACK-1"])
def test_keys_that_came_too_slowly_are_told(shop: StoppableShop, context: BrowserContext, path: str) -> None:
    page = shop.open(context, path)
    Scanner(page).pull(shop.floor.deck, every_s=0.24)
    expect(page.locator("#answer .told-word")).to_have_text("Not understood")
    expect(page.locator("#answer")).to_contain_text(shop.floor.deck)
    assert page.locator("#answer").get_attribute("data-sound") == "look"


# Damage


@pytest.mark.parametrize("place", ["station", "bench"])
def test_after_keys_that_were_not_understood_the_damaged_card_marks_none(
    shop: StoppableShop, context: BrowserContext, place: str
) -> None:
    (deck, toe_kick, _end), _boxes = job(shop)
    page = shop.open(context, "/station/CUT-1") if place == "station" else bench(shop, context)
    scan(page, deck)
    Scanner(page).pull(toe_kick, every_s=0.24)
    expect(page.locator("#answer .told-word")).to_have_text("Not understood")
    scan(page, CARD, "unknown")
    expect(page.locator("#answer .told-word")).to_have_text("Nothing marked", ignore_case=True)
    assert not any(shop.floor.part(code).damaged for code in (deck, toe_kick))


@pytest.mark.parametrize("place", ["station", "bench"])
def test_after_a_reload_offline_the_card_names_and_marks_the_part_that_was_shown_and_in_a_new_page_none(
    shop: StoppableShop, context: BrowserContext, place: str
) -> None:
    (deck, *_), _boxes = job(shop)
    page = shop.open(context, "/station/CUT-1") if place == "station" else bench(shop, context)
    scan(page, deck)
    page.route("**/scan", lambda route: route.abort())
    page.reload()
    Scanner(page).pull(CARD)
    expect(page.locator("#answer")).to_contain_text("damaged, Deck 101 · R-")
    other = context.new_page()
    other.goto(page.url)
    Scanner(other).pull(CARD)
    expect(other.locator("#answer .told-word")).to_have_text("Nothing marked", ignore_case=True)
    other.close()
    page.unroute("**/scan")
    until(page, lambda: shop.floor.part(deck).damaged)


NOBODYS = part_code(99_999)
CARD, BOARD = str(Code(Kind.COMMAND, 2)), str(Code(Kind.BOARD, 4711))


def large(page: Page) -> list[str]:
    """What the answer says in letters that are read from two metres."""
    texts: list[str] = page.locator("#answer").evaluate(
        """(answer) => [...answer.querySelectorAll("*")]
            .filter((each) => Number.parseFloat(getComputedStyle(each).fontSize) >= 32)
            .map((each) => each.textContent.trim())"""
    )
    return texts


@pytest.mark.parametrize("place", ["station", "bench"])
def test_the_damaged_card_marks_the_part_that_was_shown_and_names_it_in_large_letters(
    shop: StoppableShop, context: BrowserContext, place: str
) -> None:
    (deck, toe_kick, _end), _boxes = job(shop)
    page = shop.open(context, "/station/CUT-1") if place == "station" else bench(shop, context)
    scan(page, toe_kick)
    scan(page, deck)
    scan(page, NOBODYS, "unknown")
    scan(page, deck, "again")
    sent: list[Any] = []
    page.on("request", lambda request: sent.append(request.post_data_json) if request.method == "POST" else None)
    scan(page, CARD, "noted")
    assert [each["part"] for each in sent] == [deck]
    assert any("Deck" in each for each in large(page))
    assert [shop.floor.part(code).damaged for code in (deck, toe_kick)] == [True, False]


@pytest.mark.parametrize("place", ["station", "bench"])
def test_offline_the_damaged_card_names_the_part_or_says_that_it_marks_none(
    shop: StoppableShop, context: BrowserContext, place: str
) -> None:
    (deck, *_), _boxes = job(shop)
    page = shop.open(context, "/station/CUT-1") if place == "station" else bench(shop, context)
    page.route("**/scan", lambda route: route.abort())
    says = page.locator("#answer")
    scanner = Scanner(page)
    for code, word in ((deck, deck), (CARD, f"damaged, {deck}"), (BOARD, BOARD), (CARD, "No part is shown here")):
        scanner.pull(code)
        expect(says).to_contain_text(word)
        if deck in word:
            assert any(deck in each for each in large(page))
    expect(page.locator("#answer .told-word")).to_have_text("Nothing marked")
    assert CARD not in page.locator("#undo").inner_text()
    page.unroute("**/scan")
    until(page, lambda: len(shop.scans()) > 3 and shop.scans()[-1] == CARD)
    expect(page.locator("#unsent")).to_be_hidden()
    assert shop.floor.part(deck).damaged
    expect(page.locator("#corrections")).not_to_contain_text("Nothing marked")  # that was told at once


def test_the_link_of_a_labels_qr_code_is_a_scan_of_its_code(shop: StoppableShop, context: BrowserContext) -> None:
    """Also where the computer's keyboard has other signs in the places of : and /."""
    parts, _boxes = job(shop)
    page = bench(shop, context)
    link = f"HTTPS://SHOP.EXAMPLE/Q/{parts[0]}/ABCDEFGH"
    scan(page, link)
    expect(page.locator("#answer")).to_contain_text("Deck")
    scan(page, link.replace(parts[0], parts[1]).replace(":", "ñ").replace("/", "-"))
    expect(page.locator("#answer")).to_contain_text("Toe kick")
    expect(head(page)).to_contain_text("2 of 2")


def test_the_part_that_the_question_names_is_marked_though_another_is_answered_meanwhile(
    shop: StoppableShop, context: BrowserContext
) -> None:
    (deck, toe_kick, _end), _boxes = job(shop)
    page = shop.open(context, "/station/CUT-1")
    scan(page, deck)
    held = hold(page, "**/scan")
    Scanner(page).pull(toe_kick)
    until(page, lambda: held)
    page.get_by_role("button", name="Chipped").click()
    expect(page.locator("#asked")).to_contain_text("Deck")
    held[0].continue_()
    page.unroute("**/scan")
    expect(page.locator("#answer")).to_contain_text("Toe kick")
    page.get_by_role("button", name="Yes, damaged").click()
    expect(page.locator("#answer")).to_have_attribute("data-outcome", "noted")
    assert shop.floor.part(deck).damaged
    assert not shop.floor.part(toe_kick).damaged


# At the bench


def test_sealing_short_seals_the_box_that_was_asked_for_whatever_lies_on_the_bench_by_then(
    shop: StoppableShop, context: BrowserContext
) -> None:
    (deck, _toe_kick, end), (box, other) = job(shop)
    page = bench(shop, context)
    scan(page, deck)
    page.get_by_role("button", name="A foreman lets it go short").click()
    dialog = page.get_by_role("dialog")
    expect(page.locator("#short-title")).to_have_text("Seal box 101 short")
    Scanner(page).pull(end)
    expect(dialog.get_by_role("alert")).to_have_text("Decide about this box first, then go on scanning.")
    station = page.locator("#pack").get_attribute("data-station")
    assert station is not None
    shop.floor.clock = datetime.now(UTC)
    shop.floor.scan(other, station)
    expect(head(page)).to_have_attribute("data-box", other)
    dialog.get_by_label("Why?").fill("half is late")
    dialog.get_by_role("button", name="Seal it short").click()
    expect(page.locator("#answer")).to_contain_text("Sealed short.")
    assert (shop.floor.box(box).state, shop.floor.box(other).state) == ("sealed", "open")


def test_a_double_tap_seals_once_and_ends_well(shop: StoppableShop, context: BrowserContext) -> None:
    (deck, toe_kick, _end), (box, _other) = job(shop)
    page = bench(shop, context)
    for code in (deck, toe_kick):
        scan(page, code)
    page.get_by_role("button", name="All 40: spring pin 8 mm").click()
    page.get_by_role("button", name="Seal the box").dblclick()
    expect(page.locator("#answer .told-word")).to_have_text("Sealed. Now print its label.")
    page.wait_for_timeout(500)
    expect(page.locator("#answer .told-word")).to_have_text("Sealed. Now print its label.")
    assert shop.floor.box(box).state == "sealed"


def test_a_box_is_not_sealed_while_the_server_is_away_and_that_is_said(
    shop: StoppableShop, context: BrowserContext
) -> None:
    (deck, toe_kick, _end), (box, _other) = job(shop)
    page = bench(shop, context)
    for code in (deck, toe_kick):
        scan(page, code)
    page.get_by_role("button", name="All 40: spring pin 8 mm").click()
    expect(page.get_by_label("Mass in kg")).to_be_visible()
    page.route("**/seal", lambda route: route.abort())
    page.route("**/weigh", lambda route: route.abort())
    not_done = "The server does not answer: this is not done. Try again when it is back."
    page.get_by_role("button", name="Seal the box").click()
    expect(page.locator("#answer .told-word")).to_have_text(not_done)
    page.get_by_label("Mass in kg").fill("3.2")
    page.locator("#answer").evaluate("(answer) => answer.replaceChildren()")
    page.get_by_role("button", name="Weigh").click()
    expect(page.locator("#answer .told-word")).to_have_text(not_done)
    assert shop.floor.box(box).weighed_kg is None


def test_a_count_that_the_server_did_not_get_is_sent_when_it_is_back(
    shop: StoppableShop, context: BrowserContext
) -> None:
    _parts, (box, _other) = job(shop)
    page = bench(shop, context)
    scan(page, box)
    page.route("**/count", lambda route: route.abort())
    errors: list[str] = []
    page.on("pageerror", lambda error: errors.append(str(error)))
    more = page.get_by_role("button", name="One spring pin 8 mm more")
    more.click()
    expect(page.locator("#unsent-says")).to_contain_text("Not yet sent: 1,")
    more.click()
    expect(page.locator("#unsent-says")).to_contain_text("Not yet sent: 2,")
    page.unroute("**/count")
    expect(page.locator("#unsent")).to_be_hidden()
    expect(page.locator("[data-region=items]")).to_contain_text("2 of 40")
    assert shop.floor.box(box).items[0].counted == 2
    assert errors == []


def test_a_count_that_was_refused_does_not_stay_on_the_screen(shop: StoppableShop, context: BrowserContext) -> None:
    _parts, (box, _other) = job(shop)
    page = bench(shop, context)
    scan(page, box)
    page.get_by_role("button", name="One spring pin 8 mm more").click()
    expect(page.locator("[data-region=items]")).to_contain_text("1 of 40")
    field = page.get_by_label("spring pin 8 mm", exact=True)
    field.fill("999")
    page.keyboard.press("Tab")
    expect(page.locator("#answer")).to_have_attribute("data-sound", "stop")
    expect(field).to_have_value("1")
    assert shop.floor.box(box).items[0].counted == 1


def test_a_badge_waits_until_what_was_scanned_before_it_is_sent(shop: StoppableShop, context: BrowserContext) -> None:
    (deck, _toe_kick, _end), _boxes = job(shop)
    number = add_person(shop.database, "Zoe", Role.PACKER, password=None, now=shop.floor.tick())
    badge = make_badge(shop.database, number, now=shop.floor.tick())
    make_token(shop.database, "the bench", Role.PACKER, "PACK-1", secret="its bench".strip, now=shop.floor.tick())
    page = context.new_page()
    sign_in(page, shop.address, "its bench")
    page.goto(f"{shop.address}/pack/PACK-1")
    held = hold(page, "**/scan")
    Scanner(page).pull(deck)
    until(page, lambda: held)
    Scanner(page).pull(badge)
    expect(page.locator("#unsent-says")).to_contain_text("Not yet sent: 2,")
    held[0].continue_()
    page.unroute("**/scan")
    expect(page.locator("#who")).to_have_text("Zoe")
    assert shop.who(deck) == "the bench"


def test_an_answer_that_was_overtaken_does_not_turn_the_screen_back(
    shop: StoppableShop, context: BrowserContext
) -> None:
    (deck, toe_kick, _end), (box, _other) = job(shop)
    page = bench(shop, context)
    scan(page, box)
    older = page.request.get(page.url + "/bench", headers={"Accept": "application/json"}).body()
    scan(page, deck)
    asked: list[str] = []

    def answer_late(route: Route) -> None:
        asked.append(route.request.headers.get("if-none-match", ""))
        route.fulfill(body=older, content_type="application/json", headers={"ETag": '"the older"'})

    page.route("**/bench", answer_late)
    until(page, lambda: len(asked) >= 2)
    expect(head(page)).to_contain_text("1 of 2 parts in")
    assert '"the older"' not in asked  # it was not taken, so it is asked for again
    page.unroute("**/bench")
    station = page.locator("#pack").get_attribute("data-station")
    assert station is not None
    other = shop.open(context, f"/pack/{station}")
    scan(other, toe_kick)
    expect(head(page)).to_contain_text("2 of 2 parts in")  # and what is newer is still shown


# Questions that are refused


@pytest.mark.parametrize("status", [403, 404, 422])
def test_a_page_whose_questions_are_refused_says_that_it_may_be_old(
    shop: StoppableShop, context: BrowserContext, status: int
) -> None:
    page = shop.open(context, "/")
    page.route("**/board/rows**", lambda route: route.fulfill(status=status, json={"detail": "no"}))
    expect(page.locator("#connection")).to_be_visible()
    page.unroute("**/board/rows**")
    expect(page.locator("#connection")).to_be_hidden()


def test_a_script_is_told_in_json_why_it_was_refused(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, "/station/CUT-1")
    told = page.evaluate(
        """async () => {
            const headers = { Accept: "application/json", "Content-Type": "application/json" };
            const ask = async (path, more) => {
              const answer = await fetch(path, { headers, ...more });
              return [answer.status, (await answer.json()).detail];
            };
            return [await ask("/station/CUT-1/scan", { method: "POST", body: "{}" }), await ask("/no/such/page")];
        }"""
    )
    assert told == [
        [403, "This page is too old to be sent. Load it again and repeat what you did."],
        [404, "There is no such page."],
    ]


def test_a_scan_at_a_bench_that_is_not_there_is_not_kept(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, "/pack/PACK-1")
    before = shop.scans(*Action)
    body = {"id": "6f1b4f1e-27a9-4c0b-9d3e-000000000009", "at": "2027-03-05T09:30:00Z", "code": shop.floor.deck}
    status = page.evaluate(
        """async (body) => {
            const headers = { Accept: "application/json", "Content-Type": "application/json",
              "X-CSRF-Token": document.querySelector('meta[name="csrf-token"]').content };
            return (await fetch("/pack/CUT-1/scan", { method: "POST", headers, body: JSON.stringify(body) })).status;
        }""",
        body,
    )
    assert status == 404
    assert shop.scans(*Action) == before
