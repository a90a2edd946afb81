"""The cut list: from rows of text, or rows of JSON, to the lines of an order. All rows or none, every fault named."""

import math
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from sys import intern
from typing import Any, Final

from tracker.shop.cabinets.standard import EDGES
from tracker.shop.columns import Formula, match_columns, wrong_width
from tracker.shop.errors import Fault, InvalidInputError, TooLargeError
from tracker.shop.lengths import Units, read_count, read_length, spell_number
from tracker.shop.orders import ItemLine, PartLine
from tracker.shop.saying import BareMm, Mm, join, say, words_of
from tracker.shop.steps import Supply

PART_COLUMNS: Final = (
    *("cabinet", "part", "quantity", "length", "width", "thickness"),
    *("material", "edges", "machining", "supply", "box", "room", "drop"),
)
NEEDED_PART_COLUMNS: Final = ("cabinet", "part", "length", "width", "thickness")
ITEM_COLUMNS: Final = ("box", "item", "quantity")
MOST_PIECES: Final = 200_000
MOST_OF_ONE_LINE: Final = 10_000
MOST_FAULTS_TOLD: Final = 1_000
LONGEST_TEXT: Final = 200
PANEL_MM: Final = (10.0, 6_000.0)
THICKNESS_MM: Final = (0.3, 100.0)

Row = tuple[int, Sequence[str]]
_Where = Callable[[str], Mapping[str, Any]]
_Values = Mapping[str, str | None]  # None: what stood there has been refused already
_Named = Iterable[tuple[_Where, _Values]]

_NOTHING_STORED: Final = say("The cut list has faults. Nothing was stored; mend these and send it again.")
_ITEMS: Final = say("A table of items has box, item, quantity.")
_HARD_SPACES: Final = str.maketrans("\u00a0\u202f", "  ")
# What a spreadsheet leaves in a cell whose formula failed; from memory, there may be more.
_FAILED_FORMULAS: Final = frozenset(
    ("#NULL!", "#DIV/0!", "#VALUE!", "#REF!", "#NAME?", "#NUM!", "#N/A", "#SPILL!", "#CALC!")
)
# One tuple a combination, shared by all lines: a long list then needs little memory.
_EDGE_SETS: Final = {
    frozenset(chosen): chosen
    for mask in range(1 << len(EDGES))
    for chosen in [tuple(edge for place, edge in enumerate(EDGES) if mask >> place & 1)]
}


def read_parts(
    header: Sequence[str],
    rows: Iterable[Row],
    units: Units,
    *,
    ignore: Collection[str] = (),
    formulas: Collection[Formula] = (),
) -> tuple[PartLine, ...]:
    """Return the part lines of a table. Raises InvalidInputError naming line, column, value and what is wanted.

    ``ignore`` names columns that mean nothing, ``formulas`` cells without their value.
    Raises TooLargeError for more than MOST_PIECES pieces.
    """
    faults = _Faults()
    inches = units is Units.INCH
    columns = match_columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS, ignore=ignore, inches=inches, formulas=formulas)
    return _part_lines(_table_rows(columns, header, rows, faults), units, faults)


def parts_from_rows(rows: Iterable[Mapping[str, Any]], units: Units) -> tuple[PartLine, ...]:
    """Return the part lines of rows of JSON, by the same rules; ``where`` names index and field."""
    faults = _Faults()
    return _part_lines(_json_rows(rows, PART_COLUMNS, faults), units, faults)


def read_items(
    header: Sequence[str],
    rows: Iterable[Row],
    *,
    ignore: Collection[str] = (),
    formulas: Collection[Formula] = (),
) -> tuple[ItemLine, ...]:
    """Return the item lines of a table with the columns box, item, quantity; rows of one item in one box add up."""
    faults = _Faults()
    columns = match_columns(header, ITEM_COLUMNS, ITEM_COLUMNS, ignore=ignore, kinds=_ITEMS, formulas=formulas)
    return _item_lines(_table_rows(columns, header, rows, faults), faults)


def items_from_rows(rows: Iterable[Mapping[str, Any]]) -> tuple[ItemLine, ...]:
    """Return the item lines of rows of JSON, by the same rules."""
    faults = _Faults()
    return _item_lines(_json_rows(rows, ITEM_COLUMNS, faults), faults)


