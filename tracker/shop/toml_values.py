"""Values made of the tables of a TOML text, with every fault named by its path (``carton.2.width``)."""

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import MISSING, fields, is_dataclass
from enum import StrEnum
from functools import partial
from types import MappingProxyType, UnionType
from typing import Any, Final, TypeVar, cast, get_args, get_origin, get_type_hints

from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.lengths import MM_PER_INCH, Units, read_marked_length
from tracker.shop.saying import Count, join, say, words_of

LARGEST: Final = 10**9  # of any number: larger ones are slips, and none of them overflows
MOST_TABLES: Final = 100
Made = TypeVar("Made")
Word = TypeVar("Word", bound=str)


class WantedError(ValueError):
    """What is wanted where something else stands."""


class TableReader:
    """Makes values of a table's values; notes each fault and goes on. Bare lengths are in the table's ``units``.

    Fields are read by their types; ``length`` spells ``length_mm``, and ``names`` gives the spelling of other fields.
    """

    def __init__(self, table: Mapping[str, Any], names: Mapping[str, str] = MappingProxyType({})) -> None:
        self.faults: list[Fault] = []
        self.table = dict(table)
        self._names = names
        self.units = self.value("units", one_of(Units), self.table.pop("units", Units.MM)) or Units.MM

    def refuse(self, detail: str) -> None:
        """Raise InvalidInputError with the faults that were noted; pass without one."""
        if self.faults:
            raise InvalidInputError(detail, self.faults)

    def record(self, kind: type[Made], given: Any, path: str = "", *, beside: Collection[str] = ()) -> Made | None:
        """Return a dataclass's value whose fields a table has, or None after noting its faults.

        ``beside`` names what else may stand in the table.
        """
        before = len(self.faults)
        hints = get_type_hints(kind)
        own = {self._spelled(field.name): field for field in fields(cast("Any", kind))}
        needed = [name for name, field in own.items() if field.default is MISSING]
        row = self.known(given, path, [*own, *beside], needed)
        values = {
            field.name: self._field(field.name, hints[field.name], row[name], _under(path, name))
            for name, field in own.items()
            if name in row
        }
        return self.made(kind, values, path) if len(self.faults) == before else None

    def made(self, kind: type[Made], values: Mapping[str, Any], path: str) -> Made | None:
        """Return the value that ``kind`` makes of its fields' values, or None after noting what it refuses."""
        try:
            return kind(**values)
        except InvalidInputError as error:
            for fault in error.faults:
                self.faults.append(fault_at(_under(path, self._spelled(str(fault.where["field"]))), fault.what))
            return None

    def tables(
        self, kind: type[Made], given: Any, path: str, *, least: int = 0, most: int = MOST_TABLES
    ) -> tuple[Made, ...]:
        """Return the values of a list of tables, those without faults."""
        if not isinstance(given, list) or not least <= len(given) <= most:
            what = say("wanted: %(least)d to %(most)d tables, each as [[%(path)s]]", least=least, most=most, path=path)
            self.faults.append(fault_at(path, what))
            return ()
        made = [self.record(kind, row, f"{path}.{number}") for number, row in enumerate(given, 1)]
        return tuple(each for each in made if each is not None)

    def known(self, given: Any, path: str, names: Collection[str], needed: Collection[str] = ()) -> Mapping[str, Any]:
        """Return what a table has under known names; note what else it has, and what is needed and absent."""
        if not isinstance(given, Mapping):
            self.value(path, _no_table, given)
            return {}
        what = say("not known; known: %(known)s", known=", ".join(names))
        self.faults += [fault_at(_under(path, str(name)[:40]), what) for name in given if name not in names]
        absent = [name for name in needed if name not in given]
        self.faults += [fault_at(_under(path, name), say("this value is absent")) for name in absent]
        return {name: given[name] for name in names if name in given}

    def value(self, path: str, read: Callable[[Any], Made], given: Any) -> Made | None:
        """Return what ``read`` makes of a value, or None after noting what is wanted in its place."""
        try:
            return read(given)
        except ValueError as error:
            self.faults.append(fault_at(path, join([repr(str(given)[:40]), words_of(error)], between=": ")))
            return None

    def plain(self, name: str, hint: Any, given: Any) -> Any:
        """Return what the field ``name`` of a type makes of a value. Raises ValueError saying what is wanted."""
        if hint is float and name.endswith("_mm"):
            return self.length(given)
        if isinstance(hint, type) and issubclass(hint, StrEnum):
            return one_of(hint)(given)
        return self.two_lengths(given) if get_origin(hint) is tuple else _KINDS[hint](given)

    def length(self, given: Any) -> float:
        """Return a length in mm; a text may carry a unit of its own. Raises ValueError saying what is wanted."""
        if isinstance(given, bool) or not isinstance(given, int | float):
            return read_marked_length(str(given), self.units)
        return number(given) * (float(MM_PER_INCH) if self.units is Units.INCH else 1.0)

    def two_lengths(self, given: Any) -> tuple[float, float]:
        """Return two lengths in mm. Raises ValueError saying what is wanted."""
        if not isinstance(given, list) or len(given) != 2:
            raise WantedError(say("wanted: two lengths, such as [100, 50]"))
        return self.length(given[0]), self.length(given[1])

    def _field(self, name: str, hint: Any, given: Any, path: str) -> Any:
        kind = get_args(hint)[0] if get_origin(hint) is UnionType else hint
        if is_dataclass(kind):
            return self.record(kind, given, path)  # type: ignore[arg-type]
        if get_origin(kind) is tuple and get_args(kind)[-1] is Ellipsis:
            each = get_args(kind)[0]
            if is_dataclass(each):
                return self.tables(each, given, path)  # type: ignore[arg-type]
            items = self.value(path, _short_list, given) or []
            return tuple(self._field(name, each, item, f"{path}.{number}") for number, item in enumerate(items, 1))
        return self.value(path, partial(self.plain, name, kind), given)

    def _spelled(self, name: str) -> str:
        return self._names.get(name, name.removesuffix("_mm").removesuffix("_kg"))


