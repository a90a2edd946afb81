"""The packer's screen, in a real browser with a simulated keyboard scanner."""

import itertools
import re
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, expect

from tests.floor import DECK, END, TOE_KICK, Floor
from tests.pages.looking import fits, readable, sign_in, violations
from tests.pages.scanning import Scanner, last_rhythm, listen
from tests.pages.served_shop import bytes_of
from tests.shops import app_of, sqlite_shop
from tracker.pages.bench.drawing import SlabState, draw_bench, lie, next_to_lay
from tracker.records import packing
from tracker.records.box_contents import BoxView, PlaceView, boxes_of_job
from tracker.records.jobs import job_view
from tracker.records.logged import box_history, part_history
from tracker.server import Server
from tracker.settings import Settings
from tracker.shop.codes import read_code
from tracker.shop.lengths import Units
from tracker.shop.orders import ItemLine
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.access import add_station, make_token
from tracker.work.count import Counting, count_item
from tracker.work.hold_box import hold_box
from tracker.work.intake import read_json_order
from tracker.work.lists import CARTONS, packing_of, set_list, shipped_standard
from tracker.work.orders import take_order
from tracker.work.people import add_person, make_badge

PINS = ItemLine(box="101", item="spring pin 8 mm", quantity=40)
_numbers = itertools.count(1)


@dataclass(frozen=True, slots=True)
class Shop:
    """A running service, and the floor behind it."""

    address: str
    floor: Floor

    def job(self, items: Sequence[ItemLine] = (PINS,)) -> tuple[list[str], list[str]]:
        """Take a job of two boxes; return the codes of its parts (deck, toe kick, end) and of its boxes."""
        name = f"K-{next(_numbers)}"
        self.floor.take(name, parts=(DECK, TOE_KICK, END), items=items)
        with self.floor.database.read() as connection:
            job = job_view(connection, name)
            assert job is not None
            boxes = boxes_of_job(connection, job.id, limit=10)
        return [part.code for box in boxes for part in box.parts], [box.code for box in boxes]

    def ready(self, *parts: str) -> None:
        """Bring parts so far that they only wait to be packed."""
        for code in parts:
            last = [step for step in self.floor.part(code).route if step not in ("pack", "ship")][-1]
            assert self.floor.scan(code, f"{last.upper()}-1").ok

    def state(self, box: str) -> str:
        return self.floor.box(box).state


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Shop]:
    folder = tmp_path_factory.mktemp("bench")
    database = sqlite_shop(folder / "shop.db")
    floor = Floor(database)
    floor.clock = datetime.now(UTC) - timedelta(
        hours=6
    )  # what was done by hand lies before what is done at the benches
    settings = Settings(data_dir=folder, database_url=str(database.url), secret_key="for tests")  # noqa: S106
    server = Server(app_of(settings, database), host="127.0.0.1", port=0)
    thread = threading.Thread(target=server.run)
    thread.start()
    yield Shop(server.address, floor)
    server.stop()
    thread.join()
    database.close()


# Drawing


def test_parts_are_drawn_in_the_order_of_laying_and_the_next_one_is_pointed_out(shop: Shop) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    shop.ready(deck)
    drawn = draw_bench(shop.floor.box(box))
    assert drawn is not None
    assert drawn.next is not None
    assert (drawn.next.code, drawn.layer, drawn.layers) == (deck, 1, 2)
    assert [slab.state for slab in drawn.plan.slabs] == [SlabState.NEXT]
    assert [view.arrow.waits for view in (drawn.plan, drawn.side) if view.arrow] == [False, False]
    shop.floor.scan(deck, "PACK-1")
    drawn = draw_bench(shop.floor.box(box))
    assert drawn is not None
    assert drawn.next is not None
    assert (drawn.next.code, drawn.layer) == (toe_kick, 2)
    assert {slab.name: slab.state for slab in drawn.side.slabs} == {"Deck": SlabState.IN, "Toe kick": SlabState.AWAITED}


def test_what_is_laid_next_but_not_there_waits_and_a_damaged_part_is_not_pointed_at(shop: Shop) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    drawn = draw_bench(shop.floor.box(box))
    assert drawn is not None
    assert drawn.next is not None
    assert drawn.next.code == deck
    assert [slab.state for slab in drawn.plan.slabs] == [SlabState.AWAITED]
    assert [view.arrow.waits for view in (drawn.plan, drawn.side) if view.arrow] == [True, True]
    shop.ready(deck)
    shop.floor.scan(deck, "BAND-1", action=Action.DAMAGED)
    drawn = draw_bench(shop.floor.box(box))
    assert drawn is not None
    assert drawn.next is not None
    assert drawn.next.code == toe_kick
    shop.floor.scan(box, "PACK-1")
    shop.floor.scan(toe_kick, "PACK-1")
    drawn = draw_bench(shop.floor.box(box))
    assert drawn is not None
    assert (drawn.next, drawn.layer, drawn.plan.arrow) == (None, 1, None)
    assert {slab.name: slab.state for slab in drawn.side.slabs} == {"Deck": SlabState.OPEN, "Toe kick": SlabState.IN}


def test_slabs_have_true_proportion_and_lie_in_the_carton(shop: Shop) -> None:
    for box in planned_boxes(shop):
        drawn = draw_bench(box)
        assert drawn is not None
        for view in (drawn.side, drawn.plan):
            left, top, wide, tall = view.frame
            for slab in view.slabs:
                assert left <= slab.x
                assert slab.x + slab.wide <= left + wide + 0.01
                assert top <= slab.y
                assert slab.y + slab.tall <= top + tall + 0.01
        layer = [each for each in lie(box) if each.layer == drawn.layer]
        for slab, each in zip(drawn.plan.slabs, layer, strict=True):
            true = max(each.along, each.across) / min(each.along, each.across)
            assert max(slab.wide, slab.tall) / min(slab.wide, slab.tall) == pytest.approx(true)


