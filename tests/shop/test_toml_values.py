"""A table becomes a value or faults, each named by its path; what is good is read beside what is not."""

from dataclasses import dataclass
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.errors import refuse_faults
from tracker.shop.toml_values import TableReader


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    length_mm: float
    at: tuple[float, float] = (0.0, 0.0)

    def __post_init__(self) -> None:
        refuse_faults("leg", "", [] if self.length_mm > 0 else [("length_mm", "wanted: more than 0")])


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    id: str
    legs: tuple[Leg, ...]
    seats: int | None = None
    heights_mm: tuple[float, ...] = ()
    folds: bool = False


GOOD: dict[str, Any] = {
    "name": "kitchen",
    "legs": [{"length": "29 1/2"}, {"length": 750, "at": [1, "2 mm"]}],
    "heights": [1, "3/4"],
}
VALUES = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=9),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["length", "at", "x"]), inner),
    max_leaves=6,
)


def read(**changes: Any) -> tuple[Table | None, dict[str, str]]:
    reader = TableReader({"units": "in", **GOOD, **changes}, {"id": "name"})
    made = reader.record(Table, reader.table)
    return made, {fault.where["field"]: fault.what for fault in reader.faults}


def test_fields_are_read_by_their_types_and_lengths_in_the_tables_units_or_their_own() -> None:
    made, faults = read()
    assert (made, faults) == (
        Table(
            id="kitchen",
            legs=(Leg(length_mm=29.5 * 25.4), Leg(length_mm=750 * 25.4, at=(25.4, 2.0))),
            heights_mm=(25.4, 19.05),
        ),
        {},
    )


def test_every_fault_is_named_by_its_path_in_the_words_of_the_table() -> None:
    made, faults = read(
        legs=[{"length": -1}, {"at": [1]}, 7], heights=[1, True], seats=2.5, folds="no", name=3, top=1, units="ell"
    )
    assert made is None
    assert set(faults) == {
        *("legs.1.length", "legs.2.length", "legs.2.at", "legs.3", "heights.2"),
        *("seats", "folds", "name", "top", "units"),
    }
    assert faults["top"] == "not known; known: name, legs, seats, heights, folds"
    assert faults["units"] == "'ell': wanted: one of mm, in"


@given(st.dictionaries(st.sampled_from(["name", "legs", "seats", "heights", "folds", "units"]), VALUES))
def test_whatever_stands_in_a_table_it_becomes_a_value_or_faults(changes: dict[str, Any]) -> None:
    made, faults = read(**changes)
    assert (made is None) or not (faults.keys() - {"units"})
    assert made is not None or faults
