"""Late scans that contradict what happened meanwhile are flagged, and a foreman settles each: the log still folds."""

from datetime import datetime, timedelta

import pytest

from tests.floor import DECK, JOB, Floor
from tracker.records.contradictions import (
    Flagged,
    contradiction,
    count_open,
    open_contradictions,
    settled_contradictions,
)
from tracker.shop.codes import Code, Kind, part_code, read_code
from tracker.shop.contradictions import Choice, Contradiction, choices_of, offered
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.access import add_station
from tracker.work.jobs import cancel_job
from tracker.work.loads import add_to_load, take_off_load
from tracker.work.open_again import Opening, open_again
from tracker.work.replace import repair_part, replace_part
from tracker.work.settle import Settling, settle

PINS = {"spring pin 8 mm": 2}
HOUR = timedelta(hours=1)


def flags(floor: Floor) -> list[Flagged]:
    with floor.database.read() as connection:
        return open_contradictions(connection, limit=20)


def only(floor: Floor) -> Flagged:
    (found,) = flags(floor)
    return found


def choices(flagged: Flagged) -> list[Choice]:
    return list(choices_of(flagged.standing))


def choose(floor: Floor, flagged: Flagged, choice: Choice, reason: str = "looked") -> None:
    settle(floor.database, Settling(seq=flagged.seq, choice=choice, reason=reason), **floor.act())
    floor.check()


def sealed_short(floor: Floor) -> tuple[datetime, str]:
    """The deck is in box 101; that is sealed short of the toe kick. Return a moment before, and the follow-up box."""
    floor.scan(floor.deck, "PACK-1")
    before = floor.tick()
    floor.clock += HOUR
    follow_up = floor.seal(floor.box_101, PINS, override="the truck waits").follow_up
    assert follow_up is not None
    return before, follow_up


# Packed into a box that was sealed meanwhile


@pytest.mark.parametrize("named", [True, False])
def test_a_late_scan_into_a_box_that_was_sealed_short_counts_nowhere_until_a_foreman_looked(
    floor: Floor, named: bool
) -> None:
    before, follow_up = sealed_short(floor)
    answer = floor.scan(floor.toe_kick, "PACK-1", at=before, box=floor.box_101 if named else "")
    assert (answer.outcome, answer.box) == ("box_closed", floor.box_101)
    assert not floor.part(floor.toe_kick).packed
    flagged = only(floor)
    assert (flagged.kind, flagged.box) == (Contradiction.PACKED, floor.box_101)
    assert flagged.flag == f"scanned into box {floor.box_101} before it was sealed, arrived after"
    assert choices(flagged) == [Choice.IN_BOX, Choice.LEAVE]
    assert flagged.standing.part_box == follow_up
    floor.check()


def test_a_part_that_lies_in_the_sealed_box_counts_there_and_its_follow_up_box_is_gone(floor: Floor) -> None:
    before, follow_up = sealed_short(floor)
    floor.scan(floor.toe_kick, "PACK-1", at=before)
    choose(floor, only(floor), Choice.IN_BOX, "cut the tape and looked")
    part = floor.part(floor.toe_kick)
    assert (part.packed, part.box.code) == (True, floor.box_101)
    assert part.last_seen is not None
    assert part.last_seen.at == before
    box = floor.box(floor.box_101)
    assert (box.state, box.missing_count, len(box.parts)) == ("sealed", 0, 2)
    assert floor.job().boxes.total == 2
    with pytest.raises(AssertionError):
        floor.box(follow_up)
    assert floor.scan(follow_up, "PACK-1").outcome == "unknown"


