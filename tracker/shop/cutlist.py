"""The cut list: from rows of text, or rows of JSON, to the lines of an order. All rows or none, every fault named."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from sys import intern
from typing import Any, Final

from tracker.shop.errors import Fault, InvalidInputError, TooLargeError
from tracker.shop.lengths import Units, read_count, read_length
from tracker.shop.orders import EDGES, ItemLine, PartLine
from tracker.shop.steps import Supply

PART_COLUMNS: Final = (
    *("cabinet", "part", "quantity", "length", "width", "thickness"),
    *("material", "edges", "machining", "supply", "box"),
)
NEEDED_PART_COLUMNS: Final = ("cabinet", "part", "length", "width", "thickness")
ITEM_COLUMNS: Final = ("box", "item", "quantity")
MOST_PIECES: Final = 200_000
MOST_OF_ONE_LINE: Final = 10_000
MOST_OF_AN_ITEM: Final = 1_000_000
MOST_FAULTS_TOLD: Final = 1_000
LONGEST_TEXT: Final = 200
PANEL_MM: Final = (10.0, 6_000.0)
THICKNESS_MM: Final = (0.3, 100.0)

Row = tuple[int, Sequence[str]]


@dataclass(slots=True)
class _Faults:
    """Collects what is wrong, up to a limit, and counts the rest."""

    told: list[Fault] = field(default_factory=list)
    untold: int = 0

    def add(self, where: Mapping[str, Any], what: str) -> None:
        if len(self.told) < MOST_FAULTS_TOLD:
            self.told.append(Fault(where=where, what=what))
        else:
            self.untold += 1

    def refuse_if_any(self, detail: str) -> None:
        if self.untold:
            self.told.append(Fault(where={}, what=f"and {self.untold} more"))
        if self.told:
            raise InvalidInputError(detail, self.told)


class _Fields:
    """One row's values by column; reads them one by one and notes what is wrong with each."""

    def __init__(self, values: Mapping[str, str], where: Callable[[str], Mapping[str, Any]], faults: _Faults) -> None:
        self._values = values
        self._where = where
        self._faults = faults
        self.good = True

    def blame(self, column: str, why: str) -> None:
        value = self._values.get(column, "")
        shown = value if len(value) <= 40 else value[:40] + "…"
        self._faults.add(self._where(column), f"{shown!r}: {why}")
        self.good = False

    def text(self, column: str, *, needed: bool = False) -> str:
        value = self._values.get(column, "").strip()
        if needed and not value:
            self.blame(column, "empty; wanted: a name")
        elif len(value) > LONGEST_TEXT:
            self.blame(column, f"wanted: at most {LONGEST_TEXT} characters")
        elif not value.isprintable():
            self.blame(column, "wanted: text without control characters")
        return intern(value)

    def length(self, column: str, units: Units, limits: tuple[float, float]) -> float:
        low, high = limits
        try:
            value = read_length(self._values.get(column, ""), units)
        except ValueError as error:
            self.blame(column, str(error))
            return low
        if not low <= value <= high:
            self.blame(column, f"that is {value:g} mm; wanted: {low:g} to {high:g} mm")
            return low
        return value

    def count(self, column: str, highest: int) -> int:
        try:
            return read_count(self._values.get(column, ""), highest=highest)
        except ValueError as error:
            self.blame(column, str(error))
            return 1

    def edges(self) -> tuple[str, ...]:
        spelled = self._values.get("edges", "").upper()
        for separator in ",;+/|":
            spelled = spelled.replace(separator, " ")
        packed = "".join(spelled.split())
        named = [packed[start : start + 2] for start in range(0, len(packed), 2)]
        if any(edge not in EDGES for edge in named) or len(set(named)) != len(named):
            self.blame("edges", "wanted: any of L1 L2 W1 W2, each once, or nothing")
        return _EDGE_SETS.get(frozenset(named), ())

    def supply(self) -> Supply:
        spelled = self._values.get("supply", "").strip().lower()
        try:
            return Supply(spelled or Supply.MADE)
        except ValueError:
            self.blame("supply", "wanted: made, bought or nothing")
            return Supply.MADE


# One tuple a combination, shared by all lines: a long list then needs little memory.
_EDGE_SETS: Final = {
    frozenset(edge for place, edge in enumerate(EDGES) if mask >> place & 1): tuple(
        edge for place, edge in enumerate(EDGES) if mask >> place & 1
    )
    for mask in range(16)
}


def read_parts(header: Sequence[str], rows: Iterable[Row], units: Units) -> tuple[PartLine, ...]:
    """Return the part lines of a table. Raises InvalidInputError naming line, column, value and what is wanted."""
    columns = _columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS)
    named = ((_at_line(line), dict(_named(columns, cells))) for line, cells in rows if any(map(str.strip, cells)))
    return _part_lines(named, units)


def parts_from_rows(rows: Iterable[Mapping[str, Any]], units: Units) -> tuple[PartLine, ...]:
    """Return the part lines of rows of JSON, by the same rules; ``where`` names index and field."""
    faults = _Faults()
    named = [
        (_at_index(index), _json_row(row, PART_COLUMNS, _at_index(index), faults)) for index, row in enumerate(rows)
    ]
    faults.refuse_if_any(_NOTHING_STORED)
    return _part_lines(named, units)


def read_items(header: Sequence[str], rows: Iterable[Row]) -> tuple[ItemLine, ...]:
    """Return the item lines of a table with the columns box, item, quantity."""
    columns = _columns(header, ITEM_COLUMNS, ITEM_COLUMNS)
    named = ((_at_line(line), dict(_named(columns, cells))) for line, cells in rows if any(map(str.strip, cells)))
    return _item_lines(named)


