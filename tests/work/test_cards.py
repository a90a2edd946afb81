"""The damaged card and the codes of slots: about the last single part that was read at their station."""

from datetime import timedelta

import pytest

from tests.floor import JOB, Floor
from tracker.records.contradictions import open_contradictions
from tracker.records.database import Database
from tracker.shop.codes import Code, Kind, part_code
from tracker.shop.contradictions import Choice, Contradiction
from tracker.shop.scans import Answer
from tracker.work.boards import job_boards, plan_job_boards
from tracker.work.jobs import hold_job
from tracker.work.replace import replace_part
from tracker.work.settle import Settling, settle

CARD = str(Code(Kind.COMMAND, 2))


@pytest.fixture
def floor(sqlite: Database) -> Floor:
    return Floor(sqlite)


def card(floor: Floor, **more: object) -> Answer:
    return floor.scan(CARD, "CUT-1", **more)  # type: ignore[arg-type]


def refused(answer: Answer) -> bool:
    return (answer.outcome, answer.part) == ("unknown", None) and answer.message.startswith("Nothing is marked.")


def kinds(floor: Floor) -> list[str | None]:
    with floor.database.read() as connection:
        return [each.kind for each in open_contradictions(connection, limit=9)]


@pytest.mark.parametrize("code", [CARD, "slot"])
def test_a_card_is_about_the_part_read_last_though_it_was_done_before(floor: Floor, code: str) -> None:
    for each in (floor.end, floor.deck, floor.end):
        floor.scan(each, "CUT-1")
    answer = floor.scan(floor.slot if code == "slot" else code, "CUT-1")
    assert (answer.outcome, answer.part) == ("noted", floor.end)
    assert "End, cabinet 102" in answer.message
    assert not floor.part(floor.deck).damaged
    floor.check()


