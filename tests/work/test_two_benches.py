"""Two benches pack the same boxes and one of them is offline: all ends as if in order, or a scan is flagged."""

import shutil
from collections.abc import Sequence
from datetime import timedelta
from itertools import chain
from pathlib import Path
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.floor import Floor, scan_of
from tracker.records.contradictions import open_contradictions
from tracker.records.database import Database
from tracker.shop.contradictions import Contradiction
from tracker.shop.scans import Action, Scan
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


def ends(floor: Floor, batches: Sequence[Sequence[Scan]]) -> tuple[dict[str, Any], list[Contradiction | None]]:
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
) -> tuple[Any, Any, list[Contradiction | None]]:
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


@settings(max_examples=60)
@given(acts=st.lists(ACTS, min_size=3, max_size=12))
def test_whatever_two_benches_do_it_ends_as_in_order_or_is_flagged(
    sqlite_template: Path, tmp_path_factory: Any, acts: list[tuple[bool, Action, str, str]]
) -> None:
    folder = tmp_path_factory.mktemp("benches")
    on_time, late, flags = late_and_in_order(sqlite_template, folder, acts)
    assert late == on_time or flags
    shutil.rmtree(folder)
