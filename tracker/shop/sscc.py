"""The Serial Shipping Container Code (SSCC) of GS1: the number on a box that every carrier can read.

Seventeen digits and a check digit: an extension digit, the shop's GS1 company prefix, and a serial number in as many
digits as the prefix leaves (GS1 General Specifications: section 3.2 for AI 00, 7.9.1 for the check digit). That a
company prefix has 4 to 12 digits, and that those which start with 02, 04 or 2 are for use within a region or a company
alone, is its glossary's and its list of GS1 prefixes'; both are written here from memory.
"""

import re
import tomllib
from dataclasses import dataclass
from typing import Final

from tracker.shop.codes import MisreadError
from tracker.shop.errors import InvalidInputError, refuse_faults
from tracker.shop.saying import say

SHORTEST_PREFIX: Final = 4
LONGEST_PREFIX: Final = 12
APPLICATION_IDENTIFIER: Final = "00"
PAYLOAD_DIGITS: Final = 17
LONGEST_READING: Final = 80
_NOT_FOR_TRADE: Final = ("02", "04", "2")
_DIGITS: Final = re.compile(r"[0-9]+", re.ASCII)

# As typed or read from a plain symbol: 18 digits, with or without the application identifier.
_PLAIN: Final = re.compile(r"(?:00|\(00\))?([0-9]{18})", re.ASCII)
# As a scanner sends it that names the symbol: GS1-128, DataBar, Data Matrix, QR, DotCode. More data may follow.
_IDENTIFIED: Final = re.compile(r"\](?:C1|e0|d2|Q3|J1)\x1d?00([0-9]{18}).*", re.ASCII | re.IGNORECASE | re.DOTALL)


def check_digit(digits: str) -> str:
    """Return the GS1 check digit of ``digits``: weights 3 and 1 in turn from the right, up to the next ten."""
    weighted = sum(int(digit) * (1 if place % 2 else 3) for place, digit in enumerate(reversed(digits)))
    return str(-weighted % 10)


def find_sscc(text: str) -> str | None:
    """Return the 18 digits of the SSCC that a reading carries, or None for a reading of another kind.

    Spaces are ignored, as the number is often written in groups; a symbology identifier, the FNC1 (sent as the group
    separator) and the application identifier may stand before it. Raises MisreadError when its check digit is wrong.
    """
    if len(text) > LONGEST_READING:
        return None
    plain = text.strip().replace(" ", "")  # strip takes the group separator, too
    found = _PLAIN.fullmatch(plain) or _IDENTIFIED.fullmatch(plain)
    if found is None:
        return None
    sscc = found[1]
    if check_digit(sscc[:-1]) != sscc[-1]:
        raise MisreadError(say("the check digit of the SSCC is wrong: scan the label again"))
    return sscc


def element_string(sscc: str) -> str:
    """Return what stands in the symbol after its FNC1: the application identifier and the SSCC."""
    return APPLICATION_IDENTIFIER + sscc


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """The shop's own numbers: its GS1 company ``prefix`` and an ``extension`` digit of its choice.

    Each extension digit makes a series of its own; serial numbers run from 1 to ``highest``. Raises InvalidInputError
    for what can be no company prefix.
    """

    prefix: str
    extension: int = 0

    def __post_init__(self) -> None:
        refuse_faults("GS1", "", [*_prefix_faults(self.prefix), *_extension_faults(self.extension)])

    @property
    def name(self) -> str:
        """The digits that all numbers of the series begin with."""
        return f"{self.extension}{self.prefix}"

    @property
    def highest(self) -> int:
        """The last serial number that the prefix leaves room for."""
        return highest_serial(self.name)

    def sscc(self, serial: int) -> str:
        """Return the SSCC of a serial number from 1 to ``highest``."""
        if not 1 <= serial <= self.highest:
            raise ValueError(f"a serial number of this prefix is 1 to {self.highest}: {serial}")
        payload = f"{self.name}{serial:0{PAYLOAD_DIGITS - len(self.name)}d}"
        return payload + check_digit(payload)


def _prefix_faults(prefix: str) -> list[tuple[str, str]]:
    if not _DIGITS.fullmatch(prefix) or not SHORTEST_PREFIX <= len(prefix) <= LONGEST_PREFIX:
        return [("prefix", say("wanted: the 4 to 12 digits that GS1 gave the company, without spaces"))]
    if not prefix.strip("0"):
        return [("prefix", say("wanted: the prefix of a company; zeros alone are nobody's"))]
    if prefix.startswith(_NOT_FOR_TRADE):
        return [("prefix", say("wanted: the prefix of a company; 02, 04 and 2 begin numbers for use inside alone"))]
    return []


def _extension_faults(extension: int) -> list[tuple[str, str]]:
    return [] if 0 <= extension <= 9 else [("extension", say("wanted: one digit, 0 to 9"))]


def highest_serial(series: str) -> int:
    """Return the last serial number of the series whose numbers begin with these digits."""
    return int(10 ** (PAYLOAD_DIGITS - len(series)) - 1)


def numbers_from(series: str, first: int, last: int) -> range:
    """Return the payloads, as whole numbers, of the serials ``first`` to ``last`` of a series."""
    start = int(series) * 10 ** (PAYLOAD_DIGITS - len(series))
    return range(start + first, start + last + 1)


def overlap(one: range, other: range) -> bool:
    """Say whether two runs of numbers share any: those of a prefix lie among those of its own first digits."""
    return bool(one) and bool(other) and one.start < other.stop and other.start < one.stop


def leap(series: str) -> int:
    """Return how many serial numbers are left out after a copy was restored: they may be on boxes labelled since.

    A hundredth of the series, but a thousand where the series has so many: own choice, no source.
    """
    size = highest_serial(series) + 1
    return max(size // 100, min(1_000, size // 10))


def series_text(series: Series) -> str:
    """Return the text under which a series is kept."""
    return f'prefix = "{series.prefix}"\nextension = {series.extension}\n'


def read_series(text: str) -> Series:
    """Return the series that a kept text says. Raises InvalidInputError for another text."""
    try:
        said = tomllib.loads(text)
        return Series(prefix=said["prefix"], extension=said["extension"])
    except (tomllib.TOMLDecodeError, KeyError, TypeError) as error:
        raise InvalidInputError(f"The text of the GS1 numbers is no such text: {error}.") from error
