"""What can be said about a reading before the server has answered: pure, from the station's own list."""

from dataclasses import dataclass
from enum import StrEnum

from scanner_client.words import word_of
from tracker.shop.codes import Code, Kind


class Look(StrEnum):
    """How a reading looks by the list."""

    RIGHT = "right"
    DOUBT = "doubt"
    UNSURE = "unsure"  # the list says nothing of it


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """A line of the list: a part, or at a ship station a box, that may come.

    ``next`` is the step that it was due for; ``passed`` says that it was read here since. ``load`` is set for a box,
    ``sscc`` where its box has one.
    """

    code: str
    name: str
    cabinet: str = ""
    job: str = ""
    box: str = ""
    box_name: str = ""
    load: str = ""
    sscc: str = ""
    next: str = ""
    held: bool = False
    passed: bool = False

    @property
    def title(self) -> str:
        if self.load:
            return f"Box {self.name}, load {self.load}"
        return f"{self.name}, cabinet {self.cabinet}, box {self.box_name}"


@dataclass(frozen=True, slots=True, kw_only=True)
class ListHead:
    """What the list is of. ``complete``: what is not on it is not expected; ``open_box`` is the one on the bench."""

    step: str
    strict: bool
    complete: bool
    open_box: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """What a worker is told with the server's word outstanding: a word and a sentence.

    ``about`` names the part that a card or a slot's code marks.
    """

    look: Look
    word: str
    message: str
    about: str = ""


NO_GUESS = Guess(look=Look.UNSURE, word="KEPT", message="")
NO_PART = Guess(
    look=Look.DOUBT, word="NO PART", message="no part is shown here: it marks none. Scan the part, then this again"
)


def guess(code: Code, head: ListHead | None, found: Expected | None, *, box_on_list: bool = False) -> Guess:
    """Say how a reading looks. ``found`` is its line of the list; ``box_on_list``: a part for this box is on it."""
    if head is None:
        return NO_GUESS
    if code.kind is Kind.BOX and head.step == "pack" and box_on_list:
        return _right("its parts go on")
    if code.kind is Kind.PART and head.step == "ship":
        return _doubt(word_of("off_route"), "a part ships in its box: read the box's label")
    if code.kind is not (Kind.BOX if head.step == "ship" else Kind.PART):
        return NO_GUESS
    if found is None:
        if not head.complete:
            return NO_GUESS
        return _doubt("NOT EXPECTED", "not on this station's list: done here already, replaced, or for elsewhere")
    return _judged(found, head)


def _judged(found: Expected, head: ListHead) -> Guess:
    if found.held:
        return _doubt(word_of("on_hold"), f"{found.title}: job {found.job} is on hold")
    if found.passed:
        return Guess(look=Look.RIGHT, word=word_of("again"), message=f"{found.title}: read here before")
    if head.step == "pack" and head.open_box and found.box != head.open_box:
        return _doubt(word_of("wrong_box"), f"{found.title}: the box on the bench is {head.open_box}")
    if head.step == "ship" and found.next != "ship":
        return _doubt(word_of("early"), f"{found.title}: not sealed yet")
    if head.strict and found.next != head.step:
        return _doubt(word_of("early"), f"{found.title}: {found.next} is not done yet")
    return _right(found.title)


def _right(message: str) -> Guess:
    return Guess(look=Look.RIGHT, word="LOOKS RIGHT", message=message)


def _doubt(word: str, message: str) -> Guess:
    return Guess(look=Look.DOUBT, word=word, message=message)
