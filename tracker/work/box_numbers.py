"""The SSCCs of the shop's boxes: which series they come from, giving them, and finding a box by one.

A box gets its number when its label is first drawn, not when it is planned: so the boxes from before the shop had a GS1
prefix get theirs the same way, a box that is never labelled uses none up, and a number is on paper or will be. It stays
on the box for good: a cancelled box keeps it, a box that follows another gets its own. What a series has given is kept
in the table ``sscc_series`` and only ever rises, in the transaction that puts the numbers on the boxes.
"""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import Connection

from tracker.records import sscc as kept
from tracker.records.database import Database
from tracker.records.settings import drop_setting, keep_setting, setting_text
from tracker.shop.codes import Code, Kind, MisreadError, read_code
from tracker.shop.errors import ConflictError, Fault, InvalidInputError, NotFoundError
from tracker.shop.saying import Count, say
from tracker.shop.sscc import Series, find_sscc, numbers_from, overlap, read_series, series_text

SETTING: Final = "gs1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbering:
    """The series in use and its ``last`` serial number given; ``left`` are still to be given."""

    series: Series
    last: int

    @property
    def left(self) -> int:
        return self.series.highest - self.last

    @property
    def next_serial(self) -> int | None:
        """The serial number that the next box gets, or None when all are used up."""
        return self.last + 1 if self.left > 0 else None

    @property
    def sentence(self) -> str:
        """How far the numbers are, in words."""
        if self.next_serial is None:
            return say(
                "All %(count)s SSCCs of prefix %(prefix)s with extension digit %(extension)s are used up: boxes are "
                "labelled with the shop's own codes until another extension digit is set.",
                count=Count(self.series.highest),
                prefix=self.series.prefix,
                extension=self.series.extension,
            )
        return say(
            "The next box gets SSCC %(sscc)s; %(count)s are left.",
            sscc=self.series.sscc(self.next_serial),
            count=Count(self.left),
        )


def numbering(database: Database) -> Numbering | None:
    """Return the series in use, or None when the shop has set no GS1 prefix."""
    with database.read() as connection:
        return _numbering(connection)


def _numbering(connection: Connection) -> Numbering | None:
    text = setting_text(connection, SETTING)
    if text is None:
        return None
    series = read_series(text)
    return Numbering(series=series, last=kept.last_serial(connection, series.name))


def set_numbering(
    database: Database, series: Series, *, who: str, now: datetime, next_serial: int | None = None
) -> Numbering:
    """Give numbers of this series from now on; boxes that have one keep it. Return how far it is.

    ``next_serial`` leaves out the serial numbers before it, where another program gave them. Raises InvalidInputError
    when it was given already or is none of the series, ConflictError when the numbers to come would meet those that
    another prefix of the shop gave.
    """
    with database.write() as connection:
        last = kept.last_serial(connection, series.name)
        if next_serial is not None:
            _check_next(series, last, next_serial)
            last = next_serial - 1
        _check_apart(connection, series, last)
        kept.keep_last_serial(connection, series.name, last)
        keep_setting(connection, SETTING, series_text(series), who=who, now=now)
        return Numbering(series=series, last=last)


def stop_numbering(database: Database) -> None:
    """Give no numbers any more; boxes that have one keep it, and the series goes on where it was if it is set again."""
    with database.write() as connection:
        drop_setting(connection, SETTING)


def _check_next(series: Series, last: int, next_serial: int) -> None:
    if last < next_serial <= series.highest:
        return
    if last >= series.highest:
        what = say("all %(count)s numbers are used up: set another extension digit", count=Count(series.highest))
    else:
        what = say("wanted: %(first)s to %(last)s; those before are given", first=last + 1, last=series.highest)
    raise InvalidInputError(
        say("The next serial number cannot be %(number)s.", number=next_serial),
        [Fault(where={"field": "next"}, what=what)],
    )


def _check_apart(connection: Connection, series: Series, last: int) -> None:
    """The numbers of a prefix lie among those of its own first digits: one typed too short could meet the right one."""
    to_come = numbers_from(series.name, last + 1, series.highest)
    for name, given in kept.last_serials(connection).items():
        if name != series.name and overlap(to_come, numbers_from(name, 1, given)):
            raise ConflictError(
                say(
                    "Prefix %(prefix)s would give numbers again that prefix %(other)s gave. Check the prefix.",
                    prefix=series.prefix,
                    other=name[1:],
                )
            )


def number_boxes(database: Database, box_ids: Collection[int]) -> None:
    """Give each of these boxes that has no SSCC one, when the shop has a prefix and numbers are left."""
    with database.read() as connection:
        if _numbering(connection) is None or not kept.unnumbered(connection, box_ids):
            return
    with database.write() as connection:
        now = _numbering(connection)
        if now is None:
            return
        wanting = kept.unnumbered(connection, box_ids)[: now.left]
        serials = range(now.last + 1, now.last + 1 + len(wanting))
        kept.keep_last_serial(connection, now.series.name, serials.stop - 1)
        kept.keep_ssccs(connection, {each: now.series.sscc(n) for each, n in zip(wanting, serials, strict=True)})


def code_read(database: Database, text: str) -> Code:
    """Return the shop's code that a reading means: the code itself, or that of the box whose SSCC was read.

    Raises MisreadError for what is neither or has wrong check digits, NotFoundError for an SSCC of no box of the shop.
    """
    try:
        return read_code(text)
    except MisreadError:
        sscc = find_sscc(text)
        if sscc is None:
            raise
    with database.read() as connection:
        found = kept.boxes_of_ssccs(connection, [sscc]).get(sscc)
    if found is None:
        raise NotFoundError(say("No box of this shop has the SSCC %(sscc)s.", sscc=sscc))
    return Code(Kind.BOX, found)


def number_read(database: Database, text: str, kind: Kind) -> int:
    """Return the number in a code of a kind, or of the box with an SSCC; raises NotFoundError for anything else."""
    try:
        code = code_read(database, text)
    except MisreadError as misread:
        raise NotFoundError(f"{text[:40]} is no code: {misread}.") from None
    if code.kind is not kind:
        raise NotFoundError(f"{code} is not the code of a {kind.name.lower()}.")
    return code.number
