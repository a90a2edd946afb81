"""An order for a cabinet: family, size, fronts. One value a line of the table, and the reading of such lines."""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, Final

from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.lengths import Units, read_count, read_length
from tracker.shop.saying import BareMm, Count, Mm, Said, join, say, words_of

CABINET_COLUMNS: Final = (
    *("cabinet", "family", "width", "height", "depth"),
    *("quantity", "fronts", "hinge", "finish", "note", "room", "drop"),
)
NEEDED_CABINET_COLUMNS: Final = ("cabinet", "family", "width", "height", "depth")
SIZE_MM: Final = (10.0, 3_000.0)
MOST_CABINETS: Final = 1_000
MOST_ROWS: Final = 10_000
MOST_FAULTS_TOLD: Final = 1_000
LONGEST_TEXT: Final = 200


class Family(StrEnum):
    BASE = "base"
    WALL = "wall"
    TALL = "tall"
    BLIND_CORNER = "blind corner"
    DIAGONAL_CORNER = "diagonal corner"
    FILLER = "filler"
    END_PANEL = "end panel"


class Fronts(StrEnum):
    """What the front of a cabinet shows, from the top down."""

    DOOR = "door"
    DOORS = "doors"
    DRAWER_OVER_DOOR = "drawer over door"
    DRAWER_OVER_DOORS = "drawer over doors"
    TWO_DRAWERS = "2 drawers"
    THREE_DRAWERS = "3 drawers"
    FOUR_DRAWERS = "4 drawers"
    FIVE_DRAWERS = "5 drawers"
    SINK = "sink"
    OPEN = "open"
    PANTRY = "pantry"
    OVEN = "oven"
    BLIND_LEFT = "blind left"
    BLIND_RIGHT = "blind right"
    BASE = "base"
    WALL = "wall"
    NONE = ""


class Hinge(StrEnum):
    """The side on which the door hangs, seen from the front; a pair hangs on both; none where there is no door."""

    LEFT = "left"
    RIGHT = "right"
    PAIR = "pair"
    NONE = ""


_BANKS: Final = (Fronts.TWO_DRAWERS, Fronts.THREE_DRAWERS, Fronts.FOUR_DRAWERS, Fronts.FIVE_DRAWERS)
_SINGLE: Final = (Hinge.LEFT, Hinge.RIGHT)
_ANY_DOOR: Final = (Hinge.LEFT, Hinge.RIGHT, Hinge.PAIR)
_TWO_DOORS: Final = (Hinge.NONE, Hinge.PAIR)
_NO_DOOR: Final = (Hinge.NONE,)

