"""What a row of the log tells: a closed set of reasons, each with its sentence and the values that this names.

A verdict or an act gives a reason and values, and the log keeps both: whoever shows them says the sentence in the
reader's language. The log's own message is the English of the moment. What is said of a scan does not name the thing
that was scanned: that stands beside it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any, Final, Self

from tracker.shop.box_states import BoxState
from tracker.shop.completeness import lack_in_words
from tracker.shop.contradictions import Choice, chosen
from tracker.shop.saying import Moment, Number, Said, join, later, say, say_many
from tracker.shop.steps import Step
from tracker.shop.words import BOX_STATE_WORDS, STEP_WORDS, box_words, listed, reason_words


class Reason(StrEnum):
    """What a row of the log tells. The names are kept in the log for ever, the sentences may change."""

    pattern: str

    def __new__(cls, name: str, pattern: str = "") -> Self:
        made = str.__new__(cls, name)
        made._value_, made.pattern = name, pattern
        return made

    # What was read is not understood

    NO_SCAN = "no_scan", later("This reading makes no sense as it was sent: %(fault)s")
    MISREAD = "misread", later("This is none of the shop's codes, or it was read wrong.")
    WRONG_KIND = "wrong_kind", later("%(code)s is not the kind of code that is wanted here.")
    NO_STATION = "no_station", later("Name the station: the token is made for none.")
    UNKNOWN_STATION = "unknown_station", later("There is no station %(station)s.")
    OTHER_STATION = "other_station", later("This token is made for station %(station)s.")
    UNKNOWN_CODE = "unknown_code", later("Nothing in this shop has the code %(code)s.")
    UNKNOWN_BOARD = "unknown_board", later("There is no such board any more: it may be planned anew.")
    UNKNOWN_SLOT = "unknown_slot", later("There is no slot %(slot)s.")
    NOTHING_TO_MARK = "nothing_to_mark", later("Nothing is marked. Scan the part first, then this code.")

    # It is not scanned here

    NO_SUCH_STEP = "no_such_step", later("This part has no step %(step)s.")
    STATION_CODE = "station_code", later("This is a station's own code. Scan a part, a box or a load.")
    BOARD_NAMES_NO_PART = "board_names_no_part", later("A board is only passed. Scan the part that is meant.")
    BOARD_ELSEWHERE = "board_elsewhere", later("Boards are scanned at the saw. Here scan the parts.")
    BOX_ELSEWHERE = "box_elsewhere", later("Boxes are scanned where they are packed or loaded.")
    LOAD_ELSEWHERE = "load_elsewhere", later("Loads are scanned where they are loaded.")
    NO_LOAD = "no_load", later("No load is planned for this box. Put it aside and ask the foreman for a load.")

    # It goes no further

    REPLACED = "replaced", later("This label no longer counts: %(new)s took its place. Put this one aside.")
    CANCELLED = "cancelled", later("Job %(job)s is cancelled. Put it aside.")
    ON_HOLD = "on_hold", later("Job %(job)s is on hold. Put it aside and ask the foreman.")
    WAS_ON_HOLD = (
        "was_on_hold",
        later("Job %(job)s was on hold when this was scanned and goes on now. Scan it again."),
    )
    DAMAGED_ON_HOLD = (
        "damaged_on_hold",
        later("Job %(job)s was on hold when this was scanned. The part is marked damaged now: ask the foreman."),
    )
    DAMAGED = "damaged", later("It is marked damaged. Do no more to it. Ask the foreman.")
    WAS_DAMAGED = "was_damaged", later("It was marked damaged when this was scanned and is good again. Scan it again.")
    BOX_ON_HOLD = "box_on_hold", later("This box is on hold and stays in the shop. Ask the foreman.")

    # The wrong moment, box or load

    TOO_EARLY = "too_early", later("Not done yet: %(steps)s. Bring it there first.")
    WAS_TOO_EARLY = (
        "was_too_early",
        later("It was scanned before its earlier steps were done. They are done now: scan it again."),
    )
    SHIPS_IN_BOX = "ships_in_box", later("A part ships in its box. Scan box %(box)s when it is sealed.")
    OTHER_BOX = "other_box", later("It belongs in box %(box)s, not in box %(other)s.")
    BOX_CLOSED = "box_closed", later("Box %(box)s is %(state)s. Ask the foreman.")
    IN_OTHER_BOX = "in_other_box", later("It counts once: it is packed in box %(box)s, not in box %(other)s.")
    IN_CLOSED_BOX = "in_closed_box", later("It counts once: it is in box %(box)s, which is %(state)s.")
    NOT_SEALED = "not_sealed", later("The box is not sealed. Take it back to packing.")
    NOT_SEALED_LACKING = (
        "not_sealed_lacking",
        later("The box is not sealed: %(lack)s. Take it back to packing."),
    )
    OTHER_LOAD = "other_load", later("It belongs on load %(load)s, not on load %(other)s.")
    LOAD_GONE = "load_gone", later("This load has shipped.")
    OPENED_SINCE = (
        "opened_since",
        later("The box was opened again after this scan. Seal it, then scan it onto its load."),
    )
    OFF_LOAD_SINCE = (
        "off_load_since",
        later("The box was taken off its load after this scan. Look where it is and ask the foreman."),
    )
    OTHER_LOAD_SINCE = "other_load_since", later("It belongs on load %(load)s now, no longer on load %(other)s.")

    # It counts

    STEP_DONE = "step_done", later("%(step)s.")
    STEP_AGAIN = "step_again", later("It counts once: %(step)s.")
    READ_BEFORE = "read_before", later("It counts once. It was read at %(station)s, %(moment)s.")
    BOARD_CUT = "board_cut", later("Cut: %(parts)s parts of the board.")
    BOARD_AGAIN = "board_again", later("All parts of the board were cut before.")
    BOARD_REFUSED = "board_refused", later("No part of the board may be cut now.")
    BOX_OPENED = "box_opened", later("The box is open. Scan its parts.")
    BOX_WAITS = "box_waits", later("The box is open: %(lack)s.")
    BOX_FULL = "box_full", later("Everything is in. Seal the box.")
    BOX_FULL_BUT_ITEMS = "box_full_but_items", later("All parts are in. Count the items and seal the box.")
    BOX_FULL_BUT_HELD = "box_full_but_held", later("All parts are in. The box is on hold: ask the foreman.")
    BOX_LOADED = "box_loaded", later("On load %(load)s of %(day)s: %(on)s of %(boxes)s boxes.")
    ALL_LOADED = "all_loaded", later("All boxes are on load %(load)s of %(day)s: %(boxes)s. The truck may leave.")
    LOADED_BUT_STAYING = (
        "loaded_but_staying",
        later("All boxes are on load %(load)s of %(day)s: %(boxes)s. The truck does not leave yet."),
    )
    BOX_LOADED_AGAIN = "box_loaded_again", later("It counts once: it is on load %(load)s.")
    LOAD_OPENED = (
        "load_opened",
        later("The load of %(day)s is open: %(on)s of %(boxes)s boxes are on it. Scan the boxes."),
    )
    MARKED_DAMAGED = "marked_damaged", later("Marked damaged. Put it aside: the foreman decides.")
    MARKED_DAMAGED_FOR = (
        "marked_damaged_for",
        later("Marked damaged: %(reason)s. Put it aside: the foreman decides."),
    )
    PLACED = "placed", later("Its place is noted.")
    PLACED_IN_SLOT = "placed_in_slot", later("It lies in slot %(slot)s.")

    # It is taken back

    NOTHING_TO_UNDO = "nothing_to_undo", later("This station has no scan to take back.")
    OTHER_CAME_LAST = (
        "other_came_last",
        later("It was not scanned last here: %(last)s was. Scan the undo card to take that back."),
    )
    STEP_UNDONE = "step_undone", later("It no longer counts as done: %(step)s.")
    STILL_DONE = "still_done", later("It is still done by %(station)s: %(step)s.")
    DAMAGE_UNDONE = "damage_undone", later("It is no longer marked damaged.")
    STILL_DAMAGED = "still_damaged", later("It is still marked damaged by %(station)s.")
    STILL_DAMAGED_HERE = (
        "still_damaged_here",
        later("It was marked damaged here twice: the mark of %(moment)s still holds. Take that back, too."),
    )
    PLACE_UNDONE = "place_undone", later("Its place is no longer noted.")
    BOX_SHUT = "box_shut", later("The box is no longer open here.")
    LOAD_SHUT = "load_shut", later("The load is no longer open here.")
    BOARD_UNDONE = "board_undone", later("The parts of board %(board)s no longer count as cut.")
    BOARD_STILL_CUT = "board_still_cut", later("Still cut by %(stations)s: %(parts)s parts of board %(board)s.")
    FLAGGED_UNDONE = "flagged_undone", later("The scan is taken back. Nobody has to look at it any more.")
    UNDONE_WITH_BOARD = "undone_with_board", later("Taken back with its board.")

    # What people did to jobs, boxes, loads and parts

    TOOK_ORDER = "took_order", later("Job %(job)s taken. Parts: %(parts)s.")
    HELD_JOB = "held_job", later("Job %(job)s put on hold.")
    RESUMED_JOB = "resumed_job", later("Job %(job)s resumed.")
    CANCELLED_JOB = "cancelled_job", later("Job %(job)s cancelled.")
    PLANNED_BOARDS = "planned_boards", later("Boards planned for job %(job)s: %(boards)s, for %(parts)s parts.")
    COUNTED = "counted", later("%(item)s: %(count)s of %(quantity)s counted.")
    WEIGHED = "weighed", later("%(mass)s kg weighed.")
    SEALED = "sealed", later("Box %(box)s sealed.")
    SEALED_SHORT = (
        "sealed_short",
        later("Box %(box)s sealed short: %(reason)s. The rest is planned for box %(rest)s."),
    )
    SEALED_OFF_WEIGHT = (
        "sealed_off_weight",
        later("Box %(box)s sealed at %(mass)s kg where %(expected)s kg were expected: %(reason)s."),
    )
    SEALED_SHORT_OFF_WEIGHT = (
        "sealed_short_off_weight",
        later(
            "Box %(box)s sealed short at %(mass)s kg where %(expected)s kg were expected: %(reason)s. The rest is "
            "planned for box %(rest)s."
        ),
    )
    OPENED_AGAIN = "opened_again", later("Box %(box)s opened again: %(reason)s.")
    HELD_BOX = "held_box", later("Box %(box)s put on hold: it stays in the shop.")
    LET_GO_BOX = "let_go_box", later("Box %(box)s let go on.")
    PLANNED_LOAD = "planned_load", later("Box %(box)s planned for load %(load)s.")
    TOOK_OFF_LOAD = "took_off_load", later("Box %(box)s taken off load %(load)s.")
    LEFT_BEHIND = "left_behind", later("Box %(box)s stayed behind load %(load)s: %(reason)s.")
    SHIPPED = "shipped", later("Box %(box)s shipped on load %(load)s.")
    REPLACED_BY = "replaced_by", later("Replaced by %(part)s: %(reason)s.")
    MADE_IN_PLACE = "made_in_place", later("Made in place of %(part)s: %(reason)s.")
    REPAIRED = "repaired", later("Repaired: %(reason)s.")
    MARK_TAKEN_OFF = "mark_taken_off", later("Not damaged, another part was meant: %(reason)s.")
    MOVED = "moved", later("Planned for box %(box)s instead of %(before)s.")
    MOVED_FOR = "moved_for", later("Planned for box %(box)s instead of %(before)s: %(reason)s.")
    SETTLED = "settled", later("%(choice)s.")
    SETTLED_FOR = "settled_for", later("%(choice)s: %(reason)s.")
    OLD_PIECE_USED = "old_piece_used", later("Done to %(part)s: the old piece carries this label now.")
    IN_BOX_AFTER_ALL = "in_box_after_all", later("It lies in box %(box)s: %(reason)s.")
    COUNTED_AFTER_ALL = (
        "counted_after_all",
        later("Counted after all: what it waited for was done before, as a late scan shows."),
    )
    ON_LOAD_AFTER_ALL = "on_load_after_all", later("It is on load %(load)s: %(reason)s.")


# The word of the outcome and the part beside it say it all: a screen leaves the sentence out.
SAID_BY_THE_WORD: Final = frozenset({Reason.STEP_DONE})

Values = Mapping[str, Any]  # as JSON keeps them: texts, numbers and lists of them


@dataclass(frozen=True, slots=True)
class Meaning:
    """What is told of a scan or an act: a reason and its values."""

    reason: Reason
    values: Values = field(default_factory=dict)

    def sentence(self) -> Said:
        """Return all that is told, in English; it can be said in another language."""
        own = say(self.reason.pattern, **_in_words(self.values))
        return join([own, *_goes_on(self.values), *_besides(self.values)], between=" ")

    def beside_the_word(self) -> Said:
        """Return what is told where the outcome's word and the thing itself stand beside it; it may be nothing."""
        return join(_besides(self.values), between=" ") if self.reason in SAID_BY_THE_WORD else self.sentence()


