"""Files of every kind that arrives: read steadily or refused plainly, never a dead process."""

import csv
import io
import re
import struct
import tracemalloc
import zipfile
from collections import deque
from collections.abc import Callable, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from random import Random
from tempfile import SpooledTemporaryFile
from typing import Any

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.examples import MORE, examples
from tracker.shop.cabinets.standard import EDGES
from tracker.shop.columns import Formula
from tracker.shop.cutlist import PART_COLUMNS, read_parts
from tracker.shop.errors import InvalidInputError, ShopError, TooLargeError
from tracker.shop.lengths import Units
from tracker.shop.orders import PartLine
from tracker.shop.steps import Supply
from tracker.work.table_files import (
    LARGEST_FILE,
    LARGEST_SHARED_STRINGS,
    LAST_LINE,
    MOST_ELEMENTS_OF_A_ROW,
    MOST_ELEMENTS_OF_OTHER_PARTS,
    MOST_FORMULAS_OF_A_COLUMN,
    MOST_MEMBERS,
    MOST_ROWS,
    read_table,
)

HEADER = ["cabinet", "part", "length", "width", "thickness", "material"]
ROW = ["101", "Deck", "564", "560.5", "18", "White"]
HEADER_LINE = ",".join(HEADER) + "\n"


def rows_of(content: bytes) -> tuple[list[str], list[tuple[int, list[str]]]]:
    with read_table(io.BytesIO(content)) as table:
        return list(table.header), [(line, list(cells)) for line, cells in table.rows]


def parts_of(content: bytes) -> tuple[PartLine, ...]:
    with read_table(io.BytesIO(content)) as table:
        return read_parts(table.header, table.rows, Units.MM, ignore=["größe"], formulas=table.formulas)


def faults_of(content: bytes) -> list[tuple[object, str]]:
    with pytest.raises(InvalidInputError) as caught:
        parts_of(content)
    return [(fault.where.get("line"), fault.what) for fault in caught.value.faults]