def check_items_boxes(parts: Iterable[PartLine], items: Iterable[ItemLine]) -> list[Fault]:
    """Name each item whose box is neither a box that a part names nor a cabinet with a part that names none."""
    known = {line.box or line.cabinet for line in parts}
    faults = _Faults()
    for item in items:
        if item.box not in known:
            where = {"item": item.item, "field": "box"}
            what = say(
                "%(box)s: no part goes into a box of this name; wanted: a box that a part names", box=repr(item.box)
            )
            faults.add(where, what)
    return faults.listed()


@dataclass(slots=True)
class _Faults:
    """Collects what is wrong, up to a limit, and counts the rest."""

    told: list[Fault] = field(default_factory=list)
    untold: int = 0

    def add(self, where: Mapping[str, Any], what: str, *, given: str | None = None) -> None:
        if len(self.told) < MOST_FAULTS_TOLD:
            told = what if given is None else join([_shown(given), what], between=": ")
            self.told.append(Fault(where=where, what=told))
        else:
            self.untold += 1

    def listed(self) -> list[Fault]:
        more = say("and %(num)d more", num=self.untold)
        return [*self.told, Fault(where={}, what=more)] if self.untold else self.told

    def refuse_if_any(self, detail: str) -> None:
        if self.told:
            raise InvalidInputError(detail, self.listed())


class _Fields:
    """One row's values by column; reads them one by one and notes what is wrong with each."""

    __slots__ = ("_faults", "_values", "_where", "good")

    def __init__(self, values: _Values, where: _Where, faults: _Faults) -> None:
        self._values = values
        self._where = where
        self._faults = faults
        self.good = True

    def _value(self, column: str) -> str:
        return self._values.get(column) or ""

    def blame(self, column: str, why: str) -> None:
        self.good = False
        if self._values.get(column, "") is not None:
            self._faults.add(self._where(column), why, given=self._value(column))

    def text(self, column: str, *, needed: bool = False) -> str:
        value = self._value(column).strip()
        if not value.isprintable():
            value = value.translate(_HARD_SPACES)
        if needed and not value:
            self.blame(column, say("empty; wanted: a name"))
        elif len(value) > LONGEST_TEXT:
            self.blame(column, say("wanted: at most %(most)s characters", most=LONGEST_TEXT))
        elif not value.isprintable():
            self.blame(column, say("wanted: text in one line, without control or other invisible characters"))
        elif value in _FAILED_FORMULAS:
            self.blame(column, say("a formula that failed in the spreadsheet; wanted: a text"))
        return intern(value)

    def length(self, column: str, units: Units, limits: tuple[float, float]) -> float:
        low, high = limits
        try:
            value = read_length(self._value(column), units)
        except ValueError as error:
            self.blame(column, words_of(error))
            return low
        if not low <= value <= high:
            wanted = say(
                "that is %(given)s; wanted: %(low)s to %(high)s", given=Mm(value), low=BareMm(low), high=Mm(high)
            )
            self.blame(column, wanted)
        return value

    def count(self, column: str, *, needed: bool = False) -> int:
        value = self._value(column)
        if needed and not value.strip():
            self.blame(column, say("wanted: a whole number from 1 to %(most)d", most=MOST_OF_ONE_LINE))
        try:
            return read_count(value, highest=MOST_OF_ONE_LINE)
        except ValueError as error:
            self.blame(column, words_of(error))
            return 1

    def edges(self) -> tuple[str, ...]:
        spelled = self._value("edges").upper()
        for separator in ",;+/|":
            spelled = spelled.replace(separator, " ")
        packed = "".join(spelled.split())
        named = [packed[start : start + 2] for start in range(0, len(packed), 2)]
        if any(edge not in EDGES for edge in named) or len(set(named)) != len(named):
            self.blame("edges", say("wanted: any of L1 L2 W1 W2, each once, or nothing"))
        return _EDGE_SETS.get(frozenset(named), ())

    def supply(self) -> Supply:
        spelled = self._value("supply").strip().lower()
        try:
            return Supply(spelled or Supply.MADE)
        except ValueError:
            self.blame("supply", say("wanted: made, bought or nothing"))
            return Supply.MADE


def _part_lines(named: _Named, units: Units, faults: _Faults) -> tuple[PartLine, ...]:
    lines: list[PartLine] = []
    places: dict[str, dict[str, str]] = {}
    pieces = 0
    for where, values in named:
        line = _part_line(_Fields(values, where, faults), units, places)
        if line is not None:
            lines.append(line)
            pieces += line.quantity
        if pieces > MOST_PIECES:
            raise TooLargeError(
                say("More than %(most)s pieces in one order. Split it into several jobs.", most=MOST_PIECES)
            )
    faults.refuse_if_any(_NOTHING_STORED)
    if not lines:
        fault = Fault(where={}, what=say("no rows"))
        raise InvalidInputError(say("The cut list has no rows. Nothing was stored."), [fault])
    return tuple(_placed(line, places[line.cabinet]) if line.cabinet in places else line for line in lines)