def meaning(reason: Reason, /, **values: Any) -> Meaning:
    """Return what is told: ``meaning(Reason.OTHER_BOX, box="2")``."""
    return Meaning(reason, values)


def meaning_kept(reason: str | None, values: Values | None) -> Meaning | None:
    """Return what a row of the log tells; None of one that is older than the reasons, or of a later program."""
    return Meaning(Reason(reason), values or {}) if reason in set(Reason) else None


def full_box(uncounted: int, *, own_hold: bool = False) -> Reason:
    """Return what is told of a box that lacks no part; ``uncounted`` kinds of its items are not counted in full.

    A box on hold (``kept`` in the log) is not sealed yet.
    """
    if own_hold:
        return Reason.BOX_FULL_BUT_HELD
    return Reason.BOX_FULL_BUT_ITEMS if uncounted else Reason.BOX_FULL


_WORDS: Final[Mapping[str, Callable[[Any], object]]] = {
    "step": lambda name: STEP_WORDS[Step(name)],
    "steps": listed,
    "state": lambda name: BOX_STATE_WORDS[BoxState(name)],
    "reason": reason_words,
    "choice": lambda name: chosen(Choice(name)),
    "day": date.fromisoformat,
    "moment": Moment.fromisoformat,
    "box": box_words,
    "other": box_words,
    "mass": Number,
    "expected": Number,
    "lack": lambda counts: lack_in_words(parts=counts[0], items=counts[1]),
}


