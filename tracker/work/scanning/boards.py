"""A board that is scanned at the saw: all of its parts are cut at once, and taken back at once.

The scan writes a row of the log for each part and its own row last: an undo finds the board's row first and takes all
of them back. Ids of the parts' rows follow from the id of the board's scan.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from uuid import uuid5

from tracker.records import readings
from tracker.records.boards import board_view, parts_on_board
from tracker.records.logged import LogRow
from tracker.records.parts import Part
from tracker.records.past import sightings
from tracker.shop import verdicts
from tracker.shop.codes import Code, Kind, part_code
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import holder_of
from tracker.shop.reasons import Reason
from tracker.shop.scans import Action, Answer
from tracker.shop.steps import Step
from tracker.shop.verdicts import Verdict, verdict
from tracker.work.scanning.answering import answer
from tracker.work.scanning.parts import part_scanned
from tracker.work.scanning.scanned import Refused, Scanned


def board_scanned(scanned: Scanned, code: Code) -> Answer:
    """Pass every part that comes off a board, each with a row of its own in the log, then the board itself."""
    ledger = scanned.ledger
    board = board_view(ledger.connection, code.number)
    if board is None:
        raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_BOARD)
    if scanned.action is not Action.PASS:
        raise Refused(Outcome.OFF_ROUTE, Reason.BOARD_NAMES_NO_PART)
    if scanned.station.step is not Step.CUT:
        raise Refused(Outcome.OFF_ROUTE, Reason.BOARD_ELSEWHERE)
    part_ids = parts_on_board(ledger.connection, code.number, living=True)
    ledger.look_up_parts(part_ids)
    outcomes = []
    for part_id in part_ids:
        row = _row_of(scanned, part_id)
        row.with_board = True
        outcomes.append(part_scanned(row, Code(Kind.PART, part_id)).outcome)
        scanned.seq = ledger.next_seq()  # the board's own row stands after its parts': an undo finds it first
    first = ledger.part(part_ids[0]) if part_ids else None
    scanned.board, scanned.job_id = board, None if first is None else first.job.id
    return answer(scanned, _judge(outcomes))


def _row_of(scanned: Scanned, part_id: int) -> Scanned:
    """A part's own row, which is written with its board's."""
    code = part_code(part_id)
    own = replace(scanned.scan, id=uuid5(scanned.scan.id, code), code=code, action=scanned.action)
    return Scanned(scanned.ledger, own, station=scanned.station, seq=scanned.seq)


def _judge(outcomes: Sequence[Outcome]) -> Verdict:
    """Say of a board what its parts were answered: done when any part was, else what most of them were."""
    counts = Counter(outcomes)
    done, again = counts[Outcome.DONE], counts[Outcome.AGAIN]
    refused = len(outcomes) - done - again
    if done:
        return verdict(Outcome.DONE, Reason.BOARD_CUT, parts=done, refused=refused)
    if again:
        return verdict(Outcome.AGAIN, Reason.BOARD_AGAIN, refused=refused)
    worst = counts.most_common(1)[0][0] if counts else Outcome.OFF_ROUTE
    return verdict(worst, Reason.BOARD_REFUSED)


def undo_board(scanned: Scanned, code: Code, last: LogRow) -> Answer:
    """Take back a board's row, the last reading at the station, and the rows that were written with it."""
    ledger = scanned.ledger
    board = board_view(ledger.connection, code.number)
    part_ids = parts_on_board(ledger.connection, code.number, living=False)
    ledger.look_up_parts(part_ids)
    parts = [part for part in map(ledger.part, part_ids) if part is not None]
    current = next((part for part in parts if part.replaced_by_id is None), None)
    refused = None if current is None else verdicts.judge_note(scanned.part_facts(current))
    if refused:
        return answer(scanned, refused)
    written = readings.board_rows(ledger.connection, last, part_ids)
    for part_id, seq in written.items():
        row = _row_of(scanned, part_id)
        row.part, row.undoes = ledger.part(part_id), seq
        answer(row, verdict(Outcome.UNDONE, Reason.UNDONE_WITH_BOARD))
        scanned.seq = ledger.next_seq()
    scanned.undoes, scanned.job_id = last.seq, last.job_id
    ledger.refold(written, at=scanned.at)
    return answer(scanned, _undone(scanned, board.number if board else str(code), parts))


def _undone(scanned: Scanned, number: int | str, parts: Sequence[Part]) -> Verdict:
    """Say how many of a board's parts are cut all the same, as another station read them."""
    happened = sightings(scanned.ledger.connection, [part.id for part in parts])
    holding = [holder_of(Step.CUT, happened[part.id], part.route) for part in parts]
    by = [each.station for each in holding if each is not None]
    others = [each for each in by if each is not None and each != scanned.station.id]
    if not others:
        return verdict(Outcome.UNDONE, Reason.BOARD_UNDONE, board=number)
    names = ", ".join(sorted({scanned.ledger.station_name(each) for each in others}))
    return verdict(Outcome.UNDONE, Reason.BOARD_STILL_CUT, board=number, stations=names, parts=len(others))
