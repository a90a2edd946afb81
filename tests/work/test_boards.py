"""Boards: planned for a job, and scanned at the saw so that one scan passes all that comes off them."""

from uuid import uuid4

import pytest

from tests.floor import JOB, Floor, scan_of
from tracker.shop.codes import Code, Kind
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.orders import PartLine
from tracker.shop.outcomes import Outcome
from tracker.shop.scans import Action
from tracker.work.boards import Planned, job_boards, needed, plan_job_boards
from tracker.work.jobs import cancel_job, hold_job
from tracker.work.lists import set_list
from tracker.work.replace import replace_part


def plan(floor: Floor, job: str = JOB) -> Planned:
    return plan_job_boards(floor.database, job, **floor.act())


def steps(floor: Floor) -> list[str | None]:
    return [floor.part(code).step for code in (floor.deck, floor.toe_kick, floor.end)]


def test_a_scan_of_a_board_at_the_saw_passes_all_its_parts(floor: Floor) -> None:
    planned = plan(floor)
    assert (planned.boards, planned.lower_bound, planned.proved_least) == (1, 1, True)
    (board,) = job_boards(floor.database, JOB)
    answer = floor.scan(board.code, "CUT-1")
    assert (answer.outcome, answer.message) == (Outcome.DONE, "Board 1 of job J-1: Cut: 3 parts of the board.")
    assert steps(floor) == ["machine", "pack", "pack"]
    assert all(part.cut for part in job_boards(floor.database, JOB)[0].parts)
    floor.check()


