"""What people read and hear: each outcome's word, shape and sound, and the names of steps, states and statuses.

The trade's own messages are English sentences for the calls; a screen says the same in the reader's language, from the
outcome and the facts. Colour never speaks alone: each kind has a shape and a rhythm of its own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final, Protocol

import flask_babel
from flask_babel import lazy_gettext as _

from tracker.pages.words.spoken import spoken
from tracker.shop.codes import Kind
from tracker.shop.contradictions import Contradiction
from tracker.shop.lacking import lack_in_words
from tracker.shop.progress import PartStatus
from tracker.shop.roles import Role
from tracker.shop.scans import Action
from tracker.shop.steps import Step
from tracker.shop.verdicts import BoxState, Outcome


def gettext(text: str, **named: object) -> str:
    """Return a text in the reader's language, with what it names filled in."""
    return str(flask_babel.gettext(text, **named))


def ngettext(one: str, many: str, num: int, **named: object) -> str:
    """Return the text for a number of things in the reader's language."""
    return str(flask_babel.ngettext(one, many, num, **named))


class Sound(StrEnum):
    """How an answer sounds: one short tone, two middling ones, three long low ones."""

    OK = "ok"
    LOOK = "look"
    STOP = "stop"


class Shade(StrEnum):
    """In what colours an answer stands: those of its sound, but for what is set aside and what is taken back."""

    OK = "ok"
    LOOK = "look"
    STOP = "stop"
    ASIDE = "aside"
    BACK = "back"


class Shape(StrEnum):
    """The shape beside the word."""

    TICK = "tick"
    NOTE = "note"
    BACK = "back"
    TWICE = "twice"
    AGAIN = "again"
    NOTHING = "nothing"
    WAIT = "wait"
    ELSEWHERE = "elsewhere"
    CLOSED = "closed"
    CROSS = "cross"
    ASK = "ask"


class Lazy(Protocol):
    """A text that is put into the reader's language when it is written out."""

    def __str__(self) -> str: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """How an outcome is told at a glance."""

    word: Lazy
    shape: Shape
    sound: Sound
    shade: Shade


def _said(word: Lazy, shape: Shape, sound: Sound, shade: Shade | None = None) -> Said:
    return Said(word=word, shape=shape, sound=sound, shade=shade or Shade(sound.value))


OUTCOMES: Final[Mapping[Outcome, Said]] = MappingProxyType(
    {
        Outcome.DONE: _said(_("Done"), Shape.TICK, Sound.OK),
        Outcome.NOTED: _said(_("Noted"), Shape.NOTE, Sound.OK),
        Outcome.UNDONE: _said(_("Taken back"), Shape.BACK, Sound.OK, Shade.BACK),
        Outcome.AGAIN: _said(_("Done before"), Shape.TWICE, Sound.LOOK),
        Outcome.MISREAD: _said(_("Scan again"), Shape.AGAIN, Sound.LOOK),
        Outcome.NOTHING_TO_UNDO: _said(_("Nothing to take back"), Shape.NOTHING, Sound.LOOK),
        Outcome.EARLY: _said(_("Too early"), Shape.WAIT, Sound.STOP),
        Outcome.OFF_ROUTE: _said(_("Not here"), Shape.ELSEWHERE, Sound.STOP),
        Outcome.WRONG_BOX: _said(_("Wrong box"), Shape.ELSEWHERE, Sound.STOP),
        Outcome.BOX_CLOSED: _said(_("Closed"), Shape.CLOSED, Sound.STOP),
        Outcome.ON_HOLD: _said(_("On hold"), Shape.WAIT, Sound.STOP),
        Outcome.REPLACED: _said(_("Old label"), Shape.CROSS, Sound.STOP),
        Outcome.CANCELLED: _said(_("Cancelled"), Shape.CROSS, Sound.STOP),
        Outcome.UNKNOWN: _said(_("Unknown"), Shape.ASK, Sound.STOP),
    }
)

_DAMAGED: Final = _said(_("Damaged, put it aside"), Shape.CROSS, Sound.STOP)
_MARKED: Final = _said(_("Noted"), Shape.NOTE, Sound.OK, Shade.ASIDE)
_NOTHING_MARKED: Final = _said(_("Nothing marked"), Shape.ASK, Sound.STOP)
_NOT_ALL_LEAVES: Final = _said(_("Done, but wait"), Shape.WAIT, Sound.LOOK, Shade.ASIDE)

