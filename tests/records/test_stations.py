"""What waits for a station and what it scanned last, on both databases."""

from dataclasses import replace
from uuid import uuid4

import pytest

from tests.floor import DECK, END, TOE_KICK, Floor
from tracker.records.logged import kept_scan, last_scans
from tracker.records.parts import part_view
from tracker.records.stations import COUNTED, WaitingList, waiting_for
from tracker.shop.codes import Code, Kind, part_code, read_code
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import Progress
from tracker.shop.reasons import Reason, meaning
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.hold_box import hold_box
from tracker.work.jobs import hold_job
from tracker.work.replace import replace_part


def waiting(floor: Floor, step: Step, limit: int = 50) -> WaitingList:
    with floor.database.read() as connection:
        return waiting_for(connection, step, limit=limit)


def names(floor: Floor, step: Step) -> list[str]:
    return [row.name for row in waiting(floor, step).rows]


def test_a_new_job_waits_at_the_saw_and_nowhere_else(floor: Floor) -> None:
    assert sorted(names(floor, Step.CUT)) == ["Deck", "End", "Toe kick"]
    assert [names(floor, step) for step in (Step.MACHINE, Step.BAND, Step.PACK, Step.SHIP)] == [[], [], [], []]


def test_a_part_waits_for_its_own_next_step_alone(floor: Floor) -> None:
    for code in (floor.deck, floor.toe_kick):
        floor.scan(code, "CUT-1")
    assert names(floor, Step.CUT) == ["End"]
    assert names(floor, Step.MACHINE) == ["Deck"]
    assert names(floor, Step.BAND) == []
    assert names(floor, Step.PACK) == ["Toe kick"]
    (first,) = waiting(floor, Step.PACK).rows
    assert first == floor.part(floor.toe_kick)


@pytest.mark.parametrize("step", [Step.CUT, Step.MACHINE, Step.BAND, Step.PACK])
def test_what_waits_is_what_the_parts_own_next_step_says(floor: Floor, step: Step) -> None:
    floor.take("J-2", [replace(line, quantity=3) for line in (DECK, TOE_KICK, END)], items=())
    for number, station in ((1, "CUT-1"), (1, "MACHINE-1"), (2, "CUT-1"), (3, "PACK-1"), (4, "BAND-1"), (7, "CUT-1")):
        floor.scan(part_code(number), station)
    expected = []
    with floor.database.read() as connection:
        for number in range(1, 13):
            part = part_view(connection, number)
            if part is not None and part.step == step:
                expected.append(part.code)
    assert sorted(row.code for row in waiting(floor, step).rows) == sorted(expected)
    assert Progress().next_step((Step.CUT,)) is Step.CUT


def test_urgent_parts_come_first_and_then_what_is_due_soonest(floor: Floor) -> None:
    floor.take("J-2", [replace(END, part="Late end")], items=())
    floor.scan(floor.toe_kick, "CUT-1", action=Action.DAMAGED)
    replace_part(floor.database, 2, "chipped", **floor.act())
    rows = waiting(floor, Step.CUT).rows
    assert rows[0] == floor.part(part_code(5))
    assert [row.job.code for row in rows] == ["J-1", "J-1", "J-1", "J-2"]


def test_a_held_job_waits_for_nobody_and_a_damaged_part_is_not_packed(floor: Floor) -> None:
    floor.scan(floor.toe_kick, "CUT-1")
    floor.scan(floor.toe_kick, "CUT-1", action=Action.DAMAGED)
    assert names(floor, Step.PACK) == []
    hold_job(floor.database, "J-1", **floor.act())
    assert names(floor, Step.CUT) == []


def test_a_long_list_says_how_many_more_there_are(floor: Floor) -> None:
    floor.take("J-2", [replace(END, quantity=60)], items=())
    found = waiting(floor, Step.CUT)
    assert (len(found.rows), found.more, found.at_least) == (50, 13, False)
    floor.take("J-3", [replace(END, quantity=COUNTED)], items=())
    found = waiting(floor, Step.CUT)
    assert (len(found.rows), found.more, found.at_least) == (50, COUNTED - 50, True)


def test_at_the_dock_sealed_boxes_of_a_load_wait(floor: Floor) -> None:
    floor.seal_both()
    assert names(floor, Step.SHIP) == []
    floor.plan(floor.box_101)
    assert [row.code for row in waiting(floor, Step.SHIP).rows] == [floor.box_101]
    floor.scan(floor.box_101, "SHIP-1")
    assert names(floor, Step.SHIP) == []


def test_a_box_that_a_foreman_holds_does_not_wait_at_the_dock(floor: Floor) -> None:
    floor.seal_both()
    floor.plan(floor.box_101, floor.box_102)
    hold_box(floor.database, read_code(floor.box_101).number, **floor.act())
    assert [row.code for row in waiting(floor, Step.SHIP).rows] == [floor.box_102]


def test_the_last_scans_are_this_stations_own_the_latest_first(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.deck, "BAND-1")
    floor.scan("rubbish", "CUT-1")
    floor.scan(floor.end, "CUT-1")
    floor.undo("CUT-1")
    with floor.database.read() as connection:
        found = last_scans(connection, 1, limit=10)
    assert [(scan.outcome, scan.part_name, scan.undone) for scan in found] == [
        (Outcome.UNDONE, "End", False),
        (Outcome.DONE, "End", True),
        (Outcome.MISREAD, None, False),
        (Outcome.DONE, "Deck", False),
    ]


def test_no_more_scans_are_returned_than_asked_for(floor: Floor) -> None:
    for _time in range(12):
        floor.scan(floor.deck, "CUT-1")
    with floor.database.read() as connection:
        assert len(last_scans(connection, 1, limit=10)) == 10


def test_a_kept_scan_says_what_an_undo_took_back(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    scan_id = uuid4()
    floor.undo("CUT-1", id=scan_id)
    with floor.database.read() as connection:
        kept = kept_scan(connection, scan_id)
        assert kept_scan(connection, uuid4()) is None
    assert kept is not None
    assert (kept.part_name, kept.outcome, kept.part) == ("Deck", Outcome.UNDONE, floor.deck)
    assert kept.told == meaning(Reason.DAMAGE_UNDONE)


def test_a_place_that_was_noted_names_its_slot(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    scan_id = uuid4()
    floor.scan(str(Code(Kind.SLOT, 1)), "CUT-1", id=scan_id)
    with floor.database.read() as connection:
        kept = kept_scan(connection, scan_id)
    assert kept is not None
    assert (kept.action, kept.slot, kept.part_name) == (Action.PLACE, "CART-1", "Deck")
