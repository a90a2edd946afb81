"""When a load may leave, decided here alone: what keeps it from leaving, and which boxes of its jobs stay behind."""

from datetime import date
from enum import StrEnum
from typing import Final, Protocol

from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.codes import load_code
from tracker.shop.completeness import lack_in_words
from tracker.shop.job_states import JobStatus
from tracker.shop.saying import Said, join, say
from tracker.shop.words import BOX_STATE_WORDS

READY_STATES: Final = (BoxState.SEALED, BoxState.LOADED)


class ShippedBox(Protocol):
    """A box as these rules need it. ``own_hold``: a foreman holds it; ``open_load``: its load, where that has not left.

    ``uncounted`` kinds of its items are not counted into it in full.
    """

    @property
    def state(self) -> str: ...
    @property
    def job_status(self) -> str: ...
    @property
    def own_hold(self) -> bool: ...
    @property
    def parts_lacking(self) -> int: ...
    @property
    def uncounted(self) -> int: ...
    @property
    def open_load(self) -> int | None: ...


class Keeps(StrEnum):
    """Why a box that is planned for a load keeps it from leaving."""

    JOB_HELD = "job_held"
    JOB_CANCELLED = "job_cancelled"
    HELD = "held"
    NOT_SEALED = "not_sealed"
    NO_LONGER_WHOLE = "no_longer_whole"
    NOT_ON_IT = "not_on_it"


def keeps_load(box: ShippedBox) -> Keeps | None:
    """Say why a box keeps the load that it is planned for from leaving; None when it does not.

    A part that was found damaged in a sealed box is as good as in no box: such a box is no longer whole.
    """
    if box.job_status == JobStatus.HELD:
        return Keeps.JOB_HELD
    if box.job_status == JobStatus.CANCELLED:
        return Keeps.JOB_CANCELLED
    if box.own_hold:
        return Keeps.HELD
    if box.state not in CLOSED_STATES:
        return Keeps.NOT_SEALED
    if box.parts_lacking:
        return Keeps.NO_LONGER_WHOLE
    return None if box.state == BoxState.LOADED else Keeps.NOT_ON_IT


def stays_behind(box: ShippedBox) -> bool:
    """Say whether a box of a job stays behind when another box of that job leaves.

    All do but those that have shipped, are cancelled, or leave on this load or on another one that has not left: held
    boxes do, and so do those that hold the rest of another one.
    """
    return box.state != BoxState.SHIPPED and box.job_status != JobStatus.CANCELLED and box.open_load is None


def load_warnings(ship_on: date, today: date) -> list[Said]:
    """Return what to look at in a load that has not left; none of it refuses it."""
    return [say("The day when it leaves, %(day)s, is past.", day=ship_on)] if ship_on < today else []


def why_it_stays(box: ShippedBox) -> Said:
    """Say why a box stays, or stayed, behind: how it stands, what holds it, what it lacks, and whether it leaves."""
    why = [BOX_STATE_WORDS[BoxState(box.state)]]
    if box.job_status == JobStatus.HELD:
        why.append(say("its job is on hold"))
    elif box.own_hold:
        why.append(say("on hold"))
    if lack := lack_in_words(parts=box.parts_lacking, items=box.uncounted):
        why.append(lack)
    if box.open_load is not None:
        why.append(say("planned for load %(load)s", load=load_code(box.open_load)))
    elif box.state in READY_STATES:
        why.append(say("planned for no load"))
    return join(why)
