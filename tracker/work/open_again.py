"""Open a sealed box again, by a foreman's name and reason: what it lacked is planned for it again.

In the log it is an undo that names the sealing and no station, so the fold needs no rule of its own. What the
follow-ups hold for the box and nobody has packed comes back. The weight does not hold on: it may be packed otherwise.
"""

from dataclasses import dataclass
from datetime import datetime

from tracker.records.box_contents import follow_ups_that_fill, items_by_box, last_sealing
from tracker.records.boxes import Box, update_box
from tracker.records.contradictions import drop_box, is_void
from tracker.records.database import Database
from tracker.records.parts import parts_of_box
from tracker.shop.acts import BoxOpenedAgain
from tracker.shop.box_states import BoxState, filling_state
from tracker.shop.completeness import lacks, short_of
from tracker.shop.errors import ConflictError
from tracker.shop.given_reasons import refuse_bad_reason
from tracker.shop.saying import say
from tracker.shop.standing import refuse_closed, refuse_stopped
from tracker.work.follow_up import move_rest
from tracker.work.ledger import Ledger, open_ledger


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """A request to open box number ``box`` again, and why."""

    box: int
    reason: str

    def __post_init__(self) -> None:
        refuse_bad_reason(self.reason, say("Say why the box is opened again."))


def open_again(database: Database, opening: Opening, *, who: str, now: datetime) -> None:
    """Open a sealed box again: the log takes back its sealing.

    What follow-up boxes that still fill hold for it and nobody has packed there comes back; one that is left with
    nothing is taken away. What was counted holds on, what was weighed does not. Raises ConflictError for a box that is
    not sealed, is loaded or shipped, or whose job is held or cancelled.
    """
    with open_ledger(database, who, now) as ledger:
        box = ledger.the_box(opening.box)
        _refuse(box)
        ledger.set_box(box, state=filling_state(packed=box.packed, parts_total=box.parts_total))
        ledger.bump(box.job.id, "sealed", -1)
        sealing = last_sealing(ledger.connection, box.id)
        ledger.tell(BoxOpenedAgain(box_id=box.id, undoes=sealing, why=opening.reason))
        ledger.change(update_box, box.id, sealed_at=None, weighed_kg=None)
        for follow_up in follow_ups_that_fill(ledger.connection, box.id):
            _bring_back(ledger, follow_up, box.id)


def _refuse(box: Box) -> None:
    if box.state is not BoxState.SEALED:
        refuse_closed(box.in_words, box.state)
        raise ConflictError(say("Box %(box)s is not sealed.", box=box.in_words))
    refuse_stopped(box.in_words, box.job.code, box.job.status)


def _bring_back(ledger: Ledger, follow_up: int, first: int) -> None:
    """Plan for the box again what its follow-up holds for it and what is not in there yet."""
    connection = ledger.connection
    lacking = lacks(parts_of_box(connection, follow_up), items_by_box(connection, [follow_up])[follow_up])
    rest = {line.item: short_of(line) for line in lacking.items}
    move_rest(ledger, follow_up, first, [part.id for part in lacking.parts], rest)
    if is_void(connection, follow_up):
        ledger.change(drop_box, follow_up, first)