def sheet(*rows: Sequence[Any]) -> bytes:
    book = openpyxl.Workbook(write_only=True)
    made = book.create_sheet()
    for row in rows:
        made.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def changed(content: bytes, change: Callable[[str, bytes], bytes], **more: bytes) -> bytes:
    """A package with its parts changed one by one, and more of them beside."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(content)) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for name in source.namelist():
            target.writestr(name, change(name, source.read(name)))
        for name, part in more.items():
            target.writestr(name, part)
    return out.getvalue()


def with_sheet_data(data: bytes, content: bytes | None = None, **more: bytes) -> bytes:
    def change(name: str, part: bytes) -> bytes:
        start, end = part.find(b"<sheetData>"), part.find(b"</sheetData>")
        return part[:start] + b"<sheetData>" + data + part[end:] if name.startswith("xl/worksheets/") else part

    return changed(sheet(HEADER, ROW) if content is None else content, change, **more)


# Characters that Windows-1252 and UTF-8 both have; in a name, none that are trimmed or refused.
NAMES = st.text(
    st.characters(codec="cp1252", exclude_categories=["C", "Z"]) | st.sampled_from(' ,;"/'), min_size=1, max_size=12
).map(lambda text: f"x{text}x")
SIZES = st.decimals(Decimal(10), Decimal(6000), places=2)
LINES = st.fixed_dictionaries(
    {
        "cabinet": NAMES,
        "part": NAMES,
        "quantity": st.integers(1, 500),
        "length": SIZES,
        "width": SIZES,
        "thickness": st.decimals(Decimal("0.3"), Decimal(100), places=2),
        "material": NAMES | st.just(""),
        "edges": st.sets(st.sampled_from(EDGES)),
        "machining": NAMES | st.just(""),
        "supply": st.sampled_from(Supply),
        "box": NAMES | st.just(""),
        "room": NAMES | st.just(""),
        "drop": NAMES | st.just(""),
    }
)


def spelled(line: dict[str, Any], mark: str) -> dict[str, str]:
    return {
        **{name: str(value) for name, value in line.items()},
        **{name: str(line[name]).replace(".", mark) for name in ("length", "width", "thickness")},
        "edges": " ".join(line["edges"]),
        "größe": "no byte of this name is UTF-8 in Windows-1252",
    }


def as_part(line: dict[str, Any]) -> PartLine:
    return PartLine(
        cabinet=line["cabinet"],
        part=line["part"],
        quantity=line["quantity"],
        length_mm=float(line["length"]),
        width_mm=float(line["width"]),
        thickness_mm=float(line["thickness"]),
        material=line["material"],
        edges=tuple(edge for edge in EDGES if edge in line["edges"]),
        machining=line["machining"],
        supply=line["supply"],
        box=line["box"],
        room=line["room"],
        drop=line["drop"],
    )


@examples(20)
@given(
    lines=st.lists(LINES, min_size=1, max_size=4),
    columns=st.permutations([*PART_COLUMNS, "größe"]),
    separator=st.sampled_from([",", ";", "\t"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "cp1252"]),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    mark=st.sampled_from([".", ","]),
)
def test_any_lines_in_any_dialect_read_back_as_they_were(
    lines: list[dict[str, Any]], columns: list[str], separator: str, encoding: str, end: str, mark: str
) -> None:
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, delimiter=separator, lineterminator=end)
    writer.writerow({name: f" {name.title()}" for name in columns})
    writer.writerows(spelled(line, mark) for line in lines)
    assert parts_of(out.getvalue().encode(encoding)) == tuple(as_part(line) for line in lines)


@examples(10)
@given(st.lists(LINES, min_size=1, max_size=4), st.permutations(PART_COLUMNS))
def test_any_lines_in_a_spreadsheet_read_back_as_they_were(lines: list[dict[str, Any]], columns: list[str]) -> None:
    rows = [[line[name] if name != "edges" else "+".join(line[name]) for name in columns] for line in lines]
    assert parts_of(sheet(columns, *rows)) == tuple(as_part(line) for line in lines)


def test_a_formula_without_a_stored_value_is_refused_with_its_cell_and_column() -> None:
    book = openpyxl.Workbook()
    rows = (HEADER_LINE.strip().split(","), ["101", "Deck", "=500+64", 560, 18, "W"], ["102", "End", 720, 560, 18, "W"])
    for row in rows:
        book.worksheets[0].append([*row, "=1+1" if row[0] == "101" else "größe"])  # a column that is ignored
    book.create_sheet("notes").append(["=1+1"])  # only the first sheet is read
    out = io.BytesIO()
    book.save(out)  # openpyxl works no formula out
    with pytest.raises(InvalidInputError) as caught:
        parts_of(out.getvalue())
    what = "a formula without a value; save the file in a spreadsheet program"
    assert [(dict(fault.where), fault.what) for fault in caught.value.faults] == [
        ({"line": 2, "cell": "C2", "column": "length"}, what)
    ]


def test_a_formula_without_a_value_is_found_where_cells_and_rows_have_no_names() -> None:
    plain = sheet(HEADER_LINE.strip().split(","), ["101", "Deck", 564, 560, 18, "W"])

    def unnamed(name: str, content: bytes) -> bytes:
        if name != "xl/worksheets/sheet1.xml":
            return content
        content = content.replace(b"<v>560</v>", b"<f>500+60</f>")
        return re.sub(rb'(<(?:row|c)) r="[^"]*"', rb"\1", content)

    with read_table(io.BytesIO(changed(plain, unnamed))) as table:
        assert list(table.formulas) == [Formula(line=2, place=3)]


def test_formulas_in_one_column_hide_none_in_another() -> None:
    rows = [["101", "Deck", 564, 560, 18, "W", "=1+1"]] * (2 * MOST_FORMULAS_OF_A_COLUMN)
    book = sheet([*HEADER, "größe"], *rows, ["101", "Deck", "=1", 560, 18, "W"])
    with read_table(io.BytesIO(book)) as table:
        assert table.formulas[-1] == Formula(line=len(rows) + 2, place=2)
    assert faults_of(book) == [(len(rows) + 2, "a formula without a value; save the file in a spreadsheet program")]


def test_a_formula_with_its_value_is_read_as_the_value_also_where_that_is_empty() -> None:
    plain = sheet(HEADER_LINE.strip().split(","), ["101", "Deck", 564, 560, 18, "W"])

    def worked_out(name: str, content: bytes) -> bytes:
        if name != "xl/worksheets/sheet1.xml":
            return content
        assert b"<v>564</v>" in content
        content = content.replace(b"<v>564</v>", b"<f>500+64</f><v>564</v>")
        return re.sub(rb'<c r="F2"[^>]*>.*?</c>', b'<c r="F2" t="str"><f>""</f><v></v></c>', content)

    (line,) = parts_of(changed(plain, worked_out))
    assert (line.length_mm, line.material) == (564, "")


def test_windows_1252_is_read_when_the_whole_file_is_not_utf_8() -> None:
    far = HEADER_LINE + "101,Deck,564,560,18,White\n" * 4_000 + "101,Türe €,564,560,18,é\n"
    assert parts_of(far.encode("cp1252"))[-1].part == "Türe €"
    assert parts_of(far.encode())[-1].part == "Türe €"


def test_a_row_is_known_by_its_first_line_though_a_cell_before_it_has_several() -> None:
    found = faults_of((HEADER_LINE + '101,Deck,564,560,18,"in\r\nlines"\n\n102,Deck,wide,560,18,\n').encode())
    assert [line for line, _what in found] == [2, 5]
    assert "one line" in found[0][1]
    assert "'wide'" in found[1][1]


def test_a_mark_for_inches_needs_no_care_in_a_csv_file() -> None:
    table = read_table(io.BytesIO((HEADER_LINE + '101,Deck,23 1/4",22-1/16","3/4""",White\n').encode()))
    (line,) = read_parts(table.header, table.rows, Units.INCH)
    assert (line.length_mm, line.width_mm, line.thickness_mm) == (590.55, 560.3875, 19.05)


