"""The first line of a table: which column each heading names, by its own name or by another that is well known."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Final

from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.saying import Said, join, say, say_many

ALSO: Final[Mapping[str, str]] = {
    **dict.fromkeys(("qty", "count", "pcs"), "quantity"),
    "l": "length",
    "w": "width",
    "t": "thickness",
    "thk": "thickness",
    **{f"{name}(mm)": name for name in ("length", "width", "thickness", "height", "depth")},
    "partname": "part",
    "cab": "cabinet",
    "mat": "material",
    "boxno": "box",
    **dict.fromkeys(("edge", "edging", "banding"), "edges"),
    **dict.fromkeys(("program", "programme"), "machining"),
}
ORDERS: Final = say(
    "A cut list has cabinet, part, length, width, thickness; a table of cabinets has cabinet, family, width, height, "
    "depth."
)
_NO_COLUMNS: Final = say("The first line does not name the columns. Nothing was stored.")
_FAULTS: Final = say("The first line has faults. Nothing was stored; mend these and send it again.")
_NOT_WORKED_OUT: Final = say("The spreadsheet has formulas that were never worked out. Nothing was stored.")
_NEAREST: Final = 3
_LONGEST: Final = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Formula:
    """A cell of a spreadsheet that holds a formula without its value; ``place`` is the cell's in its row, from 0."""

    line: int
    place: int


def column_name(spelled: str) -> str:
    """Return the name by which a heading is looked up, however its case and spaces are written."""
    return "".join(spelled.lower().split())


def column_of(spelled: str, known: Collection[str]) -> str | None:
    """Return the column that a heading names, or None."""
    name = column_name(spelled)
    if name not in known:
        name = ALSO.get(name, "")
    return name if name in known else None


def match_columns(
    header: Sequence[str],
    known: Sequence[str],
    needed: Sequence[str],
    *,
    ignore: Collection[str] = (),
    inches: bool = False,
    kinds: str = ORDERS,
    formulas: Collection[Formula] = (),
) -> dict[int, str]:
    """Return the column at each place of a table's rows.

    ``ignore`` names headings that may stand there and mean nothing; a place without a heading is none. ``kinds`` says
    which tables are wanted, for who sent another one.
    Raises InvalidInputError for a heading that nobody knows, two for one column, columns that are not there, and
    ``formulas`` in columns that mean something or have no heading: each was read as an empty cell, and is a value.
    """
    left_out = {column_name(each) for each in ignore}
    headings = {place: each for place, each in enumerate(header) if each.strip() and column_name(each) not in left_out}
    columns = {place: name for place, each in headings.items() if (name := column_of(each, known)) is not None}
    faults = [_unknown(each, known) for place, each in headings.items() if place not in columns]
    faults += _twice(headings, columns)
    if inches:
        what = say("this column says millimetres, and the lengths of the job are in inches")
        faults += [_fault(headings[place], what) for place in columns if "(mm)" in column_name(headings[place])]
    if absent := [name for name in needed if name not in columns.values()]:
        what = say_many(
            "this column is needed and is not there", "these columns are needed and are not there", len(absent)
        )
        faults.append(_fault(", ".join(absent), what))
    named = {place for place, each in enumerate(header) if each.strip()}
    faults += [_at_cell(each, _stands_unnamed(say("a formula"))) for each in formulas if each.place not in named]
    is_another = len(absent) == len(needed)
    detail = join([_NO_COLUMNS, kinds], between=" ") if is_another else _FAULTS if faults else _NOT_WORKED_OUT
    what = say("a formula without a value; save the file in a spreadsheet program")
    faults += [_at_cell(each, what, columns[each.place]) for each in formulas if each.place in columns]
    if faults:
        raise InvalidInputError(detail, faults)
    return columns


def column_letter(place: int) -> str:
    """Return a column's letters, as spreadsheets show them: A for place 0, AA for place 26."""
    before, last = divmod(place, 26)
    return (column_letter(before - 1) if before else "") + chr(ord("A") + last)


def wrong_width(header: Sequence[str], line: int, cells: Sequence[str]) -> Iterator[Fault]:
    """Give what is wrong with a row that has values where the first line names nothing.

    An unquoted decimal comma makes one cell two and shifts the rest by a column: a wrong panel, were it let pass.
    """
    if len(cells) > len(header):
        what = say(
            "%(value)s stands beyond the last heading: %(count)s values; wanted: %(width)s, as in the first line, with "
            "a decimal comma in quotation marks",
            value=repr(cells[len(header)].strip()[:_LONGEST]),
            count=len(cells),
            width=len(header),
        )
        yield Fault(where={"line": line, "column": column_letter(len(header))}, what=what)
        return
    for place, (name, cell) in enumerate(zip(header, cells, strict=False)):
        if cell.strip() and not name.strip():
            what = _stands_unnamed(repr(cell.strip()[:_LONGEST]))
            yield Fault(where={"line": line, "column": column_letter(place)}, what=what)


def read_as(header: Sequence[str], known: Collection[str], ignore: Collection[str] = ()) -> dict[str, str]:
    """Return the headings that name their column by another well-known name, each with the column."""
    left_out = {column_name(each) for each in ignore}
    return {
        each.strip(): name
        for each in header
        if column_name(each) not in left_out and (name := column_of(each, known)) not in (None, column_name(each))
    }


def is_of_cabinets(header: Sequence[str]) -> bool:
    """Whether a table lists cabinets rather than parts; one that only forgot the family does."""
    named = {column_of(each, ("family", "height", "depth", "part")) for each in header}
    return "family" in named or (named >= {"height", "depth"} and "part" not in named)


def _unknown(spelled: str, known: Sequence[str]) -> Fault:
    names = {**{also: name for also, name in ALSO.items() if name in known}, **{name: name for name in known}}
    near = dict.fromkeys(names[each] for each in get_close_matches(column_name(spelled), names, n=_NEAREST))
    if near:
        what = say_many(
            "nobody knows this column; nearest: %(near)s. Name it so, or ignore it",
            "nobody knows this column; nearest: %(near)s. Give it one of these names, or ignore it",
            len(near),
            near=", ".join(near),
        )
    else:
        what = say("nobody knows this column; known: %(known)s. Name it so, or ignore it", known=", ".join(known))
    return _fault(spelled, what)


def _twice(headings: Mapping[int, str], columns: Mapping[int, str]) -> list[Fault]:
    found: defaultdict[str, list[str]] = defaultdict(list)
    for place, name in columns.items():
        found[name].append(headings[place].strip()[:_LONGEST])
    what = say("two columns for one name; wanted: one. Rename the other, or ignore it")
    return [_fault(", ".join(dict.fromkeys(spelled)), what) for spelled in found.values() if len(spelled) > 1]


def _stands_unnamed(value: str) -> Said:
    return say("%(value)s stands in a column without a heading; wanted: a heading, or no value", value=value)


def _at_cell(formula: Formula, what: Said, column: str = "") -> Fault:
    letter = column_letter(formula.place)
    where = {"line": formula.line, "cell": f"{letter}{formula.line}", "column": column or letter}
    return Fault(where=where, what=what)


def _fault(column: str, what: str) -> Fault:
    return Fault(where={"line": 1, "column": column.strip()[: 2 * _LONGEST]}, what=what)
