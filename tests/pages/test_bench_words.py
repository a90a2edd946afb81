"""What the bench says of its box, without a browser."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest

from tests.floor import DECK, JOB, TOE_KICK, Floor
from tests.pages.callers import Caller, callers_of, in_words
from tests.shops import sqlite_shop
from tracker.shop.codes import part_code
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.work.jobs import cancel_job, hold_job

PINS = "spring pin 8 mm"


@pytest.fixture
def floor(tmp_path: Path) -> Iterator[Floor]:
    database = sqlite_shop(tmp_path / "shop.db")
    floor = Floor(database)
    floor.clock = datetime.now(UTC) - timedelta(hours=6)  # what is done elsewhere lies before what is done at the bench
    yield floor
    database.close()


@pytest.fixture
def callers(floor: Floor, tmp_path: Path) -> dict[Role, Caller]:
    return callers_of(floor, tmp_path, (Role.PACKER, Role.FOREMAN))


def told(caller: Caller, act: str, **body: Any) -> Any:
    """Send what the bench's script sends; return the answer."""
    return caller.post(f"/pack/PACK-1/{act}", json.dumps(body))


def scan(caller: Caller, code: str) -> str:
    answer = told(caller, "scan", id=str(uuid4()), code=code, at=datetime.now(UTC).isoformat())
    assert answer.status_code == 200, answer.text
    return in_words(str(answer.json["answer"]))


def test_a_box_whose_parts_are_in_is_not_said_to_wait_for_them(callers: dict[Role, Caller], floor: Floor) -> None:
    packer = callers[Role.PACKER]
    floor.scan(floor.toe_kick, "CUT-1")
    assert "The box is open. Scan its parts." in scan(packer, floor.box_101)
    floor.pack_all()
    assert "All parts are in. Count the items and seal the box." in scan(packer, floor.box_101)
    refused = told(packer, "seal", box=floor.box_101).json["refused"]
    assert refused == f"Box 101 of J-1 ({floor.box_101}) is not complete: count the items first, then seal it."
    counted = told(packer, "count", box=floor.box_101, item=PINS, count=2, id="x")
    assert "Everything is in. Seal the box." in in_words(counted.json["bench"]), "the answer keeps up with the counting"
    said = scan(packer, floor.box_101)
    assert "Everything is in. Seal the box." in said
    assert "Scan its parts" not in said
    assert "Everything is in. Seal the box." in scan(packer, floor.box_102), "a box without items has none to count"
    assert told(packer, "seal", box=floor.box_102).status_code == 200
    assert scan(packer, floor.end).startswith(
        "Already counted End cabinet 102 It counts once: it is in box 102, which is sealed."
    )


def test_a_part_of_a_closed_box_is_already_counted_there_while_another_box_lies_on_the_bench(
    callers: dict[Role, Caller], floor: Floor
) -> None:
    packer = callers[Role.PACKER]
    floor.pack_all()
    assert told(packer, "seal", box=floor.box_102).status_code == 200
    scan(packer, floor.box_101)
    body = {"id": str(uuid4()), "code": floor.end, "at": datetime.now(UTC).isoformat()}
    answer = told(packer, "scan", **body).json
    said = in_words(answer["answer"])
    assert said.startswith("Already counted End cabinet 102")
    assert "box 102, which is sealed" in said
    assert "It belongs in" not in said
    assert answer["already"], "nothing has to be put right"


def test_a_part_that_is_packed_in_another_open_box_is_already_counted_at_the_bench(
    callers: dict[Role, Caller], floor: Floor
) -> None:
    packer = callers[Role.PACKER]
    scan(packer, floor.deck)
    scan(packer, floor.box_102)
    body = {"id": str(uuid4()), "code": floor.deck, "at": datetime.now(UTC).isoformat()}
    answer = told(packer, "scan", **body).json
    said = in_words(answer["answer"])
    assert said.startswith("Already counted Deck cabinet 101 It counts once: it is packed in box 101, not in box 102.")
    assert "It belongs in" not in said
    assert "Pack box 101" in said
    assert answer["already"]


def test_a_box_leaves_on_the_day_of_its_load(callers: dict[Role, Caller], floor: Floor) -> None:
    packer = callers[Role.PACKER]
    scan(packer, floor.box_101)
    assert "<span>leaves Fri, Mar 5</span>" in packer.get("/pack/PACK-1").text, "its job's day while no load is planned"
    load = floor.plan(floor.box_101)
    assert f"<span>leaves Thu, Mar 4 · {load}</span>" in packer.get("/pack/PACK-1").text


def test_a_missing_part_says_what_it_waits_for_and_only_one_that_is_there_is_next(
    callers: dict[Role, Caller], floor: Floor
) -> None:
    packer = callers[Role.PACKER]
    scan(packer, floor.box_101)

    def first() -> str:
        page = unescape(packer.get("/pack/PACK-1").text)
        return " ".join(page.split('<section class="missing"')[1].split("<li", 2)[1].split())

    assert '<b class="tag next">waits</b>' in first()
    assert "not here: waits for cut" in first()
    floor.scan(floor.deck, "BAND-1")
    assert '<b class="tag next">next</b>' in first()
    floor.scan(floor.deck, "BAND-1", action=Action.DAMAGED)
    assert "tag next" not in first()
    assert "ask the foreman" in first()


