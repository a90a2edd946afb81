"""The stations' and the benches' pages while the server is gone: what is read is kept, and sent once, in order."""

import re
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Literal

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Request, Route, expect

from tests.floor import END
from tests.pages.conftest import chromium
from tests.pages.looking import sign_in, sign_in_by_form, violations
from tests.pages.scanning import Scanner, listen, rhythms
from tests.pages.stoppable_shop import StoppableShop, hold, stoppable, until, wait_for_ever, wait_until_kept
from tracker.shop.codes import Code, Kind, MisreadError, part_code, read_code
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.access import add_station, make_token
from tracker.work.people import add_person, make_badge
from tracker.work.replace import replace_part

STATION = "/station/CUT-1"
BENCH = "/pack/PACK-1"


@pytest.fixture
def shop(tmp_path: Path) -> Iterator[StoppableShop]:
    with stoppable(tmp_path) as running:
        running.floor.take("J-2", parts=(END,) * 6, items=())
        yield running


@pytest.fixture
def context(browser: Browser, shop: StoppableShop) -> Iterator[BrowserContext]:
    """A tablet whose clock is set to another time zone than the shop's, closed before the service stops."""
    made = browser.new_context(
        viewport={"width": 1024, "height": 768}, timezone_id="Asia/Kathmandu", reduced_motion="reduce"
    )
    yield made
    made.close()


def unsent(page: Page, count: int) -> None:
    expect(page.locator("#unsent-says")).to_contain_text(f"Not yet sent: {count},")


def all_sent(page: Page) -> None:
    expect(page.locator("#unsent")).to_be_hidden()


def told(page: Page, outcome: str) -> None:
    expect(page.locator("#answer")).to_have_attribute("data-outcome", outcome)


def stop_answering(page: Page) -> None:
    page.route("**/scan", lambda route: route.abort())


# The server is gone


def test_a_station_that_is_reloaded_while_the_server_is_gone_scans_on_and_all_arrives_once_in_order(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, STATION)
    wait_until_kept(page)
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    told(page, "done")
    shop.stop()
    scanner.pull(part_code(2))
    unsent(page, 1)
    page.reload()
    expect(page.get_by_role("heading", level=1)).to_have_text("CUT-1 cut")
    unsent(page, 1)
    for number in (4, 5, 6):
        scanner.pull(part_code(number))
    unsent(page, 4)
    expect(page.locator("#answer .told-word")).to_have_text("Noted")
    expect(page.locator("#answer")).to_contain_text(part_code(6))
    expect(page.locator("#answer")).to_contain_text("Not yet sent, so not yet checked.")
    shop.start()
    all_sent(page)
    assert shop.scans() == [part_code(number) for number in (1, 2, 4, 5, 6)]
    told(page, "done")  # of the last one the server's own answer stands there
    shop.floor.check()


def test_a_station_that_is_opened_while_the_server_is_gone_scans(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, STATION)
    wait_until_kept(page)
    page.close()
    shop.stop()
    page = context.new_page()
    page.goto(f"{shop.address}{STATION}")
    Scanner(page).pull(part_code(1))
    unsent(page, 1)
    shop.start()
    all_sent(page)
    assert shop.scans() == [part_code(1)]


def test_a_page_that_was_on_its_way_when_the_worker_came_is_kept_too(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, "/me")
    page.goto(f"{shop.address}{STATION}", wait_until="commit")  # here the worker is made; the page is left at once
    page.goto(f"{shop.address}/station/PACK-1")
    wait_until_kept(page)


def test_a_paired_tablet_that_opens_its_start_page_while_the_server_is_gone_is_at_its_station(
    shop: StoppableShop, context: BrowserContext
) -> None:
    make_token(shop.database, "Saw", Role.STATION, "CUT-1", secret="the saw".strip, now=shop.floor.tick())
    page = context.new_page()
    sign_in(page, shop.address, "the saw")
    page.goto(f"{shop.address}/station")
    wait_until_kept(page)
    shop.stop()
    page.goto(f"{shop.address}/station")
    expect(page.get_by_role("heading", level=1)).to_have_text("CUT-1 cut")


