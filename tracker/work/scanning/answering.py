"""The end of a scan: its row in the log, and the answer that its id gets for ever."""

from collections.abc import Iterable

from tracker.records.benches import BenchReading
from tracker.shop.acts import ScanJudged
from tracker.shop.cards import Read
from tracker.shop.codes import box_code, load_code, part_code
from tracker.shop.contradictions import Contradiction, named_part, told
from tracker.shop.scans import Answer
from tracker.shop.steps import Step
from tracker.shop.verdicts import Verdict
from tracker.work.scanning.late import what_to_look_at
from tracker.work.scanning.scanned import LONGEST_CODE_KEPT, Scanned


def answer(
    scanned: Scanned, judged: Verdict, *, next_step: Step | None = None, inferred: Iterable[Step] = ()
) -> Answer:
    """Write a scan to the log with its answer; return the answer."""
    ledger, scan, station, box = scanned.ledger, scanned.scan, scanned.known_station, scanned.box_about
    steps = frozenset(inferred)
    kind = what_to_look_at(scanned, judged)
    if station is not None:
        ledger.note_reading(scanned.station, scan.at)
    act = ScanJudged(
        action=scanned.action,
        outcome=judged.outcome,
        told=judged.meaning,
        at=scan.at,
        said_at=scan.said_at,
        code=scan.code[:LONGEST_CODE_KEPT],
        station_id=None if station is None else station.id,
        step=None if station is None else station.step,
        infers=station is not None and not station.strict,
        part_id=None if scanned.part is None else scanned.part.id,
        job_id=scanned.job_id,
        box_id=None if box is None else box.id,
        load_id=scanned.load_id,
        slot_id=scanned.slot_id,
        next_step=next_step,
        inferred=steps,
        undoes=scanned.undoes,
        kind=kind,
        flag=None if kind is None else _flag(scanned, kind),
        meant=scanned.meant,
        would_change=None if scanned.would_change is None else scanned.would_change.seq,
        opened_id=None if scanned.opened is None else scanned.opened.id,
    )
    message = ledger.tell(act, about=_about(scanned), seq=scanned.seq, scan_id=scan.id)
    return Answer(
        id=scan.id,
        outcome=judged.outcome,
        message=message,
        reason=judged.meaning.reason,
        values=judged.meaning.values,
        part=None if scanned.part is None else part_code(scanned.part.id),
        box=None if box is None else box_code(box.id),
        next=None if next_step is None else next_step.value,
        inferred=tuple(step.value for step in Step if step in steps),
    )


def _about(scanned: Scanned) -> str:
    """Name what was scanned, for the message."""
    if scanned.part is not None:
        return f"{scanned.part.name}, cabinet {scanned.part.cabinet}"
    if scanned.board is not None:
        return f"Board {scanned.board.number} of job {scanned.board.job}"
    if scanned.box is not None:
        return f"Box {box_code(scanned.box.id)}"
    return "" if scanned.load_id is None else f"Load {load_code(scanned.load_id)}"


def _flag(scanned: Scanned, kind: Contradiction) -> str:
    box, load_id = scanned.box_about, scanned.load_id
    return told(
        kind,
        box="" if box is None else box_code(box.id),
        load="" if load_id is None else load_code(load_id),
        other=_other(scanned),
    )


def _other(scanned: Scanned) -> str:
    """Name the part of the later reading that this scan would have changed."""
    match scanned.would_change:
        case Read(part=part_id) | BenchReading(part_id=part_id) if part_id is not None:
            part = scanned.ledger.part(part_id)
            beside = None if scanned.part is None else scanned.part.code
            return "" if part is None else named_part(part.name, part.cabinet, part.code, beside=beside)
        case _:
            return ""