def test_a_card_is_about_the_part_read_last_though_it_was_refused(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    hold_job(floor.database, JOB, **floor.act())
    assert floor.scan(floor.end, "CUT-1").outcome == "on_hold"
    assert card(floor).part == floor.end
    assert not floor.part(floor.deck).damaged


def test_a_card_is_about_a_part_that_has_no_step_at_its_station(floor: Floor) -> None:
    assert floor.scan(floor.toe_kick, "BAND-1").outcome == "off_route"
    assert floor.scan(CARD, "BAND-1").part == floor.toe_kick


@pytest.mark.parametrize("code", ["rubbish", part_code(77), "board"])
def test_a_card_marks_nothing_after_what_was_no_single_part_of_the_shop(floor: Floor, code: str) -> None:
    plan_job_boards(floor.database, JOB, **floor.act())
    (board,) = job_boards(floor.database, JOB)
    floor.scan(floor.deck, "CUT-1")
    floor.scan(board.code if code == "board" else code, "CUT-1")
    assert refused(card(floor))
    assert refused(floor.scan(floor.slot, "CUT-1"))
    floor.scan(floor.end, "CUT-1")
    assert card(floor).part == floor.end
    floor.check()


def test_a_card_marks_nothing_ten_minutes_after_the_last_reading(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    floor.tick(9 * 60)
    assert floor.scan(floor.slot, "CUT-1").part == floor.deck
    floor.tick(9 * 60 + 58)
    assert card(floor).part == floor.deck
    floor.tick(10 * 60)
    assert refused(card(floor))


def test_the_ten_minutes_are_those_of_the_device(floor: Floor) -> None:
    at = floor.tick()
    floor.tick(3600)
    floor.scan(floor.deck, "CUT-1", at=at)
    assert refused(card(floor))
    assert card(floor, at=at + timedelta(minutes=9)).part == floor.deck


def test_a_card_at_a_bench_is_about_the_part_though_a_box_was_read_since(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    floor.scan(floor.box_102, "PACK-1")
    assert floor.scan(CARD, "PACK-1").part == floor.deck


def test_the_ten_minutes_begin_anew_with_a_box_that_is_read(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    floor.tick(9 * 60)
    floor.scan(floor.box_102, "PACK-1")
    floor.tick(9 * 60)
    assert floor.scan(CARD, "PACK-1").part == floor.deck


def test_what_a_desk_wrote_for_a_station_is_no_reading_there(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    before = floor.tick()
    floor.tick(600)
    new = part_code(replace_part(floor.database, 1, "lost", **floor.act()))
    late = floor.tick() - timedelta(seconds=500)
    floor.scan(floor.end, "CUT-1", at=before)
    floor.scan(floor.deck, "CUT-1", at=late - timedelta(seconds=600))
    with floor.database.read() as connection:
        flagged = open_contradictions(connection, limit=9)
    use_old = next(each for each in flagged if each.kind == Contradiction.REPLACED)
    settle(floor.database, Settling(seq=use_old.seq, choice=Choice.USE_OLD), **floor.act())
    assert floor.part(new).step == "machine"
    assert card(floor, at=before + timedelta(seconds=5)).part == floor.end


@pytest.mark.parametrize("code", ["part", "rubbish"])
def test_a_late_reading_that_changes_what_a_card_is_about_is_flagged(floor: Floor, code: str) -> None:
    floor.scan(floor.deck, "CUT-1")
    between = floor.tick()
    assert card(floor).part == floor.deck
    floor.scan(floor.end if code == "part" else code, "CUT-1", at=between)
    assert kinds(floor) == [Contradiction.CARD]
    with floor.database.read() as connection:
        (flagged,) = open_contradictions(connection, limit=2)
    assert flagged.other == f"Deck of cabinet 101 ({floor.deck})", "the part that the card marked"
    floor.check()


def test_a_late_reading_that_changes_what_a_card_is_about_stays_flagged_when_it_is_taken_back(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    between = floor.tick()
    card(floor)
    floor.scan(floor.end, "CUT-1", at=between)
    assert [floor.undo("CUT-1").part for _ in range(2)] == [floor.deck, floor.end]
    assert kinds(floor) == [Contradiction.CARD]


def test_a_late_reading_is_flagged_that_a_card_which_marked_nothing_would_have_been_about(floor: Floor) -> None:
    before = floor.tick()
    assert refused(card(floor))
    floor.scan(floor.end, "CUT-1", at=before)
    assert kinds(floor) == [Contradiction.CARD]


@pytest.mark.parametrize("code", ["box", "slot"])
def test_a_late_box_or_slot_is_flagged_that_would_have_kept_a_card_from_being_too_late(floor: Floor, code: str) -> None:
    floor.scan(floor.deck, "PACK-1")
    floor.tick(9 * 60)
    between = floor.tick()
    floor.tick(9 * 60)
    assert refused(floor.scan(CARD, "PACK-1"))
    floor.scan(floor.box_101 if code == "box" else floor.slot, "PACK-1", at=between)
    assert kinds(floor) == [Contradiction.CARD]


@pytest.mark.parametrize("code", ["box", "slot"])
def test_a_late_box_or_slot_between_a_part_and_its_card_is_not_flagged(floor: Floor, code: str) -> None:
    before = floor.tick()
    floor.scan(floor.deck, "PACK-1")
    between = floor.tick()
    assert floor.scan(CARD, "PACK-1").part == floor.deck
    for at in (before, between) if code == "box" else (between,):
        floor.scan(floor.box_101 if code == "box" else floor.slot, "PACK-1", at=at)
    assert kinds(floor) == []


def test_a_late_reading_that_changes_nothing_of_a_card_is_not_flagged(floor: Floor) -> None:
    first = floor.tick()
    floor.scan(floor.deck, "CUT-1")
    again, shown = floor.tick(), floor.tick()
    card(floor)
    floor.scan(floor.end, "CUT-1", at=first)
    floor.scan(floor.deck, "CUT-1", at=again)
    floor.scan(floor.toe_kick, "MACHINE-1", at=shown)
    assert kinds(floor) == []


def test_a_card_with_the_part_that_the_device_showed_means_it_whatever_arrives_late(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    between = floor.tick()
    card(floor, part=floor.deck)
    floor.scan(floor.end, "CUT-1", at=between)
    assert kinds(floor) == []


def test_a_late_reading_that_an_undo_would_have_taken_back_is_flagged(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    between = floor.tick()
    floor.undo("CUT-1")
    after = floor.tick()
    floor.scan(floor.deck, "CUT-1")
    floor.undo("CUT-1")
    floor.scan(floor.toe_kick, "CUT-1", at=after)
    assert kinds(floor) == []
    floor.scan(floor.end, "CUT-1", at=between)
    assert kinds(floor) == [Contradiction.UNDO]
    floor.check()


def test_a_card_marks_the_part_that_the_device_showed_whatever_was_scanned_last(floor: Floor) -> None:
    floor.scan(floor.end, "CUT-1")
    answer = floor.scan(CARD, "CUT-1", part=floor.deck)
    assert (answer.outcome, answer.part) == ("noted", floor.deck)
    assert "Deck, cabinet 101" in answer.message
    assert floor.scan(floor.slot, "CUT-1", part=floor.deck).part == floor.deck
    assert not floor.part(floor.end).damaged
    floor.check()


@pytest.mark.parametrize("code", [CARD, "slot"])
def test_a_card_of_a_device_that_shows_no_part_marks_none(floor: Floor, code: str) -> None:
    floor.scan(floor.deck, "CUT-1")
    assert refused(floor.scan(floor.slot if code == "slot" else code, "CUT-1", part="none"))
    assert not floor.part(floor.deck).damaged
    floor.check()


def test_a_card_with_a_part_that_cannot_be_marked_marks_none_and_says_so(floor: Floor) -> None:
    floor.scan(floor.end, "CUT-1")
    assert refused(floor.scan(CARD, "CUT-1", part=part_code(77))), "it is the card that was read, not that code"
    assert refused(floor.scan(floor.slot, "CUT-1", part=part_code(77)))
    assert floor.scan(CARD, "CUT-1", part="rubbish").outcome == "misread"
    assert floor.scan(CARD, "CUT-1", part=floor.box_101).outcome == "misread"
    replace_part(floor.database, 1, "lost", **floor.act())
    assert floor.scan(CARD, "CUT-1", part=floor.deck).outcome == "replaced"
    assert not any(floor.part(code).damaged for code in (floor.deck, floor.toe_kick, floor.end))
    floor.check()
