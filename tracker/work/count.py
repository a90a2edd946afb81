"""Count items into a box and weigh it, before it is sealed: both are kept with the box, and each act in the log.

The bench seals by what is kept, read in the same transaction. These rows of the log, as all that a desk writes, name no
station: an undo there must not find them.
"""

from dataclasses import dataclass
from datetime import datetime

from tracker.records.box_contents import count_items, items_by_box
from tracker.records.boxes import Box, update_box
from tracker.records.database import Database
from tracker.shop.acts import BoxWeighed, ItemCounted
from tracker.shop.errors import ConflictError, Fault, InvalidInputError
from tracker.shop.saying import Count, say
from tracker.shop.standing import refuse_closed, refuse_stopped
from tracker.shop.weighing import HEAVIEST_KG
from tracker.work.ledger import Ledger, open_ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class Counting:
    """One item of box number ``box`` counted: ``count`` are in it now; ``was`` is what the counter saw before."""

    box: int
    item: str
    count: int
    was: int | None = None


def count_item(database: Database, counting: Counting, *, who: str, now: datetime) -> int:
    """Keep how many of an item are in a box, with who counted them; return that number.

    Two packers may count at once, so the count is refused with ConflictError when it is no longer what the counter saw;
    the same count sent twice is taken once. Raises ConflictError for a box that is sealed or of a held or cancelled
    job, InvalidInputError for an item or a number that the box does not plan.
    """
    with open_ledger(database, who, now) as ledger:
        box = _open_box(ledger, counting.box)
        line = next(
            (each for each in items_by_box(ledger.connection, [box.id])[box.id] if each.item == counting.item), None
        )
        if line is None:
            fault = Fault(where={"field": "item"}, what=say("an item that this box holds"))
            raise InvalidInputError(say("Box %(box)s holds no such item.", box=box.in_words), [fault])
        if not 0 <= counting.count <= line.quantity:
            wanted = say("a number from 0 to %(planned)s, as planned", planned=line.quantity)
            told = say("%(item)s: %(count)s cannot be.", item=counting.item, count=counting.count)
            raise InvalidInputError(told, [Fault(where={"field": "count"}, what=wanted)])
        if (line.counted or 0) not in (counting.was or 0, counting.count):
            told = say("%(item)s: somebody else counted %(count)s. Look again.", item=counting.item, count=line.counted)
            raise ConflictError(told)
        if line.counted != counting.count:
            ledger.change(count_items, counting.box, {counting.item: counting.count})
            ledger.tell(ItemCounted(box_id=box.id, item=line.item, count=counting.count, planned=line.quantity))
    return counting.count


def weigh_box(database: Database, box_id: int, mass_kg: float, *, who: str, now: datetime) -> None:
    """Keep what a box weighs in kg, before it is sealed, with who weighed it.

    Raises ConflictError for a box that is sealed or of a held or cancelled job, InvalidInputError for a mass that no
    scale shows.
    """
    if not 0 < mass_kg <= HEAVIEST_KG:
        wanted = say("a mass above 0 and up to %(most)s kg", most=Count(HEAVIEST_KG))
        raise InvalidInputError(say("That mass cannot be."), [Fault(where={"field": "mass_kg"}, what=wanted)])
    with open_ledger(database, who, now) as ledger:
        box = _open_box(ledger, box_id)
        ledger.change(update_box, box_id, weighed_kg=mass_kg)
        ledger.tell(BoxWeighed(box_id=box.id, mass_kg=mass_kg))


def _open_box(ledger: Ledger, box_id: int) -> Box:
    box = ledger.the_box(box_id)
    refuse_closed(box.in_words, box.state)
    refuse_stopped(box.in_words, box.job.code, box.job.status)
    return box
