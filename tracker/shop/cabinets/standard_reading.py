"""Reading a construction standard from a table (as TOML gives it), with every fault named by its place in the table."""

from collections.abc import Mapping
from typing import Any, Final, cast

from tracker.shop.cabinets.standard import Standard
from tracker.shop.saying import say
from tracker.shop.toml_text import read_toml
from tracker.shop.toml_values import TableReader, WantedError, count_to, short_text

LARGEST: Final = 1e5
_MAY_BE_ZERO: Final = frozenset(
    {"play_mm", "gap_mm", "spacing_mm", "carcass_tape_mm", "front_tape_mm", "outer_reveal_mm", "toe_setback_mm"}
)
_count: Final = count_to(1_000_000)


def read_standard(text: str) -> Standard:
    """Return the standard that a TOML text spells.

    Raises InvalidInputError naming each value that is absent, unknown, not a length, or in contradiction to another.
    """
    return standard_from_table(read_toml(text))


def standard_from_table(table: Mapping[str, Any]) -> Standard:
    """Return the standard that a table holds; ``units`` (mm or in) says what its bare numbers are."""
    reader = _StandardReader(table)
    faulty = say("The construction standard has faults. Mend these.")
    reader.refuse(faulty)  # in wrong units every number is at fault
    reader.table.pop("lifting", None)  # before version 0.6 it stood here; now the list of cartons has it
    standard = reader.record(Standard, reader.table)
    reader.refuse(faulty)
    return cast("Standard", standard)


def version_of(text: str) -> int:
    """Return the version of a standard that was kept, whatever later rules say of it."""
    return int(read_toml(text)["version"])


class _StandardReader(TableReader):
    """A standard's numbers are more than 0, with few exceptions."""

    def plain(self, name: str, hint: Any, given: Any) -> Any:
        if hint is int:
            return _count(given)
        if hint is str:
            return _printable(given)
        made = super().plain(name, hint, given)
        if hint is float and not (0 < made <= LARGEST or (made == 0 and name in _MAY_BE_ZERO)):
            raise WantedError(say("wanted: more than 0 and at most %(most)s", most=f"{LARGEST:g}"))
        return made


def _printable(given: Any) -> str:
    if not short_text(given).isprintable():
        raise WantedError(say("wanted: no control characters"))
    return str(given).strip()
