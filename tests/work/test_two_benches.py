"""Two benches pack the same boxes and one of them is offline: all ends as if in order, or a scan is flagged."""

import shutil
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import chain
from pathlib import Path
from random import Random
from typing import Any
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.examples import MORE, examples
from tests.floor import TOE_KICK, Floor, scan_of
from tests.shops import sqlite_shop
from tracker.records.contradictions import open_contradictions
from tracker.records.database import Database
from tracker.shop.codes import box_code, part_code
from tracker.shop.contradictions import Contradiction
from tracker.shop.outcomes import Outcome
from tracker.shop.scans import Action, Answer, Scan
from tracker.shop.steps import Step
from tracker.work.access import add_station

ONLINE, OFFLINE = "PACK-1", "PACK-2"
CODES = ("deck", "toe_kick", "end", "box_101", "box_102")
ACTS = st.tuples(
    st.booleans(),
    st.sampled_from([Action.PASS] * 6 + [Action.UNDO, Action.UNDO, Action.DAMAGED]),
    st.sampled_from(CODES),
    st.sampled_from(["", "", "", "box_101", "box_102"]),
)


def shop(template: Path, folder: Path, name: str) -> Floor:
    path = folder / f"{name}.db"
    for leftover in folder.glob(f"{name}.db*"):
        leftover.unlink()
    shutil.copyfile(template, path)
    floor = Floor(Database(f"sqlite:///{path}"))
    add_station(floor.database, OFFLINE, Step.PACK)
    return floor


def scans_of(floor: Floor, acts: Sequence[tuple[bool, Action, str, str]]) -> list[Scan]:
    return [
        scan_of(
            "" if action is Action.UNDO else getattr(floor, code),
            OFFLINE if offline else ONLINE,
            floor.tick(),
            action=action if code not in ("box_101", "box_102") or action is Action.UNDO else Action.PASS,
            box=getattr(floor, box) if box and action is Action.PASS else "",
        )
        for offline, action, code, box in acts
    ]


def ends(floor: Floor, batches: Sequence[Sequence[Scan]]) -> tuple[dict[str, Any], list[str | None]]:
    floor.clock += timedelta(hours=2)
    for batch in batches:
        floor.send(batch)
    floor.check()
    parts = {code: floor.part(code) for code in (floor.deck, floor.toe_kick, floor.end)}
    state: dict[str, Any] = {code: (part.packed, part.damaged, part.status) for code, part in parts.items()}
    state |= {code: floor.box(code).state for code in (floor.box_101, floor.box_102)}
    with floor.database.read() as connection:
        flags = [each.kind for each in open_contradictions(connection, limit=50)]
    floor.database.close()
    return state, flags


def late_and_in_order(
    template: Path, folder: Path, acts: Sequence[tuple[bool, Action, str, str]]
) -> tuple[Any, Any, list[str | None]]:
    floor = shop(template, folder, "in-order")
    scans = scans_of(floor, acts)
    on_time, none = ends(floor, [[scan] for scan in scans])
    assert none == []
    here = [[scan] for scan in scans if scan.station == ONLINE]
    there = [scan for scan in scans if scan.station == OFFLINE]
    late, flags = ends(shop(template, folder, "late"), list(chain(here, [there] if there else [])))
    return on_time, late, flags


def test_a_part_refused_for_the_open_box_that_another_bench_had_filled_is_flagged(
    sqlite_template: Path, tmp_path: Path
) -> None:
    acts = [(False, Action.PASS, "deck", ""), (True, Action.PASS, "toe_kick", ""), (False, Action.PASS, "end", "")]
    on_time, late, flags = late_and_in_order(sqlite_template, tmp_path, acts)
    assert on_time != late
    assert flags == [Contradiction.ORDER]