STEPS: Final[Mapping[Step, Lazy]] = MappingProxyType(
    {
        Step.CUT: _("cut"),
        Step.MACHINE: _("machine"),
        Step.BAND: _("band"),
        Step.PACK: _("pack"),
        Step.SHIP: _("ship"),
    }
)

BOX_STATES: Final[Mapping[BoxState, Lazy]] = MappingProxyType(
    {
        BoxState.OPEN: _("open"),
        BoxState.PACKING: _("being packed"),
        BoxState.COMPLETE: _("all parts in"),
        BoxState.SEALED: _("sealed"),
        BoxState.LOADED: _("loaded"),
        BoxState.SHIPPED: _("shipped"),
    }
)

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

JOB_STATUSES: Final[Mapping[str, Lazy]] = MappingProxyType(
    {"open": _("open"), "held": _("on hold"), "shipped": _("shipped"), "cancelled": _("cancelled")}
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

REASONS: Final[Mapping[str, Lazy]] = MappingProxyType(
    {
        "chipped": _("Chipped"),
        "scratched": _("Scratched"),
        "wrong_size": _("Wrong size"),
        "wrong_holes": _("Wrong holes"),
    }
)
# What is packed has the right size and holes: on the way to the truck it can only be damaged.
REASONS_AT_THE_DOCK: Final = ("chipped", "scratched")


FOLLOW_UP: Final = " follow-up"  # as tracker.work.follow_up names such a box
TABLET_AT: Final = "tablet at "  # as tracker.work.visits names what it pairs


def said_as(
    outcome: Outcome,
    *,
    action: Action = Action.PASS,
    card: bool = False,
    damaged: bool = False,
    staying: bool = False,
) -> Said:
    """Return how an answer is told: its outcome's way, unless something is to be put aside or asked about.

    ``card``: the damaged card or a slot's code was read; ``damaged``: the part was held back as marked so;
    ``staying``: a load that is full now would leave boxes of its jobs behind.
    """
    match outcome:
        case Outcome.ON_HOLD if damaged:
            return _DAMAGED
        case Outcome.NOTED if action is Action.DAMAGED:
            return _MARKED
        case Outcome.UNKNOWN if card:
            return _NOTHING_MARKED
        case Outcome.DONE if staying:
            return _NOT_ALL_LEAVES
        case _:
            return OUTCOMES[outcome]


def who_word(name: str) -> str:
    """Return who acted as people read it: a paired tablet without a badge is called so in their language."""
    station = name.removeprefix(TABLET_AT)
    return name if station == name else gettext("tablet at %(station)s", station=station)


def step_word(step: str) -> str:
    """Return a step's name as people read it."""
    return str(STEPS[Step(step)])


def box_state_word(state: str) -> str:
    """Return a box's state as people read it."""
    return str(BOX_STATES[BoxState(state)])


def box_name(name: str) -> str:
    """Return a box's name as people read it: what completes another is called so in their language."""
    base = name.removesuffix(FOLLOW_UP)
    if base == name or not base:
        return name
    return gettext("%(name)s follow-up", name=box_name(base))


def part_status_word(status: str) -> str:
    """Return a part's status as people read it."""
    return str(PART_STATUSES[PartStatus(status)])


def job_status_word(status: str) -> str:
    """Return a job's status as people read it."""
    return str(JOB_STATUSES[status])


def role_word(role: str) -> str:
    """Return a role's name as people read it."""
    return str(ROLES[Role(role)])


def reason_word(reason: str) -> str:
    """Return a reason for damage or loss as people read it: one of the shop's in their language, else as written."""
    if reason == "lost":
        return gettext("Lost")
    known = REASONS.get(reason.replace(" ", "_"))
    return reason if known is None else str(known)


def reasons_at(step: Step) -> dict[str, str]:
    """Return the reasons for which a part may be marked damaged at a step, by name, as people read them."""
    return {name: str(word) for name, word in REASONS.items() if step is not Step.SHIP or name in REASONS_AT_THE_DOCK}


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


def listed(words: Sequence[str]) -> str:
    """Return words as one phrase: ``cut, machine``."""
    return ", ".join(words)


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is known of one scan that was answered, as far as a sentence needs it.

    ``kind`` is what the code names, None for a text that is no code; ``contradicts`` what a late scan does not fit;
    ``action`` is what was asked, ``undone`` what an undo took back, and ``held_by`` the station by which that holds all
    the same; ``read_at`` and ``read_when`` say where and when that was read which was done before. ``held_then`` says
    that the job was on hold at the scan's own time, ``job_held`` that it is now. ``open_steps`` are the part's steps
    before the station's own that are not done. Of a load: the day on which it leaves, how many of its boxes are on it,
    and how many boxes of its jobs stay behind.
    """

    step: Step
    code: str
    kind: Kind | None
    contradicts: Contradiction | None = None
    action: Action = Action.PASS
    undone: Action | None = None
    undone_step: Step | None = None
    held_by: str = ""
    read_at: str = ""
    read_when: str = ""
    job: str = ""
    held_then: bool = False
    job_held: bool = False
    damaged: bool = False
    box: str = ""
    box_state: str = ""
    box_kept: bool = False
    missing: int = 0  # parts of the box
    uncounted: int = 0  # kinds of its items
    load: str = ""
    load_day: str = ""
    load_boxes: int = 0
    load_on: int = 0
    load_staying: int = 0
    slot: str = ""
    replaced_by: str = ""
    open_steps: Sequence[Step] = ()
    inferred: Sequence[Step] = ()
    uncut: int = 0  # of a board


def sentence(outcome: Outcome, facts: Facts) -> str:
    """Say in one or two short sentences what an answer means and what to do; empty where the word says it all."""
    match outcome:
        case Outcome.DONE:
            return _done(facts)
        case Outcome.NOTED:
            return _noted(facts)
        case Outcome.UNDONE:
            return _undone(facts)
        case Outcome.AGAIN if facts.read_at:
            return gettext(
                "It counts once. It was read at %(station)s, %(time)s.", station=facts.read_at, time=facts.read_when
            )
        case Outcome.AGAIN:
            return gettext("It counts once.")
        case Outcome.MISREAD:
            return gettext("This is none of the shop's codes, or it was read wrong.")
        case Outcome.NOTHING_TO_UNDO:
            return gettext("This station has no scan to take back.")
        case _:
            return _refused(outcome, facts)


def _done(facts: Facts) -> str:
    if facts.inferred:
        steps = listed([step_word(step) for step in facts.inferred])
        return gettext("Taken as done too: %(steps)s.", steps=steps)
    match facts.kind:
        case Kind.BOX if facts.step is Step.PACK and not facts.missing:
            return parts_in(facts.uncounted)
        case Kind.BOX if facts.step is Step.PACK:
            return gettext("The box is open. Scan its parts.")
        case Kind.BOX:
            return _on_load(facts)
        case Kind.LOAD:
            return gettext(
                "The load of %(day)s is open: %(on)s of %(boxes)s boxes are on it. Scan the boxes.",
                day=facts.load_day,
                on=facts.load_on,
                boxes=facts.load_boxes,
            )
        case Kind.BOARD if facts.uncut:
            return ngettext(
                "%(num)d part of the board was refused: scan it by itself.",
                "%(num)d parts of the board were refused: scan them one by one.",
                facts.uncut,
            )
        case Kind.BOARD:
            return gettext("All parts of the board are cut.")
        case _:
            return ""


def parts_in(uncounted: int) -> str:
    """Say what to do with a box that lacks no part."""
    if uncounted:
        return gettext("All parts are in. Count the items and seal the box.")
    return gettext("Everything is in. Seal the box.")


def _on_load(facts: Facts) -> str:
    named = {"load": facts.load, "day": facts.load_day, "on": facts.load_on, "boxes": facts.load_boxes}
    if facts.load_on < facts.load_boxes:
        return gettext("On load %(load)s of %(day)s: %(on)s of %(boxes)s boxes.", **named)
    if facts.load_staying:
        return gettext("Ask the foreman before the truck leaves.")
    return gettext("On load %(load)s of %(day)s: all %(boxes)s boxes. The truck may leave.", **named)


def _noted(facts: Facts) -> str:
    if facts.action is Action.DAMAGED:
        return gettext("Marked damaged. Put it aside: the foreman decides.")
    if facts.slot:
        return gettext("It lies in slot %(slot)s.", slot=facts.slot)
    return gettext("Its place is noted.")


def _undone(facts: Facts) -> str:
    if facts.undone is Action.DAMAGED and facts.held_by:
        return gettext("It is still marked damaged by %(station)s.", station=facts.held_by)
    if facts.undone is Action.DAMAGED:
        return gettext("It is no longer marked damaged.")
    if facts.undone is Action.PLACE:
        return gettext("Its place is no longer noted.")
    if facts.undone_step is None:
        return ""
    step = step_word(facts.undone_step)
    if facts.held_by:
        return gettext("It is still done by %(station)s: %(step)s.", station=facts.held_by, step=step)
    return gettext("It counts no longer as done: %(step)s.", step=step)


def _refused(outcome: Outcome, facts: Facts) -> str:
    match outcome:
        case _ if facts.contradicts is Contradiction.OPENED:
            return gettext("The box was opened again after this scan. Seal it, then scan it onto its load.")
        case _ if facts.contradicts is Contradiction.OFF_LOAD:
            return gettext("The box was taken off its load after this scan. Look where it is and ask the foreman.")
        case Outcome.EARLY:
            return _early(facts)
        case Outcome.OFF_ROUTE:
            return _off_route(facts)
        case Outcome.WRONG_BOX:
            return _wrong_box(facts)
        case Outcome.BOX_CLOSED:
            return _closed(facts)
        case Outcome.ON_HOLD:
            return _on_hold(facts)
        case Outcome.REPLACED:
            return gettext("This label counts no more: %(code)s took its place. Put this one aside.",
                           code=facts.replaced_by)  # fmt: skip
        case Outcome.CANCELLED:
            return gettext("Job %(job)s is cancelled. Put it aside.", job=facts.job)
        case _:
            return _unknown(facts)


def _early(facts: Facts) -> str:
    if facts.kind is Kind.BOX:
        lack = spoken(lack_in_words(parts=facts.missing, items=facts.uncounted))
        if lack:
            return gettext("The box is not sealed: %(lack)s. Take it back to packing.", lack=lack)
        return gettext("The box is not sealed. Take it back to packing.")
    if facts.step is Step.SHIP:
        return gettext("A part ships in its box. Scan box %(box)s when it is sealed.", box=facts.box)
    if not facts.open_steps:
        return gettext("It was scanned before its earlier steps were done. They are done now: scan it again.")
    steps = listed([step_word(step) for step in facts.open_steps])
    return gettext("Not done yet: %(steps)s. Bring it there first.", steps=steps)


def _off_route(facts: Facts) -> str:
    match facts.kind:
        case Kind.PART:
            return gettext("This part has no step %(step)s.", step=step_word(facts.step))
        case Kind.BOX if facts.step is Step.SHIP:
            return gettext("No load is planned for this box. Put it aside and ask the foreman for a load.")
        case Kind.BOX:
            return gettext("Boxes are scanned where they are packed or loaded.")
        case Kind.LOAD:
            return gettext("Loads are scanned where they are loaded.")
        case Kind.BOARD:
            return gettext("Boards are scanned at the saw. Here scan the parts.")
        case _:
            return gettext("Scan a part, a box or a load here.")


def _wrong_box(facts: Facts) -> str:
    if facts.kind is Kind.BOX:
        return gettext("It belongs on load %(load)s.", load=facts.load)
    return gettext("It belongs in box %(box)s.", box=facts.box)


def _closed(facts: Facts) -> str:
    if facts.kind is Kind.LOAD:
        return gettext("This load has shipped.")
    if not facts.box:
        return gettext("Ask the foreman.")
    return gettext("Box %(box)s is %(state)s. Ask the foreman.", box=facts.box, state=box_state_word(facts.box_state))


def _on_hold(facts: Facts) -> str:
    if facts.held_then and facts.job_held:
        return gettext("Job %(job)s is on hold. Put it aside and ask the foreman.", job=facts.job)
    if facts.damaged:
        return gettext("Do no more to it. Ask the foreman.")
    if facts.box_kept and not facts.held_then:
        return gettext("This box is on hold and stays in the shop. Ask the foreman.")
    if facts.held_then:
        return gettext("Job %(job)s was on hold when this was scanned and goes on now. Scan it again.", job=facts.job)
    return gettext("It was on hold when this was scanned and is not any more. Scan it again.")


def _unknown(facts: Facts) -> str:
    if facts.kind in (Kind.SLOT, Kind.COMMAND):
        return gettext("Nothing is marked. Scan the part first, then this code.")
    if facts.kind is Kind.BOARD:
        return gettext("There is no such board any more: it may be planned anew.")
    return gettext("Nothing in this shop has this code.")