def test_a_cell_is_not_split_at_the_rarer_line_ends() -> None:
    assert rows_of((HEADER_LINE + "101,a\u2028b\x0cc\x85d,1,2,3,4\n").encode())[1] == [
        (2, ["101", "a\u2028b\x0cc\x85d", "1", "2", "3", "4"])
    ]


@pytest.mark.parametrize(
    ("content", "line", "why"),
    [
        (b"", None, "empty"),
        (b"   \n", 1, "are not there"),
        (b"word", 1, "nobody knows this column"),
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3", 1, "nobody knows this column"),
        (b"\xff\xd8\xff\xe0\x00\x10JFIF\x00\x01", 1, "no text"),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR", 3, "no text"),
        (b"PK\x05\x06" + b"\0" * 18, 1, "no text"),
        (HEADER_LINE.encode() + b"101,De\0ck,564,560,18,W\n", 2, "NUL"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600, None, "without a password"),
        (HEADER_LINE.encode("utf-16"), None, "UTF-16"),
        (HEADER_LINE.encode("utf-16-be"), 1, "no text"),
        (b"PK\x03\x04 not really", None, "damaged"),
        (b'cabinet,part,length,width,thickness\n101,End,1,2,3\n101,"Deck,1,2,3\n102,End,1,2,3\n', 3, "quotation"),
        (b'cabinet,part,length,width,thickness\n101,"De"ck,1,2,3\n', 2, "quotation"),
        (b"cabinet,part,length,width,thickness\n101," + b"x" * 20_000 + b",1,2,3\n", 2, "10000 characters"),
        (b"cabinet,part,length,width,thickness\n101," + b"x" * 1_100_000, 2, "1000000 characters"),
        (b"cabinet,part,length,width,thickness\n" + b"," * 500 + b"\n", 2, "200 columns"),
        (b"\x81\x8d\x8f,\xff\xfe\n", None, "neither UTF-8 nor"),
        (HEADER_LINE.encode() + b"101,T\xc3", 2, "wanted"),
    ],
)
def test_a_file_that_is_no_cut_list_is_refused_plainly(content: bytes, line: int | None, why: str) -> None:
    found = faults_of(content)
    assert found[0][0] == line
    assert why in found[0][1]


def test_more_rows_than_a_job_may_have_are_refused_while_they_are_read() -> None:
    for content in (b"1,End\n" * (MOST_ROWS + 1), b"\n" * LAST_LINE):
        with (
            read_table(io.BytesIO(HEADER_LINE.encode() + content)) as table,
            pytest.raises(TooLargeError, match="rows"),
        ):
            deque(table.rows, maxlen=0)
    with read_table(io.BytesIO(HEADER_LINE.encode() + b"1,End\n" * MOST_ROWS)) as table:
        assert sum(1 for _row in table.rows) == MOST_ROWS


def test_a_file_over_the_limit_is_refused_by_its_size(tmp_path: Path) -> None:
    with (tmp_path / "list.csv").open("w+b") as file:
        file.write(HEADER_LINE.encode())
        file.truncate(LARGEST_FILE + 1)
        with pytest.raises(TooLargeError, match="limit"):
            read_table(file)


def test_a_spreadsheets_first_sheet_is_read_and_its_numbers_are_plain() -> None:
    rows: list[list[Any]] = [
        ["101", "Deck", 564, 560.5, 18.0, None],
        ["102", "End", 0.1 + 0.2, 1e3, True, "x"],
        [103, None, date(2026, 3, 4), None, 18, ""],
    ]
    header, found = rows_of(sheet(HEADER, *rows))
    assert header == HEADER
    assert found == [
        (2, ["101", "Deck", "564", "560.5", "18"]),
        (3, ["102", "End", "0.3", "1000", "True", "x"]),
        (4, ["103", "", "2026-03-04 00:00:00", "", "18"]),
    ]