def _in_words(values: Values) -> dict[str, object]:
    return {name: _WORDS[name](value) if name in _WORDS else value for name, value in values.items()}


def _goes_on(values: Values) -> list[Said]:
    """What comes next of a part, and how full its box is."""
    if following := values.get("next"):
        return [say("Next: %(step)s.", step=STEP_WORDS[Step(following)])]
    if "packed" not in values:
        return []
    if lacking := values["missing"]:
        left = say_many("%(num)d more for this box", "%(num)d more for this box", lacking)
        return [say("%(packed)s in, %(left)s.", packed=values["packed"], left=left)]
    return [say(full_box(values["uncounted"], own_hold=values.get("kept", False)).pattern)]


_STAYING_NAMED: Final = 3


def _besides(values: Values) -> list[Said]:
    """What is told beside the reason's own sentence, where the values have it."""
    said: list[Said] = []
    if awaited := values.get("awaited"):
        said.append(say("Not done yet: %(steps)s.", steps=listed(awaited)))
    if damaged := values.get("damaged"):
        said.append(
            say_many(
                "%(num)d part is marked damaged: ask the foreman.",
                "%(num)d parts are marked damaged: ask the foreman.",
                damaged,
            )
        )
    if inferred := values.get("inferred"):
        said.append(say("Taken as done too: %(steps)s.", steps=listed(inferred)))
    if refused := values.get("refused"):
        said.append(
            say_many(
                "%(num)d part of the board was refused: scan it by itself.",
                "%(num)d parts of the board were refused: scan them one by one.",
                refused,
            )
        )
    if keeping := values.get("keeping"):
        said.append(
            say_many(
                "%(num)d box keeps it: look at the page of the load.",
                "%(num)d boxes keep it: look at the page of the load.",
                keeping,
            )
        )
    if staying := values.get("staying"):
        more, named = len(staying) - _STAYING_NAMED, ", ".join(staying[:_STAYING_NAMED])
        said.append(
            say("Stays behind: %(boxes)s and %(more)s more. Ask the foreman.", boxes=named, more=more)
            if more > 0
            else say("Stays behind: %(boxes)s. Ask the foreman.", boxes=named)
        )
    return said