def test_of_a_layer_the_part_that_is_at_hand_is_laid_first(shop: Shop) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    view = shop.floor.box(box)
    side_by_side = {
        deck: PlaceView(layer=1, x_mm=0, y_mm=0, z_mm=0, turned=False),
        toe_kick: PlaceView(layer=1, x_mm=0, y_mm=570, z_mm=0, turned=False),
    }
    view = replace(view, carton="wide", length_mm=700, width_mm=700, places=side_by_side)
    upcoming = next_to_lay(lie(view))
    assert upcoming is not None
    assert upcoming.part.code == deck
    shop.floor.scan(toe_kick, "CUT-1")  # now the toe kick is ready to pack and the deck is not
    upcoming = next_to_lay(lie(replace(shop.floor.box(box), carton="wide", places=side_by_side)))
    assert upcoming is not None
    assert upcoming.part.code == toe_kick


def planned_boxes(shop: Shop) -> list[BoxView]:
    """The boxes of a job of two cabinets, planned into the shop's cartons."""
    floor, name = shop.floor, f"K-{next(_numbers)}"
    text = Path("seed_data/cartons.toml").read_text()
    set_list(floor.database, CARTONS, text, who="office", now=floor.tick())
    rows = [
        {"cabinet": "101", "family": "base", "width": 600, "height": 876, "depth": 580, "fronts": "drawer over doors"},
        {"cabinet": "102", "family": "tall", "width": 500, "height": 2134, "depth": 580, "fronts": "pantry"},
    ]
    rows[1]["hinge"] = "left"
    order = read_json_order(
        [],
        [],
        rows,
        job=name,
        customer="Invented",
        due=date(2027, 4, 5),
        units=Units.MM,
        standard=shipped_standard(),
    )
    take_order(floor.database, order, **floor.act(), packing=packing_of(floor.database))
    with floor.database.read() as connection:
        job = job_view(connection, name)
        assert job is not None
        return boxes_of_job(connection, job.id, limit=20)


def test_the_arrow_crosses_no_other_panel_where_there_is_a_way_round(shop: Shop) -> None:
    (deck, toe_kick, end), (box, _other) = shop.job()
    view = shop.floor.box(box)
    third = replace(shop.floor.part(end), position=3)
    spots = {"low": (0, 0), "middle": (0, 100), "high": (0, 200)}
    for first, second, last in itertools.permutations(spots.values()):
        places = {
            code: PlaceView(layer=1, x_mm=x, y_mm=y, z_mm=0, turned=False)
            for code, (x, y) in zip((deck, toe_kick, end), (first, second, last), strict=True)
        }
        parts = [replace(part, width_mm=90.0) for part in (*view.parts, third)]
        drawn = draw_bench(replace(view, carton="wide", length_mm=700, width_mm=300, places=places, parts=parts))
        assert drawn is not None
        arrow = drawn.plan.arrow
        assert arrow is not None
        for slab in drawn.plan.slabs:
            between = sorted((arrow.x, arrow.to_x)), sorted((arrow.y, arrow.to_y))
            across = between[0][0] < slab.x + slab.wide and slab.x < between[0][1] + 0.1
            along = between[1][0] < slab.y + slab.tall and slab.y < between[1][1] + 0.1
            assert not (across and along), (arrow.edge, slab.name)
        assert 0 <= min(arrow.x, arrow.to_x) <= max(arrow.x, arrow.to_x) <= drawn.plan.wide
        assert 0 <= min(arrow.y, arrow.to_y) <= max(arrow.y, arrow.to_y) <= drawn.plan.tall


# In the browser


class Bench:
    """A tablet at a bench, with a keyboard scanner."""

    def __init__(self, page: Page, address: str, station: str) -> None:
        self.page = page
        self.complaints: list[str] = []
        page.on("console", lambda message: self._note(message.text) if message.type == "error" else None)
        page.on("pageerror", lambda error: self._note(str(error)))
        self.name = station
        page.goto(f"{address}/pack/{station}")
        self._scanner = Scanner(page)

    def _note(self, text: str) -> None:
        if not any(status in text for status in ("403 (", "409 (", "422 (")):  # a refusal is an answer
            self.complaints.append(text)

    def scan(self, text: str, *, at_once: bool = False) -> None:
        """Read one label with the scanner; ``at_once``: right after the reading before."""
        self._scanner.pull(text, at_once=at_once)

    def rest(self, seconds: float) -> None:
        self._scanner.rest(seconds)

    def says(self, word: str) -> None:
        expect(self.page.locator("#answer .told-word")).to_have_text(word)

    @property
    def answer(self) -> str:
        return self.page.locator("#answer").inner_text()

    def region(self, name: str) -> Any:
        return self.page.locator(f"[data-region={name}]")


@pytest.fixture
def at_bench(browser: Browser, shop: Shop) -> Iterator[Callable[..., Bench]]:
    """Open tablets at benches, each in a context of its own; a console error at any of them fails the test."""
    contexts: list[BrowserContext] = []
    opened: list[Bench] = []

    def open_one(station: str = "", *, role: Role = Role.PACKER, **more: Any) -> Bench:
        if not station:
            station = f"BENCH-{next(_numbers)}"
            add_station(shop.floor.database, station, Step.PACK)
        context = browser.new_context(**{"viewport": {"width": 1024, "height": 768}, **more})
        contexts.append(context)
        page = context.new_page()
        sign_in(page, shop.address, token(shop, role))
        opened.append(Bench(page, shop.address, station))
        return opened[-1]

    yield open_one
    for context in contexts:
        context.close()
    assert [text for bench in opened for text in bench.complaints] == []


def token(shop: Shop, role: Role) -> str:
    plain = f"{role} {next(_numbers)}"
    make_token(shop.floor.database, plain, role, secret=plain.strip, now=datetime.now(UTC))
    return plain


