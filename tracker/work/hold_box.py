"""Hold one box in the shop, and let it go: it may be packed, but is neither sealed nor loaded, and no load takes it."""

from datetime import datetime

from tracker.records.boxes import update_box
from tracker.records.database import Database
from tracker.shop.acts import BoxHeld, BoxLetGo
from tracker.shop.box_states import BoxState
from tracker.shop.errors import ConflictError
from tracker.shop.saying import say
from tracker.work.ledger import open_ledger


def hold_box(database: Database, box_id: int, *, who: str, now: datetime) -> None:
    """Keep a box in the shop. Raises ConflictError when it has shipped or is held already."""
    _change(database, box_id, hold=True, who=who, now=now)


def let_go_box(database: Database, box_id: int, *, who: str, now: datetime) -> None:
    """Let a held box go on. Raises ConflictError when it is not held."""
    _change(database, box_id, hold=False, who=who, now=now)


def _change(database: Database, box_id: int, *, hold: bool, who: str, now: datetime) -> None:
    with open_ledger(database, who, now) as ledger:
        box = ledger.the_box(box_id)
        if hold and box.state is BoxState.SHIPPED:
            raise ConflictError(say("Box %(box)s has shipped.", box=box.in_words))
        if hold == box.own_hold:
            on_hold = say("Box %(box)s is on hold already.", box=box.in_words)
            raise ConflictError(on_hold if hold else say("Box %(box)s is not on hold.", box=box.in_words))
        ledger.change(update_box, box_id, held_at=now if hold else None)
        act = BoxHeld if hold else BoxLetGo
        ledger.tell(act(box_id=box_id))
