"""Badges as things in the hand: their labels, and that a lost one counts no more."""

from datetime import datetime
from io import BytesIO
from typing import Final

from PIL import Image

from tracker.labels.documents import write_pdf
from tracker.labels.layouts import draw_code_label
from tracker.records import people as kept
from tracker.records.database import Database
from tracker.shop.errors import NotFoundError

BADGE_DPI: Final = 203


def withdraw_badges(database: Database, person_id: int, *, now: datetime) -> int:
    """Let a person's badges count no more; return how many did."""
    with database.write() as connection:
        return kept.withdraw_badges(connection, person_id, now)


def badge_pdf(database: Database, person_id: int, *, dpi: int = BADGE_DPI) -> bytes:
    """Return the label of a person's badge as a PDF at true size. Raises NotFoundError for one who has none."""
    document = BytesIO()
    write_pdf([_drawn(database, person_id, dpi)], document, dpi=dpi, title="Badge")
    return document.getvalue()


def _drawn(database: Database, person_id: int, dpi: int) -> Image.Image:
    with database.read() as connection:
        found = kept.person_by_id(connection, person_id)
        codes = kept.badges_in_force(connection).get(person_id, [])
    if found is None or not codes:
        raise NotFoundError("This person has no badge.")
    return draw_code_label(codes[-1], found.name, "badge: scan it at the station", dpi)
