"""The list of a cabinet's parts that the fitter lays out: those that are alike in one row, under one letter."""

from collections.abc import Sequence
from string import ascii_uppercase

from tracker.shop.cabinets.design import Cabinet, kind_of
from tracker.shop.cabinets.guide.values import PartRow
from tracker.shop.cabinets.panels import Part
from tracker.shop.cabinets.wording import label_name, measured, plain_name, plain_words
from tracker.shop.lengths import Units
from tracker.shop.saying import join
from tracker.shop.written import length_number


def part_rows(cabinet: Cabinet) -> tuple[PartRow, ...]:
    """Return one row for the parts of one name that are truly alike, lettered in the order of the cabinet's parts."""
    groups: dict[tuple[object, ...], list[Part]] = {}
    for part in cabinet.parts:
        groups.setdefault((plain_name(part), kind_of(part)), []).append(part)
    return tuple(_row(cabinet, letter_of(index), parts) for index, parts in enumerate(groups.values()))


def letter_of(index: int) -> str:
    """A to Z, then AA, AB …"""
    first, last = divmod(index, len(ascii_uppercase))
    return (ascii_uppercase[first - 1] if first else "") + ascii_uppercase[last]


def _row(cabinet: Cabinet, letter: str, parts: Sequence[Part]) -> PartRow:
    first, units = parts[0], cabinet.order.units
    sizes = (length_number(round(size) if units is Units.MM else size, units) for size in first.sizes)
    return PartRow(
        letter=letter,
        name=label_name(parts),
        plain=plain_words(first),
        count=len(parts),
        size=join([measured(size) for size in sizes], between=" × "),
        mass_kg=first.mass_kg,
        numbers=tuple(sorted({mark.number for part in parts for mark in cabinet.marks(part)})),
        ids=tuple(part.id for part in parts),
    )
