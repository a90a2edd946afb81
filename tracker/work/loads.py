"""Loads: the boxes that leave together.

A load ships only when each box planned for it is on it, and when a foreman named each box of its jobs that stays.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from types import MappingProxyType
from typing import Any, Final

from tracker.records.database import Database
from tracker.records.jobs import all_boxes_shipped, set_job_status
from tracker.records.loads import insert_load, plan_on_load, ship_load_rows
from tracker.records.shipping import ShippingBox, boxes_on_load, staying_of_loads
from tracker.shop.acts import BoxShipped, LeftBehind, PlannedForLoad, TakenOffLoad
from tracker.shop.box_states import BoxState
from tracker.shop.codes import box_code, load_code
from tracker.shop.completeness import lack_in_words
from tracker.shop.errors import ConflictError, Fault, IncompleteError, InvalidInputError, NotFoundError
from tracker.shop.given_reasons import refuse_bad_reason
from tracker.shop.job_states import JobStatus
from tracker.shop.leaving import Keeps, keeps_load, why_it_stays
from tracker.shop.saying import say
from tracker.work.ledger import Ledger, open_ledger


def plan_load(database: Database, boxes: Collection[int], ship_on: date, *, who: str, now: datetime) -> str:
    """Plan boxes for a new load; return its code. A box is planned for one load at a time."""
    with open_ledger(database, who, now) as ledger:
        ledger.look_up_boxes(boxes)
        faults = [fault for number in boxes if (fault := _unplannable(ledger, number))]
        if faults or not boxes:
            raise InvalidInputError(say("The load cannot be planned; nothing was stored."), faults or [_NO_BOX])
        load_id = ledger.take_numbers("load")[0]
        for number in boxes:
            ledger.tell(PlannedForLoad(box_id=number, load_id=load_id))
        ledger.change(insert_load, load_id, ship_on)
        ledger.change(plan_on_load, boxes, load_id)
    return load_code(load_id)


_NO_BOX = Fault(where={"field": "boxes"}, what=say("a load has at least one box"))


def _unplannable(ledger: Ledger, number: int) -> Fault | None:
    code = box_code(number)
    where = {"field": "boxes", "box": code}
    box = ledger.box(number)
    if box is None:
        return Fault(where=where, what=say("there is no box %(box)s", box=code))
    if box.job.status == JobStatus.CANCELLED:
        return Fault(where=where, what=say("job %(job)s is cancelled", job=box.job.code))
    if box.load_id is not None:
        load = load_code(box.load_id)
        if box.shipped:
            what = say("box %(box)s has left with load %(load)s", box=box.in_words, load=load)
        else:
            what = say("box %(box)s is planned for load %(load)s already", box=box.in_words, load=load)
        return Fault(where=where, what=what)
    return None


def add_to_load(database: Database, load_id: int, box_id: int, *, who: str, now: datetime) -> None:
    """Plan one more box for a load that has not left.

    Raises InvalidInputError for a box that is planned for a load already, ConflictError when the load has left.
    """
    with open_ledger(database, who, now) as ledger:
        _open_load(ledger, load_id)
        fault = _unplannable(ledger, box_id)
        if fault is not None:
            raise InvalidInputError(say("The load cannot be planned; nothing was stored."), [fault])
        ledger.change(plan_on_load, [box_id], load_id)
        ledger.tell(PlannedForLoad(box_id=box_id, load_id=load_id))


def take_off_load(database: Database, load_id: int, box_id: int, *, who: str, now: datetime) -> None:
    """Plan a box for no load: it stays in the shop. A box that was loaded is sealed again."""
    with open_ledger(database, who, now) as ledger:
        _open_load(ledger, load_id)
        box = ledger.box(box_id)
        if box is None or box.load_id != load_id:
            named = box_code(box_id) if box is None else box.in_words
            told = say("Box %(box)s is not planned for load %(load)s.", box=named, load=load_code(load_id))
            raise NotFoundError(told)
        if box.state is BoxState.LOADED:
            ledger.set_box(box, state=BoxState.SEALED)
        ledger.change(plan_on_load, [box_id], None)
        ledger.tell(TakenOffLoad(box_id=box_id, load=load_id))


@dataclass(frozen=True, slots=True, kw_only=True)
class LeaveBehind:
    """A foreman's word that boxes stay behind: why, and which, by their numbers, each once."""

    reason: str
    boxes: Sequence[int]

    def __post_init__(self) -> None:
        refuse_bad_reason(self.reason, say("Say why these boxes stay behind."))
        twice = [number for number, times in Counter(self.boxes).items() if times > 1]
        what = say("each box stands once")
        if twice:
            faults = [Fault(where={"field": "leave_behind.boxes", "box": box_code(each)}, what=what) for each in twice]
            raise InvalidInputError(say("The load stays; nothing was stored."), faults)