# What may be ordered: for each family its fronts, and for each of these where the door may hang.
CHOICES: Final[dict[Family, dict[Fronts, tuple[Hinge, ...]]]] = {
    Family.BASE: {
        Fronts.DOOR: _SINGLE,
        Fronts.DOORS: _TWO_DOORS,
        Fronts.DRAWER_OVER_DOOR: _SINGLE,
        Fronts.DRAWER_OVER_DOORS: _TWO_DOORS,
        **dict.fromkeys(_BANKS, _NO_DOOR),
        Fronts.SINK: _ANY_DOOR,
        Fronts.OPEN: _NO_DOOR,
    },
    Family.WALL: {Fronts.DOOR: _SINGLE, Fronts.DOORS: _TWO_DOORS, Fronts.OPEN: _NO_DOOR},
    Family.TALL: {Fronts.PANTRY: _ANY_DOOR, Fronts.OVEN: _ANY_DOOR},
    Family.BLIND_CORNER: {
        Fronts.BLIND_LEFT: (Hinge.NONE, Hinge.RIGHT),
        Fronts.BLIND_RIGHT: (Hinge.NONE, Hinge.LEFT),
    },
    Family.DIAGONAL_CORNER: {Fronts.BASE: _SINGLE, Fronts.WALL: _SINGLE},
    Family.FILLER: {Fronts.NONE: _NO_DOOR},
    Family.END_PANEL: {Fronts.NONE: _NO_DOOR},
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CabinetOrder:
    """``quantity`` equal cabinets. Outer sizes in mm; raises InvalidInputError naming every field that cannot be.

    ``units`` are those in which it was ordered, and in which its sheet speaks.

    ``room`` is where they will stand and ``drop`` where they are unloaded, as the site calls them.

    The depth of a diagonal corner is that of the cabinets beside it; its two walls are both ``width_mm`` long.
    """

    cabinet: str
    family: Family
    width_mm: float
    height_mm: float
    depth_mm: float
    fronts: Fronts = Fronts.NONE
    hinge: Hinge = Hinge.NONE
    quantity: int = 1
    finish: str = ""
    note: str = ""
    room: str = ""
    drop: str = ""
    units: Units = Units.MM

    def __post_init__(self) -> None:
        faults = [*self._wrong_sizes(), *self._wrong_texts(), *self._wrong_choices()]
        if not 1 <= self.quantity <= MOST_CABINETS:
            faults.append(fault_at("quantity", say("wanted: 1 to %(most)s", most=MOST_CABINETS)))
        if faults:
            told = say("Cabinet %(cabinet)s cannot be built as ordered.", cabinet=repr(self.cabinet[:40]))
            raise InvalidInputError(told, faults)

    def _wrong_sizes(self) -> Iterable[Fault]:
        low, high = SIZE_MM
        for field, size in (("width", self.width_mm), ("height", self.height_mm), ("depth", self.depth_mm)):
            if not math.isfinite(size) or not low <= size <= high:
                what = say("%(given)s; wanted: %(low)s to %(high)s", given=Mm(size), low=BareMm(low), high=Mm(high))
                yield fault_at(field, what)

    def _wrong_texts(self) -> Iterable[Fault]:
        if not self.cabinet.strip():
            yield fault_at("cabinet", say("wanted: the cabinet's number"))
        if set(self.cabinet) & set("/\\") or not self.cabinet.strip("."):
            what = say("wanted: a number without / and \\ and not of points alone: it stands in addresses")
            yield fault_at("cabinet", what)
        for field in ("cabinet", "finish", "note", "room", "drop"):
            text = getattr(self, field)
            if len(text) > LONGEST_TEXT or not text.isprintable():
                what = say("wanted: at most %(most)s characters, none of them control characters", most=LONGEST_TEXT)
                yield fault_at(field, what)

    def _wrong_choices(self) -> Iterable[Fault]:
        choices = CHOICES[self.family]
        if self.fronts not in choices:
            what = say(
                "%(given)s; a %(family)s has: %(known)s",
                given=repr(self.fronts.value),
                family=self.family.value,
                known=_listed(choices),
            )
            yield fault_at("fronts", what)
        elif self.hinge not in choices[self.fronts]:
            known = _listed(choices[self.fronts])
            yield fault_at("hinge", say("%(given)s; wanted here: %(known)s", given=repr(self.hinge.value), known=known))

    @property
    def unit_names(self) -> tuple[str, ...]:
        """One name for each of the equal cabinets: 101, or 101-1, 101-2 …"""
        if self.quantity == 1:
            return (self.cabinet,)
        return tuple(f"{self.cabinet}-{number}" for number in range(1, self.quantity + 1))


def _listed(choices: Iterable[StrEnum]) -> Said:
    return join([choice.value or say("nothing") for choice in choices])


PlacedOrder = tuple[Mapping[str, Any], CabinetOrder]


def read_cabinets(
    rows: Iterable[tuple[Mapping[str, Any], Mapping[str, Any]]], units: Units
) -> tuple[list[PlacedOrder], list[Fault]]:
    """Return the orders of a table's rows that can be read, each with its place, and what is wrong with the others.

    A row is its place (``{"line": 7}``) and its cells: texts, or numbers as JSON has them. A fault names place and
    field. Raises InvalidInputError for too many rows.
    """
    orders: list[PlacedOrder] = []
    faults: list[Fault] = []
    for count, (where, cells) in enumerate(rows, 1):
        if count > MOST_ROWS:
            most = Count(MOST_ROWS)
            fault = fault_at("cabinets", say("wanted: at most %(most)s rows", most=most))
            told = say("More than %(most)s rows of cabinets. Send them in several parts.", most=most)
            raise InvalidInputError(told, [fault])
        try:
            orders.append((where, order_from_cells(cells, units)))
        except InvalidInputError as error:
            faults += [Fault(where={**where, **fault.where}, what=fault.what) for fault in error.faults]
        if len(faults) > MOST_FAULTS_TOLD:
            break
    return orders, faults[:MOST_FAULTS_TOLD]


def order_from_cells(cells: Mapping[str, Any], units: Units) -> CabinetOrder:
    """Return the order that one row's cells spell; raises InvalidInputError naming each field at fault."""
    reader = _Cells(cells)
    order: dict[str, Any] = {
        **{f"{name}_mm": reader.length(name, units) for name in ("width", "height", "depth")},
        "units": units,
        "cabinet": reader.text("cabinet"),
        "family": reader.choice("family", Family),
        "fronts": reader.choice("fronts", Fronts),
        "hinge": reader.choice("hinge", Hinge),
        "quantity": reader.count("quantity"),
        "finish": reader.text("finish"),
        "note": reader.text("note"),
        "room": reader.text("room"),
        "drop": reader.text("drop"),
    }
    if reader.faults:
        raise InvalidInputError(say("The cabinet cannot be read."), reader.faults)
    return CabinetOrder(**order)


class _Cells:
    """Reads one row's cells by column and notes what is wrong with each."""

    def __init__(self, cells: Mapping[str, Any]) -> None:
        self._cells = cells
        self.faults = [
            fault_at(str(name)[:40], say("not known; known: %(known)s", known=", ".join(CABINET_COLUMNS)))
            for name in cells
            if name not in CABINET_COLUMNS
        ]

    def text(self, column: str) -> str:
        value = self._cells.get(column)
        if value is None:
            return ""
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            self.faults.append(fault_at(column, say("wanted: a text or a number")))
            return ""
        return (f"{value:.9f}".rstrip("0").rstrip(".") if isinstance(value, float) else str(value)).strip()

    def length(self, column: str, units: Units) -> float:
        spelled = self.text(column)
        try:
            return read_length(spelled, units)
        except ValueError as error:
            self.faults.append(fault_at(column, _not(spelled, words_of(error))))
            return 0.0

    def count(self, column: str) -> int:
        spelled = self.text(column)
        try:
            return read_count(spelled, highest=MOST_CABINETS)
        except ValueError as error:
            self.faults.append(fault_at(column, _not(spelled, words_of(error))))
            return 1

    def choice(self, column: str, kind: type[StrEnum]) -> Any:
        spelled = " ".join(self.text(column).lower().replace("-", " ").replace("_", " ").split())
        try:
            return kind(spelled)
        except ValueError:
            what = say("%(given)s; known: %(known)s", given=repr(spelled[:40]), known=_listed(kind))
            self.faults.append(fault_at(column, what))
            return None


def _not(spelled: str, wanted: str) -> Said:
    return join([repr(spelled[:40]), wanted], between=": ")