def test_a_date_is_reported_in_its_cell() -> None:
    found = faults_of(sheet(HEADER, ROW, ["101", "Deck", 564, date(2026, 3, 4), 18, None]))
    assert [(line, what.partition(":")[0]) for line, what in found] == [(3, "'2026-03-04 00")]


def test_a_row_of_a_spreadsheet_is_known_by_its_number_though_rows_are_left_out() -> None:
    data = b"""<row r="1"><c r="A1" t="inlineStr"><is><t>cabinet</t></is></c></row>
               <row r="5"><c r="A5"><v>101</v></c></row><row r="9"><c r="B9"><v>7</v></c></row>"""
    _header, found = rows_of(with_sheet_data(data))
    assert [(line, cells) for line, cells in found if cells] == [(5, ["101"]), (9, ["", "7"])]


def test_rows_that_the_library_would_leave_out_in_silence_are_refused() -> None:
    data = b'<row r="1"><c><v>1</v></c></row><row r="3"><c><v>3</v></c></row><row r="2"><c><v>2</v></c></row>'
    assert faults_of(with_sheet_data(data)) == [
        (2, "the rows are not stored in order: open the file in a spreadsheet program and save it")
    ]


def shared(strings: Sequence[str], data: bytes) -> bytes:
    """A spreadsheet whose texts stand apart from its cells, as spreadsheet programs write them."""
    texts = "".join(f"<si><t>{text}</t></si>" for text in strings)
    part = f'<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">{texts}</sst>'
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    named = changed(
        sheet(HEADER),
        lambda name, content: (
            content.replace(
                b"</Types>", f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}"/></Types>'.encode()
            )
            if name == "[Content_Types].xml"
            else content
        ),
    )
    return with_sheet_data(data, named, **{"xl/sharedStrings.xml": part.encode()})


def test_texts_that_stand_apart_from_their_cells_are_read() -> None:
    head = b"".join(b'<c t="s"><v>%d</v></c>' % number for number in range(6))
    row = b'<c><v>101</v></c><c t="s"><v>6</v></c><c><v>564</v></c><c><v>560.5</v></c><c><v>18</v></c>'
    (line,) = parts_of(shared([*HEADER, "Tür &amp; Wand"], b"<row>" + head + b"</row><row>" + row + b"</row>"))
    assert (line.part, line.width_mm) == ("Tür & Wand", 560.5)
    assert "damaged" in faults_of(shared(HEADER[:3], b"<row>" + head + b"</row>"))[0][1]


def test_a_zip_that_is_no_spreadsheet_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("letter.txt", "hello")
    assert "no spreadsheet" in faults_of(out.getvalue())[0][1]


def bomb_of_many_members() -> bytes:
    out = io.BytesIO(sheet(HEADER, ROW))
    with zipfile.ZipFile(out, "a") as archive:
        for number in range(MOST_MEMBERS):
            archive.writestr(f"xl/{number}", b"")
    return out.getvalue()


def bomb_of_zeros(name: str, size: int) -> bytes:
    out = io.BytesIO(sheet(HEADER, ROW))
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive, archive.open(name, "w") as member:
        for _chunk in range(size >> 20):
            member.write(bytes(1 << 20))
    return out.getvalue()


@pytest.mark.parametrize(
    ("bomb", "why"),
    [
        (lambda: bomb_of_zeros("xl/bomb.bin", 300 << 20), "unpacks to 31"),
        (lambda: bomb_of_zeros("xl/sharedStrings.xml", LARGEST_SHARED_STRINGS + (1 << 20)), "unpacks to 6"),
        (lambda: bomb_of_zeros("xl/bomb.bin", 2 << 20), "100 times its size"),
        (bomb_of_many_members, "2000 parts"),
        (lambda: with_sheet_data(b"<row>" + b"<c/>" * MOST_ELEMENTS_OF_A_ROW + b"<c/></row>"), "more cells"),
        (lambda: with_sheet_data(b"<row>" + b"<c/><row/>" * MOST_ELEMENTS_OF_A_ROW + b"</row>"), "more cells"),
        (lambda: with_sheet_data(b"", **{"xl/x": b"<a>" + b"<a/>" * MOST_ELEMENTS_OF_OTHER_PARTS + b"</a>"}), "cells"),
    ],
)
def test_a_bomb_is_refused_before_it_goes_off(bomb: Callable[[], bytes], why: str) -> None:
    content = bomb()
    assert len(content) < 1_000_000
    tracemalloc.start()
    try:
        with pytest.raises(TooLargeError, match=why):
            rows_of(content)
        assert tracemalloc.get_traced_memory()[1] < 8_000_000
    finally:
        tracemalloc.stop()


