"""Reading a layout from TOML, with every fault named by its place; what is read can be drawn at every resolution."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import partial
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
from tracker.shop.lengths import Units
from tracker.shop.saying import Mm, say
from tracker.shop.sscc import PAYLOAD_DIGITS
from tracker.shop.toml_text import read_toml
from tracker.shop.toml_values import TableReader, WantedError, count_to, one_of, short_text

LEAST_MM: Final = 10.0
LARGEST_MM: Final = 420.0
LEAST_SIZE_MM: Final = 0.1  # of an element
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
_GONE: Final = ("machine",)  # words of labels up to 0.5, which a kept layout may still have
_OF_PARTS: Final = (Outline, Grain)
_NEEDED: Final = ("name", "for", "size")
_HEAD: Final = (*_NEEDED, "lengths", "font", "words")
_FAULTY: Final = say("The layout has faults. Mend these.")
_OVERLAP_MM: Final = 0.01


def read_layout(text: str, faces: Mapping[str, Face] | None = None) -> Layout:
    """Return the layout that a TOML text spells; ``faces`` are the fonts that there are, by name.

    Raises InvalidInputError naming each value that is absent, unknown or does not fit, by its path (``text.2.size``).
    """
    reader = _LayoutReader(read_toml(text), known_faces() if faces is None else faces)
    layout = reader.layout()
    reader.refuse(_FAULTY)
    if faults := _faults_of(layout):
        raise InvalidInputError(_FAULTY, faults)
    return layout


class _LayoutReader(TableReader):
    """Turns the tables of one text into a layout."""

    def __init__(self, table: Mapping[str, Any], faces: Mapping[str, Face]) -> None:
        super().__init__(table)
        self._faces = faces
        self._head = self.known(self.table, "", [*_HEAD, *_SORTS], _NEEDED)
        self._kind = self._own("for", one_of(LabelKind))
        self._texts = texts_of(self._kind) if self._kind else frozenset()

    def layout(self) -> Layout:
        """Return the layout; with a fault, what could be read of it."""
        return Layout(
            name=self._own("name", _name),
            kind=self._kind,
            size=self._own("size", partial(self._within, LEAST_SIZE_MM)),
            face=self._own("font", self._face, "sans"),
            units=self._own("lengths", one_of(Units), Units.MM),
            words={**ENGLISH, **(self._own("words", _words, {}) or {})},
            elements=tuple(
                element
                for sort, kind in _SORTS.items()
                for element in self.tables(kind, self._head.get(sort, []), sort, most=MOST_OF_A_SORT)
            ),
        )

    def plain(self, name: str, hint: Any, given: Any) -> Any:
        match name:
            case "at":
                return self._within(0.0, given)
            case "size":
                return self._within(LEAST_SIZE_MM, given)
            case "when" | "unless":
                return one_of(sorted(self._texts))(given)
            case "says":
                return self._says(given)
            case "lines":
                return count_to(20)(given)
            case "align":
                return one_of(_ALIGN)(given)
        return super().plain(name, hint, given)

    def _own(self, name: str, read: Callable[[Any], Any], usual: Any = None) -> Any:
        given = self._head.get(name, usual)
        return None if given is None else self.value(name, read, given)

    def _face(self, given: Any) -> Face:
        found = self._faces.get(given.lower()) if isinstance(given, str) else None
        if found is None:
            raise WantedError(say("there is no such font; there are: %(known)s", known=", ".join(self._faces)))
        return found

    def _within(self, least: float, given: Any) -> tuple[float, float]:
        pair = self.two_lengths(given)
        if not all(least <= each <= LARGEST_MM for each in pair):
            raise WantedError(say("wanted: from %(least)s to %(most)s", least=Mm(least), most=Mm(LARGEST_MM)))
        return pair

    def _says(self, given: Any) -> str:
        says = short_text(given)
        rest = NAMED.sub("", says)
        if not self._texts.issuperset(NAMED.findall(says)) or "{" in rest or "}" in rest:
            known = " ".join(f"{{{name}}}" for name in sorted(self._texts))
            raise WantedError(say("wanted in braces: only %(known)s", known=known))
        return says


def _name(given: Any) -> str:
    if not isinstance(given, str) or not re.fullmatch(rf"[\w][\w .,×()-]{{0,{LONGEST_NAME - 1}}}", given):
        raise WantedError(say("wanted: a name of 1 to %(most)d letters, digits and spaces", most=LONGEST_NAME))
    return given


def _words(given: Any) -> Mapping[str, str]:
    if isinstance(given, Mapping):
        given = {name: word for name, word in given.items() if name not in _GONE}
    good = isinstance(given, Mapping) and all(
        name in ENGLISH and isinstance(word, str) and 0 < len(word) <= 60 for name, word in given.items()
    )
    if not good:
        raise WantedError(say("wanted: a short text for any of %(known)s", known=", ".join(ENGLISH)))
    return dict(given)


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