def items_from_rows(rows: Iterable[Mapping[str, Any]]) -> tuple[ItemLine, ...]:
    """Return the item lines of rows of JSON."""
    faults = _Faults()
    named = [
        (_at_index(index), _json_row(row, ITEM_COLUMNS, _at_index(index), faults)) for index, row in enumerate(rows)
    ]
    faults.refuse_if_any(_NOTHING_STORED)
    return _item_lines(named)


def check_items_boxes(parts: Iterable[PartLine], items: Iterable[ItemLine]) -> list[Fault]:
    """Name each item whose box is neither a box that a part names nor a cabinet whose parts name none."""
    known = {line.box or line.cabinet for line in parts}
    return [
        Fault(
            where={"item": item.item, "field": "box"}, what=f"{item.box!r}: no part is planned for a box of this name"
        )
        for item in items
        if item.box not in known
    ]


_NOTHING_STORED: Final = "The cut list has faults. Nothing was stored; mend these and send it again."
_Named = Iterable[tuple[Callable[[str], Mapping[str, Any]], Mapping[str, str]]]


def _part_lines(named: _Named, units: Units) -> tuple[PartLine, ...]:
    faults = _Faults()
    lines: list[PartLine] = []
    pieces = 0
    for where, values in named:
        line = _part_line(_Fields(values, where, faults), units)
        if line is not None:
            lines.append(line)
            pieces += line.quantity
        if pieces > MOST_PIECES:
            raise TooLargeError(f"More than {MOST_PIECES} pieces in one order. Split it into several jobs.")
    faults.refuse_if_any(_NOTHING_STORED)
    if not lines:
        raise InvalidInputError("The cut list has no rows. Nothing was stored.", [Fault(where={}, what="no rows")])
    return tuple(lines)


def _part_line(fields: _Fields, units: Units) -> PartLine | None:
    values: dict[str, Any] = {
        "cabinet": fields.text("cabinet", needed=True),
        "part": fields.text("part", needed=True),
        "quantity": fields.count("quantity", MOST_OF_ONE_LINE),
        "length_mm": fields.length("length", units, PANEL_MM),
        "width_mm": fields.length("width", units, PANEL_MM),
        "thickness_mm": fields.length("thickness", units, THICKNESS_MM),
        "material": fields.text("material"),
        "edges": fields.edges(),
        "machining": fields.text("machining"),
        "supply": fields.supply(),
        "box": fields.text("box"),
    }
    return PartLine(**values) if fields.good else None


def _item_lines(named: _Named) -> tuple[ItemLine, ...]:
    faults = _Faults()
    counts: dict[tuple[str, str], int] = {}
    for where, values in named:
        fields = _Fields(values, where, faults)
        if not values.get("quantity", "").strip():
            fields.blame("quantity", f"wanted: a whole number from 1 to {MOST_OF_AN_ITEM}")
        key = (fields.text("box", needed=True), fields.text("item", needed=True))
        count = fields.count("quantity", MOST_OF_AN_ITEM)
        if fields.good:
            counts[key] = counts.get(key, 0) + count
    faults.refuse_if_any(_NOTHING_STORED)
    return tuple(ItemLine(box=box, item=item, quantity=count) for (box, item), count in counts.items())


def _columns(header: Sequence[str], known: Sequence[str], needed: Sequence[str]) -> dict[int, str]:
    names = [name.strip().strip("\ufeff").lower() for name in header]
    twice = sorted({name for name in names if name in known and names.count(name) > 1})
    absent = [name for name in needed if name not in names]
    faults = _Faults()
    for name in twice:
        faults.add({"line": 1, "column": name}, "this column is there twice; wanted: once")
    for name in absent:
        found = ", ".join(name[:40] for name in names[:20] if name) or "nothing"
        faults.add({"line": 1, "column": name}, f"this column is not there; wanted in the first line. Found: {found}")
    faults.refuse_if_any("The first line does not name the columns. Nothing was stored.")
    return {place: name for place, name in enumerate(names) if name in known}


def _named(columns: Mapping[int, str], cells: Sequence[str]) -> Iterable[tuple[str, str]]:
    return ((name, cells[place]) for place, name in columns.items() if place < len(cells))


def _at_line(line: int) -> Callable[[str], Mapping[str, Any]]:
    return lambda column: {"line": line, "column": column}


def _at_index(index: int) -> Callable[[str], Mapping[str, Any]]:
    return lambda name: {"index": index, "field": name}


def _json_rows(rows: Iterable[Mapping[str, Any]], known: Sequence[str], faults: _Faults) -> _Named:
    for index, row in enumerate(rows):
        where = _at_index(index)
        yield where, _json_row(row, known, where, faults)


def _json_row(
    row: Mapping[str, Any], known: Sequence[str], where: Callable[[str], Mapping[str, Any]], faults: _Faults
) -> dict[str, str]:
    values: dict[str, str] = {}
    for name, value in row.items():
        if name not in known:
            faults.add(where(str(name)[:40]), f"not known; known: {', '.join(known)}")
        elif isinstance(value, list) and name == "edges" and all(isinstance(edge, str) for edge in value):
            values[name] = " ".join(value)
        elif type(value) in (str, int, float):
            values[name] = _plain(value)
        elif value is not None:
            faults.add(where(name), "wanted: a text or a number")
    return values


def _plain(value: Any) -> str:
    """Spell a number as a cut list would: without an exponent, and so that no digit is lost."""
    if isinstance(value, str):
        return value
    return f"{value:.9f}".rstrip("0").rstrip(".") if isinstance(value, float) and abs(value) < 1e9 else str(value)
