"""Loads: the boxes that leave together. A load ships only when each box planned for it is on it."""

from collections import Counter
from collections.abc import Collection
from datetime import date, datetime
from typing import Any
from uuid import UUID, uuid5

from tracker.records.contents import LoadedBox, boxes_of_load, insert_load, plan_on_load, ship_load_rows
from tracker.records.database import Database
from tracker.records.floor import take_numbers
from tracker.records.jobs import all_boxes_shipped, set_job_status
from tracker.shop.codes import Code, Kind, box_code
from tracker.shop.errors import ConflictError, Fault, IncompleteError, InvalidInputError, NotFoundError
from tracker.shop.saying import say
from tracker.shop.verdicts import BoxState
from tracker.work.ledger import Ledger


def plan_load(
    database: Database, boxes: Collection[int], ship_on: date, *, who: str, now: datetime, act_id: UUID
) -> str:
    """Plan boxes for a new load; return its code. A box is planned for one load at a time."""
    with database.write() as connection:
        ledger = Ledger(connection, who, now)
        faults = [fault for number in boxes if (fault := _unplannable(ledger, number))]
        if faults or not boxes:
            raise InvalidInputError(say("The load cannot be planned; nothing was stored."), faults or [_NO_BOX])
        load_id = take_numbers(connection, "load", 1)[0]
        insert_load(connection, load_id, ship_on)
        plan_on_load(connection, boxes, load_id)
        for number in boxes:
            ledger.act(
                "plan",
                scan_id=uuid5(act_id, f"plan {number}"),
                message=planned_message(number, load_id),
                box_id=number,
                load_id=load_id,
            )
        ledger.write()
    return load_code(load_id)


_NO_BOX = Fault(where={"field": "boxes"}, what=say("a load has at least one box"))


def _unplannable(ledger: Ledger, number: int) -> Fault | None:
    code = box_code(number)
    where = {"field": "boxes", "box": code}
    box = ledger.box(number)
    if box is None:
        return Fault(where=where, what=say("there is no box %(box)s", box=code))
    if box.job.status == "cancelled":
        return Fault(where=where, what=say("job %(job)s is cancelled", job=box.job.code))
    if box.load_id is not None:
        load = load_code(box.load_id)
        return Fault(where=where, what=say("box %(box)s is planned for load %(load)s already", box=code, load=load))
    return None


def add_to_load(database: Database, load_id: int, box_id: int, *, who: str, now: datetime, act_id: UUID) -> None:
    """Plan one more box for a load that has not left.

    Raises InvalidInputError for a box that is planned for a load already, ConflictError when the load has left.
    """
    with database.write() as connection:
        ledger = Ledger(connection, who, now)
        _open_load(ledger, load_id)
        fault = _unplannable(ledger, box_id)
        if fault is not None:
            raise InvalidInputError(say("The load cannot be planned; nothing was stored."), [fault])
        plan_on_load(connection, [box_id], load_id)
        message = planned_message(box_id, load_id)
        ledger.act("plan", scan_id=act_id, message=message, box_id=box_id, load_id=load_id)
        ledger.write()


def take_off_load(database: Database, load_id: int, box_id: int, *, who: str, now: datetime, act_id: UUID) -> None:
    """Plan a box for no load: it stays in the shop. A box that was loaded is sealed again."""
    with database.write() as connection:
        ledger = Ledger(connection, who, now)
        _open_load(ledger, load_id)
        box = ledger.box(box_id)
        if box is None or box.load_id != load_id:
            told = say("Box %(box)s is not planned for load %(load)s.", box=box_code(box_id), load=load_code(load_id))
            raise NotFoundError(told)
        if box.state is BoxState.LOADED:
            ledger.set_box(box, state=BoxState.SEALED)
        plan_on_load(connection, [box_id], None)
        message = f"Box {box_code(box_id)} taken off load {load_code(load_id)}."
        ledger.act("plan", scan_id=act_id, message=message, box_id=box_id, job_id=box.job.id)
        ledger.write()


def ship_load(database: Database, load_id: int, *, who: str, now: datetime, act_id: UUID) -> None:
    """Ship a load with all its boxes and the parts in them.

    Raises IncompleteError with the boxes that are not on it, not whole, or of a held job.
    """
    with database.write() as connection:
        ledger = Ledger(connection, who, now)
        _open_load(ledger, load_id)
        boxes = boxes_of_load(connection, load_id)
        if not boxes:
            raise ConflictError(say("No box is planned for load %(load)s.", load=load_code(load_id)))
        missing = [entry for box in boxes if (entry := _not_ready(box))]
        if missing:
            raise IncompleteError(say("Load %(load)s would leave short: it stays.", load=load_code(load_id)), missing)
        parts = ship_load_rows(connection, load_id, [box.id for box in boxes], now)
        _count_shipped(ledger, boxes, parts)
        for box in boxes:
            ledger.act(
                "ship",
                scan_id=uuid5(act_id, f"ship {box.id}"),
                message=f"Box {box_code(box.id)} shipped on load {load_code(load_id)}.",
                box_id=box.id,
                job_id=box.job_id,
                load_id=load_id,
            )
        ledger.write()
        for job_id in {box.job_id for box in boxes}:
            if all_boxes_shipped(connection, job_id):
                set_job_status(connection, job_id, "shipped", now)


def _count_shipped(ledger: Ledger, boxes: Collection[LoadedBox], parts: dict[int, int]) -> None:
    for job_id, count in parts.items():
        ledger.bump(job_id, "ship", count)
    for job_id, count in Counter(box.job_id for box in boxes).items():
        ledger.bump(job_id, "shipped", count)


def _open_load(ledger: Ledger, load_id: int) -> None:
    load = ledger.load(load_id)
    if load is None:
        raise NotFoundError(say("There is no load %(load)s.", load=load_code(load_id)))
    if load.shipped:
        raise ConflictError(say("Load %(load)s has shipped.", load=load_code(load_id)))


def _not_ready(box: LoadedBox) -> dict[str, Any] | None:
    if box.job_status in ("held", "cancelled"):
        why = f"job {box.job} is {box.job_status}"
    elif box.held:
        why = "on hold: let it go or take it off the load"
    elif box.state not in (BoxState.SEALED, BoxState.LOADED):
        why = "not sealed"
    elif box.missing:
        why = f"{box.missing} of its parts are no longer good: replace them or take the box off the load"
    elif box.state != BoxState.LOADED:
        why = "not scanned onto the load"
    else:
        return None
    return {"box": box_code(box.id), "job": box.job, "state": box.state, "why": why}


def planned_message(box_id: int, load_id: int) -> str:
    """Return what the log keeps of a box that is planned for a load."""
    return f"Box {box_code(box_id)} planned for load {load_code(load_id)}."


def load_code(load_id: int) -> str:
    """Return the eleven characters on a load's paper."""
    return str(Code(Kind.LOAD, load_id))
