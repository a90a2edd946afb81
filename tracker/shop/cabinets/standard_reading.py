"""Reading a construction standard from a table (as TOML gives it), with every fault named by its place in the table."""

import math
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, Final, cast, get_args, get_origin, get_type_hints

from tracker.shop.cabinets.standard import Standard
from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.lengths import Units, read_length
from tracker.shop.orders import EDGES
from tracker.shop.saying import join, say, words_of
from tracker.shop.toml_text import read_toml

LONGEST_TEXT: Final = 200_000
LARGEST: Final = 1e5
_MAY_BE_ZERO: Final = frozenset({"play", "gap", "spacing", "carcass_tape", "front_tape", "outer_reveal", "toe_setback"})


def read_standard(text: str) -> Standard:
    """Return the standard that a TOML text spells.

    Raises InvalidInputError naming each value that is absent, unknown, not a length, or in contradiction to another.
    """
    if len(text) > LONGEST_TEXT:
        raise InvalidInputError(say("A construction standard has at most %(most)s characters.", most=LONGEST_TEXT))
    try:
        table = read_toml(text)
    except InvalidInputError as error:
        told = say("The construction standard is not TOML: %(why)s", why=error.detail)
        raise InvalidInputError(told, [Fault(where=each.where, what=told) for each in error.faults]) from error
    return standard_from_table(table)


def standard_from_table(table: Mapping[str, Any]) -> Standard:
    """Return the standard that a table holds; ``units`` (mm or in) says what its bare numbers are."""
    values = dict(table)
    spelled = values.pop("units", "mm")
    if spelled not in tuple(Units):
        fault = fault_at("units", say("wanted: mm or in"))
        raise InvalidInputError(say("The construction standard has faults."), [fault])
    reader = _Reader(Units(spelled))
    standard = reader.value(Standard, values, "")
    if reader.faults:
        raise InvalidInputError(say("The construction standard has faults. Mend these."), reader.faults)
    return cast("Standard", standard)


class _WantedError(ValueError):
    """What is wanted where something else stands."""


class _Reader:
    """Turns tables into values by the types of their fields; notes each fault and goes on."""

    def __init__(self, units: Units) -> None:
        self._units = units
        self.faults: list[Fault] = []

    def value(self, kind: Any, given: Any, field: str) -> Any:
        try:
            if is_dataclass(kind):
                return self._record(cast("type", kind), given, field)
            if get_origin(kind) is tuple:
                return self._list(get_args(kind)[0], given, field)
            return self._plain(kind, given, field)
        except ValueError as error:
            self.faults.append(fault_at(field, join([repr(str(given)[:40]), words_of(error)], between=": ")))
            return None

    def _record(self, kind: type, given: Any, field: str) -> Any:
        if not isinstance(given, Mapping):
            raise _WantedError(say("wanted: a table"))
        types = {name.removesuffix("_mm").removesuffix("_kg"): hint for name, hint in get_type_hints(kind).items()}
        path = f"{field}." if field else ""
        self.faults += [fault_at(f"{path}{str(name)[:40]}", say("not known")) for name in given if name not in types]
        self.faults += [fault_at(f"{path}{name}", say("this value is absent")) for name in types if name not in given]
        before = len(self.faults)
        values = {
            own.name: self.value(types[name], given[name], f"{path}{name}")
            for own, name in zip(fields(kind), types, strict=True)
            if name in given
        }
        return kind(**values) if len(self.faults) == before and len(values) == len(types) else None

    def _list(self, kind: Any, given: Any, field: str) -> tuple[Any, ...]:
        if not isinstance(given, list) or len(given) > 100:
            raise _WantedError(say("wanted: a list"))
        if kind is str and not (set(map(str, given)) <= set(EDGES) and len(set(given)) == len(given)):
            raise _WantedError(say("wanted: any of L1 L2 W1 W2, each once"))
        if kind is float:
            field = f"{field}.length"
        return tuple(self.value(kind, item, field) for item in given)

    def _plain(self, kind: Any, given: Any, field: str) -> Any:
        name = field.rpartition(".")[2]
        if kind is bool:
            return _boolean(given)
        if kind is str:
            return _text(given)
        if kind is int:
            return _count(given)
        number = self._number(given, bare=name in {"density", "door_mass", "one_person"})
        if not math.isfinite(number) or not 0 <= number <= LARGEST or (number == 0 and name not in _MAY_BE_ZERO):
            raise _WantedError(say("wanted: more than 0 and at most %(most)s", most=f"{LARGEST:g}"))
        return number

    def _number(self, given: Any, *, bare: bool) -> float:
        if isinstance(given, bool) or not isinstance(given, int | float | str):
            raise _WantedError(say("wanted: a number"))
        if isinstance(given, str):
            if bare:
                raise _WantedError(say("wanted: a number without a unit"))
            return self._length(given)
        factor = 25.4 if self._units is Units.INCH and not bare else 1.0
        return float(given) * factor if abs(given) <= LARGEST else math.inf

    def _length(self, text: str) -> float:
        spelled = text.strip().lower()
        if spelled.endswith("mm"):
            return read_length(spelled, Units.MM)
        return read_length(spelled, Units.INCH if spelled.endswith(("in", "in.", '"', "″")) else self._units)


def _boolean(given: Any) -> bool:
    if not isinstance(given, bool):
        raise _WantedError(say("wanted: true or false"))
    return given


def _text(given: Any) -> str:
    if not isinstance(given, str) or not given.strip() or len(given) > 200 or not given.isprintable():
        raise _WantedError(say("wanted: a text of 1 to 200 characters"))
    return given.strip()


def _count(given: Any) -> int:
    if isinstance(given, bool) or not isinstance(given, int) or not 1 <= given <= 1_000_000:
        raise _WantedError(say("wanted: a whole number from 1"))
    return given
