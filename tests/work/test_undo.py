"""An undo takes back its station's own last reading, and says so when another station's holds all the same."""

from collections.abc import Callable, Iterator
from itertools import combinations
from pathlib import Path

import pytest

from tests.floor import JOB, Floor, scan_of, statements
from tracker.records.database import Database
from tracker.shop.codes import Code, Kind, read_code
from tracker.shop.reasons import Reason
from tracker.shop.scans import Action, Scan
from tracker.shop.steps import Step
from tracker.work.access import add_station
from tracker.work.boards import job_boards, plan_job_boards
from tracker.work.replace import repair_part


@pytest.fixture
def floor(database: Database) -> Floor:
    return with_two_of_each(database)


def with_two_of_each(database: Database) -> Floor:
    floor = Floor(database)
    for step in (Step.CUT, Step.PACK):
        add_station(database, f"{step.value.upper()}-2", step)
    return floor


@pytest.mark.parametrize("stations", [("CUT-1", "CUT-2"), ("PACK-1", "PACK-2")])
@pytest.mark.parametrize("first", [0, 1])
def test_a_step_that_two_stations_read_is_open_when_both_took_their_readings_back(
    floor: Floor, stations: tuple[str, str], first: int
) -> None:
    step = stations[0][:-2].lower()
    assert [floor.scan(floor.toe_kick, station).outcome for station in stations] == ["done", "again"]
    one, other = stations[first], stations[1 - first]
    undo = floor.undo(one)
    assert (undo.outcome, undo.part) == ("undone", floor.toe_kick)
    assert undo.message == f"Toe kick, cabinet 101: It is still done by {other}: {step}."
    assert floor.job().steps[step].done == 1
    floor.check()
    assert floor.undo(other).message == f"Toe kick, cabinet 101: It no longer counts as done: {step}."
    assert floor.job().steps[step].done == 0
    assert [floor.undo(station).outcome for station in stations] == ["nothing_to_undo"] * 2
    floor.check()


def test_the_second_beep_of_a_double_scan_is_no_reading_of_its_own(floor: Floor) -> None:
    for code in (floor.deck, floor.end, floor.deck):
        floor.scan(code, "CUT-1")
    assert [floor.undo("CUT-1").part for _ in range(2)] == [floor.end, floor.deck]
    assert floor.undo("CUT-1").outcome == "nothing_to_undo"
    assert floor.job().steps["cut"].done == 0
    floor.check()


def test_an_undo_after_a_double_scan_whose_first_beep_came_late_takes_both_back(floor: Floor) -> None:
    before = floor.tick()
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.deck, "CUT-1", at=before)
    floor.undo("CUT-1")
    assert floor.part(floor.deck).step == "cut"
    floor.check()


def test_a_step_that_a_later_station_takes_as_done_is_told_as_held_by_it(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.deck, "MACHINE-1")
    assert floor.undo("CUT-1").message.endswith("It is still done by MACHINE-1: cut.")
    assert floor.part(floor.deck).step == "band"
    floor.check()


def test_damage_that_two_stations_marked_is_told_as_marked_until_both_took_it_back(floor: Floor) -> None:
    for station in ("CUT-1", "CUT-2"):
        floor.scan(floor.deck, station, action=Action.DAMAGED)
    assert floor.undo("CUT-2").message.endswith("It is still marked damaged by CUT-1.")
    assert floor.part(floor.deck).damaged
    assert floor.undo("CUT-1").message == "Deck, cabinet 101: It is no longer marked damaged."
    assert not floor.part(floor.deck).damaged
    floor.check()


