"""The first line of a table: other well-known names are matched, and nothing that stands there is passed over."""

import pytest

from tracker.shop.cabinets.orders import CABINET_COLUMNS, NEEDED_CABINET_COLUMNS
from tracker.shop.columns import Formula, column_letter, is_of_cabinets, match_columns, read_as, wrong_width
from tracker.shop.cutlist import NEEDED_PART_COLUMNS, PART_COLUMNS, read_items
from tracker.shop.errors import InvalidInputError

# As the public contract lists them.
ALSO = {
    "quantity": ("qty", "count", "pcs"),
    "length": ("l", "length (mm)"),
    "width": ("w", "width (mm)"),
    "thickness": ("t", "thk", "thickness (mm)"),
    "part": ("part name",),
    "cabinet": ("cab",),
    "material": ("mat",),
    "edges": ("edge", "edging", "banding"),
    "machining": ("program", "programme"),
    "box": ("box no",),
}
PLAIN = ["cabinet", "part", "length", "width", "thickness"]


def faults_of(header: list[str], *, inches: bool = False) -> list[tuple[str, str]]:
    with pytest.raises(InvalidInputError) as refused:
        match_columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS, inches=inches)
    assert all(fault.where["line"] == 1 for fault in refused.value.faults)
    return [(fault.where["column"], fault.what) for fault in refused.value.faults]


@pytest.mark.parametrize(("spelled", "name"), [(each, name) for name, all_ in ALSO.items() for each in all_])
def test_a_column_is_matched_by_its_other_well_known_names_and_shown(spelled: str, name: str) -> None:
    header = [*(each for each in PLAIN if each != name), spelled.title()]
    columns = match_columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS)
    assert columns[len(header) - 1] == name
    assert read_as(header, PART_COLUMNS) == {spelled.title(): name}


def test_two_columns_for_one_name_are_refused_by_name() -> None:
    assert [column for column, _what in faults_of([*PLAIN, "Qty", "quantity"])] == ["Qty, quantity"]
    assert [column for column, _what in faults_of([*PLAIN, "part"])] == ["part"]


def test_a_column_that_nobody_knows_is_refused_with_the_nearest_known_ones() -> None:
    ((column, what),) = faults_of([*PLAIN, "machine"])
    assert column == "machine"
    assert "nearest: machining. Name it so" in what
    ((_column, what),) = faults_of([*PLAIN, "partbox"])
    assert "Give it one of these names" in what
    ((_column, what),) = faults_of([*PLAIN, "xyzzy"])
    assert "known: cabinet, part" in what


def test_a_column_that_is_ignored_means_nothing_whatever_it_is_called() -> None:
    header = [*PLAIN, "Count", "quantity", "xyzzy"]
    columns = match_columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS, ignore=["count", " XYZZY ", ""])
    assert list(columns.values()) == [*PLAIN, "quantity"]
    assert read_as(header, PART_COLUMNS, ["count"]) == {}


def test_a_column_without_a_heading_is_none_while_it_is_empty() -> None:
    header = ["", *PLAIN, " "]
    assert list(match_columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS)) == [1, 2, 3, 4, 5]
    assert list(wrong_width(header, 2, ["", "1", "End", "700", "500", "18", " "])) == []
    wrong = list(wrong_width(header, 2, ["x", "1", "End", "700", "500", "18", "y"]))
    assert [fault.where for fault in wrong] == [{"line": 2, "column": "A"}, {"line": 2, "column": "G"}]
    assert wrong[0].what == "'x' stands in a column without a heading; wanted: a heading, or no value"


def test_columns_are_lettered_as_spreadsheets_show_them() -> None:
    assert [column_letter(place) for place in (0, 25, 26, 52, 701, 702)] == ["A", "Z", "AA", "BA", "ZZ", "AAA"]


