"""Badges as things in the hand: their labels, and that a lost one counts no more.

A badge gives a tablet's session its holder's name and at most what a packer may do. Its number is given by chance, and
wrong ones are throttled.
"""

from datetime import datetime
from io import BytesIO
from typing import Final

from tracker.labels.contents import CodeLabel, LabelKind
from tracker.labels.documents import write_pdf
from tracker.records import people as kept
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.errors import NotFoundError
from tracker.shop.saying import say
from tracker.work.label_setup import label_setup

BADGE_DPI: Final = 203


def withdraw_badges(database: Database, person_id: int, *, now: datetime) -> int:
    """Let a person's badges count no more; return how many did."""
    with database.write() as connection:
        return kept.withdraw_badges(connection, person_id, now)


def badge_pdf(database: Database, settings: Settings, person_id: int, *, dpi: int = BADGE_DPI) -> bytes:
    """Return the label of a person's badge as a PDF at true size. Raises NotFoundError for one who has none."""
    with database.read() as connection:
        found = kept.person_by_id(connection, person_id)
        codes = kept.badges_in_force(connection).get(person_id, [])
    if found is None or not codes:
        raise NotFoundError(say("This person has no badge."))
    label = CodeLabel(kind=LabelKind.BADGE, code=codes[-1], title=found.name, subtitle="badge: scan it at the station")
    document = BytesIO()
    write_pdf([label_setup(database, settings).draw_to_print(label, dpi)], document, title="Badge")
    return document.getvalue()