def test_a_bench_without_a_network_scans_counts_and_takes_badges_and_all_arrives_in_order(
    shop: StoppableShop, context: BrowserContext
) -> None:
    make_token(shop.database, "Bench", Role.PACKER, "PACK-1", secret="bench".strip, now=shop.floor.tick())
    number = add_person(shop.database, "Bea", Role.PACKER, password=None, now=shop.floor.tick())
    badge = make_badge(shop.database, number, now=shop.floor.tick())
    page = context.new_page()
    sign_in(page, shop.address, "bench")
    page.goto(f"{shop.address}{BENCH}")
    wait_until_kept(page)
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    expect(page.locator("[data-region=head]")).to_contain_text("1 of 2 parts in")
    context.set_offline(True)
    page.get_by_role("button", name="One spring pin 8 mm more").click()
    page.reload()
    unsent(page, 1)
    expect(page.get_by_label("spring pin 8 mm", exact=True)).to_have_value("1")
    page.get_by_role("button", name="One spring pin 8 mm more").click()
    scanner.pull(badge)
    scanner.pull(part_code(2))
    unsent(page, 4)
    expect(page.locator("#answer .told-word")).to_have_text("Noted")
    context.set_offline(False)
    all_sent(page)
    expect(page.locator("[data-region=head]")).to_contain_text("2 of 2 parts in")
    expect(page.locator("[data-region=items]")).to_contain_text("all 2 in")
    expect(page.locator("#who")).to_have_text("Bea")
    history = shop.floor.box(shop.floor.box_101)
    assert [line.counted for line in history.items] == [2]
    assert shop.scans(Action.PASS) == [part_code(1), part_code(2)]
    assert shop.who(part_code(2)) == "Bea"


def test_what_is_told_offline_checks_the_check_digits(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, STATION)
    stop_answering(page)
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    expect(page.locator("#answer .told-word")).to_have_text("Noted")
    scanner.pull("P0000000199")
    expect(page.locator("#answer .told-word")).to_have_text("Scan again")
    assert page.locator("#answer").get_attribute("data-sound") == "look"
    page.unroute("**/scan")
    all_sent(page)
    expect(page.locator("#corrections")).to_be_hidden()  # nothing else was told before


def test_codes_are_checked_in_the_browser_as_in_the_shop(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, STATION)
    right = [str(Code(kind, number)) for kind in Kind for number in (0, 1, 97, 12_345_678, 99_999_999)]
    # The SSCC of the worked example for the check digit in the GS1 General Specifications, 7.9.1 (from memory).
    right += ["376104250021234569", "00376104250021234569", "]C100376104250021234569", "(00)376104250021234569"]
    wrong = [code[:-1] + str((int(code[-1]) + change) % 10) for code in right for change in (1, 5)]
    wrong += ["", "P", "X0000000134", "P000000013", "P00000001344", right[0] + right[1], "4006381333931"]
    judge = (
        "async (codes) => { const { isCode } = await import('/static/scanning/codes.js'); return codes.map(isCode); }"
    )
    assert page.evaluate(judge, right) == [True] * len(right)
    assert page.evaluate(judge, wrong) == [False] * len(wrong)
    spelled = [f"P{number:010d}" for number in range(13_000, 13_300)]
    assert page.evaluate(judge, spelled) == [_is_code(text) for text in spelled]


def _is_code(text: str) -> bool:
    try:
        read_code(text)
    except MisreadError:
        return False
    return True


# Corrected loudly


def test_what_was_told_as_noted_and_is_refused_stands_on_the_screen_until_it_is_seen(
    shop: StoppableShop, context: BrowserContext
) -> None:
    floor = shop.floor
    page = shop.open(context, STATION)
    stop_answering(page)
    floor.scan(floor.toe_kick, "MACHINE-1", action=Action.DAMAGED)
    replace_part(shop.database, 2, "chipped", **floor.act())
    scanner = Scanner(page)
    scanner.pull(floor.toe_kick)
    scanner.pull(part_code(4))
    unsent(page, 2)
    listen(page)
    page.unroute("**/scan")
    expect(page.locator("#corrections li")).to_have_count(1)
    expect(page.locator("#corrections")).to_contain_text("Old label")
    expect(page.locator("#corrections")).to_contain_text("Toe kick")
    expect(page.locator("#corrections")).to_contain_text("took its place")
    expect(page.locator("#answer")).to_contain_text("End")
    assert 3 in rhythms(page), "what stops the work is heard"
    by_the_shop = {f"{datetime.now(UTC) - timedelta(minutes=ago):%H:%M}" for ago in range(3)}
    assert page.locator("#corrections .when").inner_text() in by_the_shop
    assert page.locator("#recent time").first.inner_text() in by_the_shop
    page.reload()
    expect(page.locator("#corrections")).to_contain_text("Old label")
    assert violations(page) == []
    page.get_by_role("button", name="Seen").click()
    expect(page.locator("#corrections")).to_be_hidden()
    page.reload()
    expect(page.locator("#corrections")).to_be_hidden()
    stop_answering(page)
    scanner.pull(floor.toe_kick)
    unsent(page, 1)
    page.unroute("**/scan")
    told(page, "replaced")  # this one stands there as the answer
    all_sent(page)
    expect(page.locator("#corrections")).to_be_hidden()