def test_formulas_are_told_with_the_headings_but_in_no_column_that_is_ignored() -> None:
    header = [*PLAIN, "quantity", "qty", "machine"]
    formulas = [Formula(line=2, place=place) for place in (2, 7)]

    def wrong(*ignore: str) -> list[tuple[object, str]]:
        with pytest.raises(InvalidInputError) as refused:
            match_columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS, ignore=ignore, formulas=formulas)
        return [(fault.where.get("cell"), fault.where["column"]) for fault in refused.value.faults]

    told = [("C2", "length")]
    assert wrong() == [(None, "machine"), (None, "quantity, qty"), *told]
    assert wrong("machine", "qty") == told
    formulas = formulas[1:2]
    assert match_columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS, ignore=["machine", "qty"], formulas=formulas)


def test_a_formula_in_a_column_without_a_heading_asks_for_the_heading_as_any_value_does() -> None:
    def wrong(*places: int) -> InvalidInputError:
        formulas = [Formula(line=2, place=place) for place in places]
        with pytest.raises(InvalidInputError) as refused:
            match_columns([*PLAIN, " "], PART_COLUMNS, NEEDED_PART_COLUMNS, formulas=formulas)
        return refused.value

    what = "a formula stands in a column without a heading; wanted: a heading, or no value"
    alone = wrong(5, 6)  # the last is beyond the first line
    assert [(fault.where["cell"], fault.what) for fault in alone.faults] == [("F2", what), ("G2", what)]
    assert "first line has faults" in alone.detail
    assert [fault.what.split()[2] for fault in wrong(2, 5).faults] == ["stands", "without"]


@pytest.mark.parametrize("absent", NEEDED_PART_COLUMNS)
def test_of_a_table_that_lacks_a_column_that_column_alone_is_told(absent: str) -> None:
    header = [name for name in PLAIN if name != absent]
    with pytest.raises(InvalidInputError) as refused:
        match_columns(header, PART_COLUMNS, NEEDED_PART_COLUMNS)
    assert [(fault.where["column"], fault.what) for fault in refused.value.faults] == [
        (absent, "this column is needed and is not there")
    ]
    assert refused.value.detail == "The first line has faults. Nothing was stored; mend these and send it again."


def test_to_a_table_of_another_kind_both_kinds_of_an_order_are_told() -> None:
    with pytest.raises(InvalidInputError) as refused:
        match_columns(["name", "quantity"], PART_COLUMNS, NEEDED_PART_COLUMNS)
    assert "does not name the columns" in refused.value.detail
    assert "A cut list has cabinet, part" in refused.value.detail
    assert "a table of cabinets has cabinet, family" in refused.value.detail
    with pytest.raises(InvalidInputError, match="A table of items has box, item, quantity") as refused:
        read_items(["name", "number"], [])
    assert "cut list" not in refused.value.detail


def test_a_table_of_cabinets_without_the_family_is_told_that_alone() -> None:
    header = ["cabinet", "width", "height", "depth", "fronts"]
    assert is_of_cabinets(header)
    assert not is_of_cabinets([*PLAIN, "height", "depth"])
    with pytest.raises(InvalidInputError) as refused:
        match_columns(header, CABINET_COLUMNS, NEEDED_CABINET_COLUMNS)
    assert [(fault.where["column"], fault.what) for fault in refused.value.faults] == [
        ("family", "this column is needed and is not there")
    ]


def test_a_heading_in_millimetres_is_refused_in_a_job_in_inches() -> None:
    header = ["cabinet", "part", "length (mm)", "width", "thickness"]
    assert [column for column, _what in faults_of(header, inches=True)] == ["length (mm)"]


def test_a_table_of_cabinets_knows_the_same_names() -> None:
    header = ["cab", "family", "w", "height", "depth", "qty"]
    columns = match_columns(header, CABINET_COLUMNS, NEEDED_CABINET_COLUMNS)
    assert list(columns.values()) == ["cabinet", "family", "width", "height", "depth", "quantity"]
