"""What happened to a part and a job, what is near, and how much was packed each day."""

from datetime import UTC, date, datetime, timedelta

from tests.floor import END, Floor
from tracker.records import history
from tracker.records.logged import job_history, part_history, scanned_after, scanned_before
from tracker.records.shipping import boxes_before_leaving
from tracker.shop.codes import read_code
from tracker.work.jobs import hold_job, resume_job


def test_a_parts_past_is_told_from_its_end_with_the_sealing_of_its_box(floor: Floor) -> None:
    floor.scan(floor.end, "CUT-1")
    floor.scan(floor.end, "CUT-1")
    floor.undo("CUT-1")
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    with floor.database.read() as connection:
        found = part_history(connection, 3, read_code(floor.box_102).number, limit=50)
        latest = part_history(connection, 3, read_code(floor.box_102).number, limit=2)
    assert [each.action for each in found] == ["seal", "pass", "undo", "pass", "pass", "order"][: len(found)]
    assert [each.seq for each in latest] == [each.seq for each in found[:2]]
    first_cut = next(each for each in reversed(found) if each.action == "pass")
    assert first_cut.undone
    assert (first_cut.station, first_cut.who) == ("CUT-1", "tester")


def test_a_jobs_past_names_what_was_decided_and_what_became_of_its_boxes(floor: Floor) -> None:
    hold_job(floor.database, "J-1", **floor.act())
    resume_job(floor.database, "J-1", **floor.act())
    floor.seal_both()
    floor.take("J-2")
    with floor.database.read() as connection:
        found = job_history(connection, 1, limit=50)
        latest = job_history(connection, 1, limit=3)
    assert [each.action for each in found][-3:] == ["resume", "hold", "order"]
    assert [each.action for each in found].count("seal") == 2
    assert latest == found[:3]


def test_the_parts_scanned_just_before_and_after_are_its_neighbours(floor: Floor) -> None:
    floor.take("J-2", parts=(END,), items=())
    start = floor.tick()
    floor.clock += timedelta(minutes=5)
    for number, code in enumerate((floor.deck, floor.end, floor.toe_kick)):
        floor.scan(code, "CUT-1", at=start + timedelta(minutes=number))
    with floor.database.read() as connection:
        station_id = floor.part(floor.end).progress.station
        assert station_id is not None
        at = start + timedelta(minutes=1)
        before = scanned_before(connection, station_id, at, beside=3, limit=3)
        after = scanned_after(connection, station_id, at, beside=3, limit=3)
    assert [each.part for each in before] == [floor.deck]
    assert [each.part for each in after] == [floor.toe_kick]


def test_the_parts_of_a_box_say_where_they_stand(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    with floor.database.read() as connection:
        deck, toe_kick = history.box_mates(connection, 1, limit=9)
        assert history.board_mates(connection, 1, limit=9) == []
    assert (deck.name, deck.step, deck.last_seen and deck.last_seen.station) == ("Deck", "machine", "CUT-1")
    assert (toe_kick.name, toe_kick.step, toe_kick.last_seen) == ("Toe kick", "cut", None)


def test_a_part_leaves_with_its_load_or_when_its_job_is_due(floor: Floor) -> None:
    load = floor.plan(floor.box_101)
    planned, other = floor.part(floor.deck).box, floor.part(floor.end).box
    assert (planned.leaves, planned.load_code) == (date(2027, 3, 4), load)
    assert (other.leaves, other.load_code) == (date(2027, 3, 5), None)


def test_what_was_packed_is_counted_by_the_day_less_what_was_taken_back(floor: Floor) -> None:
    monday = datetime(2027, 3, 1, 9, tzinfo=UTC)
    floor.clock = monday + timedelta(days=3)
    floor.scan(floor.deck, "PACK-1", at=monday)
    floor.scan(floor.toe_kick, "PACK-1", at=monday + timedelta(minutes=1))
    floor.scan(floor.toe_kick, "PACK-1", at=monday + timedelta(minutes=2))  # again: counts once
    floor.scan(floor.end, "CUT-1", at=monday + timedelta(days=1))  # cut, not packed
    floor.scan(floor.end, "PACK-1", at=monday + timedelta(days=2))
    floor.undo("PACK-1", at=monday + timedelta(days=2, minutes=1))
    with floor.database.read() as connection:
        found = history.packed_by_day(connection, now=monday + timedelta(days=3))
        later = history.packed_by_day(connection, now=monday + timedelta(days=40))
    assert found == {monday.date(): 2, monday.date() + timedelta(days=2): 0}
    assert later == {}


def test_the_open_jobs_come_soonest_due_first_with_what_is_not_packed(floor: Floor) -> None:
    floor.take("J-2")
    floor.scan(floor.deck, "PACK-1")
    hold_job(floor.database, "J-2", **floor.act())
    with floor.database.read() as connection:
        found = history.open_jobs(connection)
    assert [(each.id, each.parts_left, each.held) for each in found] == [(1, 2, False), (2, 3, True)]


def test_the_boxes_of_a_job_are_told_in_a_line_each(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    load = floor.plan(floor.box_102)
    with floor.database.read() as connection:
        first, second = boxes_before_leaving(connection, 1, limit=9)
        assert boxes_before_leaving(connection, 1, limit=9, after=first.id) == [second]
        assert history.board_lines(connection, 1, limit=9) == []
    assert (first.name, first.state, first.packed, first.parts_total, first.load_code) == ("101", "packing", 1, 2, None)
    assert (second.load_code, second.leaves) == (load, date(2027, 3, 4))