def test_the_scale_does_not_say_of_one_name_that_it_is_noticed_and_that_it_is_not(
    callers: dict[Role, Caller], floor: Floor
) -> None:
    small = {**{name: getattr(TOE_KICK, name) for name in ("quantity", "length_mm", "width_mm", "thickness_mm")}}
    floor.take("J-2", [DECK, type(DECK)(cabinet="101", part="Deck", **small)], items=())
    scan(callers[Role.PACKER], floor.part(part_code(4)).box.code)
    for number in (4, 5):
        scan(callers[Role.PACKER], part_code(number))
    page = unescape(callers[Role.PACKER].get("/pack/PACK-1").text)
    assert "It may not notice: Deck." in page
    assert "It would notice" not in page


def test_a_packer_who_looked_seals_no_box_that_is_3_kg_off_and_a_foreman_does(
    callers: dict[Role, Caller], floor: Floor
) -> None:
    packer, foreman = callers[Role.PACKER], callers[Role.FOREMAN]
    scan(packer, floor.end)
    mass = f"{floor.box(floor.box_102).mass_kg + 3:.2f}"
    weighed = told(packer, "weigh", box=floor.box_102, mass=mass)
    assert (weighed.status_code, weighed.json["sound"]) == (200, "stop")
    assert in_words(weighed.json["answer"]).startswith("▲ Too heavy Box 102 J-1 7.7 kg weighed, 4.7 kg planned.")
    assert "a foreman decides" in in_words(weighed.json["answer"])
    refused = told(packer, "seal", box=floor.box_102, looked=True)
    assert (refused.status_code, refused.json["off_weight"]) == (409, True)
    assert refused.json["refused"] == "The weight is off: a foreman decides."
    scale = packer.read("/pack/PACK-1").split("On the scale")[1]
    assert "More than 0.5 kg off: a foreman decides." in scale
    assert "give or take" not in scale, "one limit is named, the one that decides"
    dialog = packer.read("/pack/PACK-1").split("but its mass is off.")[1]
    assert "7.7 kg weighed, 4.7 kg planned." in dialog.split("Why?")[0]
    nobody = told(packer, "override", box=floor.box_102, reason="heavier board", badge="", name="", password="")
    assert nobody.json["refused"] == "Scan the foreman's badge, or write the foreman's name and password."
    unasked = told(foreman, "override", box=floor.box_102, reason="")
    assert (unasked.status_code, unasked.json["refused"]) == (409, "Write why the box is sealed so.")
    sealed = told(foreman, "override", box=floor.box_102, reason="heavier board")
    assert (sealed.status_code, sealed.json["says"]) == (200, "Sealed. Now print its label.")
    floor.check()


def test_a_bench_shows_that_the_job_of_its_box_is_on_hold_or_cancelled_and_what_to_do(
    callers: dict[Role, Caller], floor: Floor
) -> None:
    packer = callers[Role.PACKER]
    floor.tick(6 * 3600)
    scan(packer, floor.end)
    assert 'id="seal">' in packer.get("/pack/PACK-1").text
    hold_job(floor.database, JOB, **floor.act())
    page = packer.get("/pack/PACK-1")
    assert '<b class="tag">job on hold</b>' in page.text
    assert 'id="seal" aria-disabled="true"' in page.text
    assert "Job J-1 is on hold. Put it aside and ask the foreman." in in_words(page.text)
    news: Any = packer.get("/pack/PACK-1/bench").json
    assert "Seal the box." not in in_words(news["bench"]), "the answer keeps up"
    refused = told(packer, "seal", box=floor.box_102)
    assert refused.json["refused"].endswith("stays as it is. Ask the foreman.")
    cancel_job(floor.database, JOB, **floor.act())
    assert "Job J-1 is cancelled. Put it aside." in packer.read("/pack/PACK-1")
    assert 'id="seal" aria-disabled="true"' in packer.get("/pack/PACK-1").text


@pytest.mark.parametrize(
    ("off_kg", "sound", "word"),
    [(0, "ok", "✓ As planned"), (-0.45, "look", "▼ Too light"), (0.45, "look", "▲ Too heavy")],
)
def test_a_weighing_is_answered_with_what_the_scale_says_and_its_sound(
    callers: dict[Role, Caller], floor: Floor, off_kg: float, sound: str, word: str
) -> None:
    packer = callers[Role.PACKER]
    scan(packer, floor.end)
    weighed = told(packer, "weigh", box=floor.box_102, mass=f"{floor.box(floor.box_102).mass_kg + off_kg:.2f}").json
    assert weighed["sound"] == sound
    assert in_words(weighed["answer"]).startswith(f"{word} Box 102 J-1")
    assert f"{word}</strong>" in weighed["bench"]
