"""Sentences that can be said in another language.

The shop speaks English. What it says to people is kept with the pattern it was made from and the things that it names,
so that an edge that knows the reader's language says the same sentence anew. Such a sentence is a text like any other.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final, Self

ENGLISH: Final = "en"
_THIN_MM: Final = 50.0  # as boards are; those made in inches have hundredths of a mm: 6.35, 19.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Tongue:
    """How a reader is spoken to.

    ``pattern`` gives the reader's pattern for an English one, its plural and the number; ``length`` writes a length in
    mm as the reader measures, ``bare`` does so without the unit; ``count`` writes a number of things; ``decimal``
    spells a number with decimals anew; ``day`` writes a day, ``moment`` a day and a time of it; ``language`` is the
    code of the language.
    """

    pattern: Callable[[str, str, int], str]
    length: Callable[[float], str]
    bare: Callable[[float], str] = "{:g}".format
    count: Callable[[int], str] = "{:,}".format
    decimal: Callable[[str], str] = str
    day: Callable[[date], str] = date.isoformat
    moment: Callable[[datetime], str] = str
    language: str = ENGLISH


def millimetres(length_mm: float) -> str:
    """Return a length in mm without its unit: to a tenth, to a hundredth if it is thin."""
    return f"{round(float(length_mm), 2 if abs(length_mm) < _THIN_MM else 1):g}"


class Mm(float):
    """A length in mm that a sentence names: English writes it in mm, a reader of inches reads inches."""

    def __str__(self) -> str:
        return f"{millimetres(self)} mm"


class BareMm(float):
    """A length in mm beside another that says the unit: the 10 of "10 to 6000 mm"."""

    def __str__(self) -> str:
        return millimetres(self)


class Count(int):
    """A number of things, whose thousands are set apart as the reader does it."""

    def __str__(self) -> str:
        return f"{int(self):,}"


class Number(str):
    """A number with decimals as English writes it: another language has its own mark before them."""

    __slots__ = ()


class Moment(datetime):
    """A moment in UTC that a sentence names, to the minute."""

    def __str__(self) -> str:
        return f"{self:%Y-%m-%d %H:%M} UTC"


class Name(str):
    """A name as an English sentence writes it; in another language it stands as it is ``printed``, on a label."""

    __slots__ = ("printed",)
    printed: str

    def __new__(cls, text: str, printed: str) -> Self:
        made = super().__new__(cls, text)
        made.printed = printed
        return made

    def __reduce__(self) -> tuple[type[Self], tuple[str, str]]:
        return type(self), (self[:], self.printed)


class Said(str):
    """An English sentence with the ``pattern`` and ``values`` it was made of; ``many`` is said of other ``num``s."""

    __slots__ = ("many", "num", "pattern", "values")
    pattern: str
    many: str
    num: int
    values: dict[str, object]

    @classmethod
    def of(cls, pattern: str, many: str, num: int, values: dict[str, object]) -> Self:
        """Return the sentence in English."""
        made = cls((pattern if num == 1 else many) % values)
        made.pattern, made.many, made.num, made.values = pattern, many, num, values
        return made

    def __reduce__(self) -> tuple[Callable[..., Self], tuple[object, ...]]:
        return type(self).of, (self.pattern, self.many, self.num, self.values)


def later(pattern: str, /) -> str:
    """Mark the pattern of a sentence that is said later, with its values: the translations are looked for by this."""
    return pattern


def say(pattern: str, /, **values: object) -> Said:
    """Return the sentence that ``pattern`` makes of the values: ``say("no box %(box)s", box=code)``."""
    return Said.of(pattern, pattern, 1, values)


def say_many(one: str, many: str, num: int, /, **values: object) -> Said:
    """Return the sentence for a number of things: ``say_many("%(num)d part", "%(num)d parts", 3)``."""
    return Said.of(one, many, num, {"num": num, **values})


def spoken(text: str, tongue: Tongue) -> str:
    """Return a sentence, and all that it names, as ``tongue`` says it; any other text as it is."""
    if not isinstance(text, Said) or not text.pattern:  # what a catalogue has for nothing is its own head
        return text
    values = {name: _named(value, tongue) for name, value in text.values.items()}
    return tongue.pattern(text.pattern, text.many, text.num) % values


def _named(value: object, tongue: Tongue) -> object:
    match value:
        case Mm() | BareMm() if not math.isfinite(value):
            return str(value)
        case Mm():
            return tongue.length(float(value))
        case BareMm():
            return tongue.bare(float(value))
        case Count():
            return tongue.count(int(value))
        case datetime():
            return tongue.moment(value)
        case date():
            return tongue.day(value)
        case Name() if tongue.language != ENGLISH:
            return spoken(value.printed, tongue)
        case Number():
            return tongue.decimal(str(value))
        case str():
            return spoken(value, tongue)
        case _:
            return value


def words_of(error: Exception) -> str:
    """Return what an error says. ``str(error)`` says it in English alone."""
    said = error.args[0] if error.args else ""
    return said if isinstance(said, str) else str(error)


def join(sentences: Sequence[str], *, between: str = ", ") -> Said:
    """Return sentences one after another, each of which can be said in another language."""
    names = [f"s{index}" for index in range(len(sentences))]
    return say(between.join(f"%({name})s" for name in names), **dict(zip(names, sentences, strict=True)))