def test_a_whole_box_is_packed_counted_weighed_and_sealed(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    shop.ready(toe_kick)
    bench = at_bench()
    bench.scan(deck)
    bench.says("Done")
    expect(bench.region("head")).to_contain_text("1 of 2 parts in")
    expect(bench.region("missing")).to_contain_text("2 Toe kick")
    expect(bench.region("missing").locator(".upnext .tag.next")).to_have_text("next")
    expect(bench.region("drawn").locator("svg .next").first).to_be_visible()
    bench.page.get_by_role("button", name="Seal the box").click(force=True)
    expect(bench.page.locator("#answer")).to_contain_text("is not complete: find what is missing, then seal it.")
    assert shop.state(box) == "packing"
    bench.scan(toe_kick)
    expect(bench.page.locator("#answer")).to_contain_text("All parts are in. Count the items and seal the box.")
    expect(bench.region("missing")).to_contain_text("No part is missing")
    bench.page.get_by_role("button", name="All 40: spring pin 8 mm").click()
    expect(bench.region("items")).to_contain_text("all 40 in")
    expect(bench.page.locator("#answer")).to_contain_text("Everything is in. Seal the box.")
    bench.page.get_by_role("button", name="Seal the box").click()
    bench.says("Sealed. Now print its label.")
    assert shop.state(box) == "sealed"
    link = bench.region("seal").get_by_role("link", name="Print the label of the box").get_attribute("href")
    label = bench.page.request.get(shop.address + str(link))
    assert label.ok
    assert label.headers["content-type"] == "image/png"


def test_a_wrong_part_stops_the_work_and_says_where_it_belongs(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, end), (_box, other) = shop.job()
    first, second = at_bench(), at_bench()
    listen(first.page)
    second.scan(other)
    second.says("Done")
    first.scan(deck)
    first.says("Done")
    assert last_rhythm(first.page) == 1
    first.scan(end)
    first.says("Wrong box")
    assert "It belongs in box 102" in first.answer
    assert f"open at {second.name}" in first.answer
    assert other in first.answer
    banner, sentence = first.page.locator("#answer").bounding_box(), first.page.locator(".told-says").bounding_box()
    assert banner is not None
    assert sentence is not None
    assert sentence["width"] > 0.6 * banner["width"], "a word that is long in another language leaves it its room"
    assert first.page.locator("#answer").get_attribute("data-sound") == "stop"
    assert last_rhythm(first.page) == 3
    size = first.page.locator("#answer .told-word").evaluate("(word) => parseFloat(getComputedStyle(word).fontSize)")
    assert size >= 48
    expect(first.region("head")).to_contain_text("1 of 2 parts in")
    first.scan(toe_kick)
    first.says("Done")


def test_two_packers_on_one_box_see_each_others_parts(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    first, second = at_bench(), at_bench()
    for bench in (first, second):
        bench.scan(box)
        bench.says("Done")
        expect(bench.region("head")).to_contain_text("0 of 2 parts in")
    first.scan(deck)
    expect(second.region("head")).to_contain_text("1 of 2 parts in")
    second.scan(toe_kick)
    expect(first.region("head")).to_contain_text("2 of 2 parts in")
    first.page.get_by_role("button", name="One spring pin 8 mm more").click()
    expect(second.region("items")).to_contain_text("1 of 40")
    second.page.get_by_role("button", name="One spring pin 8 mm more").click()
    expect(first.region("items")).to_contain_text("2 of 40")


def test_items_are_counted_by_touch_and_by_keyboard_and_outlive_a_reload(
    shop: Shop, at_bench: Callable[..., Bench]
) -> None:
    _parts, (box, _other) = shop.job()
    bench = at_bench()
    bench.scan(box)
    bench.says("Done")
    more = bench.page.get_by_role("button", name="One spring pin 8 mm more")
    for _ in range(3):
        more.click()
    bench.page.get_by_role("button", name="One spring pin 8 mm less").click()
    expect(bench.region("items")).to_contain_text("2 of 40")
    bench.page.get_by_label("spring pin 8 mm", exact=True).fill("38")
    bench.page.keyboard.press("Tab")
    expect(bench.region("items")).to_contain_text("38 of 40")
    assert shop.floor.box(box).items[0].counted == 38
    bench.page.reload()
    expect(bench.region("items")).to_contain_text("38 of 40")
    expect(bench.page.get_by_label("spring pin 8 mm", exact=True)).to_have_value("38")


def test_the_scale_is_compared_with_the_plan_and_says_what_it_cannot_prove(
    shop: Shop, at_bench: Callable[..., Bench]
) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job(items=())
    planned = shop.floor.box(box).mass_kg
    bench = at_bench()
    bench.scan(deck)
    bench.says("Done")
    expect(bench.page.get_by_label("Mass in kg")).to_have_count(0)
    bench.scan(toe_kick)
    scale = bench.region("scale")
    expect(scale).to_contain_text("only scans prove it")
    expect(scale).to_contain_text("It would notice a missing Deck")
    expect(scale).to_contain_text("It may not notice: Toe kick")
    bench.page.get_by_label("Mass in kg").fill(f"{planned - 0.45:.2f}")
    bench.page.get_by_role("button", name="Weigh").click()
    expect(scale).to_contain_text("Too light")
    bench.says("▼ Too light")
    seal = bench.page.get_by_role("button", name="Seal the box")
    seal.click()
    doubt = bench.page.get_by_role("dialog", name="The scale says: too light.")
    expect(doubt.get_by_role("button", name="No, go on packing")).to_be_focused()
    seal.click(force=True)  # a second press at the same place seals nothing
    assert shop.state(box) == "complete"
    bench.scan(f"{planned:.2f} kg")  # the scale types by itself, and whoever weighs again goes on packing
    expect(doubt).to_be_hidden()
    expect(scale).to_contain_text("As planned")
    bench.says("✓ As planned")
    bench.page.get_by_role("button", name="Seal the box").click()
    bench.says("Sealed. Now print its label.")
    assert shop.floor.box(box).weighed_kg == pytest.approx(planned, abs=0.01)


def test_a_box_that_the_scale_doubts_is_sealed_when_the_packer_looked_again(
    shop: Shop, at_bench: Callable[..., Bench], shots: Path | None
) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job(items=())
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    expect(bench.region("head")).to_contain_text("2 of 2 parts in")
    bench.scan(f"{shop.floor.box(box).mass_kg + 0.45:.2f}")
    expect(bench.region("scale")).to_contain_text("Too heavy")
    seal = bench.page.get_by_role("button", name="Seal the box")
    seal.click()
    doubt = bench.page.get_by_role("dialog", name="The scale says: too heavy.")
    expect(doubt).to_be_visible()
    _fits(bench, shots, "pack-doubt")
    assert shop.state(box) == "complete"
    doubt.get_by_role("button", name="No, go on packing").click()
    seal.click()
    doubt.get_by_role("button", name="I looked: seal it").click()
    bench.says("Sealed. Now print its label.")
    assert shop.state(box) == "sealed"


FOREMAN, PASSWORD = "Invented Foreman", "the right long password"


@pytest.fixture(scope="module")
def badges(shop: Shop) -> dict[Role, str]:
    """The badges of a foreman, who has a password too, and of a packer."""
    database, at = shop.floor.database, {"now": datetime.now(UTC)}
    foreman = add_person(database, FOREMAN, Role.FOREMAN, password=PASSWORD, **at)
    packer = add_person(database, "Invented Packer", Role.PACKER, password=None, **at)
    return {Role.FOREMAN: make_badge(database, foreman, **at), Role.PACKER: make_badge(database, packer, **at)}


def short_box(shop: Shop, bench: Bench) -> str:
    """A box with one of its two parts in it."""
    (deck, _toe_kick, _end), (box, _other) = shop.job(items=())
    bench.scan(deck)
    bench.says("Done")
    bench.page.get_by_role("button", name="A foreman lets it go short").click()
    return box


def test_a_foreman_lets_a_box_go_short_by_name_and_password_while_the_packer_stays_signed_in(
    shop: Shop, at_bench: Callable[..., Bench], badges: dict[Role, str], shots: Path | None
) -> None:
    bench = at_bench()
    box = short_box(shop, bench)
    packer = bench.page.locator("#who").inner_text()
    dialog = bench.page.get_by_role("dialog")
    _fits(bench, shots, "pack-short")
    seal = dialog.get_by_role("button", name="Seal it short")
    seal.click()
    expect(dialog.get_by_role("alert")).to_have_text("Write why the box is sealed so.")
    dialog.get_by_label("Why?").fill("the truck waits")
    dialog.get_by_label("Foreman's name").fill(FOREMAN)
    dialog.get_by_label("Password").fill("a wrong password")
    seal.click()
    expect(dialog.get_by_role("alert")).to_contain_text("not a foreman's")
    assert shop.state(box) == "packing"
    dialog.get_by_label("Password").fill(PASSWORD)
    seal.click()
    expect(bench.page.locator("#answer")).to_contain_text(
        "Sealed short. What is missing is planned for box 101 follow-up"
    )
    assert shop.state(box) == "sealed"
    assert bench.page.locator("#who").inner_text() == packer
    with shop.floor.database.read() as connection:
        sealing = box_history(connection, read_code(box).number, limit=1)[0]
    assert (sealing.action, sealing.who) == ("seal", FOREMAN)
    assert "the truck waits" in sealing.message


def test_a_box_whose_mass_is_off_is_sealed_by_a_foreman_and_not_by_whoever_looked(
    shop: Shop, at_bench: Callable[..., Bench], badges: dict[Role, str], shots: Path | None
) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job(items=())
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    expect(bench.region("head")).to_contain_text("2 of 2 parts in")
    bench.scan(f"{shop.floor.box(box).mass_kg + 3:.2f}")
    expect(bench.region("scale")).to_contain_text("More than 0.5 kg off: a foreman decides.")
    bench.page.get_by_role("button", name="Seal the box").click()
    dialog = bench.page.get_by_role("dialog", name="Seal box 101 as it weighs")
    expect(dialog).to_contain_text("A foreman decides: nothing is missing, but its mass is off.")
    _fits(bench, shots, "pack-off-weight")
    assert shop.state(box) == "complete"
    dialog.get_by_label("Why?").fill("heavier board")
    bench.scan(badges[Role.FOREMAN])
    dialog.get_by_role("button", name="Seal it as it weighs").click()
    bench.says("Sealed. Now print its label.")
    assert shop.state(box) == "sealed"


def test_a_foreman_lets_a_box_go_short_by_badge_and_a_packers_badge_does_not(
    shop: Shop, at_bench: Callable[..., Bench], badges: dict[Role, str]
) -> None:
    bench = at_bench()
    box = short_box(shop, bench)
    dialog = bench.page.get_by_role("dialog")
    dialog.get_by_label("Why?").fill("the truck waits")
    bench.scan(badges[Role.PACKER])
    expect(dialog).to_contain_text("badge was read")
    dialog.get_by_role("button", name="Seal it short").click()
    expect(dialog.get_by_role("alert")).to_have_text("Invented Packer is no foreman.")
    assert shop.state(box) == "packing"
    bench.scan(badges[Role.FOREMAN])
    dialog.get_by_role("button", name="Seal it short").click()
    expect(bench.page.locator("#answer")).to_contain_text("Sealed short.")
    assert shop.state(box) == "sealed"
    shop.floor.check()


def test_a_part_is_marked_damaged_by_two_taps_and_the_box_lacks_it(
    shop: Shop, at_bench: Callable[..., Bench], shots: Path | None
) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job(items=())
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    expect(bench.region("head")).to_contain_text("2 of 2 parts in")
    bench.page.get_by_role("button", name="Damaged", exact=True).click()
    dialog = bench.page.get_by_role("dialog", name="A part is damaged")
    expect(dialog.get_by_role("radio", checked=True)).to_have_count(1)
    _fits(bench, shots, "pack-damaged")
    dialog.get_by_role("button", name="Chipped").click()
    expect(dialog).to_be_hidden()
    expect(bench.page.locator("#answer")).to_contain_text("Marked damaged: Chipped.")
    expect(bench.region("head")).to_contain_text("1 of 2 parts in")
    assert shop.floor.part(toe_kick).damaged
    with shop.floor.database.read() as connection:
        history = part_history(connection, read_code(toe_kick).number, read_code(box).number)
    assert "Marked damaged: Chipped." in history[0].message
    assert shop.state(box) == "packing"


def test_another_part_of_the_box_is_chosen_or_scanned_to_be_marked_damaged(
    shop: Shop, at_bench: Callable[..., Bench]
) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job(items=())
    bench = at_bench()
    bench.scan(box)
    bench.says("Done")
    bench.page.get_by_role("button", name="Damaged", exact=True).click()
    dialog = bench.page.get_by_role("dialog", name="A part is damaged")
    dialog.get_by_role("button", name="Scratched").click()
    expect(dialog.get_by_role("alert")).to_have_text("Choose the part first.")
    dialog.get_by_role("button", name="No, nothing is damaged").click()
    for code in (deck, toe_kick):
        bench.scan(code)
    expect(bench.region("head")).to_contain_text("2 of 2 parts in")
    bench.page.get_by_role("button", name="Damaged", exact=True).click()
    dialog.get_by_role("radio", name="1 Deck").check()
    dialog.get_by_role("button", name="Scratched").click()
    expect(bench.page.locator("#answer")).to_contain_text("Marked damaged: Scratched.")
    assert shop.floor.part(deck).damaged
    bench.page.get_by_role("button", name="Damaged", exact=True).click()
    bench.scan(toe_kick)
    expect(dialog.get_by_role("radio", checked=True)).to_have_value(toe_kick)
    dialog.get_by_role("button", name="Wrong holes").click()
    expect(bench.region("head")).to_contain_text("0 of 2 parts in")
    assert shop.floor.part(toe_kick).damaged
    shop.floor.check()


def test_counts_and_weighings_stand_in_the_history_of_the_box_with_who_did_them(
    shop: Shop, at_bench: Callable[..., Bench]
) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    bench.page.get_by_role("button", name="All 40: spring pin 8 mm").click()
    expect(bench.region("items")).to_contain_text("all 40 in")
    bench.page.get_by_label("Mass in kg").fill("12.5")
    bench.page.get_by_role("button", name="Weigh").click()
    expect(bench.region("scale")).to_contain_text("weighed")
    who = bench.page.locator("#who").inner_text()
    with shop.floor.database.read() as connection:
        history = box_history(connection, read_code(box).number, limit=9)
    acts = [(each.action, each.message, each.who) for each in reversed(history) if each.action in ("count", "weigh")]
    assert acts == [
        ("count", "spring pin 8 mm: 40 of 40 counted.", who),
        ("weigh", "12.50 kg weighed.", who),
    ]
    bench.page.goto(f"{shop.address}/boxes/{box}")
    expect(bench.page.get_by_role("region", name="What happened to it")).to_contain_text("40 of 40 counted")


def test_a_box_is_sealed_by_what_the_other_packer_counted_meanwhile(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    bench.page.get_by_role("button", name="All 40: spring pin 8 mm").click()
    expect(bench.region("items")).to_contain_text("all 40 in")
    bench.page.route("**/bench", lambda route: route.abort())  # what the other packer does is not seen here yet
    count = Counting(box=read_code(box).number, item="spring pin 8 mm", count=39, was=40)
    count_item(shop.floor.database, count, **shop.floor.act())
    bench.page.get_by_role("button", name="Seal the box").click()
    expect(bench.page.locator("#answer")).to_contain_text("is not complete: count the items first, then seal it.")
    expect(bench.page.locator("#seal-says")).to_contain_text("is not complete: count the items first, then seal it.")
    assert shop.state(box) == "complete"
    bench.page.unroute("**/bench")
    expect(bench.region("items")).to_contain_text("39 of 40")
    bench.complaints.clear()  # the polls that were cut off


def test_a_box_sealed_short_says_so_and_the_rest_is_one_press_away(
    shop: Shop, at_bench: Callable[..., Bench], shots: Path | None
) -> None:
    (deck, _toe_kick, _end), (box, _other) = shop.job()
    bench = at_bench()
    bench.scan(deck)
    bench.says("Done")
    rest = shop.floor.seal(box, {}, override="the truck waits").follow_up
    expect(bench.region("head")).to_contain_text("1 part in")
    expect(bench.region("head")).to_contain_text("sealed short")
    expect(bench.region("head")).not_to_contain_text("of 1 parts in")
    expect(bench.page.locator("#bench")).not_to_contain_text("All parts are in")
    expect(bench.page.locator("#bench")).not_to_contain_text("No part is missing")
    says = bench.region("seal").get_by_text("Sealed short: the rest is in box 101 follow-up, on no load.")
    warn, ink = says.evaluate("(each) => [getComputedStyle(each).color, getComputedStyle(document.body).color]")
    assert warn != ink
    _fits(bench, shots, "pack-sealed-short")
    bench.page.get_by_role("button", name="Pack box 101 follow-up").first.click()
    bench.says("Done")
    expect(bench.region("head")).to_have_attribute("data-box", str(rest))


def test_a_grey_seal_says_why_and_a_refusal_stands_beside_it(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    bench = at_bench()
    bench.scan(deck)
    seal = bench.region("seal")
    expect(seal).to_contain_text("1 part missing · Count first: 1 kind")
    bench.scan(toe_kick)
    expect(seal).not_to_contain_text("missing")
    expect(seal).to_contain_text("Count first: 1 kind")
    tile = bench.page.locator(f'[data-open="{box}"]')
    assert packing_tile(shop, box).uncounted == 1
    if tile.count():
        expect(tile).to_contain_text("count the items")
        expect(tile).not_to_contain_text("seal it")
    bench.page.get_by_role("button", name="Seal the box").click(force=True)
    expect(bench.page.locator("#seal-says")).to_contain_text("is not complete: count the items first, then seal it.")
    bench.page.get_by_role("button", name="All 40: spring pin 8 mm").click()
    expect(bench.page.locator("#seal-says")).to_be_hidden()
    expect(bench.page.locator("#seal-why")).to_have_count(0)


def packing_tile(shop: Shop, box: str) -> packing.NextBox:
    with shop.floor.database.read() as connection:
        boxes, _more = packing.next_boxes(connection, limit=1_000)
    return next(each for each in boxes if each.code == box)


@pytest.mark.parametrize("size", [(1024, 768), (1440, 900), (1920, 1080)])
def test_the_answer_the_items_and_the_seal_are_in_sight_of_a_large_box(
    shop: Shop, at_bench: Callable[..., Bench], size: tuple[int, int]
) -> None:
    bench = at_bench(viewport={"width": size[0], "height": size[1]})
    box = max(planned_boxes(shop), key=lambda each: len(each.parts))
    bench.scan(box.code)
    bench.says("Done")
    for seen in (
        "#answer",
        "#seal",
        "#seal-why",
        "#item-1",
        "#item-1-all",
        ".missing li >> nth=1",
        ".drawn svg >> nth=1",
    ):
        place = bench.page.locator(seen).bounding_box()
        assert place is not None
        assert place["y"] >= 0
        assert place["y"] + place["height"] <= size[1], seen
    assert bench.page.evaluate("scrollY") == 0
    last = bench.page.locator(".missing li").last
    last.scroll_into_view_if_needed()
    assert bench.page.evaluate("scrollY") == 0, "the list scrolls in itself"
    place = bench.page.locator("#bench").bounding_box()
    assert place is not None
    assert place["width"] > size[0] - 60


def test_a_gloved_second_tap_takes_nothing_more_back(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), (_box, _other) = shop.job()
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    expect(bench.region("head")).to_contain_text("2 of 2 parts in")
    bench.page.get_by_role("button", name="Take back Toe kick 101").dblclick()
    expect(bench.region("head")).to_contain_text("1 of 2 parts in")
    button = bench.page.get_by_role("button", name="Take back Deck 101")
    button.click()
    time.sleep(0.5)
    assert shop.floor.part(deck).packed
    time.sleep(1.2)
    button.click()
    expect(bench.region("head")).to_contain_text("No box on this bench")


def test_a_sealed_box_is_opened_again_by_a_foreman_who_says_why(
    shop: Shop, at_bench: Callable[..., Bench], badges: dict[Role, str], shots: Path | None
) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job(items=())
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    bench.page.get_by_role("button", name="Seal the box").click()
    bench.says("Sealed. Now print its label.")
    bench.page.get_by_role("button", name="Take back").click()
    bench.says("Closed")
    expect(bench.page.locator("#answer")).to_contain_text("Box 101 is sealed: nothing goes in or out.")
    expect(bench.page.locator("#answer")).not_to_contain_text("belongs")
    _fits(bench, shots, "pack-closed")
    bench.region("seal").get_by_role("button", name="Open again").click()
    dialog = bench.page.get_by_role("dialog", name="Open box 101 again")
    go = dialog.get_by_role("button", name="Open it again")
    bench.scan(badges[Role.FOREMAN])
    go.click()
    expect(dialog.get_by_role("alert")).to_have_text("Write why the box is opened again.")
    _fits(bench, shots, "pack-open-again")
    dialog.get_by_label("Why?").fill("a scratched deck")
    go.click()
    bench.says("Opened again. Seal it when it is right.")
    expect(bench.region("head")).to_contain_text("complete")
    with shop.floor.database.read() as connection:
        opening = box_history(connection, read_code(box).number, limit=1)[0]
    assert opening.who == FOREMAN
    assert "a scratched deck" in opening.message
    bench.page.get_by_role("button", name="Take back Toe kick 101").click()
    bench.says("Taken back")
    assert shop.state(box) == "packing"
    shop.floor.check()


def test_a_box_that_was_sealed_elsewhere_is_opened_where_it_lies_now(
    shop: Shop, at_bench: Callable[..., Bench]
) -> None:
    (_deck, _toe_kick, end), (_box, other) = shop.job(items=())
    for code in (other, end):
        assert shop.floor.scan(code, "PACK-1").ok
    shop.floor.seal(other)
    bench = at_bench(role=Role.FOREMAN)
    bench.scan(end)
    bench.says("Already counted")
    bench.page.get_by_role("button", name="Open box 102 again").click()
    dialog = bench.page.get_by_role("dialog")
    dialog.get_by_label("Why?").fill("a scratched end")
    dialog.get_by_role("button", name="Open it again").click()
    expect(bench.region("head")).to_have_attribute("data-box", other)
    assert shop.state(other) == "complete"


def test_a_held_box_says_so_at_the_bench_and_in_the_list_and_is_not_sealed(
    shop: Shop, at_bench: Callable[..., Bench]
) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job(items=())
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    hold_box(shop.floor.database, read_code(box).number, **shop.floor.act())
    expect(bench.region("head").locator(".tag").first).to_have_text("on hold")
    expect(bench.region("seal")).to_contain_text("This box is on hold and stays in the shop. Ask the foreman.")
    expect(bench.page.get_by_role("button", name="Seal the box")).to_have_attribute("aria-disabled", "true")
    assert packing_tile(shop, box).held
    bench.page.get_by_role("button", name="Seal the box").dispatch_event("click")
    expect(bench.page.locator("#seal-says")).to_contain_text("is on hold: let it go first")


def test_the_foreman_sees_what_goes_short_and_ticks_what_is_in_the_bag(
    shop: Shop, at_bench: Callable[..., Bench], shots: Path | None
) -> None:
    screws = ItemLine(box="101", item="screw 30 mm", quantity=4)
    (deck, _toe_kick, _end), (box, _other) = shop.job(items=(PINS, screws))
    bench = at_bench(role=Role.FOREMAN)
    bench.scan(deck)
    bench.says("Done")
    bench.page.get_by_role("button", name="A foreman lets it go short").click()
    dialog = bench.page.get_by_role("dialog", name="Seal box 101 short")
    expect(dialog).to_contain_text("2 Toe kick 101 · waits for cut")
    dialog.get_by_role("checkbox", name="spring pin 8 mm 0 of 40").check()
    _fits(bench, shots, "pack-lacks")
    dialog.get_by_label("Why?").fill("the truck waits")
    dialog.get_by_role("button", name="Seal it short").click()
    expect(bench.page.locator("#answer")).to_contain_text("Sealed short.")
    assert [(line.item, line.quantity, line.counted) for line in shop.floor.box(box).items] == [
        ("spring pin 8 mm", 40, 40)
    ]
    shop.floor.check()


def test_a_part_that_was_refused_here_is_not_said_to_be_elsewhere(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), (_box, other) = shop.job()
    bench = at_bench()
    bench.scan(other)
    bench.says("Done")
    bench.scan(deck)
    bench.says("Wrong box")
    bench.page.get_by_role("button", name="Pack box 101").first.click()
    bench.says("Done")
    lines = bench.region("missing").locator("li")
    expect(lines.filter(has_text="Deck")).to_contain_text("seen here, not packed")
    expect(lines.filter(has_text="Deck")).not_to_contain_text("not here")
    expect(lines.filter(has_text="Toe kick")).to_contain_text("not here: waits for cut")
    shop.floor.scan(toe_kick, "CUT-1")
    expect(lines.filter(has_text="Toe kick").locator(".tag.next")).to_have_text("next")


def test_no_name_in_the_drawing_stands_under_the_arrow(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    _parts, (box, _other) = shop.job()
    bench = at_bench()
    bench.scan(box)
    bench.says("Done")
    order = bench.page.locator(".drawn svg").first.evaluate(
        "(svg) => [...svg.querySelectorAll('.pointer, .slab text')].map((each) => each.tagName)"
    )
    assert order[0] == "polygon"
    assert set(order[1:]) == {"text"}


def test_whoever_may_only_scan_packs_but_does_not_seal(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job(items=())
    bench = at_bench(role=Role.STATION)
    for code in (deck, toe_kick):
        bench.scan(code)
    expect(bench.region("head")).to_contain_text("2 of 2 parts in")
    expect(bench.region("seal")).to_contain_text("A packer seals: scan your badge.")
    expect(bench.page.get_by_role("button", name="Seal the box")).to_have_count(0)
    assert shop.state(box) == "complete"


def test_the_bench_is_chosen_once_and_kept_by_the_device(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    bench = at_bench()
    bench.page.goto(f"{shop.address}/pack")
    bench.page.wait_for_url(f"{shop.address}/pack/{bench.name}")
    bench.page.get_by_role("link", name="Other bench").click()
    bench.page.wait_for_url(f"{shop.address}/pack?choose=1")
    assert violations(bench.page) == []
    bench.page.get_by_role("link", name="PACK-1", exact=True).click()
    bench.page.wait_for_url(f"{shop.address}/pack/PACK-1")
    bench.page.goto(f"{shop.address}/pack")
    bench.page.wait_for_url(f"{shop.address}/pack/PACK-1")
    assert bench.page.request.get(f"{shop.address}/pack/CUT-1").status == 404


def test_what_to_pack_next_is_listed_and_opened_by_a_touch(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (_deck, _toe_kick, end), (_box, ready) = shop.job()
    shop.floor.scan(end, "CUT-1")
    bench = at_bench()
    listed = bench.page.get_by_role("region", name="To pack next").get_by_role("button")
    expect(listed.first).to_be_visible()
    bench.page.locator(f'[data-open="{ready}"]').click()
    bench.says("Done")
    expect(bench.region("head")).to_have_attribute("data-box", ready)
    bench.page.get_by_role("button", name=re.compile("Take back Box 102 of K-")).click()
    bench.says("Taken back")
    expect(bench.region("head")).to_contain_text("No box on this bench")
    expect(bench.page.get_by_role("button", name="Take back", exact=True)).to_be_visible()


def test_a_bench_that_nothing_changed_at_answers_without_its_content(
    shop: Shop, at_bench: Callable[..., Bench]
) -> None:
    _parts, (box, _other) = shop.job()
    bench = at_bench()
    bench.scan(box)
    bench.says("Done")
    address = f"{shop.address}/pack/{bench.name}/bench"
    first = bench.page.request.get(address)
    again = bench.page.request.get(address, headers={"If-None-Match": first.headers["etag"]})
    assert (first.status, again.status, again.body()) == (200, 304, b"")
    bench.page.get_by_role("button", name="One spring pin 8 mm more").click()
    expect(bench.region("items")).to_contain_text("1 of 40")
    assert bench.page.request.get(address, headers={"If-None-Match": first.headers["etag"]}).status == 200


def test_a_label_read_twice_at_once_is_counted_once(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, _toe_kick, _end), _boxes = shop.job()
    bench = at_bench()
    bench.scan(deck)
    bench.says("Done")
    bench.scan(deck, at_once=True)
    bench.says("Read twice, counted once.")
    bench.rest(1.6)
    bench.scan(deck)
    bench.says("Already counted")


def test_a_code_typed_by_hand_counts_and_typing_is_not_swallowed(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), _boxes = shop.job()
    bench = at_bench()
    field = bench.page.get_by_label("Type a code")
    field.focus()
    bench.page.keyboard.type(deck.lower(), delay=70)
    expect(field).to_have_value(deck.lower())
    bench.page.keyboard.press("Enter")
    bench.says("Done")
    expect(field).to_have_value("")
    bench.page.keyboard.type("abc", delay=0)  # somebody types three letters faster than usual
    expect(field).to_have_value("abc")
    bench.scan(toe_kick)  # the scanner leaves what stood in the field as it was
    expect(bench.page.locator("#answer")).to_contain_text("Toe kick")
    expect(field).to_have_value("abc")


def test_nothing_is_clicked_by_the_enter_of_the_scanner(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, _toe_kick, _end), (box, _other) = shop.job()
    bench = at_bench()
    bench.scan(box)
    bench.says("Done")
    bench.page.get_by_role("button", name="All 40: spring pin 8 mm").focus()
    bench.scan(deck)
    expect(bench.region("head")).to_contain_text("1 of 2 parts in")
    assert shop.floor.box(box).items[0].counted is None


def test_what_has_the_focus_keeps_it_when_the_bench_is_asked_for_and_when_another_packs(
    shop: Shop, at_bench: Callable[..., Bench]
) -> None:
    (deck, _toe_kick, _end), (box, _other) = shop.job()
    bench = at_bench()
    bench.scan(box)
    bench.says("Done")
    bench.page.evaluate("localStorage.removeItem('pack-bench')")  # as on a tablet that shows this bench the first time
    bench.page.reload()
    bench.region("missing").focus()
    came = [bench.region(name).element_handle() for name in ("head", "drawn", "items", "missing", "scale", "seal")]
    came.append(bench.page.locator("#next > *").first.element_handle())
    for asked in ("/next", "/bench", "/bench"):  # asked once more, the answers before have been shown
        bench.page.wait_for_event("response", lambda response, asked=asked: response.url.endswith(asked))
    assert all(region.evaluate("(each) => each.isConnected") for region in came), "what is as it was is not drawn anew"
    shop.floor.scan(deck, bench.name, at=datetime.now(UTC))
    expect(bench.region("head")).to_contain_text("1 of 2 parts in")
    expect(bench.region("missing")).to_be_focused()


def test_the_screen_is_used_by_keyboard_alone(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    bench = at_bench()
    keyboard = bench.page.keyboard
    bench.page.get_by_label("Type a code").focus()
    for code in (deck, toe_kick):
        keyboard.type(code, delay=70)
        keyboard.press("Enter")
        expect(bench.page.locator("#answer")).to_contain_text("Deck" if code == deck else "Toe kick")
    _tab_to(bench.page, "All 40: spring pin 8 mm")
    keyboard.press("Space")
    expect(bench.region("items")).to_contain_text("all 40 in")
    expect(bench.page.get_by_role("button", name="All 40: spring pin 8 mm")).to_be_focused()
    _tab_to(bench.page, "Seal the box")
    keyboard.press("Space")
    bench.says("Sealed. Now print its label.")
    assert shop.state(box) == "sealed"


def _tab_to(page: Page, name: str) -> None:
    for _ in range(40):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.ariaLabel || document.activeElement.innerText") == name:
            return
    raise AssertionError(f"no way by keyboard to {name}")


def test_the_screen_is_readable_at_every_size(shop: Shop, at_bench: Callable[..., Bench], shots: Path | None) -> None:
    bench = at_bench()
    boxes = planned_boxes(shop)
    box = max(boxes, key=lambda each: len(each.parts))
    bench.scan(box.code)
    for part in box.parts[:5]:
        bench.scan(part.code)
        expect(bench.page.locator("#answer")).to_contain_text(part.name)
    expect(bench.region("head")).to_contain_text("5 of")
    readable(bench.page, shots, "pack")
    other = next(each for each in boxes if each.code != box.code)
    bench.scan(other.parts[0].code)
    bench.says("Wrong box")
    readable(bench.page, shots, "pack-wrong")


def test_the_end_of_a_box_is_readable_too(shop: Shop, at_bench: Callable[..., Bench], shots: Path | None) -> None:
    (deck, toe_kick, _end), (box, _other) = shop.job()
    bench = at_bench()
    for code in (deck, toe_kick):
        bench.scan(code)
    bench.page.get_by_role("button", name="All 40: spring pin 8 mm").click()
    expect(bench.region("scale")).to_contain_text("On the scale")
    bench.scan("3.2")
    expect(bench.region("scale")).to_contain_text("Too light")
    readable(bench.page, shots, "pack-light")
    bench.scan(f"{shop.floor.box(box).mass_kg:.2f}")
    bench.page.get_by_role("button", name="Seal the box").click()
    bench.says("Sealed. Now print its label.")
    readable(bench.page, shots, "pack-sealed")


def _fits(bench: Bench, shots: Path | None, name: str) -> None:
    if shots is not None:
        bench.page.screenshot(path=shots / f"{name}.png", full_page=True)
    assert violations(bench.page) == []
    assert fits(bench.page)


def test_the_head_stays_on_one_line_in_spanish(shop: Shop, at_bench: Callable[..., Bench], shots: Path | None) -> None:
    bench = at_bench(color_scheme="dark")
    bench.page.set_extra_http_headers({"Accept-Language": "es"})
    bench.page.reload()
    assert bench.page.locator("html").get_attribute("lang") == "es"
    box = max(planned_boxes(shop), key=lambda each: len(each.parts))
    bench.scan(box.code)
    bench.scan(box.parts[-1].code)
    expect(bench.page.locator("#undo b")).to_contain_text(box.parts[-1].name)
    middles = []
    for each in ("#code", "#undo", "#damaged-on"):
        place = bench.page.locator(each).bounding_box()
        assert place is not None
        middles.append(place["y"] + place["height"] / 2)
    assert max(middles) - min(middles) < 5
    _fits(bench, shots, "pack-es-dark")


def test_the_screen_weighs_less_than_100_kilobytes(shop: Shop, at_bench: Callable[..., Bench]) -> None:
    bench = at_bench()
    bench.scan(max(planned_boxes(shop), key=lambda each: len(each.parts)).code)
    bench.says("Done")
    signed_in = bench.page.context.storage_state()
    assert bench.page.context.browser is not None
    page = bench.page.context.browser.new_page(storage_state=signed_in)  # nothing is kept in it yet
    assert 20_000 < bytes_of(page, bench.page.url) < 100_000
    page.close()
