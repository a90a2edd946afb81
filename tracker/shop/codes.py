"""The codes on labels, badges and cards: one letter, eight digits, two check digits.

``P00001234`` + ISO/IEC 7064 MOD 97-10 check digits over the nine characters before them, with letters counted
A = 10 … Z = 35. One letter and an even run of digits is the shortest Code 128 symbol that says what it is.
"""

import re
from dataclasses import dataclass
from enum import StrEnum
from string import ascii_uppercase
from typing import Final

HIGHEST_NUMBER: Final = 99_999_999
_LETTER_VALUES: Final = {ord(letter): str(value) for value, letter in enumerate(ascii_uppercase, start=10)}
_SHAPE: Final = re.compile(r"[A-Za-z][0-9]{10}", re.ASCII)
# A keyboard scanner on another layout types other signs for : and /; the check digits tell whether it was read right.
_LINK: Final = re.compile(r"https?\W+\w.*\Wq\W([a-z][0-9]{10})\W[a-z2-7]{8}", re.ASCII | re.IGNORECASE)
LONGEST_LINK: Final = 500


class Kind(StrEnum):
    """What a code names, by its letter."""

    PART = "P"
    BOX = "B"
    LOAD = "L"
    STATION = "S"
    WORKER = "W"
    SLOT = "R"
    COMMAND = "C"
    BOARD = "D"


class Command(StrEnum):
    """What a command card tells the station to do."""

    UNDO = "undo"
    DAMAGED = "damaged"


COMMAND_NUMBERS: Final = {1: Command.UNDO, 2: Command.DAMAGED}


class MisreadError(ValueError):
    """The text is no code: its shape or its check digits are wrong. Never guess at the nearest part: read again."""


@dataclass(frozen=True, slots=True)
class Code:
    """A code that was read or is to be printed. ``str(code)`` is the eleven characters on the label."""

    kind: Kind
    number: int

    def __post_init__(self) -> None:
        if not 0 <= self.number <= HIGHEST_NUMBER:
            raise ValueError(f"a code's number has eight digits: {self.number}")

    def __str__(self) -> str:
        payload = f"{self.kind.value}{self.number:08d}"
        return payload + check_digits(payload)


def check_digits(payload: str) -> str:
    """Return the two ISO/IEC 7064 MOD 97-10 check digits of ``payload`` (capital letters and digits).

    The check digits are chosen so that the whole, read as one number with letters as 10…35, leaves 1 modulo 97.
    """
    value = int(payload.translate(_LETTER_VALUES))
    return f"{98 - value * 100 % 97:02d}"


def read_code(text: str) -> Code:
    """Return the code that ``text`` spells, ignoring case, surrounding spaces and a trailing CR, LF or TAB.

    The link that a label's QR code carries spells the code that it names. Raises MisreadError when the shape, the kind
    or the check digits are wrong.
    """
    spelled = text.strip(" \r\n\t")
    link = _LINK.fullmatch(spelled[:LONGEST_LINK])
    if link:
        spelled = link[1]
    if not _SHAPE.fullmatch(spelled):
        raise MisreadError("this is not one of the shop's codes: a capital letter and ten digits")
    spelled = spelled.upper()
    if check_digits(spelled[:9]) != spelled[9:]:
        raise MisreadError("the check digits are wrong: scan the label again")
    try:
        kind = Kind(spelled[0])
    except ValueError:
        raise MisreadError(f"no code of the shop starts with {spelled[0]}") from None
    return Code(kind, int(spelled[1:9]))


def code_or_none(text: str) -> Code | None:
    """Return the code that a text spells, or None."""
    try:
        return read_code(text)
    except MisreadError:
        return None


def is_damaged_card(code: Code | None) -> bool:
    """Say whether a code is that of the card that marks a part damaged."""
    return code is not None and code.kind is Kind.COMMAND and COMMAND_NUMBERS.get(code.number) is Command.DAMAGED


def part_code(number: int) -> str:
    """Return the eleven characters on the label of part ``number``."""
    return str(Code(Kind.PART, number))


def box_code(number: int) -> str:
    """Return the eleven characters on the label of box ``number``."""
    return str(Code(Kind.BOX, number))


def load_code(number: int) -> str:
    """Return the eleven characters on the paper of load ``number``."""
    return str(Code(Kind.LOAD, number))


def load_code_or_none(number: int | None) -> str | None:
    """Return the code of the load with this number, if there is one."""
    return None if number is None else load_code(number)