def test_the_flag_names_the_part_that_would_have_been_answered_otherwise(floor: Floor) -> None:
    floor.scan(floor.toe_kick, "PACK-1")
    before = floor.tick()
    assert floor.scan(floor.end, "PACK-1").outcome is Outcome.WRONG_BOX
    add_station(floor.database, "PACK-9", Step.PACK)
    floor.scan(floor.deck, "PACK-9", at=before)
    with floor.database.read() as connection:
        (flagged,) = open_contradictions(connection, limit=5)
    end = f"End of cabinet 102 ({floor.end})"
    assert (flagged.part, flagged.kind, flagged.other) == (floor.deck, Contradiction.ORDER, end)
    assert (flagged.flag or "").startswith(f"a later scan, of {end}, would have been answered otherwise")


def test_a_late_undo_is_not_flagged_for_what_is_so_without_it(floor: Floor) -> None:
    times = [floor.tick() for _ in range(3)]
    floor.scan(floor.deck, "PACK-1")
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED, at=times[0])
    floor.scan(floor.deck, "MACHINE-1", action=Action.DAMAGED, at=times[1])
    assert floor.undo("MACHINE-1", at=times[2]).ok
    with floor.database.read() as connection:
        flagged = open_contradictions(connection, limit=5)
    assert [each.at for each in flagged] == times[:1]
    says = "a later scan of the same part would have been answered otherwise: look where it lies, scan it again"
    assert flagged[0].flag == says
    assert floor.part(floor.deck).damaged


def test_a_late_part_is_not_flagged_for_the_open_box_that_another_late_one_had_filled(floor: Floor) -> None:
    floor.scan(floor.toe_kick, "PACK-1")
    times = [floor.tick() for _ in range(2)]
    assert floor.scan(floor.end, "PACK-1").outcome is Outcome.WRONG_BOX
    add_station(floor.database, "PACK-9", Step.PACK)
    for at in times:
        assert floor.scan(floor.deck, "PACK-9", at=at).ok
    with floor.database.read() as connection:
        assert [each.at for each in open_contradictions(connection, limit=5)] == times[:1]


def test_a_late_part_meets_the_box_that_its_bench_had_open_then(sqlite_template: Path, tmp_path: Path) -> None:
    acts = [
        (True, Action.PASS, "box_101", ""),
        (True, Action.PASS, "end", ""),
        (False, Action.PASS, "deck", ""),
        (False, Action.PASS, "toe_kick", ""),
    ]
    on_time, late, flags = late_and_in_order(sqlite_template, tmp_path, acts)
    assert late == on_time
    assert flags == []


def test_damage_that_would_have_left_an_undo_another_reading_is_flagged(sqlite_template: Path, tmp_path: Path) -> None:
    acts = [
        (False, Action.PASS, "toe_kick", ""),
        (True, Action.DAMAGED, "deck", ""),
        (False, Action.PASS, "deck", ""),
        (False, Action.UNDO, "deck", ""),
    ]
    on_time, late, flags = late_and_in_order(sqlite_template, tmp_path, acts)
    assert on_time != late
    assert flags == [Contradiction.ORDER]


def test_damage_that_was_taken_back_after_another_bench_had_packed_the_part_stays_flagged(
    sqlite_template: Path, tmp_path: Path
) -> None:
    acts = [(True, Action.DAMAGED, "deck", ""), (False, Action.PASS, "deck", ""), (True, Action.UNDO, "deck", "")]
    on_time, late, flags = late_and_in_order(sqlite_template, tmp_path, acts)
    assert on_time != late
    assert flags == [Contradiction.ORDER]


@examples(12)
@given(acts=st.lists(ACTS, min_size=3, max_size=12))
def test_whatever_two_benches_do_it_ends_as_in_order_or_is_flagged(
    sqlite_template: Path, tmp_path_factory: Any, acts: list[tuple[bool, Action, str, str]]
) -> None:
    folder = tmp_path_factory.mktemp("benches")
    on_time, late, flags = late_and_in_order(sqlite_template, folder, acts)
    assert late == on_time or flags
    shutil.rmtree(folder)


# A day of two benches: six boxes of six parts, 450 scans, the one bench's up to ten minutes late.

DAY = "J-2"
DAYS_BOXES, DAYS_PARTS, DAYS_SCANS = 6, 6, 450


def part_of(box: int, place: int) -> str:
    return part_code(4 + box * DAYS_PARTS + place)