def text(given: Any) -> str:
    """Return a text. Raises WantedError."""
    if not isinstance(given, str):
        raise WantedError(say("wanted: a text"))
    return given


def short_text(given: Any) -> str:
    """Return a text of up to 200 characters. Raises WantedError."""
    if not isinstance(given, str) or not given.strip() or len(given) > 200:
        raise WantedError(say("wanted: a text of 1 to 200 characters"))
    return given


def boolean(given: Any) -> bool:
    """Return true or false. Raises WantedError."""
    if not isinstance(given, bool):
        raise WantedError(say("wanted: true or false"))
    return given


def number(given: Any) -> float:
    """Return a number; one that is none (``nan``) is left to whoever knows its limits. Raises WantedError."""
    if isinstance(given, bool) or not isinstance(given, int | float):
        raise WantedError(say("wanted: a number without a unit"))
    if abs(given) > LARGEST:
        raise WantedError(say("wanted: at most %(most)s", most=Count(LARGEST)))
    return float(given)


def whole_number(given: Any) -> int:
    """Return a whole number. Raises WantedError."""
    if isinstance(given, bool) or not isinstance(given, int):
        raise WantedError(say("wanted: a whole number"))
    return int(number(given))


def count_to(most: int) -> Callable[[Any], int]:
    """Return what reads a whole number from 1 to ``most``."""

    def read(given: Any) -> int:
        if isinstance(given, bool) or not isinstance(given, int) or not 1 <= given <= most:
            raise WantedError(say("wanted: a whole number from 1 to %(most)d", most=most))
        return given

    return read


def one_of(known: Iterable[Word]) -> Callable[[Any], Word]:
    """Return what reads one of the known words."""

    def read(given: Any) -> Word:
        for each in known:
            if each == given:
                return each
        raise WantedError(say("wanted: one of %(known)s", known=", ".join(known)))

    return read


_KINDS: Final[Mapping[Any, Callable[[Any], Any]]] = {str: text, bool: boolean, int: whole_number, float: number}


def _no_table(_given: Any) -> None:
    raise WantedError(say("wanted: a table"))


def _short_list(given: Any) -> list[Any]:
    if not isinstance(given, list) or len(given) > MOST_TABLES:
        raise WantedError(say("wanted: a list"))
    return given


def _under(path: str, name: str) -> str:
    return f"{path}.{name}" if path else name