def test_a_part_that_declares_less_than_it_holds_is_refused() -> None:
    content = bytearray(with_sheet_data(b"<row>" + b"<c/>" * 50_000 + b"</row>"))
    (entry,) = [
        place
        for place in range(len(content))
        if content.startswith(b"PK\x01\x02", place) and content.startswith(b"xl/worksheets/", place + 46)
    ]
    content[entry + 24 : entry + 28] = struct.pack("<I", 1_000)  # the unpacked size, in the central directory
    assert "damaged" in faults_of(bytes(content))[0][1]


def test_a_spreadsheet_with_entities_is_refused_not_expanded() -> None:
    def change(name: str, content: bytes) -> bytes:
        if not name.startswith("xl/worksheets/"):
            return content
        entities = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]>'
        return entities + content[content.index(b"<worksheet") :].replace(b"Deck", b"&b;")

    assert "ValueError" in faults_of(changed(sheet(HEADER, ROW), change))[0][1]


def test_the_library_reads_with_the_guarded_parser() -> None:
    assert openpyxl.DEFUSEDXML is True


@pytest.mark.filterwarnings("ignore::UserWarning:openpyxl")
def test_a_damaged_spreadsheet_is_read_or_refused_but_nothing_else() -> None:
    good = sheet(HEADER, ROW)
    chance = Random(5)
    said = set()
    for _try in range(100 * MORE):
        content = bytearray(good)
        for _byte in range(chance.randint(1, 4)):
            content[chance.randrange(len(content))] = chance.randrange(256)
        said.add(outcome_of(bytes(content)))
    for _try in range(100 * MORE):
        said.add(outcome_of(changed(good, lambda _name, part: scribbled(part, chance))))
    assert said == {"read", "refused"}


def scribbled(part: bytes, chance: Random) -> bytes:
    if chance.random() < 0.8:
        return part
    place = chance.randrange(len(part))
    return part[:place] + bytes(chance.choices(b'<>/"=19-#eE.tr ', k=2)) + part[place + chance.randrange(3) :]


def outcome_of(content: bytes) -> str:
    try:
        parts_of(content)
    except ShopError:
        return "refused"
    return "read"


def many_rows(count: int) -> list[list[Any]]:
    return [[str(row // 8), f"Panel {row}", 560.5 + row % 99, 500, 18, f"Board {row % 20}"] for row in range(count)]


def long_csv(count: int) -> bytes:
    out = io.StringIO(newline="")
    csv.writer(out).writerows([HEADER, *many_rows(count)])
    return out.getvalue().encode()


def long_sheet(count: int) -> bytes:
    return sheet(HEADER, *many_rows(count))


def peak_of(content: bytes, count: int) -> int:
    """How many bytes are in use at once while a list of so many rows is read."""
    tracemalloc.start()
    try:
        assert len(parts_of(content)) == count
        return tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()


@pytest.mark.parametrize(("made", "count"), [(long_csv, 2_000), (long_sheet, 500)])
def test_a_long_list_needs_little_more_memory_than_its_lines(made: Callable[[int], bytes], count: int) -> None:
    """100 MB for 100,000 rows is 1,000 bytes a row; the fixed part is allowed 3 MB."""
    one, three = (peak_of(made(times * count), times * count) for times in (1, 3))
    assert one < 3_000_000 + 1_000 * count
    assert three - one < 1_000 * 2 * count


def test_leaving_a_table_half_read_lets_go_of_it_but_not_of_the_file() -> None:
    for content in (HEADER_LINE.encode() * 9, sheet(HEADER, ROW, ROW)):
        file = io.BytesIO(content)
        with read_table(file) as table:
            next(iter(table.rows))
        assert list(table.rows) == []
        assert file.getvalue() == content


@pytest.mark.parametrize("content", [HEADER_LINE.encode() * 9, sheet(HEADER, ROW, ROW)])
@pytest.mark.parametrize("kept_in_memory", [0, 10])
def test_an_upload_is_read_from_its_temporary_file_which_may_be_closed_early(
    content: bytes, kept_in_memory: int
) -> None:
    with SpooledTemporaryFile(max_size=kept_in_memory) as file:
        file.write(content)
        table = read_table(file)
        assert next(table.rows)[0] == 2
    table.rows.close()