PUT_TOLD = """(notes) => new Promise((resolve, reject) => {
  const asked = indexedDB.open("outbox", 1);
  asked.onsuccess = () => {
    const transaction = asked.result.transaction("told", "readwrite");
    for (const note of notes) transaction.objectStore("told").put(note);
    transaction.oncomplete = () => (asked.result.close(), resolve());
  };
  asked.onerror = () => reject(asked.error);
})"""


def test_however_much_must_be_put_right_the_answer_is_in_sight_and_a_part_read_again_is_off_the_list(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, STATION)
    notes = [
        {
            "id": str(n),
            "read": n,
            "what": f"End {n}",
            "word": "Too early",
            "says": "It waits.",
            "entry": old_entry(n, part_code(n)),
        }
        for n in range(1, 13)
    ]
    page.evaluate(PUT_TOLD, notes)
    page.reload()
    expect(page.locator("#corrections li")).to_have_count(12)
    Scanner(page).pull(part_code(1))
    told(page, "done")
    expect(page.locator("#corrections li")).to_have_count(11)
    box = page.locator("#answer").bounding_box()
    assert box is not None
    assert box["y"] < 500
    assert violations(page) == []


def test_a_browser_that_does_not_know_the_shops_time_zone_tells_what_must_be_put_right_all_the_same(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, STATION)
    page.evaluate("document.getElementById('corrections').dataset.zone = 'Nowhere/Named'")
    stop_answering(page)
    shop.floor.scan(shop.floor.toe_kick, "MACHINE-1", action=Action.DAMAGED)
    replace_part(shop.database, 2, "chipped", **shop.floor.act())
    Scanner(page).pull(shop.floor.toe_kick)
    Scanner(page).pull(part_code(4))
    unsent(page, 2)
    page.unroute("**/scan")
    expect(page.locator("#corrections")).to_contain_text("Old label")
    assert re.fullmatch(r"\d\d:\d\d", page.locator("#corrections .when").inner_text())


def refuse(code: str, status: int, sent: list[list[str]]) -> Any:
    """Let the service fail over one code alone."""

    def handle(route: Route) -> None:
        codes = [scan["code"] for scan in scans_in(route.request)]
        sent.append(codes)
        if code in codes:
            route.fulfill(status=status, json={"detail": "It cannot be kept."})
        else:
            route.continue_()

    return handle


@pytest.mark.parametrize("path", [STATION, BENCH])
@pytest.mark.parametrize("status", [422, 500])
def test_a_scan_that_the_server_cannot_take_is_set_aside_and_told_and_the_rest_goes_on(
    shop: StoppableShop, context: BrowserContext, path: str, status: int
) -> None:
    page = shop.open(context, path)
    sent: list[list[str]] = []
    page.route("**/scan", refuse(part_code(1), status, sent))
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    scanner.pull(part_code(2))
    expect(page.locator("#corrections")).to_contain_text(part_code(1))
    expect(page.locator("#corrections")).to_contain_text("It cannot be kept.")
    until(page, lambda: shop.scans() == [part_code(2)])
    alone = [each for each in sent if len(each) == 1]  # together they are tried once at most
    assert alone == [[part_code(1)]] * (1 if status == 422 else 5) + [[part_code(2)]]
    assert len(sent) <= len(alone) + 1
    page.unroute("**/scan")
    page.reload()
    page.get_by_role("button", name="Send again").click()
    expect(page.locator("#corrections")).to_be_hidden()
    all_sent(page)
    until(page, lambda: len(shop.scans()) >= 2)
    assert shop.scans() == [part_code(2), part_code(1)]
    shop.floor.check()


