"""What happened is said in the reader's language, from what the acts themselves leave in the log."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from tests.floor import Floor
from tests.shops import app_of
from tracker.pages.words.happened import said_of
from tracker.pages.words.names import box_name
from tracker.records.logged import ALL_LOGGED, LogView, read_logged
from tracker.records.tables import log
from tracker.settings import Settings
from tracker.shop.codes import read_code
from tracker.shop.scans import Action
from tracker.work.boards import plan_job_boards
from tracker.work.count import Counting, count_item, weigh_box
from tracker.work.hold_box import hold_box, let_go_box
from tracker.work.jobs import cancel_job, hold_job, resume_job
from tracker.work.loads import plan_load, take_off_load
from tracker.work.open_again import Opening, open_again
from tracker.work.replace import repair_part, replace_part
from tracker.work.seal import Sealing, seal_box


@pytest.fixture
def _reader(floor: Floor, tmp_path: Path) -> Iterator[None]:
    settings = Settings(data_dir=tmp_path, database_url=str(floor.database.url), secret_key="for tests")  # noqa: S106
    with app_of(settings, floor.database).test_request_context(headers={"Accept-Language": "en"}):
        yield


def everything(floor: Floor) -> list[LogView]:
    """Let every act happen once; return all rows of the log."""
    database, act = floor.database, floor.act
    floor.take("J-2", items=())
    hold_job(database, "J-2", **act())
    resume_job(database, "J-2", **act())
    cancel_job(database, "J-2", **act())
    plan_job_boards(database, "J-1", **act())
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.deck, "CUT-1", action=Action.PLACE, slot=floor.slot)
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED, reason="wrong holes")
    repair_part(database, 1, "filled and sanded", **act())
    new = replace_part(database, 1, "chipped", **act())
    floor.scan(floor.box_101, "PACK-1")
    floor.scan(floor.toe_kick, "PACK-1")
    count_item(database, Counting(box=1, item="spring pin 8 mm", count=1, was=0), **act())
    weigh_box(database, 1, 3.5, **act())
    floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="the deck is not here")
    open_again(database, Opening(box=1, reason="weigh it again"), **act())
    floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="the deck is not here")
    floor.scan(floor.end, "PACK-1")
    floor.scan(floor.box_102, "PACK-1")
    seal_box(database, Sealing(box=2, mass_kg=9.9, override_reason="heavier board"), **act())
    open_again(database, Opening(box=2, reason="one part too many"), **act())
    floor.seal(floor.box_102)
    hold_box(database, 2, **act())
    let_go_box(database, 2, **act())
    first = plan_load(database, [1, 2], date(2027, 3, 4), **act())
    take_off_load(database, read_code(first).number, 1, **act())
    for code in (first, floor.box_102):
        assert floor.scan(code, "SHIP-1").ok
    floor.ship(first, *(box.code for box in floor.staying(first)))
    assert new == 7
    with database.read() as connection:
        return [read_logged(LogView, row) for row in connection.execute(ALL_LOGGED.order_by(log.c.seq))]


@pytest.mark.usefixtures("_reader")
def test_every_act_is_said_in_words_and_none_only_as_it_was_written(floor: Floor) -> None:
    rows = everything(floor)
    assert [row.message for row in rows if said_of(row).older] == []
    said = [f"{each.word} {each.rest}".strip() for each in map(said_of, rows)]
    for sentence in (
        "Job J-2 put on hold.",
        "Done cut. Next: machine.",
        "Noted It lies in slot CART-1.",
        "Noted Marked damaged: Wrong holes. Put it aside: the foreman decides.",
        "Repaired: filled and sanded.",
        "spring pin 8 mm: 1 of 2 counted.",
        "3.50 kg weighed.",
        f"Box {floor.box_102} put on hold: it stays in the shop.",
    ):
        assert sentence in said, said
    for start in ("short", "short at 3.50 kg where 0.63 kg were expected"):
        assert any(f"sealed {start}: the deck is not here. The rest is planned for box B" in each for each in said)
    assert any("sealed at 9.90 kg where 4.72 kg were expected: heavier board." in each for each in said)
    assert f"Box {floor.box_101} stayed behind load L0000000136: the door is late." in said
    assert any(each.startswith("Replaced by P") and each.endswith(": Chipped.") for each in said)


@pytest.mark.usefixtures("_reader")
def test_a_row_from_before_the_reasons_is_shown_as_it_was_written_and_marked_as_older(floor: Floor) -> None:
    written = everything(floor)[0]
    odd = said_of(replace(written, action="other", station=None, message="100 % odd.", reason=None))
    assert (odd.word, odd.rest, odd.older) == ("", "100 % odd.", True)


@pytest.mark.usefixtures("_reader")
def test_a_follow_up_box_is_named_in_the_readers_language() -> None:
    assert box_name("101 follow-up") == "101 follow-up"
    assert box_name("follow-up") == "follow-up"
    assert box_name("101") == "101"