def test_a_follow_up_box_that_still_holds_something_stays(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    before = floor.tick()
    floor.clock += HOUR
    follow_up = floor.seal(floor.box_101, {"spring pin 8 mm": 1}, override="the truck waits").follow_up
    assert follow_up is not None
    floor.scan(floor.toe_kick, "PACK-1", at=before)
    choose(floor, only(floor), Choice.IN_BOX)
    assert floor.box(follow_up).parts == []
    assert floor.box(follow_up).items[0].quantity == 1


def test_a_part_in_a_box_that_shipped_meanwhile_has_shipped_with_it_and_so_has_the_job(floor: Floor) -> None:
    floor.scan(floor.end, "PACK-1")
    floor.seal(floor.box_102)
    before, follow_up = sealed_short(floor)
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(floor.box_101, "SHIP-1")
    floor.scan(floor.box_102, "SHIP-1")
    floor.ship(load, follow_up)
    assert floor.job().status == "open"
    floor.scan(floor.toe_kick, "PACK-1", at=before)
    choose(floor, only(floor), Choice.IN_BOX, "the driver found it in the carton")
    assert floor.part(floor.toe_kick).status == "shipped"
    assert floor.job().status == "shipped"


def test_a_part_in_a_box_that_is_on_its_load_meanwhile_is_packed_and_leaves_with_it(floor: Floor) -> None:
    before, _follow_up = sealed_short(floor)
    load = floor.plan(floor.box_101)
    assert floor.scan(floor.box_101, "SHIP-1").ok
    floor.scan(floor.toe_kick, "PACK-1", at=before)
    choose(floor, only(floor), Choice.IN_BOX, "looked into the carton")
    assert (floor.part(floor.toe_kick).status, floor.job().steps["ship"].done) == ("packed", 0)
    floor.ship(load, floor.box_102)
    assert (floor.part(floor.toe_kick).status, floor.job().steps["ship"].done) == ("shipped", 2)
    floor.check()


def test_a_part_that_is_not_in_the_sealed_box_stays_planned_for_the_follow_up_box(floor: Floor) -> None:
    before, follow_up = sealed_short(floor)
    floor.scan(floor.toe_kick, "PACK-1", at=before)
    choose(floor, only(floor), Choice.LEAVE, "")
    assert floor.part(floor.toe_kick).box.code == follow_up
    assert floor.scan(floor.toe_kick, "PACK-1", box=follow_up).outcome == "done"


def test_a_part_packed_into_the_follow_up_box_meanwhile_is_only_looked_at(floor: Floor) -> None:
    before, follow_up = sealed_short(floor)
    floor.scan(floor.toe_kick, "PACK-1", box=follow_up)
    floor.scan(floor.toe_kick, "PACK-1", at=before)
    assert choices(only(floor)) == [Choice.SEEN]


def test_a_late_scan_into_a_box_that_was_sealed_with_the_part_in_it_contradicts_nothing(floor: Floor) -> None:
    before = floor.tick()
    floor.clock += HOUR
    floor.seal_both()
    assert floor.scan(floor.deck, "PACK-1", at=before).outcome == "done"
    assert flags(floor) == []
    assert floor.box(floor.box_101).state == "sealed"
    floor.check()


# Taken out of a box that was sealed meanwhile


def taken_out(floor: Floor) -> Flagged:
    floor.pack_all()
    before = floor.tick()
    floor.clock += HOUR
    floor.seal(floor.box_102)
    assert floor.undo("PACK-1", at=before).outcome == "box_closed"
    return only(floor)


def test_a_part_taken_out_before_the_seal_is_planned_for_a_follow_up_box_when_it_is_not_in(floor: Floor) -> None:
    flagged = taken_out(floor)
    assert (flagged.kind, flagged.part) == (Contradiction.TAKEN_OUT, floor.end)
    assert choices(flagged) == [Choice.TAKE_OUT, Choice.LEAVE]
    choose(floor, flagged, Choice.TAKE_OUT, "it lies on the bench")
    part = floor.part(floor.end)
    assert not part.packed
    assert part.box.follows == floor.box_102
    assert (floor.box(floor.box_102).parts, floor.box(floor.box_102).mass_kg) == ([], 0)
    assert part.box.mass_kg == pytest.approx(part.mass_kg)
    assert floor.scan(floor.end, "PACK-1", box=part.box.code).outcome == "done"
    floor.check()


def test_a_part_that_lies_in_the_sealed_box_after_all_is_left_as_it_is(floor: Floor) -> None:
    choose(floor, taken_out(floor), Choice.LEAVE, "")
    assert floor.part(floor.end).packed


# A replaced part that turned up


def replaced(floor: Floor) -> tuple[Flagged, str]:
    floor.scan(floor.deck, "CUT-1")
    before = floor.tick()
    floor.clock += HOUR
    new = part_code(replace_part(floor.database, 1, "lost", **floor.act()))
    assert floor.scan(floor.deck, "MACHINE-1", at=before).outcome == "replaced"
    return only(floor), new


def test_a_replaced_part_that_turned_up_is_used_under_the_new_label(floor: Floor) -> None:
    flagged, new = replaced(floor)
    assert (flagged.kind, flagged.standing.new_part) == (Contradiction.REPLACED, new)
    assert choices(flagged) == [Choice.USE_OLD, Choice.SCRAP, Choice.SEEN]
    choose(floor, flagged, Choice.USE_OLD, "found behind the saw")
    part = floor.part(new)
    assert (part.step, part.status) == ("band", "working")
    assert part.last_seen is not None
    assert part.last_seen.station == "MACHINE-1"
    assert floor.undo("MACHINE-1").outcome == "nothing_to_undo", "what a desk did is not a station's to take back"
    assert floor.scan(floor.deck, "BAND-1").outcome == "replaced", "the old label never counts again"
    assert floor.scan(new, "BAND-1").outcome == "done"
    floor.check()


def test_the_old_piece_is_waste_once_its_replacement_is_begun(floor: Floor) -> None:
    flagged, new = replaced(floor)
    floor.scan(new, "CUT-1")
    assert choices(only(floor)) == [Choice.SCRAP, Choice.SEEN]
    with pytest.raises(ConflictError, match="things changed meanwhile"):
        choose(floor, flagged, Choice.USE_OLD)
    choose(floor, flagged, Choice.SCRAP, "")
    assert flags(floor) == []


def test_an_old_piece_that_was_damaged_is_not_used_under_the_new_label(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    before = floor.tick()
    floor.clock += HOUR
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    replace_part(floor.database, 1, "chipped", **floor.act())
    floor.scan(floor.deck, "MACHINE-1", at=before)
    assert choices(only(floor)) == [Choice.SCRAP, Choice.SEEN]


def test_a_scan_from_before_a_cancellation_is_waste_or_seen(floor: Floor) -> None:
    before = floor.tick()
    floor.clock += HOUR
    cancel_job(floor.database, JOB, **floor.act())
    floor.scan(floor.deck, "CUT-1", at=before)
    flagged = only(floor)
    assert (flagged.kind, choices(flagged)) == (Contradiction.CANCELLED, [Choice.SCRAP, Choice.SEEN])
    choose(floor, flagged, Choice.SCRAP)


# Refused as too early, and damage in a closed box


@pytest.fixture
def strict(floor: Floor) -> Floor:
    from tracker.shop.steps import Step
    from tracker.work.access import add_station

    add_station(floor.database, "STRICT-1", Step.BAND, strict=True)
    return floor


def test_a_scan_that_was_refused_as_too_early_counts_when_a_late_one_shows_what_it_waited_for(strict: Floor) -> None:
    floor = strict
    before = floor.tick()
    floor.clock += HOUR
    refused_at = floor.tick()
    assert floor.scan(floor.deck, "STRICT-1", at=refused_at).outcome == "early"
    floor.scan(floor.deck, "MACHINE-1", at=before)
    flagged = only(floor)
    assert (flagged.kind, choices(flagged)) == (Contradiction.EARLY, [Choice.COUNT, Choice.SEEN])
    choose(floor, flagged, Choice.COUNT, "")
    part = floor.part(floor.deck)
    assert part.step == "pack"
    assert part.last_seen is not None
    assert (part.last_seen.station, part.last_seen.at) == ("STRICT-1", refused_at)


def test_a_late_scan_is_not_flagged_for_a_refusal_that_was_right_at_its_time(strict: Floor) -> None:
    floor = strict
    assert floor.scan(floor.deck, "STRICT-1").outcome == "early"
    later = floor.tick()
    floor.clock += HOUR
    floor.scan(floor.deck, "CUT-1", action=Action.PLACE, slot="CART-1")
    assert floor.scan(floor.deck, "MACHINE-1", at=later).outcome == "done"
    assert flags(floor) == []
    floor.check()


def test_a_refused_scan_that_was_made_again_meanwhile_needs_nothing(strict: Floor) -> None:
    floor = strict
    before = floor.tick()
    floor.clock += HOUR
    floor.scan(floor.deck, "STRICT-1")
    floor.scan(floor.deck, "MACHINE-1", at=before)
    floor.scan(floor.deck, "STRICT-1")
    assert choices(only(floor)) == [Choice.SEEN]


@pytest.mark.parametrize("choice", [Choice.REPLACE, Choice.REPAIRED])
def test_damage_in_a_sealed_box_is_made_anew_or_was_repaired(floor: Floor, choice: Choice) -> None:
    floor.seal_both()
    floor.scan(floor.end, "PACK-1", action=Action.DAMAGED)
    flagged = only(floor)
    assert flagged.flag == f"found damaged, but recorded in box {floor.box_102}, which is closed"
    assert choices(flagged) == [Choice.REPLACE, Choice.REPAIRED, Choice.SEEN]
    choose(floor, flagged, choice, "the corner is off")
    assert (floor.part(floor.end).status == "replaced") == (choice is Choice.REPLACE)
    assert not floor.part(floor.end).damaged or choice is Choice.REPLACE


# The settling itself


def test_a_contradiction_is_settled_once_and_stays_readable(floor: Floor) -> None:
    flagged, _new = replaced(floor)
    with floor.database.read() as connection:
        assert count_open(connection) == 1
    choose(floor, flagged, Choice.SEEN, "the sawyer knows")
    with floor.database.read() as connection:
        assert count_open(connection) == 0
        (found,) = settled_contradictions(connection, limit=5)
    assert found.settled is not None
    assert (found.settled.choice, found.settled.who, found.settled.reason) == (
        *(Choice.SEEN, "foreman"),
        "the sawyer knows",
    )
    assert found.settled.at == floor.clock
    with pytest.raises(ConflictError, match="foreman settled this already"):
        choose(floor, flagged, Choice.SEEN)


def test_what_is_not_flagged_is_not_settled_and_a_grave_choice_wants_a_reason(floor: Floor) -> None:
    with pytest.raises(NotFoundError):
        settle(floor.database, Settling(seq=1, choice=Choice.SEEN), **floor.act())
    for reason in ("", "   "):
        with pytest.raises(InvalidInputError, match="Say why"):
            Settling(seq=1, choice=Choice.IN_BOX, reason=reason)
    for reason in ("x" * 201, "two\nlines"):
        with pytest.raises(InvalidInputError, match="reason"):
            Settling(seq=1, choice=Choice.SEEN, reason=reason)


def test_what_was_flagged_before_kinds_were_kept_is_shown_as_it_was_written_and_can_be_seen(floor: Floor) -> None:
    flagged, _new = replaced(floor)
    from sqlalchemy import insert, select

    from tracker.records.tables import log

    with floor.database.write() as connection:
        row = dict(connection.execute(select(log).where(log.c.seq == flagged.seq)).one()._mapping)
        row.update(seq=row["seq"] + 1_000, scan_id=b"an older row's id", kind=None, flag="in the words of then")
        connection.execute(insert(log).values(row))
    older = flags(floor)[1]
    assert (older.kind, older.flag, choices(older)) == (None, "in the words of then", [Choice.SEEN])
    choose(floor, older, Choice.SEEN)


def test_a_part_is_made_anew_for_a_box_that_shipped_without_it(floor: Floor) -> None:
    floor.pack_all()
    before = floor.tick()
    floor.clock += HOUR
    floor.seal(floor.box_101, PINS)
    floor.seal(floor.box_102)
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(floor.box_102, "SHIP-1")
    take_off_load(floor.database, read_code(load).number, 1, **floor.act())
    floor.ship(load, floor.box_101)
    floor.undo("PACK-1", at=before)
    flagged = only(floor)
    assert choices(flagged) == [Choice.REPLACE, Choice.LEAVE]
    choose(floor, flagged, Choice.REPLACE, "it stands here")
    assert floor.part(part_code(4)).box.follows == floor.box_102


# Loaded before the box was taken off its load, opened again, or its job cancelled


def planned_then_off(floor: Floor) -> tuple[datetime, str]:
    """Box 102 is sealed, planned for a load and taken off it. Return a moment between, and the load."""
    floor.seal_both()
    load = floor.plan(floor.box_102)
    before = floor.tick()
    floor.clock += HOUR
    take_off_load(floor.database, read_code(load).number, 2, **floor.act())
    return before, load


def test_a_late_scan_onto_a_load_that_the_box_was_taken_off_is_not_counted_until_somebody_looked(floor: Floor) -> None:
    before, load = planned_then_off(floor)
    assert floor.scan(floor.box_102, "SHIP-1", at=before).outcome == "off_route"
    assert floor.box(floor.box_102).state == "sealed"
    flagged = only(floor)
    assert (flagged.kind, flagged.box, flagged.load) == (Contradiction.OFF_LOAD, floor.box_102, load)
    assert flagged.flag == f"scanned onto load {load} before the box was taken off it, arrived after"
    assert choices(flagged) == [Choice.ON_LOAD, Choice.LEAVE]
    floor.check()


def test_a_box_that_stands_on_the_truck_is_planned_for_it_again_and_counts_there(floor: Floor) -> None:
    before, load = planned_then_off(floor)
    floor.scan(floor.box_102, "SHIP-1", at=before)
    choose(floor, only(floor), Choice.ON_LOAD, "the driver has it")
    box = floor.box(floor.box_102)
    assert (box.state, box.load_code) == ("loaded", load)
    assert floor.undo("SHIP-1").outcome == "nothing_to_undo"
    floor.ship(load, *(box.code for box in floor.staying(load)))
    assert floor.box(floor.box_102).state == "shipped"


def test_a_box_that_does_not_stand_on_the_truck_stays_without_a_load(floor: Floor) -> None:
    before, _load = planned_then_off(floor)
    floor.scan(floor.box_102, "SHIP-1", at=before)
    choose(floor, only(floor), Choice.LEAVE, "")
    assert (floor.box(floor.box_102).state, floor.box(floor.box_102).load) == ("sealed", None)


@pytest.mark.parametrize("named", [False, True])
def test_a_box_that_was_taken_off_and_planned_again_is_not_loaded_by_the_late_scan(floor: Floor, named: bool) -> None:
    before, load = planned_then_off(floor)
    add_to_load(floor.database, read_code(load).number, 2, **floor.act())
    late = floor.scan(floor.box_102, "SHIP-1", at=before, load=load if named else "")
    assert (late.outcome, floor.box(floor.box_102).state) == ("off_route", "sealed")
    assert choices(only(floor)) == [Choice.ON_LOAD, Choice.LEAVE]
    assert floor.scan(floor.box_102, "SHIP-1").outcome == "done"
    assert choices(only(floor)) == [Choice.SEEN]


def test_a_box_that_went_to_another_load_meanwhile_is_only_looked_at(floor: Floor) -> None:
    before, load = planned_then_off(floor)
    other = floor.plan(floor.box_102)
    answer = floor.scan(floor.box_102, "SHIP-1", at=before)
    assert (answer.outcome, load in answer.message, other in answer.message) == ("wrong_box", True, True)
    assert choices(only(floor)) == [Choice.SEEN]
    floor.check()


@pytest.mark.parametrize("sealed_again", [False, True])
def test_a_late_scan_onto_the_load_of_a_box_that_was_opened_again_is_flagged(floor: Floor, sealed_again: bool) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_102)
    before = floor.tick()
    floor.clock += HOUR
    open_again(floor.database, Opening(box=2, reason="one too many"), **floor.act())
    if sealed_again:
        floor.seal(floor.box_102)
    assert floor.scan(floor.box_102, "SHIP-1", at=before).outcome == "early"
    flagged = only(floor)
    assert (flagged.kind, flagged.load) == (Contradiction.OPENED, load)
    assert choices(flagged) == ([Choice.ON_LOAD, Choice.LEAVE] if sealed_again else [Choice.SEEN])
    floor.check()
    if sealed_again:
        choose(floor, flagged, Choice.ON_LOAD)
        assert floor.box(floor.box_102).state == "loaded"


def test_a_late_scan_of_a_box_whose_job_was_cancelled_is_flagged(floor: Floor) -> None:
    floor.seal_both()
    floor.plan(floor.box_102)
    before = floor.tick()
    floor.clock += HOUR
    cancel_job(floor.database, JOB, **floor.act())
    assert floor.scan(floor.box_102, "SHIP-1", at=before).outcome == "cancelled"
    flagged = only(floor)
    assert (flagged.kind, choices(flagged)) == (Contradiction.CANCELLED, [Choice.SEEN])


def test_the_undo_that_came_with_the_late_scan_takes_that_back_and_no_other(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101, floor.box_102)
    floor.scan(floor.box_101, "SHIP-1")
    scanned, undone = floor.tick(), floor.tick()
    floor.clock += HOUR
    take_off_load(floor.database, read_code(load).number, 2, **floor.act())
    floor.scan(floor.box_102, "SHIP-1", at=scanned)
    answer = floor.undo("SHIP-1", at=undone)
    assert (answer.outcome, answer.box) == ("undone", floor.box_102)
    assert floor.box(floor.box_101).state == "loaded"
    assert flags(floor) == []
    floor.check()


def test_the_undo_of_a_late_packing_takes_that_back_and_no_other(floor: Floor) -> None:
    before, _follow_up = sealed_short(floor)
    floor.scan(floor.toe_kick, "PACK-1", at=before)
    answer = floor.undo("PACK-1", at=before + timedelta(seconds=1))
    assert (answer.outcome, answer.part) == ("undone", floor.toe_kick)
    assert floor.part(floor.deck).packed
    assert flags(floor) == []
    floor.check()


def test_the_undo_of_a_loading_that_another_followed_unloads_nothing(floor: Floor) -> None:
    add_station(floor.database, "SHIP-2", Step.SHIP)
    floor.seal_both()
    first = floor.plan(floor.box_102)
    floor.scan(floor.box_102, "SHIP-1")
    take_off_load(floor.database, read_code(first).number, 2, **floor.act())
    floor.plan(floor.box_102)
    assert floor.scan(floor.box_102, "SHIP-2").outcome == "done"
    assert floor.undo("SHIP-1").outcome == "undone"
    assert floor.box(floor.box_102).state == "loaded"
    floor.check()


def test_the_undo_of_a_loading_seals_no_box_that_was_opened_since(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_102)
    floor.scan(floor.box_102, "SHIP-1")
    take_off_load(floor.database, read_code(load).number, 2, **floor.act())
    open_again(floor.database, Opening(box=2, reason="one too many"), **floor.act())
    floor.undo("SHIP-1")
    assert floor.box(floor.box_102).state == "complete"
    floor.check()


def test_what_would_have_been_refused_on_time_is_refused_late_and_nobody_is_asked(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_102)
    other = floor.plan(floor.box_101)
    planned = floor.tick()
    take_off_load(floor.database, read_code(load).number, 2, **floor.act())
    between = floor.tick()
    floor.plan(floor.box_102)
    floor.clock += HOUR
    for at, named, outcome in [(between, "", "off_route"), (planned, other, "wrong_box")]:
        assert floor.scan(floor.box_102, "SHIP-1", at=at, load=named).outcome == outcome
    assert floor.box(floor.box_102).state == "sealed"
    assert flags(floor) == []
    floor.check()


@pytest.mark.parametrize("named", [False, True])
def test_a_scan_from_before_all_that_is_known_of_a_box_is_judged_as_today(floor: Floor, named: bool) -> None:
    """The clock of its device may be slow by hours, and nobody noticed."""
    before = floor.tick()
    floor.clock += HOUR
    floor.seal_both()
    load = floor.plan(floor.box_102)
    assert floor.scan(floor.box_102, "SHIP-1", at=before, load=load if named else "").outcome == "done"
    assert flags(floor) == []
    floor.check()


def test_a_late_scan_of_a_box_that_was_open_then_loads_it_not_though_it_is_sealed_now(floor: Floor) -> None:
    floor.seal_both()
    floor.plan(floor.box_102)
    open_again(floor.database, Opening(box=2, reason="one too many"), **floor.act())
    opened = floor.tick()
    floor.seal(floor.box_102)
    floor.clock += HOUR
    assert floor.scan(floor.box_102, "SHIP-1", at=opened).outcome == "early"
    assert floor.box(floor.box_102).state == "sealed"
    assert flags(floor) == []


def test_whoever_takes_a_box_off_that_counts_as_loaded_knows_of_it(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_102)
    before = floor.tick()
    floor.scan(floor.box_102, "SHIP-1")
    floor.clock += HOUR
    take_off_load(floor.database, read_code(load).number, 2, **floor.act())
    assert floor.scan(floor.box_102, "SHIP-1", at=before).outcome == "off_route"
    assert flags(floor) == []
    floor.check()


def test_a_device_whose_clock_is_a_little_slow_is_not_late(floor: Floor) -> None:
    planned_then_off(floor)
    floor.plan(floor.box_102)
    floor.tick(5)
    slow = floor.clock - timedelta(seconds=50)
    assert floor.scan(floor.box_102, "SHIP-1", at=slow).outcome == "done"
    assert flags(floor) == []


def test_a_scan_onto_the_load_in_its_time_contradicts_nothing(floor: Floor) -> None:
    planned_then_off(floor)
    floor.plan(floor.box_102)
    assert floor.scan(floor.box_102, "SHIP-1").outcome == "done"
    assert flags(floor) == []


def test_the_list_goes_on_after_a_number_and_is_found_one_by_one(floor: Floor) -> None:
    floor.take("J-2", [DECK], items=())
    floor.seal_both()
    for code in (floor.deck, floor.end):
        floor.scan(code, "PACK-1", action=Action.DAMAGED)
    first, second = flags(floor)
    with floor.database.read() as connection:
        assert [each.seq for each in open_contradictions(connection, limit=5, after=first.seq)] == [second.seq]
        found = contradiction(connection, second.seq)
        assert found is not None
        assert found.part == floor.end
        assert contradiction(connection, 1) is None


# The damaged card that was taken for another part


DAMAGED_CARD = str(Code(Kind.COMMAND, 2))


def card_taken_for_the_deck(floor: Floor, late: str) -> Flagged:
    """The deck was read, then the damaged card; a reading between them arrived after. Return what is flagged."""
    floor.scan(floor.deck, "CUT-1")
    between = floor.tick()
    floor.scan(DAMAGED_CARD, "CUT-1")
    floor.scan(late, "CUT-1", at=between)
    return only(floor)


def damaged(floor: Floor) -> list[str]:
    return [code for code in (floor.deck, floor.toe_kick, floor.end) if floor.part(code).damaged]


def test_a_card_that_was_meant_for_the_late_part_moves_its_mark_there(floor: Floor) -> None:
    flagged = card_taken_for_the_deck(floor, floor.end)
    assert choices(flagged) == [Choice.MARK, Choice.UNMARK, Choice.SEEN]
    assert (
        offered(Choice.MARK, flagged.standing)
        == f"The card was meant for this part: mark it damaged, take the mark off {floor.deck}"
    )
    with pytest.raises(InvalidInputError):
        Settling(seq=flagged.seq, choice=Choice.MARK)
    choose(floor, flagged, Choice.MARK, "the dent is in the end")
    assert damaged(floor) == [floor.end]
    assert floor.scan(floor.deck, "MACHINE-1").ok
    assert floor.scan(floor.end, "PACK-1").outcome == "on_hold"
    floor.undo("CUT-1")
    assert damaged(floor) == [floor.end], "what a desk wrote is not taken back at the station"
    floor.check()


def test_the_mark_is_taken_off_a_part_that_no_card_was_meant_for(floor: Floor) -> None:
    flagged = card_taken_for_the_deck(floor, "rubbish")
    assert choices(flagged) == [Choice.UNMARK, Choice.SEEN]
    assert offered(Choice.UNMARK, flagged.standing) == f"{floor.deck} is good: take the mark off"
    choose(floor, flagged, Choice.UNMARK, "nothing is wrong with it")
    assert damaged(floor) == []


def test_a_card_that_marked_nothing_may_mark_the_part_that_it_was_meant_for(floor: Floor) -> None:
    before = floor.tick()
    floor.scan(DAMAGED_CARD, "CUT-1")
    floor.scan(floor.end, "CUT-1", at=before)
    assert choices(only(floor)) == [Choice.MARK, Choice.SEEN]
    choose(floor, only(floor), Choice.MARK)
    assert damaged(floor) == [floor.end]


@pytest.mark.parametrize("since", ["another mark", "undo", "repair", "replaced"])
def test_a_mark_is_taken_off_only_where_the_card_alone_holds_it(floor: Floor, since: str) -> None:
    card_taken_for_the_deck(floor, floor.end)
    match since:
        case "another mark":
            floor.scan(floor.deck, "MACHINE-1", action=Action.DAMAGED)
        case "undo":
            assert floor.undo("CUT-1").part == floor.deck
        case "repair":
            repair_part(floor.database, 1, "filled", **floor.act())
        case _:
            replace_part(floor.database, 1, "chipped", **floor.act())
    assert choices(only(floor)) == [Choice.MARK, Choice.SEEN]
    choose(floor, only(floor), Choice.MARK)
    assert floor.part(floor.end).damaged
    assert floor.part(floor.deck).damaged == (since in ("another mark", "replaced"))


def test_a_slots_code_that_was_meant_for_another_part_is_only_looked_at(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    between = floor.tick()
    floor.scan(floor.slot, "CUT-1")
    floor.scan(floor.end, "CUT-1", at=between)
    assert choices(only(floor)) == [Choice.SEEN]