# Once, and in order


def test_a_server_that_can_store_nothing_says_why_and_what_was_read_is_kept(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = context.new_page()
    sign_in(page, shop.address, Role.FOREMAN.value)
    page.goto(f"{shop.address}{STATION}")
    page.route("**/scan", lambda route: route.fulfill(status=503, json={"detail": "The disk is full."}))
    Scanner(page).pull(part_code(1))
    expect(page.locator("#away")).to_contain_text("The disk is full. Go on scanning")
    unsent(page, 1)
    page.unroute("**/scan")
    all_sent(page)
    expect(page.locator("#away")).to_be_hidden()
    assert shop.scans() == [part_code(1)]


def test_a_page_that_is_killed_in_mid_send_leaves_its_scans_to_the_next_and_they_count_once(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, STATION)
    wait_for_ever(page)
    held: list[Route] = []

    def store_and_hold(route: Route) -> None:
        route.fetch()
        held.append(route)

    page.route("**/scan", store_and_hold)
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    until(page, lambda: held)
    scanner.pull(part_code(2))
    unsent(page, 2)
    page.close()
    assert shop.scans() == [part_code(1)]
    sent: list[Request] = []
    page = context.new_page()
    page.on("request", lambda request: sent.append(request) if request.method == "POST" else None)
    page.goto(f"{shop.address}{STATION}")
    until(page, lambda: len(shop.scans()) >= 2 and len(ids_of(sent)) >= 2)
    assert ids_of(sent)[:1] == ids_of([held[0].request])
    assert shop.scans() == [part_code(1), part_code(2)]
    shop.floor.check()


def ids_of(requests: Sequence[Request]) -> list[str]:
    """The ids of the scans that were sent."""
    return [scan["id"] for request in requests for scan in scans_in(request)]


def scans_in(request: Request) -> list[dict[str, Any]]:
    """The scans that a call carries: one by itself, or a list of them."""
    body = request.post_data_json or {}
    return body.get("scans", [body])  # type: ignore[no-any-return]


@pytest.mark.parametrize("path", [STATION, BENCH])
def test_an_answer_that_is_lost_after_the_server_stored_the_scan_changes_nothing(
    shop: StoppableShop, context: BrowserContext, path: str
) -> None:
    page = shop.open(context, path)
    lost: list[str] = []

    def lose(route: Route) -> None:
        if len(lost) < 2:
            lost.append(route.request.url)
            route.fetch()
            route.abort()
        else:
            route.continue_()

    page.route("**/scan", lose)
    scanner = Scanner(page)
    codes = [part_code(1), part_code(2)]
    for code in codes:
        scanner.pull(code)
    until(page, lambda: shop.scans() == codes)
    all_sent(page)
    told(page, "done")
    assert shop.scans() == codes
    expect(page.locator("#corrections")).to_be_hidden()
    shop.floor.check()


def test_two_tabs_of_a_station_send_one_after_the_other(shop: StoppableShop, context: BrowserContext) -> None:
    first, second = shop.open(context, STATION), shop.open(context, STATION)
    held = hold(first, "**/scan")
    sent: list[str] = []
    second.on("request", lambda request: sent.append(request.url) if request.url.endswith("/scan") else None)
    Scanner(first).pull(part_code(1))
    until(first, lambda: held)
    Scanner(second).pull(part_code(2))
    expect(second.locator("#answer .told-word")).to_have_text("Noted")
    assert sent == []
    held[0].continue_()
    first.unroute("**/scan")
    told(first, "done")
    told(second, "done")
    assert shop.scans() == [part_code(1), part_code(2)]


def test_an_answer_that_is_not_the_servers_own_counts_for_nothing(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, STATION)
    page.route("**/scan", lambda route: route.fulfill(status=200, body="<h1>Welcome to this network</h1>"))
    Scanner(page).pull(part_code(1))
    unsent(page, 1)
    page.unroute("**/scan")
    page.get_by_role("button", name="Send now").click()
    told(page, "done")
    assert shop.scans() == [part_code(1)]


def test_a_server_that_takes_the_scan_and_says_nothing_is_not_waited_for_for_ever(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, BENCH)
    page.route("**/scan", lambda _route: None)
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    scanner.pull(part_code(2))
    unsent(page, 2)
    expect(page.locator("#unsent")).to_contain_text("The server does not answer.")
    page.unroute("**/scan")
    all_sent(page)
    assert shop.scans() == [part_code(1), part_code(2)]


def old_entry(number: int, code: str, **body: str) -> dict[str, Any]:
    return {
        "id": f"6f1b4f1e-27a9-4c0b-9d3e-{number:012}",
        "kind": "scan",
        "path": f"{STATION}/scan",
        "body": {"action": "pass", "code": code, **body},
        "what": code,
        "isMisread": False,
    }


UNDO_CARD = str(Code(Kind.COMMAND, 1))


@pytest.mark.parametrize("by", ["button", "card"])
@pytest.mark.parametrize("path", [STATION, BENCH])
def test_an_undo_pressed_or_read_offline_takes_back_what_was_read_before_it_or_nothing(
    shop: StoppableShop, context: BrowserContext, path: str, by: str
) -> None:
    replace_part(shop.database, 2, "lost", **shop.floor.act())
    page = shop.open(context, path)
    wait_until_kept(page)  # while the service worker takes over, a request may pass what stops it
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    told(page, "done")
    stop_answering(page)
    scanner.pull(part_code(2))  # the label is dead, which nobody says offline
    expect(page.locator("#answer")).to_have_attribute("data-sound", "kept")
    expect(page.locator("#undo")).to_have_text(f"Take back {part_code(2)}")
    if by == "card":
        scanner.pull(UNDO_CARD)
    else:
        page.locator("#undo").click()
    unsent(page, 2)
    expect(page.locator("#answer")).to_contain_text(f"Take back {part_code(2)}")
    expect(page.locator("#undo")).to_have_text("Take back")  # what comes before that, nobody knows here
    page.unroute("**/scan")
    all_sent(page)
    until(page, lambda: len(shop.scans()) == 3)
    done = shop.floor.part(part_code(1))
    assert done.packed if path == BENCH else done.step != "cut"
    shop.floor.check()


def test_what_has_waited_long_goes_out_in_a_few_calls_and_one_that_is_refused_stops_none(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, "/")
    codes = [part_code(number % 6 + 1) for number in range(110)]
    for number, code in enumerate(codes):
        page.evaluate(WRITE_VERSION_1, old_entry(number, code, **({"reason": "no reason"} if number == 60 else {})))
    calls: list[Any] = []
    page.on("request", lambda request: calls.append(request.post_data_json) if request.method == "POST" else None)
    page.goto(f"{shop.address}{STATION}")
    all_sent(page)
    until(page, lambda: len(shop.scans()) >= len(codes) - 1)
    assert shop.scans() == codes[:60] + codes[61:]
    # 50, 50 that are refused, those 50 one by one, 10
    assert [len(each.get("scans", [each])) for each in calls] == [50, 50, *[1] * 50, 10]
    shop.floor.check()


def test_a_queue_that_an_older_program_wrote_is_sent(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, "/")
    page.evaluate(WRITE_VERSION_1, old_entry(1, part_code(1)))
    page.goto(f"{shop.address}{STATION}")
    until(page, lambda: shop.scans() == [part_code(1)])
    all_sent(page)


# As a version before left it: its files had other names, and its page has not been opened since.
UPGRADE = """async (page) => {
  const before = await caches.open("shop-before");
  for (const path of [page, "/static/pack.js"]) await before.put(path, new Response("as it was"));
  const { installing } = await navigator.serviceWorker.register("/service-worker.js", { scope: "/pack" });
  await new Promise((done, fail) => {
    installing.onstatechange = () => ({ activated: done, redundant: fail })[installing.state]?.();
  });
}"""


def test_after_an_upgrade_a_kept_page_has_all_the_files_of_the_new_version(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, "/")
    page.evaluate(UPGRADE, BENCH)
    shop.stop()
    page.goto(f"{shop.address}{BENCH}")
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    unsent(page, 1)
    shop.start()


# What version 1 of the outbox wrote; it stays as it is when there is a version 2.
WRITE_VERSION_1 = """(entry) => new Promise((resolve, reject) => {
  const asked = indexedDB.open("outbox", 1);
  asked.onupgradeneeded = () => {
    asked.result.createObjectStore("waiting", { keyPath: "n", autoIncrement: true });
    asked.result.createObjectStore("told", { keyPath: "id" });
  };
  asked.onsuccess = () => {
    const transaction = asked.result.transaction("waiting", "readwrite");
    transaction.objectStore("waiting").add({ ...entry, read: Date.now() - 3 * 3600 * 1000 });
    transaction.oncomplete = () => (asked.result.close(), resolve());
  };
  asked.onerror = () => reject(asked.error);
})"""


# Signed out


def test_whoever_signs_out_loses_no_scan_and_the_next_to_sign_in_sends_it_under_its_own_name(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, STATION)
    stop_answering(page)
    Scanner(page).pull(part_code(1))
    unsent(page, 1)
    other = context.new_page()
    other.goto(f"{shop.address}/me")
    other.locator(".menu > summary").click()
    other.get_by_role("button", name="Sign out").click()
    other.wait_for_url("**/sign-in*")
    page.unroute("**/scan")
    expect(page.locator("#signed-out")).to_be_visible()
    Scanner(page).pull(part_code(2))
    unsent(page, 2)
    expect(page.get_by_text("The server does not answer.")).to_be_hidden()  # it does: it wants somebody signed in
    expect(page.locator("#connection")).to_be_hidden()
    assert violations(page) == []
    page.get_by_role("link", name="Sign in").click()
    sign_in(page, shop.address, Role.PACKER.value)
    page.goto(f"{shop.address}{STATION}")
    all_sent(page)
    until(page, lambda: len(shop.scans()) >= 2)
    assert shop.scans() == [part_code(1), part_code(2)]
    assert shop.who(part_code(1)) == "a foreman"
    assert shop.who(part_code(2)) == "a packer"  # it was read when nobody was signed in


@pytest.mark.parametrize("path", [STATION, BENCH])
def test_a_page_that_comes_back_to_the_front_says_who_signed_in_meanwhile(
    shop: StoppableShop, context: BrowserContext, path: str
) -> None:
    page = shop.open(context, path)
    other = context.new_page()
    sign_in(other, shop.address, Role.PACKER.value)
    expect(page.locator("#who")).to_have_text("a packer")
    Scanner(page).pull(part_code(1))
    told(page, "done")
    assert shop.who(part_code(1)) == "a packer"


def test_whoever_signs_in_next_finds_no_page_of_the_one_before_kept(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, STATION)
    wait_until_kept(page)
    page.goto(f"{shop.address}/me")
    page.locator(".menu > summary").click()
    page.get_by_role("button", name="Sign out").click()
    page.wait_for_url("**/sign-in*")
    kept = f"async () => Boolean(await caches.match('{STATION}', {{ ignoreVary: true }}))"
    until(page, lambda: not page.evaluate(kept))
    sign_in(page, shop.address, Role.PACKER.value)
    page.goto(f"{shop.address}{STATION}")
    wait_until_kept(page)


def test_a_new_sign_in_in_another_tab_stops_no_station(shop: StoppableShop, context: BrowserContext) -> None:
    page = shop.open(context, STATION)
    other = context.new_page()
    sign_in(other, shop.address, Role.PACKER.value)
    Scanner(page).pull(part_code(1))
    told(page, "done")
    expect(page.locator("#who")).to_have_text("a packer")
    assert shop.scans() == [part_code(1)]


# What a device lacks


def test_a_browser_that_keeps_nothing_says_so_and_scans_on(browser: Browser, shop: StoppableShop) -> None:
    context = browser.new_context(viewport={"width": 1024, "height": 768})
    context.add_init_script("Object.defineProperty(window, 'indexedDB', { value: undefined })")
    page = shop.open(context, STATION)
    expect(page.locator("#unkept")).to_contain_text("This browser keeps nothing.")
    stop_answering(page)
    scanner = Scanner(page)
    for number in (1, 2):
        scanner.pull(part_code(number))
    unsent(page, 2)
    assert violations(page) == []
    page.unroute("**/scan")
    all_sent(page)
    assert shop.scans() == [part_code(1), part_code(2)]
    context.close()


def test_a_full_disk_is_told_and_loses_nothing_as_long_as_the_page_is_open(
    shop: StoppableShop, context: BrowserContext
) -> None:
    page = shop.open(context, "/me")
    wire = context.new_cdp_session(page)
    wire.send("Storage.overrideQuotaForOrigin", {"origin": shop.address, "quotaSize": 1})
    page.goto(f"{shop.address}{STATION}")
    stop_answering(page)
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    scanner.pull(part_code(2))
    unsent(page, 2)
    expect(page.locator("#unkept")).to_be_visible()
    wire.send("Storage.overrideQuotaForOrigin", {"origin": shop.address})
    scanner.pull(part_code(4))
    page.unroute("**/scan")
    all_sent(page)
    assert shop.scans() == [part_code(1), part_code(2), part_code(4)]
    scanner.pull(part_code(5))
    told(page, "done")
    expect(page.locator("#unkept")).to_be_hidden()


def test_without_https_it_says_what_is_missing_and_the_queue_outlives_a_reload(
    browser: Browser, shop: StoppableShop, shots: Path | None
) -> None:
    args = ["--no-sandbox", "--disable-gpu", "--host-resolver-rules=MAP shop.test 127.0.0.1"]
    away = browser.browser_type.launch(executable_path=chromium(), args=args)
    page = away.new_page(viewport={"width": 1024, "height": 768})
    place = f"http://shop.test:{shop.port}"
    sign_in_by_form(page, place, Role.FOREMAN.value)  # calls know no invented names of hosts
    page.goto(f"{place}{STATION}")
    assert page.evaluate("window.isSecureContext") is False
    expect(page.locator("#insecure")).to_contain_text("https")
    assert violations(page) == []
    if shots is not None:
        page.screenshot(path=shots / "outbox-insecure.png")
    stop_answering(page)
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    unsent(page, 1)
    page.reload()
    unsent(page, 1)
    page.unroute("**/scan")
    all_sent(page)
    assert shop.scans() == [part_code(1)]
    away.close()


# Looks


@pytest.mark.parametrize(("language", "scheme"), [("en", "light"), ("es", "dark")])
@pytest.mark.parametrize("path", [STATION, BENCH])
def test_it_is_readable_while_the_server_is_gone(
    browser: Browser,
    shop: StoppableShop,
    path: str,
    language: str,
    scheme: Literal["light", "dark"],
    shots: Path | None,
) -> None:
    context = browser.new_context(viewport={"width": 1024, "height": 768}, locale=language, color_scheme=scheme)
    page = context.new_page()
    page.goto(f"{shop.address}/sign-in")
    page.locator("details summary").last.click()
    page.locator("[name=token]").fill(Role.FOREMAN.value)
    page.keyboard.press("Enter")
    page.wait_for_url(lambda url: "sign-in" not in url)
    page.goto(f"{shop.address}{path}")
    page.route("**/scan", refuse(part_code(1), 422, []))
    scanner = Scanner(page)
    scanner.pull(part_code(1))
    expect(page.locator("#corrections li")).to_have_count(1)
    page.unroute("**/scan")
    stop_answering(page)
    scanner.pull(part_code(2))
    expect(page.locator("#unsent")).to_be_visible()
    expect(page.locator("#answer")).to_have_attribute("data-sound", "kept")
    for width, height in ((1024, 768), (1440, 900), (390, 844)):
        page.set_viewport_size({"width": width, "height": height})
        assert violations(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
        if shots is not None:
            page.screenshot(path=shots / f"outbox-{path.split('/')[1]}-{language}-{scheme}-{width}.png")
    for button in page.locator(".outbox button:visible").all():
        box = button.bounding_box()
        assert box is not None
        assert box["height"] >= 56
    context.close()


def test_stations_of_a_device_share_the_queue(shop: StoppableShop, context: BrowserContext) -> None:
    add_station(shop.database, "SAW 2", Step.CUT)
    page = shop.open(context, STATION)
    stop_answering(page)
    Scanner(page).pull(part_code(1))
    unsent(page, 1)
    page.goto(f"{shop.address}/station/SAW%202")
    unsent(page, 1)
    page.unroute("**/scan")
    all_sent(page)
    assert shop.scans() == [part_code(1)]
    assert shop.floor.part(part_code(1)).last_seen.station == "CUT-1"  # type: ignore[union-attr]
