"""The names of steps, states, statuses, roles and outcomes, in the reader's language; and texts put into it.

What the shop has words for, it says itself.
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, Protocol

import flask_babel
from flask_babel import lazy_gettext as _
from flask_babel import lazy_pgettext as pgettext  # what a language says otherwise of a job than of a box or a part

from tracker.pages.words.spoken import spoken
from tracker.shop.box_states import BoxState
from tracker.shop.job_states import JobStatus
from tracker.shop.outcomes import OUTCOME_WORDS, Outcome
from tracker.shop.progress import PartStatus
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.shop.words import BOX_STATE_WORDS, DAMAGE_WORDS, STEP_WORDS, box_words, reason_words


def gettext(text: str, **named: object) -> str:
    """Return a text in the reader's language, with what it names filled in."""
    return str(flask_babel.gettext(text, **named))


def ngettext(one: str, many: str, num: int, **named: object) -> str:
    """Return the text for a number of things in the reader's language."""
    return str(flask_babel.ngettext(one, many, num, **named))


class Lazy(Protocol):
    """A text that is put into the reader's language when it is written out."""

    def __str__(self) -> str: ...


PART_STATUSES: Final[Mapping[PartStatus, Lazy]] = MappingProxyType(
    {
        PartStatus.WAITING: _("not started"),
        PartStatus.WORKING: _("in work"),
        PartStatus.PACKED: _("packed"),
        PartStatus.SHIPPED: _("shipped"),
        PartStatus.REPLACED: _("replaced"),
        PartStatus.CANCELLED: _("cancelled"),
    }
)

JOB_STATUSES: Final[Mapping[JobStatus, Lazy]] = MappingProxyType(
    {
        JobStatus.OPEN: pgettext("job", "open"),
        JobStatus.HELD: pgettext("job", "on hold"),
        JobStatus.SHIPPED: pgettext("job", "shipped"),
        JobStatus.CANCELLED: pgettext("job", "cancelled"),
    }
)

ROLES: Final[Mapping[Role, Lazy]] = MappingProxyType(
    {
        Role.STATION: _("station"),
        Role.PACKER: _("packer"),
        Role.OFFICE: _("office"),
        Role.FOREMAN: _("foreman"),
        Role.ADMIN: _("admin"),
    }
)

LABEL_KINDS: Final[Mapping[str, Lazy]] = MappingProxyType(
    {
        "part": _("part"),
        "box": _("box"),
        "board": _("board"),
        "load": _("load"),
        "slot": _("slot"),
        "station": _("station"),
        "card": _("command card"),
        "badge": _("badge"),
    }
)

# What is packed has the right size and holes: on the way to the truck it can only be damaged.
_REASONS_AT_THE_DOCK: Final = ("chipped", "scratched")

TABLET_AT: Final = "tablet at "  # as tracker.work.sessions names what it pairs


def outcome_word(outcome: Outcome) -> str:
    """Return an outcome's word as people read it."""
    return spoken(OUTCOME_WORDS[outcome])


def who_word(name: str) -> str:
    """Return who acted as people read it: a paired tablet without a badge is called so in their language."""
    station = name.removeprefix(TABLET_AT)
    return name if station == name else gettext("tablet at %(station)s", station=station)


def step_word(step: str) -> str:
    """Return a step's name as people read it."""
    return spoken(STEP_WORDS[Step(step)])


def box_state_word(state: str) -> str:
    """Return a box's state as people read it."""
    return spoken(BOX_STATE_WORDS[BoxState(state)])


def box_name(name: str) -> str:
    """Return a box's name as people read it: what completes another is called so in their language."""
    return spoken(box_words(name))


def part_status_word(status: str) -> str:
    """Return a part's status as people read it."""
    return str(PART_STATUSES[PartStatus(status)])


def job_status_word(status: str) -> str:
    """Return a job's status as people read it."""
    return str(JOB_STATUSES[JobStatus(status)])


def role_word(role: str) -> str:
    """Return a role's name as people read it."""
    return str(ROLES[Role(role)])


def reason_word(reason: str) -> str:
    """Return a reason for damage or loss as people read it: one of the shop's in their language, else as written."""
    return spoken(reason_words(reason))


def reasons_at(step: Step) -> dict[str, str]:
    """Return the reasons for which a part may be marked damaged at a step, by name, as people read them."""
    words = {name: spoken(word) for name, word in DAMAGE_WORDS.items()}
    return words if step is not Step.SHIP else {name: words[name] for name in _REASONS_AT_THE_DOCK}


def first_of(step: Step) -> str:
    """Say what is scanned first at a station that does a step."""
    match step:
        case Step.CUT:
            return gettext("Scan a board or a part")
        case Step.PACK:
            return gettext("Scan a box or a part")
        case Step.SHIP:
            return gettext("Scan a load, then its boxes")
        case _:
            return gettext("Scan a part")
