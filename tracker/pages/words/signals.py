"""How an answer is told at a glance: a word, a shape, a colour and a sound.

Colour never speaks alone: each kind has a shape and a rhythm of its own. The words are those of ``shop/outcomes.py``.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType
from typing import Final

from tracker.pages.words.spoken import spoken
from tracker.shop.outcomes import OUTCOME_WORDS, Outcome
from tracker.shop.reasons import Meaning, Reason
from tracker.shop.saying import say


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """How an outcome is told at a glance."""

    english: str
    shape: Shape
    sound: Sound
    shade: Shade

    @property
    def word(self) -> str:
        """The word in the reader's language."""
        return spoken(self.english)


def _said(word: str, shape: Shape, sound: Sound, shade: Shade | None = None) -> Said:
    return Said(english=word, shape=shape, sound=sound, shade=shade or Shade(sound.value))


def _outcome(outcome: Outcome, shape: Shape, sound: Sound, shade: Shade | None = None) -> Said:
    return _said(OUTCOME_WORDS[outcome], shape, sound, shade)


OUTCOMES: Final[Mapping[Outcome, Said]] = MappingProxyType(
    {
        Outcome.DONE: _outcome(Outcome.DONE, Shape.TICK, Sound.OK),
        Outcome.NOTED: _outcome(Outcome.NOTED, Shape.NOTE, Sound.OK),
        Outcome.UNDONE: _outcome(Outcome.UNDONE, Shape.BACK, Sound.OK, Shade.BACK),
        Outcome.AGAIN: _outcome(Outcome.AGAIN, Shape.TWICE, Sound.LOOK),
        Outcome.MISREAD: _outcome(Outcome.MISREAD, Shape.AGAIN, Sound.LOOK),
        Outcome.NOTHING_TO_UNDO: _outcome(Outcome.NOTHING_TO_UNDO, Shape.NOTHING, Sound.LOOK),
        Outcome.EARLY: _outcome(Outcome.EARLY, Shape.WAIT, Sound.STOP),
        Outcome.OFF_ROUTE: _outcome(Outcome.OFF_ROUTE, Shape.ELSEWHERE, Sound.STOP),
        Outcome.WRONG_BOX: _outcome(Outcome.WRONG_BOX, Shape.ELSEWHERE, Sound.STOP),
        Outcome.BOX_CLOSED: _outcome(Outcome.BOX_CLOSED, Shape.CLOSED, Sound.STOP),
        Outcome.ON_HOLD: _outcome(Outcome.ON_HOLD, Shape.WAIT, Sound.STOP),
        Outcome.REPLACED: _outcome(Outcome.REPLACED, Shape.CROSS, Sound.STOP),
        Outcome.CANCELLED: _outcome(Outcome.CANCELLED, Shape.CROSS, Sound.STOP),
        Outcome.UNKNOWN: _outcome(Outcome.UNKNOWN, Shape.ASK, Sound.STOP),
    }
)

_IS_THERE: Final = _said(OUTCOME_WORDS[Outcome.AGAIN], Shape.TWICE, Sound.LOOK)
_MARKED: Final = _outcome(Outcome.NOTED, Shape.NOTE, Sound.OK, Shade.ASIDE)
# What is to be put aside or asked about is told otherwise than the rest of its outcome.
_REASONS: Final[Mapping[Reason, Said]] = MappingProxyType(
    {
        Reason.DAMAGED: _said(say("Damaged, put it aside"), Shape.CROSS, Sound.STOP),
        Reason.MARKED_DAMAGED: _MARKED,
        Reason.MARKED_DAMAGED_FOR: _MARKED,
        Reason.IN_CLOSED_BOX: _IS_THERE,
        Reason.IN_OTHER_BOX: _IS_THERE,
        Reason.NOTHING_TO_MARK: _said(say("Nothing marked"), Shape.ASK, Sound.STOP),
        Reason.LOADED_BUT_STAYING: _said(say("Done, but wait"), Shape.WAIT, Sound.LOOK, Shade.ASIDE),
    }
)


def said_as(outcome: Outcome, told: Meaning | None) -> Said:
    """Return how an answer is told: its outcome's way, unless something is to be put aside or asked about."""
    return OUTCOMES[outcome] if told is None else _REASONS.get(told.reason, OUTCOMES[outcome])
