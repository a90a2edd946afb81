"""A follow-up box: where what a closed box lacks is planned to go.

One that nothing is planned for any more is taken away, or its job would never be shipped.
"""

from collections.abc import Mapping, Sequence

from tracker.records.box_contents import living_sizes, move_items, move_parts, open_follow_up
from tracker.records.boxes import boxes_numbered, highest_box_number, update_box
from tracker.records.jobs import set_job_status
from tracker.records.orders import insert_rows, raise_total
from tracker.records.tables import box
from tracker.shop.acts import PartMoved
from tracker.shop.job_boxes import size_of
from tracker.shop.job_states import JobStatus
from tracker.shop.words import FOLLOW_UP
from tracker.work.ledger import Ledger
from tracker.work.orders import BOX_TALLIES


def follow_up_box(ledger: Ledger, closed_box: int) -> int:
    """Return the number of the follow-up box of ``closed_box`` that still takes parts; make one if there is none."""
    found = open_follow_up(ledger.connection, closed_box)
    return found if found is not None else make_follow_up(ledger, closed_box)


def make_follow_up(ledger: Ledger, closed_box: int) -> int:
    """Add an empty follow-up box; return its number."""
    connection = ledger.connection
    first = boxes_numbered(connection, [closed_box])[closed_box]
    number = ledger.take_numbers("box")[0]
    row = {
        "id": number,
        "job_id": first.job.id,
        "name": f"{first.name[:180]}{FOLLOW_UP}",
        "number": highest_box_number(connection, first.job.id) + 1,
        "state": "open",
        "parts_total": 0,
        "packed": 0,
        "follows_id": closed_box,
        "drop": first.drop,
        **_size(ledger, number),
    }
    ledger.change(insert_rows, box, [row])
    for what in BOX_TALLIES:
        ledger.change(raise_total, first.job.id, what, 1)
    if ledger.the_box(number).job.status == JobStatus.SHIPPED:
        ledger.change(set_job_status, first.job.id, JobStatus.OPEN, ledger.now)
    return number


def move_rest(ledger: Ledger, before: int, after: int, parts: Sequence[int], items: Mapping[str, int]) -> None:
    """Plan parts that are packed nowhere, and so many of each item, for box ``after`` instead of ``before``."""
    ledger.change(move_parts, parts, after)
    ledger.change(move_items, before, after, items)
    for part_id in parts:
        ledger.tell(PartMoved(part_id=part_id, box_id=after, before=before))
    ledger.plan_parts(before, -len(parts))
    ledger.plan_parts(after, len(parts))
    ledger.refold(parts, at=ledger.now)
    for number in (before, after):
        measure_anew(ledger, number)


def measure_anew(ledger: Ledger, box_id: int) -> None:
    """Work a box's planned mass and size out from the parts now planned for it; a planned carton keeps its size."""
    size, kept = _size(ledger, box_id), ledger.box(box_id)
    if kept is not None and kept.empty_kg is not None:
        size = {"mass_kg": size["mass_kg"] + kept.empty_kg}
    ledger.change(update_box, box_id, **size)


def _size(ledger: Ledger, box_id: int) -> dict[str, float]:
    size = size_of(living_sizes(ledger.connection, box_id))
    return {
        "mass_kg": size.mass_kg,
        "length_mm": size.length_mm,
        "width_mm": size.width_mm,
        "height_mm": size.height_mm,
    }
