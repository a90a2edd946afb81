"""Replace a part that is damaged or lost, or record that it was repaired.

A repair, as a move to another box, is decided at a desk: it holds for what had arrived by then, whatever the stations'
clocks say.
"""

from datetime import datetime

from tracker.records.database import Database
from tracker.records.designs import copy_marks, copy_part, copy_place, retire_part
from tracker.records.parts import Part
from tracker.shop.acts import MarkTakenOff, PartMadeAnew, PartRepaired, PartReplaced
from tracker.shop.box_states import CLOSED_STATES
from tracker.shop.codes import part_code
from tracker.shop.errors import ConflictError, NotFoundError
from tracker.shop.job_states import JobStatus
from tracker.shop.saying import say
from tracker.shop.steps import Step
from tracker.work.follow_up import follow_up_box, measure_anew
from tracker.work.ledger import Ledger, open_ledger


def replace_part(database: Database, part_id: int, reason: str, *, who: str, now: datetime) -> int:
    """Order a new part in place of an old one; return the new part's number.

    The old label is dead for ever. The new part starts its route, is urgent, and goes to the same box, or to its
    follow-up box when that one is closed. Raises ConflictError for a part that was replaced or cancelled before.
    """
    with open_ledger(database, who, now) as ledger:
        return replace_in(ledger, part_id, reason)


def replace_in(ledger: Ledger, part_id: int, reason: str) -> int:
    """Order a new part in place of an old one, in a piece of work that goes on; return the new part's number."""
    old = _living(ledger, part_id)
    target = follow_up_box(ledger, old.box.id) if old.box.state in CLOSED_STATES else old.box.id
    new_id = ledger.take_numbers("part")[0]
    ledger.change(copy_part, old.id, new_id, box_id=target)
    ledger.change(copy_marks, old.id, new_id)
    if target == old.box.id:
        ledger.change(copy_place, old.id, new_id)
    _retire(ledger, old, new_id, target)
    ledger.tell(PartReplaced(part_id=old.id, new=new_id, why=reason))
    ledger.tell(PartMadeAnew(part_id=new_id, old=old.id, why=reason))
    measure_anew(ledger, target)
    return new_id


def repair_part(database: Database, part_id: int, reason: str, *, who: str, now: datetime) -> None:
    """Record that a damaged part is good again: it counts as before."""
    with open_ledger(database, who, now) as ledger:
        repair_in(ledger, PartRepaired(part_id=part_id, why=reason))


def repair_in(ledger: Ledger, act: PartRepaired | MarkTakenOff) -> None:
    """Record that a part is not damaged any more, or was not at all, in a piece of work that goes on."""
    part = _living(ledger, act.part_id)
    if not part.progress.damaged:
        raise ConflictError(say("Part %(part)s is not marked damaged.", part=part.code))
    ledger.tell(act)
    ledger.refold([act.part_id])


def _living(ledger: Ledger, part_id: int) -> Part:
    part = ledger.part(part_id)
    if part is None:
        raise NotFoundError(say("There is no part %(part)s.", part=part_code(part_id)))
    if part.replaced_by_id is not None:
        new = part_code(part.replaced_by_id)
        raise ConflictError(say("Part %(part)s was replaced by %(new)s before.", part=part_code(part_id), new=new))
    if part.job.status == JobStatus.CANCELLED:
        raise ConflictError(say("Job %(job)s is cancelled.", job=part.job.code))
    return part


def _retire(ledger: Ledger, old: Part, new_id: int, target: int) -> None:
    """Take the old part out of every count; the new one has taken its place in the totals."""
    ledger.change(retire_part, old.id, by=new_id)
    for step in old.progress.counted:
        ledger.bump(old.job.id, step, -1)
    box = ledger.box(old.box.id) or old.box
    ledger.set_box(box, packed=box.packed - (Step.PACK in old.progress.counted))
    ledger.plan_parts(box.id, -1)
    ledger.plan_parts(target, 1)