def test_the_same_scan_id_has_one_effect_and_one_answer(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    scan_id, at = uuid4(), floor.tick()
    first = floor.scan(board.code, "CUT-1", id=scan_id, at=at)
    assert floor.scan(board.code, "CUT-1", id=scan_id, at=at) == first
    assert floor.scan(board.code, "CUT-1").outcome is Outcome.AGAIN
    floor.check()


def test_an_undo_takes_the_whole_board_back_but_not_what_was_scanned_before_it(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    floor.scan(floor.end, "CUT-1")
    assert floor.scan(board.code, "CUT-1").message == "Board 1 of job J-1: Cut: 2 parts of the board."
    assert floor.undo("CUT-1").message == "The parts of board 1 no longer count as cut."
    assert steps(floor) == ["cut", "cut", "pack"]
    assert floor.undo("CUT-1").message.startswith("End, ")
    assert floor.undo("CUT-1").outcome is Outcome.NOTHING_TO_UNDO
    floor.check()


def test_an_undo_read_with_the_code_of_something_else_takes_back_nothing(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    floor.scan(floor.end, "CUT-1")
    answer = floor.scan(board.code, "CUT-1", action=Action.UNDO)
    assert answer.outcome is Outcome.NOTHING_TO_UNDO
    assert floor.end in answer.message, "it says what would be taken back"
    assert floor.scan(floor.slot, "CUT-1").ok
    placed = floor.scan(floor.deck, "CUT-1", action=Action.UNDO)
    assert placed.outcome is Outcome.NOTHING_TO_UNDO
    assert floor.end in placed.message, "it says the part that lies in the slot, not the slot"
    assert floor.undo("CUT-1").outcome is Outcome.UNDONE
    assert floor.scan(floor.deck, "CUT-1", action=Action.UNDO).outcome is Outcome.NOTHING_TO_UNDO
    assert floor.scan(floor.end, "CUT-1", action=Action.UNDO).outcome is Outcome.UNDONE
    floor.scan(board.code, "CUT-1")
    assert floor.scan(floor.end, "CUT-1", action=Action.UNDO).outcome is Outcome.NOTHING_TO_UNDO
    assert floor.scan(board.code, "CUT-1", action=Action.UNDO).outcome is Outcome.UNDONE
    floor.check()


def test_a_board_is_scanned_again_after_an_undo(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    floor.scan(board.code, "CUT-1")
    floor.undo("CUT-1")
    assert floor.scan(board.code, "CUT-1").message == "Board 1 of job J-1: Cut: 3 parts of the board."
    floor.check()


def test_a_board_that_is_taken_back_and_scanned_again_in_one_batch_is_cut(floor: Floor) -> None:
    """What a station sends at once when it was offline; the second scan must see what the undo before it changed."""
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    floor.scan(board.code, "CUT-1")
    batch = [scan_of("", "CUT-1", floor.tick(), action=Action.UNDO), scan_of(board.code, "CUT-1", floor.tick())]
    assert [answer.outcome for answer in floor.send(batch)] == [Outcome.UNDONE, Outcome.DONE]
    assert steps(floor) == ["machine", "pack", "pack"]
    floor.check()


def test_a_late_scan_of_a_board_is_placed_by_its_own_time(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    at = floor.tick()
    floor.tick(60)
    floor.scan(floor.end, "PACK-1")
    assert floor.scan(board.code, "CUT-1", at=at).outcome is Outcome.DONE
    assert floor.part(floor.end).step == "ship"
    floor.check()


@pytest.mark.parametrize(
    ("station", "action", "outcome"),
    [("BAND-1", Action.PASS, Outcome.OFF_ROUTE), ("CUT-1", Action.DAMAGED, Outcome.OFF_ROUTE)],
)
def test_a_board_is_only_passed_at_the_saw(floor: Floor, station: str, action: Action, outcome: Outcome) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    assert floor.scan(board.code, station, action=action).outcome is outcome
    assert steps(floor) == ["cut", "cut", "cut"]
    floor.check()


def test_a_board_of_a_held_job_cuts_nothing(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    hold_job(floor.database, JOB, **floor.act())
    answer = floor.scan(board.code, "CUT-1")
    assert (answer.outcome, answer.ok) == (Outcome.ON_HOLD, False)
    floor.check()


def test_a_cancelled_jobs_board_is_not_taken_back(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    floor.scan(board.code, "CUT-1")
    cancel_job(floor.database, JOB, **floor.act())
    assert floor.undo("CUT-1").outcome is Outcome.CANCELLED
    floor.check()


def test_an_undo_with_a_boards_code_takes_back_no_late_scan_of_a_single_part(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    before = floor.tick()
    cancel_job(floor.database, JOB, **floor.act())
    assert floor.scan(floor.deck, "CUT-1", at=before).outcome is Outcome.CANCELLED  # flagged: a foreman looks at it
    answer = floor.scan(board.code, "CUT-1", action=Action.UNDO)
    assert answer.outcome is Outcome.NOTHING_TO_UNDO
    assert floor.undo("CUT-1").outcome is Outcome.UNDONE
    floor.check()


def test_an_unknown_board_is_refused(floor: Floor) -> None:
    assert floor.scan(str(Code(Kind.BOARD, 99)), "CUT-1").outcome is Outcome.UNKNOWN


def test_a_new_plan_leaves_begun_boards_alone_and_gives_the_others_new_codes(floor: Floor) -> None:
    panel = PartLine(cabinet="9", part="Panel", quantity=3, length_mm=2000, width_mm=1500, thickness_mm=18)
    floor.take("J-2", [panel], items=())
    assert plan(floor, "J-2").boards == 3
    before = [board.code for board in job_boards(floor.database, "J-2")]
    floor.scan(before[0], "CUT-1")
    assert plan(floor, "J-2").boards == 2
    after = job_boards(floor.database, "J-2")
    assert after[0].code == before[0]
    assert not {board.code for board in after[1:]} & set(before)
    assert [board.number for board in after] == [1, 2, 3]
    assert floor.scan(before[1], "CUT-1").outcome is Outcome.UNKNOWN
    floor.check()


def test_a_replacement_is_cut_from_a_board_of_the_next_plan(floor: Floor) -> None:
    plan(floor)
    (board,) = job_boards(floor.database, JOB)
    floor.scan(board.code, "CUT-1")
    replace_part(floor.database, 1, "scratched", **floor.act())
    assert plan(floor).boards == 1
    assert [part.name for part in job_boards(floor.database, JOB)[1].parts] == ["Deck"]
    floor.check()


def test_nothing_left_to_cut_is_said_and_so_is_a_cancelled_job(floor: Floor) -> None:
    plan(floor)
    floor.scan(job_boards(floor.database, JOB)[0].code, "CUT-1")
    with pytest.raises(ConflictError):
        plan(floor)
    cancel_job(floor.database, JOB, **floor.act())
    with pytest.raises(ConflictError):
        plan(floor)
    with pytest.raises(NotFoundError):
        plan(floor, "J-99")


def test_the_shops_own_boards_are_used_and_what_is_too_large_for_them_is_named(floor: Floor) -> None:
    text = '[[board]]\nname = "half"\nmaterial = "board"\nlength = 600\nwidth = 600\nthickness = 18\n'
    set_list(floor.database, "boards", text, who="office", now=floor.tick())
    with pytest.raises(InvalidInputError) as refused:
        plan(floor)
    assert [fault.where["part"] for fault in refused.value.faults] == ["End"]
    assert "End of cabinet 102 (1 part): it is" in refused.value.detail
    set_list(floor.database, "boards", text.replace("600", "900"), who="office", now=floor.tick())
    plan(floor)
    assert needed(job_boards(floor.database, JOB)) == {"half": 2}