def test_damage_that_one_station_marked_twice_is_told_by_which_reading_it_is_marked_still(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    marked = floor.clock
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    undone = floor.undo("CUT-1")
    assert (undone.reason, undone.values["moment"]) == (Reason.STILL_DAMAGED_HERE, marked.isoformat())
    assert floor.undo("CUT-1").reason == Reason.DAMAGE_UNDONE
    assert not floor.part(floor.deck).damaged
    floor.check()


def test_damage_that_was_repaired_is_not_taken_back_any_more(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    repair_part(floor.database, read_code(floor.deck).number, "filled", **floor.act())
    assert floor.undo("CUT-1").outcome == "nothing_to_undo"


def test_a_board_that_two_saws_read_is_cut_until_both_took_it_back(floor: Floor) -> None:
    plan_job_boards(floor.database, JOB, **floor.act())
    (board,) = job_boards(floor.database, JOB)
    assert [floor.scan(board.code, saw).outcome for saw in ("CUT-1", "CUT-2", "CUT-2")] == ["done", "again", "again"]
    assert floor.undo("CUT-1").message == "Still cut by CUT-2: 3 parts of board 1."
    assert floor.job().steps["cut"].done == 3
    assert floor.undo("CUT-2").message == "The parts of board 1 no longer count as cut."
    assert floor.job().steps["cut"].done == 0
    assert floor.undo("CUT-2").outcome == "nothing_to_undo"
    floor.check()


def orders(first: list[Scan], second: list[Scan]) -> Iterator[list[Scan]]:
    """Every order in which the scans of two stations may arrive, each station's own in the order of its queue."""
    for places in combinations(range(len(first) + len(second)), len(first)):
        queues = iter(first), iter(second)
        yield [next(queues[0] if place in places else queues[1]) for place in range(len(first) + len(second))]


def test_the_order_in_which_two_stations_scans_and_undos_arrive_changes_nothing(
    sqlite_template: Path, tmp_path: Path
) -> None:
    from shutil import copyfile

    floor = with_two_of_each(_fresh(sqlite_template, tmp_path, copyfile))
    first = [scan_of(floor.deck, "CUT-1", floor.tick()), scan_of("", "CUT-1", floor.tick(2), action=Action.UNDO)]
    second = [scan_of(floor.deck, "CUT-2", first[0].at), scan_of("", "CUT-2", floor.tick(2), action=Action.UNDO)]
    first.append(scan_of(floor.deck, "CUT-1", floor.tick()))
    second.append(scan_of(str(Code(Kind.PART, 1)), "CUT-2", floor.tick()))
    second.append(scan_of("", "CUT-2", floor.tick(), action=Action.UNDO))
    found = set()
    for order in orders(first, second):
        floor = with_two_of_each(_fresh(sqlite_template, tmp_path, copyfile))
        floor.tick(60)
        for scan in order:
            floor.send([scan])
        floor.check()
        found.add(str(floor.part(floor.deck)))
        floor.database.close()
    assert len(found) == 1


def _fresh(template: Path, folder: Path, copyfile: Callable[[Path, Path], object]) -> Database:
    path = folder / "shop.db"
    for leftover in folder.iterdir():
        leftover.unlink()
    copyfile(template, path)
    return Database(f"sqlite:///{path}")


def test_what_was_done_before_names_the_station_that_read_it(floor: Floor) -> None:
    assert floor.scan(floor.deck, "CUT-2").ok
    for station in ("CUT-1", "CUT-1", "CUT-2"):
        answer = floor.scan(floor.deck, station)
        assert (answer.reason, answer.values["station"]) == (Reason.READ_BEFORE, "CUT-2")
        assert answer.message.startswith("Deck, cabinet 101: It counts once. It was read at CUT-2, 20")
    floor.seal_both()
    floor.plan(floor.box_102)
    for _ in range(2):
        answer = floor.scan(floor.box_102, "SHIP-1")
    assert (answer.reason, answer.values["station"]) == (Reason.READ_BEFORE, "SHIP-1")


def test_an_undo_asks_hardly_more_after_a_part_was_scanned_sixty_times_than_after_two(floor: Floor) -> None:
    asked = []
    for repeats, code in ((1, floor.end), (59, floor.deck)):
        floor.scan(code, "CUT-1")
        assert {floor.scan(code, "CUT-1").outcome for _ in range(repeats)} == {"again"}
        with statements(floor.database) as these:
            assert floor.undo("CUT-1").part == code
        asked.append(len(these))
    assert asked[1] <= asked[0] + 4


def test_an_undo_that_names_the_part_takes_its_place_back_though_a_slots_code_was_read_last(floor: Floor) -> None:
    """A device sends with an undo the part that it showed: that is the one that the slot's code was about."""
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.slot, "CUT-1")
    undo = floor.scan(floor.deck, "CUT-1", action=Action.UNDO)
    assert (undo.outcome, undo.part, undo.reason) == ("undone", floor.deck, Reason.PLACE_UNDONE)
    assert floor.part(floor.deck).step == "machine"
    floor.check()
