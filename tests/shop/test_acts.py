"""What the log is told of each act, and under which word."""

from datetime import UTC, datetime
from typing import Any, get_args

import pytest

from tracker.shop import acts
from tracker.shop.acts import Act, AnyAct, ScanJudged, told
from tracker.shop.codes import box_code, load_code, part_code
from tracker.shop.contradictions import Choice
from tracker.shop.steps import Step

B1, B2, P1, P2, L1 = box_code(1), box_code(2), part_code(1), part_code(2), load_code(1)
JOB: dict[str, Any] = {"job_id": 1, "job": "J-1"}
SCAN: dict[str, Any] = {
    "part_id": 2,
    "step": Step.PACK,
    "at": datetime(2027, 3, 1, 8, tzinfo=UTC),
    "station_id": 4,
    "infers": False,
}
SEALED: dict[str, Any] = {"box_id": 1, "why": "late"}

TOLD: list[tuple[AnyAct, Act, str]] = [
    (acts.OrderTaken(**JOB, parts=3), Act.ORDER, "Job J-1 taken. Parts: 3."),
    (acts.JobHeld(**JOB), Act.HOLD, "Job J-1 put on hold."),
    (acts.JobResumed(**JOB), Act.RESUME, "Job J-1 resumed."),
    (acts.JobCancelled(**JOB), Act.CANCEL, "Job J-1 cancelled."),
    (acts.BoardsPlanned(**JOB, boards=2, parts=3), Act.PLAN, "Boards planned for job J-1: 2, for 3 parts."),
    (acts.ItemCounted(box_id=1, item="pin", count=1, planned=2), Act.COUNT, "pin: 1 of 2 counted."),
    (acts.BoxWeighed(box_id=1, mass_kg=7.5), Act.WEIGH, "7.50 kg weighed."),
    (acts.BoxSealed(box_id=1, why="", rest=None, masses_kg=None), Act.SEAL, f"Box {B1} sealed."),
    (
        acts.BoxSealed(**SEALED, rest=2, masses_kg=None),
        Act.SEAL,
        f"Box {B1} sealed short: late. The rest is planned for box {B2}.",
    ),
    (
        acts.BoxSealed(**SEALED, rest=None, masses_kg=(7, 8)),
        Act.SEAL,
        f"Box {B1} sealed at 7.00 kg where 8.00 kg were expected: late.",
    ),
    (
        acts.BoxSealed(**SEALED, rest=2, masses_kg=(7, 8)),
        Act.SEAL,
        f"Box {B1} sealed short at 7.00 kg where 8.00 kg were expected: late. The rest is planned for box {B2}.",
    ),
    (acts.BoxOpenedAgain(box_id=1, undoes=9, why="a pin"), Act.UNDO, f"Box {B1} opened again: a pin."),
    (acts.BoxHeld(box_id=1), Act.HOLD, f"Box {B1} put on hold: it stays in the shop."),
    (acts.BoxLetGo(box_id=1), Act.RESUME, f"Box {B1} let go on."),
    (acts.PlannedForLoad(box_id=1, load_id=1), Act.PLAN, f"Box {B1} planned for load {L1}."),
    (acts.TakenOffLoad(box_id=1, load=1), Act.PLAN, f"Box {B1} taken off load {L1}."),
    (acts.LoadedAfterAll(box_id=1, load_id=1, why="seen"), Act.PASS, f"It is on load {L1}: seen."),
    (acts.LeftBehind(box_id=1, load_id=1, why="late"), Act.LEAVE, f"Box {B1} stayed behind load {L1}: late."),
    (acts.BoxShipped(box_id=1, load_id=1), Act.SHIP, f"Box {B1} shipped on load {L1}."),
    (acts.PartReplaced(part_id=1, new=2, why="lost twice"), Act.REPLACE, f"Replaced by {P2}: lost twice."),
    (acts.PartMadeAnew(part_id=2, old=1, why="lost twice"), Act.ORDER, f"Made in place of {P1}: lost twice."),
    (acts.PartRepaired(part_id=1, why="filled"), Act.REPAIR, "Repaired: filled."),
    (acts.MarkTakenOff(part_id=1, why="looked"), Act.REPAIR, "Not damaged, another part was meant: looked."),
    (
        acts.MarkedAfterAll(part_id=2, at=SCAN["at"], station_id=1, why="a dent"),
        Act.DAMAGED,
        "Marked damaged: a dent. Put it aside: the foreman decides.",
    ),
    (acts.PartMoved(part_id=1, box_id=2, before=1), Act.MOVE, f"Planned for box {B2} instead of {B1}."),
    (
        acts.PartMoved(part_id=1, box_id=2, before=1, why="seen"),
        Act.MOVE,
        f"Planned for box {B2} instead of {B1}: seen.",
    ),
    (acts.OldPieceUsed(**SCAN, old=1), Act.PASS, f"Done to {P1}: the old piece carries this label now."),
    (acts.FoundInBox(**SCAN, box_id=1, why="seen"), Act.PASS, f"It lies in box {B1}: seen."),
    (
        acts.CountedAfterAll(**SCAN),
        Act.PASS,
        "Counted after all: what it waited for was done before, as a late scan shows.",
    ),
    (
        acts.ScanSettled(settles=9, kind=Choice.SEEN, why="", part_id=1, box_id=1),
        Act.SETTLE,
        "Seen, nothing to do.",
    ),
    (
        acts.ScanSettled(settles=9, kind=Choice.SEEN, why="fine", part_id=1, box_id=1),
        Act.SETTLE,
        "Seen, nothing to do: fine.",
    ),
]


@pytest.mark.parametrize(("act", "action", "sentence"), TOLD)
def test_the_log_names_each_act_and_says_what_was_done(act: AnyAct, action: Act, sentence: str) -> None:
    named, meant = told(act)
    assert (named, meant.sentence()) == (action, sentence)


def test_every_act_but_a_scan_stands_in_the_list_above() -> None:
    assert {type(act) for act, _, _ in TOLD} == {*get_args(AnyAct)} - {ScanJudged}
