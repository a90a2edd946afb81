"""Files of every kind that arrives: read steadily or refused plainly, never a dead process."""

import csv
import io
import zipfile
from typing import Any

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.shop.cutlist import read_parts
from tracker.shop.errors import InvalidInputError, ShopError, TooLargeError
from tracker.shop.lengths import Units
from tracker.work.table_files import LARGEST_FILE, read_table

HEADER = ["cabinet", "part", "length", "width", "thickness", "material"]
ROW = ["101", "Deck", "564", "560.5", "18", "White"]


def rows_of(content: bytes) -> tuple[list[str], list[tuple[int, list[str]]]]:
    table = read_table(io.BytesIO(content))
    return list(table.header), [(line, list(cells)) for line, cells in table.rows]


def parts_of(content: bytes) -> None:
    table = read_table(io.BytesIO(content))
    read_parts(table.header, table.rows, Units.MM)


def sheet(*rows: list[Any]) -> bytes:
    book = openpyxl.Workbook(write_only=True)
    made = book.create_sheet()
    for row in rows:
        made.append(row)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


# Characters that both encodings have and that no CSV dialect treats in a special way at the ends of a cell.
CELLS = st.text(st.characters(codec="cp1252", exclude_categories=["C", "Z"]) | st.sampled_from(' ,;"'), max_size=12)


@given(
    st.lists(st.lists(CELLS, min_size=6, max_size=6), min_size=1, max_size=5),
    st.sampled_from([",", ";", "\t"]),
    st.sampled_from(["utf-8", "utf-8-sig"]),
    st.sampled_from(["\n", "\r\n"]),
)
def test_a_table_comes_back_whatever_its_dialect(rows: list[list[str]], mark: str, encoding: str, end: str) -> None:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=mark, lineterminator=end).writerows([HEADER, *rows])
    header, found = rows_of(out.getvalue().encode(encoding))
    assert header == HEADER
    assert [cells for _line, cells in found] == rows


def test_windows_1252_is_read_when_it_is_not_utf_8() -> None:
    _header, found = rows_of((",".join(HEADER) + "\n101,Türe €,1,2,3,é\n").encode("cp1252"))
    assert found == [(2, ["101", "Türe €", "1", "2", "3", "é"])]


def test_a_spreadsheets_first_sheet_is_read_and_its_numbers_are_plain() -> None:
    content = sheet(HEADER, ["101", "Deck", 564, 560.5, 18.0, None], ["102", "End", 0.1 + 0.2, 1e3, True, "x"])
    header, found = rows_of(content)
    assert header == HEADER
    assert found[0] == (2, ["101", "Deck", "564", "560.5", "18"])
    assert found[1][1][2:4] == ["0.3", "1000"]


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"   \n",
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        b"%PDF-1.7\n%\xe2\xe3\xcf\xd3",
        b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\0" * 600,
        "cabinet\tpart\n".encode("utf-16"),
        b"PK\x03\x04 not really",
        b"word",
        b'cabinet,part,length,width,thickness\n101,"Deck,1,2,3\n',
        b"cabinet,part,length,width,thickness\n101," + b"x" * 20_000 + b",1,2,3\n",
        b"cabinet,part,length,width,thickness\n" + b"," * 500 + b"\n",
        b"\x81\x8d\x8f,\xff\xfe\n",
    ],
)
def test_a_file_that_is_no_cut_list_is_refused_plainly(content: bytes) -> None:
    with pytest.raises(ShopError) as caught:
        parts_of(content)
    assert "stored" in caught.value.detail


def test_a_zip_that_is_no_spreadsheet_is_refused() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("letter.txt", "hello")
    with pytest.raises(InvalidInputError):
        rows_of(out.getvalue())


def test_a_bomb_is_refused_before_it_goes_off() -> None:
    out = io.BytesIO(sheet(HEADER, ROW))
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive, archive.open("xl/bomb.bin", "w") as member:
        for _chunk in range(300):
            member.write(b"\0" * 1_000_000)
    assert len(out.getvalue()) < 1_000_000
    with pytest.raises(TooLargeError, match="unpacks to"):
        rows_of(out.getvalue())


def test_a_spreadsheet_with_entities_is_refused_not_expanded() -> None:
    source = zipfile.ZipFile(io.BytesIO(sheet(HEADER, ROW)))
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name in source.namelist():
            content = source.read(name)
            if name.startswith("xl/worksheets/"):
                bomb = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;">]>'
                content = bomb + content[content.index(b"<worksheet") :].replace(b"Deck", b"&b;")
            archive.writestr(name, content)
    source.close()
    with pytest.raises(InvalidInputError):
        rows_of(out.getvalue())


def test_a_file_over_the_limit_is_refused_by_its_size() -> None:
    class Large(io.BytesIO):
        def seek(self, place: int, whence: int = 0) -> int:
            return LARGEST_FILE + 1 if whence == io.SEEK_END else super().seek(place, whence)

    with pytest.raises(TooLargeError, match="limit"):
        read_table(Large(b"cabinet"))


def test_more_rows_than_a_job_may_have_are_refused_while_they_are_read() -> None:
    content = (",".join(HEADER) + "\n").encode() + b"1,End,700,500,18,\n" * 201_500
    table = read_table(io.BytesIO(content))
    with pytest.raises(TooLargeError):
        read_parts(table.header, table.rows, Units.MM)
