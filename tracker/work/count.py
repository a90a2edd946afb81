"""Count items into a box and weigh it, before it is sealed: both are kept with the box, for whoever looks at it."""

from dataclasses import dataclass

from sqlalchemy import Connection

from tracker.records.contents import count_items, items_of, update_box
from tracker.records.database import Database
from tracker.records.floor import BoxRow, boxes_numbered
from tracker.shop.codes import box_code
from tracker.shop.errors import ConflictError, Fault, InvalidInputError, NotFoundError
from tracker.shop.verdicts import CLOSED_STATES
from tracker.shop.weighing import HEAVIEST_KG


@dataclass(frozen=True, slots=True, kw_only=True)
class Counting:
    """One item of box number ``box`` counted: ``count`` are in it now; ``was`` is what the counter saw before."""

    box: int
    item: str
    count: int
    was: int | None = None


def count_item(database: Database, counting: Counting) -> int:
    """Keep how many of an item are in a box; return that number.

    Two packers may count at once, so the count is refused with ConflictError when it is no longer what the counter saw;
    the same count sent twice is taken once. Raises ConflictError for a box that is sealed or of a held or cancelled
    job, InvalidInputError for an item or a number that the box does not plan.
    """
    with database.write() as connection:
        _open_box(connection, counting.box)
        line = next((each for each in items_of(connection, counting.box) if each.item == counting.item), None)
        if line is None:
            fault = Fault(where={"field": "item"}, what="an item that this box holds")
            raise InvalidInputError(f"Box {box_code(counting.box)} holds no such item.", [fault])
        if not 0 <= counting.count <= line.quantity:
            fault = Fault(where={"field": "count"}, what=f"a number from 0 to {line.quantity}, as planned")
            raise InvalidInputError(f"{counting.item}: {counting.count} cannot be.", [fault])
        if (line.counted or 0) not in (counting.was or 0, counting.count):
            raise ConflictError(f"{counting.item}: somebody else counted {line.counted}. Look again.")
        count_items(connection, counting.box, {counting.item: counting.count})
    return counting.count


def weigh_box(database: Database, box_id: int, mass_kg: float) -> None:
    """Keep what a box weighs in kg, before it is sealed.

    Raises ConflictError for a box that is sealed or of a held or cancelled job, InvalidInputError for a mass that no
    scale shows.
    """
    if not 0 < mass_kg <= HEAVIEST_KG:
        fault = Fault(where={"field": "mass_kg"}, what=f"a mass above 0 and up to {HEAVIEST_KG:,.0f} kg")
        raise InvalidInputError("That mass cannot be.", [fault])
    with database.write() as connection:
        _open_box(connection, box_id)
        update_box(connection, box_id, weighed_kg=mass_kg)


def _open_box(connection: Connection, box_id: int) -> BoxRow:
    box = boxes_numbered(connection, [box_id]).get(box_id)
    if box is None:
        raise NotFoundError(f"There is no box {box_code(box_id)}.")
    if box.state in CLOSED_STATES:
        raise ConflictError(f"Box {box_code(box_id)} is already {box.state}.")
    if box.job.status in ("held", "cancelled"):
        raise ConflictError(f"Job {box.job.code} is {box.job.status}: box {box_code(box_id)} stays as it is.")
    return box
