"""What happened, as a page says it in the reader's language: from what the log keeps of it."""

from dataclasses import dataclass

from tracker.pages.words.names import outcome_word
from tracker.pages.words.spoken import spoken
from tracker.records.logged import LogView
from tracker.shop.contradictions import Contradiction, told
from tracker.shop.scans import Action


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What happened: the outcome's word where it was a scan, and the rest. ``older``: as it was written, in English."""

    word: str
    rest: str
    older: bool = False


def said_of(row: LogView) -> Said:
    """Say what a row of the log tells."""
    is_scan = row.action in set(Action) and row.station is not None
    word = outcome_word(row.outcome) if is_scan else ""
    if row.told is None:
        return Said(word=word, rest=row.message or row.action, older=True)
    return Said(word=word, rest=spoken(row.told.sentence()))


def contradicts(row: LogView, *, other: str = "") -> str:
    """Say what a flagged scan contradicts; ``other`` names the part of the later reading that it would have changed.

    What was flagged before kinds were kept is said as it was written then.
    """
    text = row.flag or ""
    if row.kind is not None:
        text = spoken(told(Contradiction(row.kind), box=row.box or "", load=row.load or "", other=other))
    return text[:1].upper() + text[1:]
