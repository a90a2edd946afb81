"""Scans that contradict what else happened, most of them late ones: what contradicts, what a foreman may make of it.

Everything is given, as for the verdicts. A choice is offered only while it is sound: while what it would change still
stands as it stood when the contradiction was noticed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.saying import Said, say


class Contradiction(StrEnum):
    """What a scan contradicts. The words are kept in the log for ever."""

    REPLACED = "replaced"
    CANCELLED = "cancelled"
    PACKED = "packed"
    TAKEN_OUT = "taken_out"
    EARLY = "early"
    DAMAGED = "damaged"
    OFF_LOAD = "off_load"
    OPENED = "opened"
    CARD = "card"
    UNDO = "undo"
    ORDER = "order"


# Flagged for what another scan meant or was answered: to take back the flagged one mends nothing of that, and an undo
# means it no more than one that is not flagged.
OF_ANOTHER: Final = frozenset({Contradiction.CARD, Contradiction.UNDO, Contradiction.ORDER})


class Choice(StrEnum):
    """What a foreman makes of a contradiction. The words are kept in the log for ever."""

    USE_OLD = "use_old"
    SCRAP = "scrap"
    IN_BOX = "in_box"
    TAKE_OUT = "take_out"
    LEAVE = "leave"
    COUNT = "count"
    REPLACE = "replace"
    REPAIRED = "repaired"
    ON_LOAD = "on_load"
    MARK = "mark"
    UNMARK = "unmark"
    SEEN = "seen"


# What changes a plan, a box or a count by a person's word alone is signed with a reason.
WANT_REASON: Final = frozenset(Choice) - {Choice.USE_OLD, Choice.SCRAP, Choice.LEAVE, Choice.COUNT, Choice.SEEN}


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """How things stand now. ``box`` is the code of the box that the scan was about, ``part_box`` the part's box now.

    ``part_free`` says that the part lives, is good, and is neither packed nor planned for a closed box; ``part_in_box``
    that it counts as packed in ``box``. ``new_part`` is the part made in place of it, ``new_untouched`` that nothing of
    that was made. ``would_count`` says that the later scan that was refused would be taken now. ``load`` is the code of
    the load that the scan was about, ``box_loadable`` that the box may go onto it as things are.

    ``other`` is the code of the part of the later reading that this scan would have changed; ``by_card`` says that this
    was the damaged card, ``other_marked`` that nothing else holds that part for damaged.
    """

    kind: Contradiction | None
    part: str | None = None
    box: str | None = None
    box_state: BoxState | None = None
    part_box: str | None = None
    part_free: bool = False
    part_in_box: bool = False
    part_damaged: bool = False
    part_dead: bool = False
    new_part: str | None = None
    new_untouched: bool = False
    would_count: bool = False
    load: str | None = None
    box_loadable: bool = False
    other: str | None = None
    by_card: bool = False
    other_marked: bool = False

    @property
    def box_closed(self) -> bool:
        return self.box_state in CLOSED_STATES


def choices_of(standing: Standing) -> tuple[Choice, ...]:
    """Return what may be chosen now, the choice that changes most first; one of them always changes nothing."""
    found = _choices(standing)
    return found if Choice.LEAVE in found else (*found, Choice.SEEN)


def _choices(standing: Standing) -> tuple[Choice, ...]:
    match standing.kind:
        case Contradiction.REPLACED:
            usable = standing.new_part is not None and standing.new_untouched and not standing.part_damaged
            return (Choice.USE_OLD, Choice.SCRAP) if usable else (Choice.SCRAP,)
        case Contradiction.CANCELLED:
            return () if standing.part is None else (Choice.SCRAP,)
        case Contradiction.PACKED:
            moved = standing.part_box != standing.box
            return (Choice.IN_BOX, Choice.LEAVE) if moved and standing.part_free and standing.box_closed else ()
        case Contradiction.TAKEN_OUT:
            return _choices_of_taken_out(standing)
        case Contradiction.EARLY:
            return (Choice.COUNT,) if standing.would_count else ()
        case Contradiction.DAMAGED:
            return (Choice.REPLACE, Choice.REPAIRED) if standing.part_damaged and not standing.part_dead else ()
        case Contradiction.OFF_LOAD | Contradiction.OPENED:
            return (Choice.ON_LOAD, Choice.LEAVE) if standing.box_loadable else ()
        case Contradiction.CARD:
            return _choices_of_card(standing) if standing.by_card else ()
        case Contradiction.UNDO | Contradiction.ORDER | None:
            return ()


def _choices_of_taken_out(standing: Standing) -> tuple[Choice, ...]:
    if not standing.part_in_box or standing.part_dead or not standing.box_closed:
        return ()
    if standing.box_state is BoxState.SHIPPED:
        return (Choice.REPLACE, Choice.LEAVE)
    return (Choice.TAKE_OUT, Choice.LEAVE)


def _choices_of_card(standing: Standing) -> tuple[Choice, ...]:
    good = standing.part is not None and not standing.part_dead and not standing.part_damaged
    return (Choice.MARK,) * good + (Choice.UNMARK,) * standing.other_marked


SAME_PART: Final = "the same part"


def named_part(name: str, cabinet: str, code: str, *, beside: str | None) -> str:
    """Name a part beside the one that a scan was about, whose code is ``beside``."""
    if code == beside:
        return SAME_PART
    return say("%(part)s of cabinet %(cabinet)s (%(code)s)", part=name, cabinet=cabinet, code=code)


def told(kind: Contradiction, *, box: str = "", load: str = "", other: str = "") -> Said:
    """Say what contradicts; ``box`` and ``load`` are the codes of those that the scan was about.

    ``other`` names the part of the later reading that it would have changed, where that is known.
    """
    match kind:
        case Contradiction.REPLACED:
            return say("scanned before the part was replaced, arrived after")
        case Contradiction.CANCELLED:
            return say("scanned before the job was cancelled, arrived after")
        case Contradiction.PACKED:
            return say("scanned into box %(box)s before it was sealed, arrived after", box=box)
        case Contradiction.TAKEN_OUT:
            return say("taken out of box %(box)s before it was sealed, arrived after", box=box)
        case Contradiction.EARLY:
            return say("a later scan of this part was refused as too early and would be done now: scan it again")
        case Contradiction.DAMAGED:
            return say("found damaged, but recorded in box %(box)s, which is closed", box=box)
        case Contradiction.OFF_LOAD | Contradiction.OPENED:
            return _told_of_load(kind, load)
        case _:
            return _told_of_another(kind, other)


def _told_of_another(kind: Contradiction, other: str) -> Said:
    """Say what contradicts where it is a later reading, which was answered without this one."""
    match kind:
        case Contradiction.CARD if other:
            return say(
                "read before the damaged card or a slot's code there, which was taken for %(part)s, arrived after: "
                "look which part it is about",
                part=other,
            )
        case Contradiction.CARD:
            return say(
                "read before the damaged card or a slot's code there, arrived after: look which part it is about"
            )
        case Contradiction.UNDO:
            return say("read before an undo there, arrived after: look which of its scans was meant")
        case _ if other == SAME_PART:
            return say(
                "a later scan of the same part would have been answered otherwise: look where it lies, scan it again"
            )
        case _ if other:
            return say(
                "a later scan, of %(part)s, would have been answered otherwise: look where the parts of both lie, scan "
                "them again",
                part=other,
            )
        case _:
            return say(
                "a later scan would have been answered otherwise: look where the parts of both lie, scan them again"
            )


def _told_of_load(kind: Contradiction, load: str) -> Said:
    if kind is Contradiction.OPENED:
        return say("scanned onto load %(load)s before the box was opened again, arrived after", load=load)
    return say("scanned onto load %(load)s before the box was taken off it, arrived after", load=load)


def offered(choice: Choice, standing: Standing) -> Said:
    """Say what a choice means, as whoever decides would say it."""
    box, other, load = standing.box or "", standing.part_box or "", standing.load or ""
    marked = standing.other or ""
    match choice:
        case Choice.USE_OLD:
            return say("Use the old piece: it gets the new label %(part)s", part=standing.new_part or "")
        case Choice.IN_BOX:
            return say("It lies in box %(box)s: count it there", box=box)
        case Choice.TAKE_OUT:
            return say("It is not in box %(box)s: plan it for a follow-up box", box=box)
        case Choice.LEAVE if standing.kind is Contradiction.TAKEN_OUT:
            return say("It lies in box %(box)s: leave it as it is", box=box)
        case Choice.ON_LOAD:
            return say("It is on load %(load)s: count it there", load=load)
        case Choice.LEAVE if standing.kind in (Contradiction.OFF_LOAD, Contradiction.OPENED):
            return say("It is not on load %(load)s: leave it as it is", load=load)
        case Choice.LEAVE:
            return say("It is not in box %(box)s: it stays planned for box %(other)s", box=box, other=other)
        case Choice.MARK if standing.other_marked:
            return say("The card was meant for this part: mark it damaged, take the mark off %(part)s", part=marked)
        case Choice.UNMARK:
            return say("%(part)s is good: take the mark off", part=marked)
        case _:
            return chosen(choice)


_CHOSEN: Final[Mapping[Choice, Said]] = {
    Choice.USE_OLD: say("The old piece is used under the new label"),
    Choice.SCRAP: say("It is waste: put it aside"),
    Choice.IN_BOX: say("It lies in the box and is counted there"),
    Choice.TAKE_OUT: say("It is not in the box and is planned for a follow-up box"),
    Choice.LEAVE: say("Left as it is"),
    Choice.COUNT: say("Count the scan that was refused"),
    Choice.REPLACE: say("Make it anew"),
    Choice.REPAIRED: say("It is good again"),
    Choice.ON_LOAD: say("It is on the load and is counted there"),
    Choice.MARK: say("The card was meant for this part: mark it damaged"),
    Choice.UNMARK: say("The part that was marked is good: take the mark off"),
    Choice.SEEN: say("Seen, nothing to do"),
}


def chosen(choice: Choice) -> Said:
    """Say in a few words what was chosen."""
    return _CHOSEN[choice]