def days_shop(folder: Path, name: str) -> Floor:
    floor = Floor(sqlite_shop(folder / name))
    add_station(floor.database, OFFLINE, Step.PACK)
    lines = [
        replace(TOE_KICK, cabinet=f"{201 + box}", part=f"Rail {place}")
        for box in range(DAYS_BOXES)
        for place in range(DAYS_PARTS)
    ]
    floor.take(DAY, lines, items=())
    return floor


def days_scans(seed: int, start: datetime) -> list[Scan]:
    chance, at, working = Random(seed), start, {ONLINE: 0, OFFLINE: 1}
    scans = []
    for number in range(DAYS_SCANS):
        at += timedelta(seconds=chance.randint(1, 9))
        station = chance.choice([ONLINE, OFFLINE])
        working[station] = chance.randrange(DAYS_BOXES) if chance.random() < 0.1 else working[station]
        box = working[station] if chance.random() < 0.85 else chance.randrange(DAYS_BOXES)
        part, opens = part_of(box, chance.randrange(DAYS_PARTS)), box_code(3 + box)
        acts: list[dict[str, Any]] = [
            {"code": part},
            {"code": part, "box": opens},
            {"code": opens},
            {"code": "", "action": Action.UNDO},
            {"code": part, "action": Action.DAMAGED},
        ]
        (act,) = chance.choices(acts, [58, 8, 13, 13, 8])
        scans.append(scan_of(station=station, at=at, scan_id=UUID(int=number + 1), **act))
    return scans


def arrivals(seed: int, scans: Sequence[Scan]) -> list[list[Scan]]:
    """The scans as they arrive: the offline bench's wait for its network, up to ten minutes, and come together."""
    chance, back = Random(seed), scans[0].at
    batches: list[list[Scan]] = []
    waiting: list[Scan] = []
    for scan in scans:
        if waiting and scan.at >= back:
            batches.append(waiting)
            waiting = []
        if scan.station == ONLINE or scan.at >= back:
            batches.append([scan])
        else:
            waiting.append(scan)
        if scan.at >= back and chance.random() < 0.1:
            back = scan.at + timedelta(seconds=chance.choice([60, 200, 600]))
    return [*batches, waiting] if waiting else batches


def day_ends(
    floor: Floor, batches: Sequence[Sequence[Scan]]
) -> tuple[dict[str, Any], dict[UUID, Answer], list[datetime]]:
    answers: dict[UUID, Answer] = {}
    floor.clock += timedelta(hours=2)
    for batch in batches:
        answers |= {answer.id: answer for answer in floor.send(batch)}
    floor.check()
    codes = [part_of(box, place) for box in range(DAYS_BOXES) for place in range(DAYS_PARTS)]
    parts = {code: floor.part(code) for code in codes}
    with floor.database.read() as connection:
        flagged = [each.at for each in open_contradictions(connection, limit=DAYS_SCANS)]
    floor.database.close()
    return {code: (part.packed, part.damaged, part.status) for code, part in parts.items()}, answers, flagged


def counts_otherwise(one: Answer, other: Answer, part: str) -> bool:
    """Whether two answers to a scan count differently for a part: which of two benches was the first does not."""
    if part not in (one.part, other.part) or {one.outcome, other.outcome} <= {Outcome.DONE, Outcome.AGAIN}:
        return False
    return (one.outcome, one.part) != (other.outcome, other.part)


@pytest.mark.parametrize("seed", range(MORE))
def test_a_day_of_two_benches_ends_as_in_order_or_flagged_before_the_scan_that_differs(
    tmp_path: Path, seed: int
) -> None:
    floor = days_shop(tmp_path, "in-order.db")
    scans = days_scans(seed, floor.clock)
    on_time, answers, none = day_ends(floor, [scans])
    assert none == []
    late, late_answers, flagged = day_ends(days_shop(tmp_path, "late.db"), arrivals(seed, scans))
    for code in on_time:
        if late[code] != on_time[code]:
            differs = next(scan.at for scan in scans if counts_otherwise(answers[scan.id], late_answers[scan.id], code))
            assert any(at <= differs for at in flagged), (code, on_time[code], late[code])
