"""Take an order: the parts of a job get their codes and routes, its boxes are planned. All of it or nothing."""

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from itertools import islice
from typing import Any

from sqlalchemy import Connection

from tracker.records.database import Database
from tracker.records.designs import marked_row, store_designs
from tracker.records.orders import FRESH, insert_rows, job_exists
from tracker.records.tables import box, item, job, laying, marked, part, tally
from tracker.records.writing import take_numbers
from tracker.shop.acts import OrderTaken
from tracker.shop.box_states import filling_state
from tracker.shop.codes import HIGHEST_NUMBER, box_code
from tracker.shop.errors import ConflictError, Fault, InvalidInputError
from tracker.shop.job_boxes import Packing, PlannedBox, Way, plan_boxes, size_of, ways_of
from tracker.shop.job_states import JobStatus
from tracker.shop.orders import Order, PartLine
from tracker.shop.saying import say
from tracker.shop.steps import Step
from tracker.work.ledger import open_ledger

_JOB_CODE = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,39}", re.ASCII)
BOX_TALLIES = ("sealed", "shipped")


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What taking an order made, or, on a dry run, would make (then no codes are given)."""

    code: str
    parts: int
    cabinets: int
    box_names: tuple[str, ...]
    boxes: tuple[str, ...] = ()
    columns: Mapping[str, str] = field(default_factory=dict)  # headings that were read as another name
    ways: tuple[Way, ...] = ()  # on a dry run, the shop's way of keeping cabinets together beside the fewest boxes


def take_order(database: Database, order: Order, *, who: str, now: datetime, packing: Packing | None = None) -> Taken:
    """Store a job with its parts, items, designs and planned boxes; return the codes of the boxes.

    Raises InvalidInputError for a code or customer that cannot be used, or panels that fit none of the shop's cartons;
    ConflictError when the job is there already.
    """
    _check(order)
    planned = plan_boxes(order.parts, order.items, packing)
    preview = _preview(order, planned)
    with open_ledger(database, who, now) as ledger:
        if job_exists(ledger.connection, order.job):
            raise ConflictError(say("Job %(job)s was taken before. Give the new order another code.", job=order.job))
        numbers = ledger.change(_store, order, planned, now)
        ledger.tell(OrderTaken(job_id=numbers.job, job=order.job, parts=preview.parts))
    return replace(preview, boxes=tuple(box_code(number) for number in numbers.boxes))


def preview_order(order: Order, packing: Packing | None = None) -> Taken:
    """Say what taking an order would make; refuse what could not be taken, but look at no database."""
    _check(order)
    planned = plan_boxes(order.parts, order.items, packing)
    return replace(_preview(order, planned), ways=ways_of(planned, order.parts, order.items, packing))


def _check(order: Order) -> None:
    faults = []
    if not _JOB_CODE.fullmatch(order.job):
        what = say(
            "a job's code has 1 to 40 letters, digits, dots, dashes or underscores, starting with a letter or digit"
        )
        faults.append(Fault(where={"field": "code"}, what=what))
    customer = order.customer.strip()
    if not 1 <= len(customer) <= 200 or not customer.isprintable():
        faults.append(Fault(where={"field": "customer"}, what=say("a customer's name has 1 to 200 characters")))
    if not order.parts:
        faults.append(Fault(where={"field": "parts"}, what=say("an order has at least one part")))
    if faults:
        raise InvalidInputError(say("The order cannot be taken; nothing was stored."), faults)


def _preview(order: Order, planned: Sequence[PlannedBox]) -> Taken:
    return Taken(
        code=order.job,
        parts=sum(line.quantity for line in order.parts),
        cabinets=len({line.cabinet for line in order.parts}),
        box_names=tuple(box.name for box in planned),
        columns=order.read_as,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Numbers:
    job: int
    boxes: range
    parts: range


def _store(connection: Connection, order: Order, planned: Sequence[PlannedBox], now: datetime) -> _Numbers:
    pieces = sum(len(box.pieces) for box in planned)
    numbers = _Numbers(
        job=take_numbers(connection, "job", 1)[0],
        boxes=take_numbers(connection, "box", len(planned)),
        parts=take_numbers(connection, "part", pieces),
    )
    if max(numbers.boxes[-1], numbers.parts[-1]) > HIGHEST_NUMBER:
        raise ConflictError(say("The shop has no codes left for so many parts."))
    insert_rows(connection, job, [_job_row(order, numbers.job, pieces, now)])
    insert_rows(connection, tally, _tally_rows(numbers.job, planned))
    insert_rows(connection, box, _box_rows(numbers, planned))
    insert_rows(connection, item, _item_rows(numbers, planned))
    insert_rows(connection, part, _part_rows(numbers, planned))
    insert_rows(connection, laying, _laying_rows(numbers, planned))
    insert_rows(connection, marked, _marked_rows(numbers, planned))
    store_designs(connection, numbers.job, order.designs)
    return numbers


def _job_row(order: Order, job_id: int, pieces: int, now: datetime) -> dict[str, Any]:
    return {
        "id": job_id,
        "code": order.job,
        "customer": order.customer.strip(),
        "due": order.due,
        "status": JobStatus.OPEN,
        "status_at": now,
        "taken_at": now,
        "parts_total": pieces,
    }


def _tally_rows(job_id: int, planned: Sequence[PlannedBox]) -> Iterator[dict[str, Any]]:
    steps = Counter(step for box in planned for piece in box.pieces for step in piece.route)
    totals = {**{step.value: steps[step] for step in Step}, **dict.fromkeys(BOX_TALLIES, len(planned))}
    return ({"job_id": job_id, "what": what, "total": total, "done": 0} for what, total in totals.items())


def _box_rows(numbers: _Numbers, planned: Sequence[PlannedBox]) -> Iterator[dict[str, Any]]:
    for count, (box_id, drawn) in enumerate(zip(numbers.boxes, planned, strict=True), start=1):
        size = drawn.size or size_of([(*piece.size, piece.mass_kg) for piece in drawn.pieces])
        yield {
            "id": box_id,
            "job_id": numbers.job,
            "name": drawn.name,
            "number": count,
            "state": filling_state(packed=0, parts_total=len(drawn.pieces)),
            "parts_total": len(drawn.pieces),
            "packed": 0,
            "mass_kg": size.mass_kg,
            "length_mm": size.length_mm,
            "width_mm": size.width_mm,
            "height_mm": size.height_mm,
            "carton": drawn.carton,
            "empty_kg": drawn.empty_kg,
            "bag_above": drawn.bag_above,
            "drop": drawn.drop or None,
        }


def _item_rows(numbers: _Numbers, planned: Sequence[PlannedBox]) -> Iterator[dict[str, Any]]:
    for box_id, drawn in zip(numbers.boxes, planned, strict=True):
        counts: Counter[str] = Counter()
        for line in drawn.items:
            counts[line.item] += line.quantity
        yield from ({"box_id": box_id, "item": name, "quantity": count} for name, count in counts.items())


def _part_rows(numbers: _Numbers, planned: Sequence[PlannedBox]) -> Iterator[dict[str, Any]]:
    part_ids = iter(numbers.parts)
    for box_id, drawn in zip(numbers.boxes, planned, strict=True):
        for position, piece in enumerate(drawn.pieces, start=1):
            row = {"id": next(part_ids), "job_id": numbers.job, "box_id": box_id, "position": position}
            yield {**row, **_piece_row(piece), **FRESH}


def _laying_rows(numbers: _Numbers, planned: Sequence[PlannedBox]) -> Iterator[dict[str, Any]]:
    part_ids = iter(numbers.parts)
    for drawn in planned:
        ids = list(islice(part_ids, len(drawn.pieces)))
        for part_id, place in zip(ids, drawn.places, strict=False):
            corner = {"x_mm": place.x_mm, "y_mm": place.y_mm, "z_mm": place.z_mm}
            yield {"part_id": part_id, "layer": place.layer, "turned": place.rotated, **corner}


def _marked_rows(numbers: _Numbers, planned: Sequence[PlannedBox]) -> Iterator[dict[str, Any]]:
    pieces = (piece for drawn in planned for piece in drawn.pieces)
    for part_id, piece in zip(numbers.parts, pieces, strict=True):
        if piece.designed:
            yield marked_row(part_id, piece.designed)


def _piece_row(piece: PartLine) -> dict[str, Any]:
    return {
        "cabinet": piece.cabinet,
        "room": piece.room or None,
        "drop": piece.drop or None,
        "name": piece.part,
        "material": piece.material,
        "length_mm": piece.length_mm,
        "width_mm": piece.width_mm,
        "thickness_mm": piece.thickness_mm,
        "mass_kg": piece.mass_kg,
        "edges": " ".join(piece.edges),
        "machining": piece.machining,
        "supply": piece.supply.value,
        "route": piece.route,
    }
