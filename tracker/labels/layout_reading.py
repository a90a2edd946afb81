"""Reading a layout from TOML, with every fault named by its place; what is read can be drawn at every resolution."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import MISSING, fields, replace
from itertools import combinations
from typing import Any, Final

from tracker.labels.contents import SAMPLES, BoxLabel, LabelKind, texts_of
from tracker.labels.faces import Face, known_faces
from tracker.labels.layout import (
    ENGLISH,
    NAMED,
    Bars,
    Block,
    Element,
    Grain,
    Layout,
    Outline,
    Pieces,
    Qr,
    Text,
    draw_label,
)
from tracker.labels.symbols import DPIS
from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.lengths import Units, read_length
from tracker.shop.saying import Mm, Said, say
from tracker.shop.sscc import PAYLOAD_DIGITS
from tracker.shop.toml_text import read_toml

LONGEST_TEXT: Final = 100_000
LEAST_MM: Final = 10.0
LARGEST_MM: Final = 420.0
MOST_OF_A_SORT: Final = 60
LONGEST_NAME: Final = 60
_ALIGN: Final = ("left", "middle", "right")
# In the order in which they are drawn: white words stand on a block.
_SORTS: Final[Mapping[str, type[Element]]] = {
    "block": Block,
    "pieces": Pieces,
    "outline": Outline,
    "grain": Grain,
    "text": Text,
    "bars": Bars,
    "qr": Qr,
}
_OF_PARTS: Final = (Outline, Grain)
_HEAD: Final = ("name", "for", "size", "units", "lengths", "font", "words")
_OVERLAP_MM: Final = 0.01


class _WantedError(ValueError):
    """What is wanted where something else stands."""

    def __init__(self, wanted: Said) -> None:
        super().__init__(wanted)
        self.wanted = wanted


def read_layout(text: str, faces: Mapping[str, Face] | None = None) -> Layout:
    """Return the layout that a TOML text spells; ``faces`` are the fonts that there are, by name.

    Raises InvalidInputError naming each value that is absent, unknown or does not fit, by its path (``text.2.size``).
    """
    if len(text) > LONGEST_TEXT:
        raise InvalidInputError(say("A layout has at most %(most)d characters.", most=LONGEST_TEXT))
    reader = _Reader(read_toml(text), known_faces() if faces is None else faces)
    layout = reader.layout()
    if layout is not None:
        reader.faults += _faults_of(layout)
    if layout is None or reader.faults:
        raise InvalidInputError(say("The layout has faults. Mend these."), reader.faults)
    return layout


class _Reader:
    """Turns the tables of one text into a layout; notes each fault and goes on."""

    def __init__(self, table: Mapping[str, Any], faces: Mapping[str, Face]) -> None:
        self._table = table
        self._faces = faces
        self.faults: list[Fault] = []
        self._units = Units(table["units"]) if table.get("units") in tuple(Units) else Units.MM
        self._names: frozenset[str] = frozenset()
        self._readers: Mapping[str, Callable[[Any], Any]] = {
            "at": self._point,
            "size": self._size,
            "when": self._named,
            "unless": self._named,
            "says": self._says,
            **_READERS,
        }

    def layout(self) -> Layout | None:
        unknown = [name for name in self._table if name not in _HEAD and name not in _SORTS]
        self.faults += [fault_at(name[:40], say("not known")) for name in unknown]
        kind = self._head("for", self._kind)
        self._names = texts_of(kind) if kind else frozenset()
        name = self._head("name", _name)
        size = self._head("size", self._size)
        units = self._head("lengths", _units, "mm")
        self._head("units", _units, "mm")
        face = self._head("font", self._face, "sans")
        words = self._head("words", _words, {})
        elements = self._elements()
        if self.faults:
            return None
        return Layout(
            name=name, kind=kind, size=size, face=face, units=units, words={**ENGLISH, **words}, elements=elements
        )

    def _head(self, name: str, read: Callable[[Any], Any], default: Any = None) -> Any:
        given = self._table.get(name, default)
        if given is None:
            self.faults.append(fault_at(name, say("this value is absent")))
            return None
        return self._value(name, read, given)

    def _value(self, field: str, read: Callable[[Any], Any], given: Any) -> Any:
        try:
            return read(given)
        except _WantedError as error:
            what = say("%(given)s: %(wanted)s", given=repr(str(given)[:40]), wanted=error.wanted)
            self.faults.append(fault_at(field, what))
            return None

    def _elements(self) -> tuple[Element, ...]:
        found: list[Element | None] = []
        for sort, kind in _SORTS.items():
            rows = self._table.get(sort, [])
            if not isinstance(rows, list) or len(rows) > MOST_OF_A_SORT:
                most = say("wanted: at most %(most)d tables, each as [[%(sort)s]]", most=MOST_OF_A_SORT, sort=sort)
                self.faults.append(fault_at(sort, most))
                continue
            found += [self._element(kind, row, f"{sort}.{number}") for number, row in enumerate(rows, 1)]
        return tuple(element for element in found if element is not None)

    def _element(self, kind: type[Element], row: Any, path: str) -> Element | None:
        if not isinstance(row, Mapping):
            self.faults.append(fault_at(path, say("wanted: a table")))
            return None
        before = len(self.faults)
        own = {field.name: field for field in fields(kind)}
        self.faults += [fault_at(f"{path}.{str(name)[:40]}", say("not known")) for name in row if name not in own]
        absent = [name for name, field in own.items() if field.default is MISSING and name not in row]
        self.faults += [fault_at(f"{path}.{name}", say("this value is absent")) for name in absent]
        values = {name: self._value(f"{path}.{name}", self._readers[name], row[name]) for name in own if name in row}
        return kind(**values) if len(self.faults) == before else None

    def _kind(self, given: Any) -> LabelKind:
        if given not in tuple(LabelKind):
            raise _WantedError(say("wanted: one of %(known)s", known=", ".join(LabelKind)))
        return LabelKind(given)

    def _face(self, given: Any) -> Face:
        found = self._faces.get(given.lower()) if isinstance(given, str) else None
        if found is None:
            raise _WantedError(say("there is no such font; there are: %(known)s", known=", ".join(self._faces)))
        return found

    def _point(self, given: Any) -> tuple[float, float]:
        return self._pair(given, least=0.0)

    def _size(self, given: Any) -> tuple[float, float]:
        return self._pair(given, least=0.1)

    def _pair(self, given: Any, *, least: float) -> tuple[float, float]:
        if not isinstance(given, list) or len(given) != 2:
            raise _WantedError(say("wanted: two lengths, such as [100, 50]"))
        first, second = (self._length(each) for each in given)
        if not (least <= first <= LARGEST_MM and least <= second <= LARGEST_MM):
            raise _WantedError(say("wanted: from %(least)s to %(most)s", least=Mm(least), most=Mm(LARGEST_MM)))
        return first, second

    def _length(self, given: Any) -> float:
        if isinstance(given, str):
            try:
                return read_length(given, self._units)
            except ValueError as error:
                raise _WantedError(say("%(why)s", why=str(error))) from error
        if isinstance(given, bool) or not isinstance(given, int | float) or not abs(given) < 1e6:
            raise _WantedError(say("wanted: two lengths, such as [100, 50]"))
        return float(given) * (25.4 if self._units is Units.INCH else 1.0)

    def _named(self, given: Any) -> str:
        if given not in self._names:
            raise _WantedError(say("wanted: one of %(known)s", known=", ".join(sorted(self._names))))
        return str(given)

    def _says(self, given: Any) -> str:
        if not isinstance(given, str) or not given.strip() or len(given) > 200:
            raise _WantedError(say("wanted: a text of 1 to 200 characters"))
        rest = NAMED.sub("", given)
        unknown = [name for name in NAMED.findall(given) if name not in self._names]
        if unknown or "{" in rest or "}" in rest:
            known = " ".join(f"{{{name}}}" for name in sorted(self._names))
            raise _WantedError(say("wanted in braces: only %(known)s", known=known))
        return given


def _name(given: Any) -> str:
    if not isinstance(given, str) or not re.fullmatch(rf"[\w][\w .,×()-]{{0,{LONGEST_NAME - 1}}}", given):
        raise _WantedError(say("wanted: a name of 1 to %(most)d letters, digits and spaces", most=LONGEST_NAME))
    return given


def _units(given: Any) -> Units:
    if given not in tuple(Units):
        raise _WantedError(say("wanted: mm or in"))
    return Units(given)


def _words(given: Any) -> dict[str, str]:
    good = isinstance(given, Mapping) and all(
        name in ENGLISH and isinstance(word, str) and 0 < len(word) <= 60 for name, word in given.items()
    )
    if not good:
        raise _WantedError(say("wanted: a short text for any of %(known)s", known=", ".join(ENGLISH)))
    return dict(given)


def _boolean(given: Any) -> bool:
    if not isinstance(given, bool):
        raise _WantedError(say("wanted: true or false"))
    return given


def _lines(given: Any) -> int:
    if isinstance(given, bool) or not isinstance(given, int) or not 1 <= given <= 20:
        raise _WantedError(say("wanted: a whole number from 1 to 20"))
    return given


def _align(given: Any) -> str:
    if given not in _ALIGN:
        raise _WantedError(say("wanted: one of %(known)s", known=", ".join(_ALIGN)))
    return str(given)


_READERS: Final[Mapping[str, Callable[[Any], Any]]] = {
    "bold": _boolean,
    "white": _boolean,
    "lines": _lines,
    "align": _align,
}


def _faults_of(layout: Layout) -> list[Fault]:
    """What is wrong with a layout as a whole: what lies outside it, what covers a symbol, a symbol that cannot fit."""
    if min(layout.size) < LEAST_MM:
        return [fault_at("size", say("wanted: from %(least)s to %(most)s", least=Mm(LEAST_MM), most=Mm(LARGEST_MM)))]
    named = list(_paths(layout.elements))
    faults = [
        fault_at(path, say("reaches over the edge of the label")) for path, each in named if _outside(each, layout)
    ]
    faults += [
        fault_at(path, say("only the label of a part has this"))
        for path, each in named
        if isinstance(each, _OF_PARTS) and layout.kind is not LabelKind.PART
    ]
    faults += [
        fault_at(path, say("only the label of a board has this"))
        for path, each in named
        if isinstance(each, Pieces) and layout.kind is not LabelKind.BOARD
    ]
    if not any(isinstance(each, Bars | Qr) and not each.when and not each.unless for _, each in named):
        faults.append(fault_at("bars", say("wanted: [[bars]] or [[qr]]: a label that cannot be scanned is none")))
    faults += _covered(named)
    return faults or _too_small(layout)


def _paths(elements: Sequence[Element]) -> list[tuple[str, Element]]:
    counts: dict[str, int] = {}
    found = []
    names = {kind: sort for sort, kind in _SORTS.items()}
    for element in elements:
        sort = names[type(element)]
        counts[sort] = counts.get(sort, 0) + 1
        found.append((f"{sort}.{counts[sort]}", element))
    return found


def _outside(element: Element, layout: Layout) -> bool:
    return any(element.at[axis] + element.size[axis] > layout.size[axis] + _OVERLAP_MM for axis in (0, 1))


def _covered(named: Sequence[tuple[str, Element]]) -> list[Fault]:
    faults = []
    for (one_path, one), (other_path, other) in combinations(named, 2):
        symbol = isinstance(one, Bars | Qr) or isinstance(other, Bars | Qr)
        never_both = bool(one.when and one.when == other.unless) or bool(one.unless and one.unless == other.when)
        if symbol and not never_both and _meet(one, other):
            faults.append(
                fault_at(other_path, say("lies over %(other)s: a covered code does not read", other=one_path))
            )
    return faults


def _meet(one: Element, other: Element) -> bool:
    return all(
        one.at[axis] + _OVERLAP_MM < other.at[axis] + other.size[axis]
        and other.at[axis] + _OVERLAP_MM < one.at[axis] + one.size[axis]
        for axis in (0, 1)
    )


def _too_small(layout: Layout) -> list[Fault]:
    """Draw an invented label at each resolution: the symbols of all labels of a kind are of one size."""
    sample = SAMPLES[layout.kind]
    if isinstance(sample, BoxLabel):
        sample = replace(sample, sscc="0" * (PAYLOAD_DIGITS + 1))  # its symbol is the widest that a box can have
    for dpi in DPIS:
        try:
            draw_label(layout, sample, dpi)
        except ValueError as error:
            room = say("a code does not fit at %(dpi)d dots an inch: %(why)s", dpi=dpi, why=str(error))
            return [fault_at("bars" if "symbol" in str(error) else "qr", room)]
    return []
