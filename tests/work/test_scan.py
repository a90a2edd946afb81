"""Every outcome of a scan, on both databases."""

from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from sqlalchemy import func, select

from tests.floor import JOB, Floor, scan_of
from tracker.records.database import Database
from tracker.records.tables import log
from tracker.shop.codes import Code, Kind, box_code, read_code
from tracker.shop.outcomes import Outcome
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.work.jobs import cancel_job, hold_job, resume_job
from tracker.work.replace import repair_part, replace_part
from tracker.work.scanning.batch import Sender, take_scans


def test_a_scan_at_the_step_that_is_due_is_done_and_names_the_next(floor: Floor) -> None:
    answer = floor.scan(floor.deck, "CUT-1")
    assert (answer.outcome, answer.ok, answer.next, answer.part) == ("done", True, "machine", floor.deck)
    assert floor.part(floor.deck).status == "working"
    assert floor.job().steps["cut"].done == 1
    floor.check()


def test_the_same_part_at_the_same_step_is_again_and_changes_nothing(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    answer = floor.scan(floor.deck, "CUT-1")
    assert (answer.outcome, answer.ok) == ("again", True)
    assert floor.job().steps["cut"].done == 1
    floor.check()


def test_a_missed_earlier_step_is_inferred_and_listed(floor: Floor) -> None:
    answer = floor.scan(floor.deck, "BAND-1")
    assert (answer.outcome, answer.inferred, answer.next) == ("done", ("cut", "machine"), "pack")
    assert [floor.job().steps[step].done for step in ("cut", "machine", "band")] == [1, 1, 1]
    floor.check()


def test_an_inferred_step_that_is_scanned_after_all_is_done_and_no_longer_inferred(floor: Floor) -> None:
    floor.scan(floor.deck, "BAND-1")
    assert floor.scan(floor.deck, "CUT-1").outcome == "done"
    assert floor.scan(floor.deck, "CUT-1").outcome == "again"
    assert floor.job().steps["cut"].done == 1
    floor.check()


def test_a_strict_station_refuses_a_part_of_which_an_earlier_step_is_open(database: Database) -> None:
    floor = Floor(database, strict=[Step.BAND])
    answer = floor.scan(floor.deck, "BAND-1")
    assert (answer.outcome, answer.ok, answer.next) == ("early", False, "cut")
    assert "cut, machine" in answer.message
    assert floor.job().steps["band"].done == 0
    floor.scan(floor.deck, "MACHINE-1")
    assert floor.scan(floor.deck, "BAND-1").outcome == "done"
    floor.check()


def test_a_part_without_the_step_is_off_its_route(floor: Floor) -> None:
    assert floor.scan(floor.toe_kick, "BAND-1").outcome == "off_route"
    assert floor.part(floor.toe_kick).last_seen is not None
    floor.check()


def test_a_part_packed_with_no_box_open_opens_its_own_box(floor: Floor) -> None:
    answer = floor.scan(floor.deck, "PACK-1")
    assert (answer.outcome, answer.box, answer.next) == ("done", floor.box_101, "ship")
    assert floor.box(floor.box_101).state == "packing"
    assert floor.scan(floor.end, "PACK-1").outcome == "wrong_box"
    floor.check()


def test_a_box_of_which_no_part_can_be_packed_says_what_it_waits_for(floor: Floor) -> None:
    def says() -> str:
        return floor.scan(floor.box_101, "PACK-1").message.removeprefix(f"Box {floor.box_101}: The box is open")

    assert says() == ": lacks 2 parts, 1 kind of item not counted. Not done yet: cut."
    floor.scan(floor.toe_kick, "CUT-1")
    assert says() == ". Scan its parts."
    floor.scan(floor.toe_kick, "PACK-1")
    floor.scan(floor.deck, "MACHINE-1")
    assert says() == ": lacks 1 part, 1 kind of item not counted. Not done yet: band."
    floor.scan(floor.deck, "BAND-1", action=Action.DAMAGED)
    assert says() == ": lacks 1 part, 1 kind of item not counted. 1 part is marked damaged: ask the foreman."
    floor.check()


def test_a_part_of_another_box_is_refused_and_told_where_it_belongs(floor: Floor) -> None:
    assert floor.scan(floor.box_102, "PACK-1").outcome == "done"
    answer = floor.scan(floor.deck, "PACK-1")
    assert (answer.outcome, answer.ok, answer.box) == ("wrong_box", False, floor.box_101)
    assert "It belongs in box 101, not in box 102." in answer.message
    assert floor.part(floor.deck).status == "waiting"
    floor.check()


def test_a_part_that_is_packed_is_told_so_whatever_box_is_open(floor: Floor) -> None:
    floor.take("J-2", items=())  # its boxes are 3 and 4
    floor.scan(floor.deck, "PACK-1")
    floor.scan(floor.box_102, "PACK-1")
    packed = floor.scan(floor.deck, "PACK-1")
    assert (packed.outcome, packed.box) == ("wrong_box", floor.box_101)
    assert "It counts once: it is packed in box 101, not in box 102." in packed.message
    floor.scan(floor.box_101, "PACK-1")
    floor.scan(floor.toe_kick, "PACK-1")
    floor.seal(floor.box_101, {"spring pin 8 mm": 2})
    floor.scan(box_code(3), "PACK-1")
    sealed = floor.scan(floor.deck, "PACK-1")
    assert (sealed.outcome, sealed.box) == ("wrong_box", floor.box_101)
    assert "It counts once: it is in box 101, which is sealed." in sealed.message
    floor.check()


def test_the_box_may_be_named_in_the_scan(floor: Floor) -> None:
    assert floor.scan(floor.deck, "PACK-1", box=floor.box_102).outcome == "wrong_box"
    assert floor.scan(floor.deck, "PACK-1", box=floor.box_101).outcome == "done"
    floor.check()


def test_a_full_box_is_complete_and_the_next_part_opens_its_own(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    floor.scan(floor.toe_kick, "PACK-1")
    assert floor.box(floor.box_101).state == "complete"
    assert floor.box(floor.box_101).missing_count == 0
    assert floor.scan(floor.end, "PACK-1").outcome == "done"
    floor.check()


def test_a_part_of_a_sealed_box_finds_it_closed(floor: Floor) -> None:
    floor.seal_both()
    counted = floor.scan(floor.deck, "PACK-1")
    assert counted.outcome == "box_closed"
    assert counted.message == "Deck, cabinet 101: It counts once: it is in box 101, which is sealed."
    assert floor.scan(floor.box_101, "PACK-1").outcome == "box_closed"
    floor.check()


def test_nothing_of_a_held_job_passes_until_it_is_resumed(floor: Floor) -> None:
    hold_job(floor.database, JOB, **floor.act())
    assert floor.scan(floor.deck, "CUT-1").outcome == "on_hold"
    assert floor.scan(floor.box_101, "PACK-1").outcome == "on_hold"
    resume_job(floor.database, JOB, **floor.act())
    assert floor.scan(floor.deck, "CUT-1").outcome == "done"
    floor.check()


def test_a_part_of_a_cancelled_job_is_cancelled(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    cancel_job(floor.database, JOB, **floor.act())
    assert floor.scan(floor.deck, "MACHINE-1").outcome == "cancelled"
    assert floor.part(floor.deck).status == "cancelled"
    assert floor.undo("CUT-1").outcome == "cancelled"
    floor.check()


def test_a_replaced_part_never_counts_again_and_its_label_names_the_new_one(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    new = replace_part(floor.database, 1, "chipped", **floor.act())
    answer = floor.scan(floor.deck, "PACK-1")
    assert answer.outcome == "replaced"
    assert str(Code(Kind.PART, new)) in answer.message
    assert floor.undo("CUT-1").outcome == "replaced"
    assert floor.job().steps["cut"].done == 0
    floor.check()


def test_a_code_that_is_nobodys_is_unknown(floor: Floor) -> None:
    for code in (Code(Kind.PART, 999), Code(Kind.BOX, 999), Code(Kind.LOAD, 999), Code(Kind.WORKER, 1)):
        assert floor.scan(str(code), "PACK-1").outcome == "unknown"
    assert floor.scan(floor.deck, "NOWHERE").outcome == "unknown"
    floor.check()


def test_wrong_check_digits_are_a_misread_and_never_the_nearest_part(floor: Floor) -> None:
    wrong = floor.deck[:-1] + ("0" if floor.deck[-1] != "0" else "1")
    assert floor.scan(wrong, "CUT-1").outcome == "misread"
    assert floor.scan("no code at all \u2603" * 20, "CUT-1").outcome == "misread"
    assert floor.part(floor.deck).status == "waiting"
    floor.check()


def test_a_station_may_be_named_by_its_code(floor: Floor) -> None:
    assert floor.scan(floor.deck, str(Code(Kind.STATION, 1))).outcome == "done"


def test_a_token_made_for_a_station_needs_not_name_it_and_scans_nowhere_else(floor: Floor) -> None:
    sender = Sender(name="saw", station="CUT-1")
    scans = [scan_of(floor.deck, "", floor.tick()), scan_of(floor.end, "PACK-1", floor.tick())]
    assert [a.outcome for a in take_scans(floor.database, scans, sender, floor.clock)] == ["done", "unknown"]


def test_undo_takes_back_the_stations_last_scan_that_counted(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.end, "CUT-1")
    floor.scan(floor.end, "CUT-1")
    assert floor.undo("CUT-1").part == floor.end
    assert floor.part(floor.end).status == "waiting"
    assert floor.undo("CUT-1").part == floor.deck
    answer = floor.undo("CUT-1")
    assert (answer.outcome, answer.ok) == ("nothing_to_undo", False)
    assert floor.job().steps["cut"].done == 0
    floor.check()


def test_undo_takes_the_inferred_steps_back_too(floor: Floor) -> None:
    floor.scan(floor.deck, "BAND-1")
    floor.undo("BAND-1")
    assert floor.part(floor.deck).step == "cut"
    floor.check()


def test_undo_at_the_bench_takes_the_part_out_of_its_box(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    floor.scan(floor.toe_kick, "PACK-1")
    floor.undo("PACK-1")
    assert floor.box(floor.box_101).state == "packing"
    assert floor.scan(floor.toe_kick, "PACK-1").outcome == "done"
    floor.check()


def test_undo_of_opening_a_box_gives_the_one_before_back(floor: Floor) -> None:
    floor.scan(floor.box_101, "PACK-1")
    floor.scan(floor.box_102, "PACK-1")
    assert floor.undo("PACK-1").outcome == "undone"
    assert floor.scan(floor.deck, "PACK-1").outcome == "done"
    floor.check()


def test_nothing_comes_out_of_a_sealed_box_by_undo(floor: Floor) -> None:
    floor.seal_both()
    assert floor.undo("PACK-1").outcome == "box_closed"
    floor.check()


def test_undo_by_the_command_card(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    assert floor.scan(str(Code(Kind.COMMAND, 1)), "CUT-1").outcome == "undone"
    floor.check()


def test_damage_is_noted_and_keeps_the_part_out_of_the_box_until_it_is_undone(floor: Floor) -> None:
    floor.scan(floor.deck, "CUT-1")
    answer = floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    assert (answer.outcome, answer.ok) == ("noted", True)
    assert floor.scan(floor.deck, "PACK-1").outcome == "on_hold"
    floor.undo("CUT-1")
    assert floor.scan(floor.deck, "PACK-1").outcome == "done"
    floor.check()


def test_damage_to_a_packed_part_makes_it_missing_again(floor: Floor) -> None:
    floor.scan(floor.deck, "PACK-1")
    floor.scan(floor.toe_kick, "PACK-1")
    floor.scan(floor.deck, "PACK-1", action=Action.DAMAGED)
    assert floor.box(floor.box_101).missing_count == 1
    assert floor.box(floor.box_101).state == "packing"
    floor.check()


@pytest.mark.parametrize("station", ["CUT-1", "MACHINE-1", "BAND-1", "PACK-1"])
def test_a_damaged_part_goes_no_further_at_any_step_until_its_repair_is_recorded(floor: Floor, station: str) -> None:
    floor.scan(floor.deck, "CUT-1")
    floor.scan(floor.deck, "CUT-1", action=Action.DAMAGED)
    refused = floor.scan(floor.deck, station)
    assert (refused.outcome, refused.ok) == (Outcome.ON_HOLD, False)
    assert "marked damaged" in refused.message
    repair_part(floor.database, read_code(floor.deck).number, "filled", **floor.act())
    assert floor.scan(floor.deck, station).ok
    floor.check()


def test_the_damaged_card_is_about_the_part_scanned_last(floor: Floor) -> None:
    assert floor.scan(str(Code(Kind.COMMAND, 2)), "CUT-1").outcome == "unknown"
    floor.scan(floor.end, "CUT-1")
    assert floor.scan(str(Code(Kind.COMMAND, 2)), "CUT-1").outcome == "noted"
    assert floor.part(floor.end).damaged
    floor.check()


def test_a_part_is_placed_in_a_slot_by_name_or_by_scanning_the_slot_after_it(floor: Floor) -> None:
    assert floor.scan(floor.deck, "CUT-1", action=Action.PLACE, slot="CART-1").outcome == "noted"
    assert floor.part(floor.deck).last_seen.slot == "CART-1"  # type: ignore[union-attr]
    floor.scan(floor.end, "CUT-1")
    assert floor.scan(floor.slot, "CUT-1").part == floor.end
    assert floor.part(floor.end).last_seen.slot == "CART-1"  # type: ignore[union-attr]
    assert floor.scan(floor.end, "CUT-1", action=Action.PLACE, slot="NOWHERE").outcome == "unknown"
    floor.check()


def test_boxes_go_onto_the_load_that_is_open_at_the_dock(floor: Floor) -> None:
    floor.seal_both()
    load = floor.plan(floor.box_101)
    other = floor.plan(floor.box_102)
    assert floor.scan(load, "SHIP-1").outcome == "done"
    assert floor.scan(floor.box_102, "SHIP-1").outcome == "wrong_box"
    assert floor.scan(floor.box_101, "SHIP-1").outcome == "done"
    assert floor.scan(floor.box_101, "SHIP-1").outcome == "again"
    assert floor.scan(floor.box_102, "SHIP-1", load=other).outcome == "done"
    assert floor.box(floor.box_102).state == "loaded"
    floor.undo("SHIP-1")
    assert floor.box(floor.box_102).state == "sealed"
    floor.ship(load)  # the other one is on a load of its own
    assert floor.scan(floor.box_101, "SHIP-1").outcome == "box_closed"
    assert floor.scan(load, "SHIP-1").outcome == "box_closed"
    floor.check()


def test_undo_of_opening_a_load_gives_the_one_before_back(floor: Floor) -> None:
    floor.seal_both()
    first, second = floor.plan(floor.box_101), floor.plan(floor.box_102)
    floor.scan(first, "SHIP-1")
    floor.scan(second, "SHIP-1")
    floor.undo("SHIP-1")
    assert floor.scan(floor.box_102, "SHIP-1").outcome == "wrong_box"
    assert floor.scan(floor.box_101, "SHIP-1").outcome == "done"
    floor.check()


def test_a_box_that_is_not_sealed_or_planned_does_not_go_onto_a_load(floor: Floor) -> None:
    assert floor.scan(floor.box_101, "SHIP-1").outcome == "off_route"
    floor.plan(floor.box_101)
    assert floor.scan(floor.box_101, "SHIP-1").outcome == "early"
    assert floor.scan(floor.deck, "SHIP-1").outcome == "early"
    assert floor.scan(floor.box_101, "CUT-1").outcome == "off_route"
    floor.check()


def test_an_id_sent_again_gets_its_first_answer_and_changes_nothing(floor: Floor) -> None:
    scan_id = uuid4()
    first = floor.scan(floor.deck, "BAND-1", id=scan_id)
    floor.undo("BAND-1")
    assert floor.scan(floor.end, "CUT-1", id=scan_id) == first
    assert floor.part(floor.end).status == "waiting"
    assert floor.part(floor.deck).status == "waiting"
    floor.check()


def test_the_same_id_twice_in_one_batch_is_one_scan(floor: Floor) -> None:
    scan = scan_of(floor.deck, "CUT-1", floor.tick())
    answers = floor.send([scan, scan])
    assert answers[0] == answers[1]
    assert floor.job().steps["cut"].done == 1
    floor.scan(floor.end, "CUT-1")
    with floor.database.read() as connection:
        rows, last = connection.execute(select(func.count(), func.max(log.c.seq))).one()
    assert rows == last, "the log has a gap"


def test_a_batch_is_judged_in_the_order_of_the_clients_times_and_answered_in_the_order_sent(floor: Floor) -> None:
    late, early = floor.tick() + timedelta(seconds=5), floor.tick()
    answers = floor.send([scan_of(floor.deck, "MACHINE-1", late), scan_of(floor.deck, "CUT-1", early)])
    assert [answer.outcome for answer in answers] == ["done", "done"]
    assert answers[0].inferred == ()
    assert answers[1].next == "machine"


def test_one_bad_scan_in_a_batch_stops_none_of_the_others(floor: Floor) -> None:
    scans = [
        scan_of("rubbish", "CUT-1", floor.tick()),
        scan_of(floor.deck, "NOWHERE", floor.tick()),
        scan_of(floor.end, "CUT-1", floor.tick()),
    ]
    assert [answer.outcome for answer in floor.send(scans)] == ["misread", "unknown", "done"]


def test_a_late_scan_takes_its_place_by_its_own_time(floor: Floor) -> None:
    before = floor.tick()
    floor.clock += timedelta(minutes=10)
    floor.scan(floor.deck, "MACHINE-1", at=before + timedelta(minutes=5))
    assert floor.scan(floor.deck, "CUT-1", at=before).outcome == "done"
    part = floor.part(floor.deck)
    assert part.step == "band"
    assert part.last_seen is not None
    assert part.last_seen.station == "MACHINE-1"
    floor.check()


def test_a_scan_from_before_a_hold_that_arrives_after_it_counts(floor: Floor) -> None:
    before = floor.tick()
    hold_job(floor.database, JOB, **floor.act())
    assert floor.scan(floor.deck, "CUT-1", at=before).outcome == "done"
    during = floor.tick()
    resume_job(floor.database, JOB, **floor.act())
    assert floor.scan(floor.end, "CUT-1", at=during).outcome == "on_hold"
    floor.check()


def test_a_late_scan_that_contradicts_what_happened_meanwhile_is_flagged(floor: Floor) -> None:
    from tracker.records.contradictions import open_contradictions

    before = floor.tick()
    replace_part(floor.database, 1, "lost", **floor.act())
    assert floor.scan(floor.deck, "CUT-1", at=before).outcome == "replaced"
    with floor.database.read() as connection:
        flags = [entry.flag for entry in open_contradictions(connection, limit=10)]
    assert flags == ["scanned before the part was replaced, arrived after"]
    floor.check()


def test_times_come_back_as_they_were_sent(floor: Floor) -> None:
    at = datetime(2027, 3, 1, 9, 30, 0, 123456, tzinfo=UTC)
    floor.clock = at + timedelta(seconds=1)
    floor.scan(floor.deck, "CUT-1", at=at)
    seen = floor.part(floor.deck).last_seen
    assert seen is not None
    assert seen.at == at


def test_a_late_repeat_of_a_scan_that_was_undone_is_again_and_stays_undone(floor: Floor) -> None:
    first = floor.tick()
    floor.scan(floor.deck, "CUT-1", at=first)
    floor.undo("CUT-1")
    assert floor.scan(floor.deck, "CUT-1", at=first).outcome == "again"
    assert floor.part(floor.deck).status == "waiting"
    assert floor.scan(floor.deck, "CUT-1").outcome == "done"
    floor.check()