def ship_load(
    database: Database,
    load_id: int,
    *,
    leave_behind: LeaveBehind | None = None,
    who: str,
    now: datetime,
) -> None:
    """Ship a load with all its boxes and the parts in them.

    Raises IncompleteError with the boxes that are not on it, not whole, or of a held job, and with those of its jobs
    that stay behind: the latter must be just those that ``leave_behind`` names.
    """
    with open_ledger(database, who, now) as ledger:
        _open_load(ledger, load_id)
        boxes = boxes_on_load(ledger.connection, load_id)
        if not boxes:
            raise ConflictError(say("No box is planned for load %(load)s.", load=load_code(load_id)))
        staying = staying_of_loads(ledger.connection, [load_id])[load_id]
        _refuse_short(load_id, boxes, staying, leave_behind)
        parts = ledger.change(ship_load_rows, load_id, [box.id for box in boxes], now)
        _count_shipped(ledger, boxes, parts)
        ledger.look_up_boxes([box.id for box in (*boxes, *staying)])
        why = "" if leave_behind is None else leave_behind.reason
        for box in staying:
            ledger.tell(LeftBehind(box_id=box.id, load_id=load_id, why=why))
        for box in boxes:
            ledger.tell(BoxShipped(box_id=box.id, load_id=load_id))
        for job_id in {box.job.id for box in boxes}:
            if all_boxes_shipped(ledger.written, job_id):
                ledger.change(set_job_status, job_id, JobStatus.SHIPPED, now)


def _refuse_short(
    load_id: int, boxes: Sequence[ShippingBox], staying: Sequence[ShippingBox], leave_behind: LeaveBehind | None
) -> None:
    load = load_code(load_id)
    missing = [_told(box, keeps) for box in boxes if (keeps := keeps_load(box))]
    named = set() if leave_behind is None else set(leave_behind.boxes)
    if missing:
        told = say("Load %(load)s would leave short: it stays.", load=load)
    elif named and named != {box.id for box in staying}:
        told = say("What stays behind load %(load)s has changed: look at it anew, then say so again.", load=load)
    elif staying and not named:
        told = say(
            "Load %(load)s would leave boxes of its jobs behind: plan them for it, or let a foreman say why they stay.",
            load=load,
        )
    else:
        return
    raise IncompleteError(told, missing, staying=[told_of_staying(box) for box in staying])


def told_of_staying(box: ShippingBox) -> dict[str, Any]:
    """Return what the calls tell of a box that stays behind."""
    return {
        "job": box.job.code,
        "box": box.code,
        "name": box.name,
        "state": box.state,
        "held": box.held,
        "missing_count": box.parts_lacking,
        "items_to_count": box.uncounted,
        "says": why_it_stays(box),
    }


def _count_shipped(ledger: Ledger, boxes: Collection[ShippingBox], parts: dict[int, int]) -> None:
    for job_id, count in parts.items():
        ledger.bump(job_id, "ship", count)
    for job_id, count in Counter(box.job.id for box in boxes).items():
        ledger.bump(job_id, "shipped", count)


def _open_load(ledger: Ledger, load_id: int) -> None:
    load = ledger.load(load_id)
    if load is None:
        raise NotFoundError(say("There is no load %(load)s.", load=load_code(load_id)))
    if load.shipped:
        raise ConflictError(say("Load %(load)s has shipped.", load=load_code(load_id)))


_WHY: Final[Mapping[Keeps, str]] = MappingProxyType(
    {
        Keeps.JOB_HELD: "job {job} is held",
        Keeps.JOB_CANCELLED: "job {job} is cancelled",
        Keeps.HELD: "on hold: let it go or take it off the load",
        Keeps.NOT_SEALED: "not sealed{lack}",
        Keeps.NO_LONGER_WHOLE: "{no_longer_good} or take the box off the load",
        Keeps.NOT_ON_IT: "not scanned onto the load",
    }
)


def _told(box: ShippingBox, keeps: Keeps) -> dict[str, Any]:
    lack = lack_in_words(parts=box.parts_lacking, items=box.uncounted)
    no_longer_good = "a part in it is no longer good: replace it"
    if box.parts_lacking > 1:
        no_longer_good = f"{box.parts_lacking} parts in it are no longer good: replace them"
    why = _WHY[keeps].format(job=box.job.code, no_longer_good=no_longer_good, lack=lack and f": {lack}")
    return {"box": box.code, "job": box.job.code, "state": box.state, "why": why}