def _placed(line: PartLine, place: Mapping[str, str]) -> PartLine:
    return replace(line, room=place.get("room", ""), drop=place.get("drop", ""))


def _part_line(fields: _Fields, units: Units, places: dict[str, dict[str, str]]) -> PartLine | None:
    values: dict[str, Any] = {
        "cabinet": fields.text("cabinet", needed=True),
        "part": fields.text("part", needed=True),
        "quantity": fields.count("quantity"),
        "length_mm": fields.length("length", units, PANEL_MM),
        "width_mm": fields.length("width", units, PANEL_MM),
        "thickness_mm": fields.length("thickness", units, THICKNESS_MM),
        "material": fields.text("material"),
        "edges": fields.edges(),
        "machining": fields.text("machining"),
        "supply": fields.supply(),
        "box": fields.text("box"),
        "room": fields.text("room"),
        "drop": fields.text("drop"),
    }
    _keep_place(fields, values, places)
    return PartLine(**values) if fields.good else None


def _keep_place(fields: _Fields, values: Mapping[str, Any], places: dict[str, dict[str, str]]) -> None:
    """Keep the room and the drop that a row gives to its cabinet; another row of it may leave them out."""
    for name in ("room", "drop"):
        if values[name]:
            kept = places.setdefault(values["cabinet"], {}).setdefault(name, values[name])
            if kept != values[name]:
                fields.blame(name, say("the cabinet has %(kept)s in a row before; wanted: one", kept=repr(kept)))


def _item_lines(named: _Named, faults: _Faults) -> tuple[ItemLine, ...]:
    counts: dict[tuple[str, str], int] = {}
    for where, values in named:
        fields = _Fields(values, where, faults)
        key = (fields.text("box", needed=True), fields.text("item", needed=True))
        count = counts.get(key, 0) + fields.count("quantity", needed=True)
        if fields.good and count > MOST_OF_ONE_LINE:
            what = say(
                "with the rows before it that is %(count)s; wanted: at most %(most)s",
                count=count,
                most=MOST_OF_ONE_LINE,
            )
            fields.blame("quantity", what)
        if fields.good:
            counts[key] = count
    faults.refuse_if_any(_NOTHING_STORED)
    return tuple(ItemLine(box=box, item=item, quantity=count) for (box, item), count in counts.items())


def _table_rows(columns: Mapping[int, str], header: Sequence[str], rows: Iterable[Row], faults: _Faults) -> _Named:
    for line, cells in rows:
        if not any(map(str.strip, cells)):
            continue
        for fault in wrong_width(header, line, cells):
            faults.add(fault.where, fault.what)
        yield _at_line(line), {name: cells[place] for place, name in columns.items() if place < len(cells)}


def _json_rows(rows: Iterable[Mapping[str, Any]], known: Sequence[str], faults: _Faults) -> _Named:
    for index, row in enumerate(rows):
        where = _at_index(index)
        yield where, {name: _json_value(name, value, known, where, faults) for name, value in row.items()}


def _json_value(name: str, value: Any, known: Sequence[str], where: _Where, faults: _Faults) -> str | None:
    if name not in known:
        faults.add(where(name[:40]), say("not known; known: %(known)s", known=", ".join(known)))
    elif isinstance(value, str):
        return value
    elif value is None:
        return ""
    elif type(value) in (int, float) and abs(value) < 1e15:
        return spell_number(value)
    elif name == "edges" and isinstance(value, list) and all(isinstance(edge, str) for edge in value):
        return " ".join(value)
    elif isinstance(value, float) and not math.isfinite(value):
        faults.add(where(name), say("%(given)s is no number that can be used; wanted: a text or a number", given=value))
    else:
        faults.add(where(name), say("wanted: a text or a number below 1e15, or for edges a list of texts"))
    return None


def _shown(value: str) -> str:
    """Quote a refused value, but not the whole of a long one."""
    return repr(value if len(value) <= 40 else value[:40] + "…")


def _at_line(line: int) -> _Where:
    return lambda column: {"line": line, "column": column}


def _at_index(index: int) -> _Where:
    return lambda name: {"index": index, "field": name}
