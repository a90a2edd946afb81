"""What happened, as a page says it in the reader's language.

The log keeps what was told in English. A scan is said anew from its outcome and its step; an act from the English
sentence of its kind, whose names stay as they are. What no sentence here fits is shown as it was written.
"""

import re
from dataclasses import dataclass
from typing import Final, Protocol

from flask_babel import lazy_gettext as _l

from tracker.pages.words.outcomes import OUTCOMES, Lazy, gettext, reason_word, step_word
from tracker.shop.scans import Action
from tracker.shop.verdicts import OK_OUTCOMES, Outcome


class Row(Protocol):
    """A row of the log as far as it is said."""

    @property
    def action(self) -> str: ...
    @property
    def outcome(self) -> str: ...
    @property
    def station(self) -> str | None: ...
    @property
    def step(self) -> str | None: ...
    @property
    def message(self) -> str: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What happened: the outcome's word where it was a scan, and the rest. ``english`` where only that is kept."""

    word: str
    rest: str
    english: bool = False


def said_of(row: Row) -> Said:
    """Say what a row of the log tells."""
    known = _in_words(row.message)
    if row.action in set(Action) and row.station is not None:
        return _scan(row, known)
    if known is not None:
        return Said(word="", rest=known)
    return Said(word="", rest=row.message or row.action, english=True)


def _scan(row: Row, known: str | None) -> Said:
    outcome = Outcome(row.outcome)
    word = str(OUTCOMES[outcome].word)
    if known is not None:
        return Said(word=word, rest=known)
    step = step_word(row.step) if row.step else ""
    if row.action == Action.PLACE and outcome in OK_OUTCOMES:
        return Said(word=word, rest=gettext("where it lies"))
    return Said(word=word, rest=step)


def _in_words(message: str) -> str | None:
    for pattern, text in _SENTENCES:
        found = pattern.fullmatch(message)
        if found is not None:
            named = found.groupdict()
            if "reason" in named:
                named["reason"] = reason_word(named["reason"])
            return str(text) % named
    return None


def _sentence(pattern: str, text: Lazy) -> tuple[re.Pattern[str], Lazy]:
    return re.compile(pattern, re.DOTALL), text


_BOX: Final = r"Box (?P<box>B\w+)"
# The English of tracker.work, and the same for people. A test takes each from the acts themselves.
_SENTENCES: Final = (
    _sentence(rf"{_BOX} planned for load (?P<load>\w+)\.", _l("Box %(box)s planned for load %(load)s.")),
    _sentence(rf"{_BOX} taken off load (?P<load>\w+)\.", _l("Box %(box)s taken off load %(load)s.")),
    _sentence(r"It is on load (?P<load>\w+): (?P<reason>.*)", _l("It is on load %(load)s: %(reason)s.")),
    _sentence(rf"{_BOX} is on load (?P<load>\w+)\.( Stays behind: .*)?", _l("Box %(box)s is on load %(load)s.")),
    _sentence(
        rf"{_BOX} stayed behind load (?P<load>\w+): (?P<reason>.*)\.",
        _l("Box %(box)s stayed behind load %(load)s: %(reason)s."),
    ),
    _sentence(rf"{_BOX} shipped on load (?P<load>\w+)\.", _l("Box %(box)s shipped on load %(load)s.")),
    _sentence(rf"{_BOX} sealed\.", _l("Box %(box)s sealed.")),
    _sentence(
        rf"{_BOX} sealed short, by override: (?P<reason>.*)\. Follow-up (?P<rest>B\w+)\.",
        _l("Box %(box)s sealed short: %(reason)s. The rest is planned for box %(rest)s."),
    ),
    _sentence(
        rf"{_BOX} sealed at (?P<mass>[\d.]+) kg, (?P<expected>[\d.]+) kg expected, by override: (?P<reason>.*)\.",
        _l("Box %(box)s sealed at %(mass)s kg where %(expected)s kg were expected: %(reason)s."),
    ),
    _sentence(
        rf"{_BOX} sealed short at (?P<mass>[\d.]+) kg, (?P<expected>[\d.]+) kg expected, "
        r"by override: (?P<reason>.*)\. Follow-up (?P<rest>B\w+)\.",
        _l(
            "Box %(box)s sealed short at %(mass)s kg where %(expected)s kg were expected: %(reason)s. The rest is "
            "planned for box %(rest)s."
        ),
    ),
    _sentence(rf"{_BOX} opened again: (?P<reason>.*)\.", _l("Box %(box)s opened again: %(reason)s.")),
    _sentence(rf"{_BOX} held in the shop\.", _l("Box %(box)s put on hold: it stays in the shop.")),
    _sentence(rf"{_BOX} let go\.", _l("Box %(box)s let go on.")),
    _sentence(rf"{_BOX} is open\. Scan its parts\..*", _l("Box %(box)s opened at the bench.")),
    _sentence(r"All parts of box (?P<box>B\w+) are in\..*", _l("Box %(box)s opened at the bench.")),
    _sentence(rf"{_BOX} is complete: .*", _l("Box %(box)s opened at the bench.")),  # as it was said until 0.5.0
    _sentence(r"Job (?P<job>.+) taken: (?P<parts>\d+) parts\.", _l("Job %(job)s taken. Parts: %(parts)s.")),
    _sentence(r"Job (?P<job>.+) (held|put on hold)\.", _l("Job %(job)s put on hold.")),
    _sentence(r"Job (?P<job>.+) resumed\.", _l("Job %(job)s resumed.")),
    _sentence(r"Job (?P<job>.+) cancelled\.", _l("Job %(job)s cancelled.")),
    _sentence(
        r"(?P<boards>\d+) boards planned for (?P<parts>\d+) parts of job (?P<job>.+)\.",
        _l("Boards planned for job %(job)s: %(boards)s, for %(parts)s parts."),
    ),
    _sentence(
        r"(?P<item>.+): (?P<count>\d+) of (?P<quantity>\d+) counted\.",
        _l("%(item)s: %(count)s of %(quantity)s counted."),
    ),
    _sentence(r"(?P<mass>[\d.]+) kg weighed\.", _l("%(mass)s kg weighed.")),
    _sentence(r"Replaced by (?P<part>P\w+): (?P<reason>.*)", _l("Replaced by %(part)s: %(reason)s.")),
    _sentence(r"Made in place of (?P<part>P\w+): (?P<reason>.*)", _l("Made in place of %(part)s: %(reason)s.")),
    _sentence(r"Repaired: (?P<reason>.*)", _l("Repaired: %(reason)s.")),
    _sentence(
        r"Planned for box (?P<box>B\w+) instead of (?P<before>B\w+)\.",
        _l("Planned for box %(box)s instead of %(before)s."),
    ),
    _sentence(
        r"Planned for box (?P<box>B\w+) instead of (?P<before>B\w+): (?P<reason>.*)",
        _l("Planned for box %(box)s instead of %(before)s: %(reason)s."),
    ),
    _sentence(r".*: marked damaged \((?P<reason>.*)\)\. Put it aside; .*", _l("marked damaged: %(reason)s")),
    _sentence(r".*: marked damaged\. Put it aside; .*", _l("marked damaged")),
)
