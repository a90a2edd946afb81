"""What a late scan is told is true when it is told: what it waited for may be done, or its hold over, by then."""

from datetime import datetime

import pytest

from tests.floor import JOB, Floor
from tracker.records.database import Database
from tracker.records.logged import LogView, last_scans
from tracker.shop.codes import read_code
from tracker.shop.reasons import Reason, meaning
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.jobs import hold_job, resume_job
from tracker.work.replace import repair_part


@pytest.fixture
def floor(sqlite: Database) -> Floor:
    return Floor(sqlite, strict=[Step.BAND])


def held_for_a_moment(floor: Floor) -> datetime:
    hold_job(floor.database, JOB, **floor.act())
    during = floor.tick()
    resume_job(floor.database, JOB, **floor.act())
    return during


def test_a_late_scan_at_a_strict_station_is_sent_only_to_what_is_still_open(floor: Floor) -> None:
    early = [floor.tick() for _ in range(3)]
    first = floor.scan(floor.deck, "BAND-1", at=early[0])
    assert first.message == "Deck, cabinet 101: Not done yet: cut, machine. Bring it there first."
    floor.scan(floor.deck, "CUT-1")
    late = floor.scan(floor.deck, "BAND-1", at=early[1])
    assert (late.outcome, late.message) == ("early", "Deck, cabinet 101: Not done yet: machine. Bring it there first.")
    floor.scan(floor.deck, "MACHINE-1")
    late = floor.scan(floor.deck, "BAND-1", at=early[2])
    assert late.outcome == "early"
    told = "It was scanned before its earlier steps were done. They are done now: scan it again."
    assert late.message == f"Deck, cabinet 101: {told}"
    assert floor.scan(floor.deck, "BAND-1").outcome == "done"


def test_a_scan_made_during_a_hold_that_is_over_is_told_so(floor: Floor) -> None:
    during = held_for_a_moment(floor)
    told = "Job J-1 was on hold when this was scanned and goes on now. Scan it again."
    part, box = floor.scan(floor.deck, "CUT-1", at=during), floor.scan(floor.box_101, "PACK-1", at=during)
    assert (part.outcome, part.message) == ("on_hold", f"Deck, cabinet 101: {told}")
    assert (box.outcome, box.message) == ("on_hold", f"Box {floor.box_101}: {told}")


def test_a_part_scanned_during_a_hold_and_damaged_since_is_told_of_both(floor: Floor) -> None:
    during = held_for_a_moment(floor)
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    late = floor.scan(floor.deck, "CUT-1", at=during)
    assert late.outcome == "on_hold"
    assert "was on hold when this was scanned. The part is marked damaged now" in late.message


def test_a_part_that_was_damaged_when_it_was_scanned_and_is_good_again_is_told_so(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    during = floor.tick()
    floor.undo("CUT-1")
    late = floor.scan(floor.deck, "MACHINE-1", at=during)
    assert (late.outcome, "good again. Scan it again." in late.message) == ("on_hold", True)


def test_a_repair_holds_for_what_was_scanned_before_it_and_arrives_after(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    during = floor.tick()
    repair_part(floor.database, read_code(floor.deck).number, "filled", **floor.act())
    floor.scan(floor.deck, "CUT-1")
    assert floor.scan(floor.deck, "MACHINE-1", at=during).outcome == "done"
    floor.check()


def test_a_stations_list_names_what_held_a_part_back_at_the_scans_own_time(floor: Floor) -> None:
    hold_job(floor.database, JOB, **floor.act())
    floor.scan(floor.deck, "CUT-1")
    resume_job(floor.database, JOB, **floor.act())
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    floor.scan(floor.deck, "CUT-1")
    hold_job(floor.database, JOB, **floor.act())
    repair_part(floor.database, read_code(floor.deck).number, "filled", **floor.act())
    held_back = [each.told for each in listed(floor) if each.outcome == "on_hold"]
    assert held_back == [meaning(Reason.DAMAGED), meaning(Reason.ON_HOLD, job=JOB)]


def listed(floor: Floor) -> list[LogView]:
    with floor.database.read() as connection:
        return last_scans(connection, 1, limit=9)
