"""Read a table from a file, CSV or XLSX: row by row, within limits, and told plainly when it is no table."""

import codecs
import csv
import io
import zipfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import IO, Final
from xml.etree.ElementTree import ParseError

import openpyxl
from openpyxl.utils.exceptions import InvalidFileException

from tracker.shop.cutlist import ITEM_COLUMNS, PART_COLUMNS, Row
from tracker.shop.errors import Fault, InvalidInputError, TooLargeError

LARGEST_FILE: Final = 64 * 1024 * 1024
MOST_ROWS: Final = 201_000
MOST_COLUMNS: Final = 200
LONGEST_CELL: Final = 10_000
LARGEST_UNPACKED: Final = 250 * 1024 * 1024
LARGEST_SHARED_STRINGS: Final = 60 * 1024 * 1024
MOST_MEMBERS: Final = 2_000
_ZIP: Final = b"PK\x03\x04"
_OLD_EXCEL: Final = b"\xd0\xcf\x11\xe0"
_KNOWN: Final = frozenset((*PART_COLUMNS, *ITEM_COLUMNS))


@dataclass(frozen=True, slots=True)
class Table:
    """A table: the names in its first line, and its further rows with their line numbers."""

    header: Sequence[str]
    rows: Iterable[Row]


def read_table(file: IO[bytes]) -> Table:
    """Open a table. Its kind is told from its content. The file must stay open while the rows are read.

    Raises InvalidInputError for a file that is no table, TooLargeError for one over the limits.
    """
    size = file.seek(0, io.SEEK_END)
    file.seek(0)
    start = file.read(4)
    file.seek(0)
    if size > LARGEST_FILE:
        raise TooLargeError(f"The file has {size / 1e6:.0f} MB; the limit is {LARGEST_FILE / 1e6:.0f} MB.")
    if not start.strip():
        raise _no_table("it is empty")
    if start == _ZIP:
        rows = _xlsx_rows(file)
    elif start == _OLD_EXCEL:
        raise _no_table("it is an old or an encrypted spreadsheet: save it as .xlsx without a password")
    else:
        rows = _csv_rows(file)
    numbered = _limited(rows)
    _line, header = next(numbered, (1, ()))
    return Table(header=header, rows=numbered)


def _no_table(why: str, line: int | None = None) -> InvalidInputError:
    where = {} if line is None else {"line": line}
    return InvalidInputError("The file cannot be read as a table. Nothing was stored.", [Fault(where=where, what=why)])


def _limited(rows: Iterator[Row]) -> Iterator[Row]:
    for count, (line, cells) in enumerate(rows):
        if count > MOST_ROWS:
            raise TooLargeError(f"The table has more than {MOST_ROWS} rows. Split it into several jobs.")
        if len(cells) > MOST_COLUMNS:
            raise _no_table(f"more than {MOST_COLUMNS} columns", line)
        yield line, cells


# CSV


def _csv_rows(file: IO[bytes]) -> Iterator[Row]:
    encoding = _encoding(file)
    file.seek(0)
    text = codecs.getreader(encoding)(file)
    first = text.readline(LONGEST_CELL * 2)
    separator = max(",;\t", key=lambda mark: _known_names(first, mark))
    file.seek(0)
    text = codecs.getreader(encoding)(file)
    csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(text, delimiter=separator, strict=True)
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as error:
        raise _no_table(f"{error}: look for a quotation mark too many", reader.line_num) from error


def _known_names(line: str, separator: str) -> int:
    return sum(name.strip().strip('"').lower() in _KNOWN for name in line.split(separator))


def _encoding(file: IO[bytes]) -> str:
    """UTF-8 if the whole file is that, otherwise Windows-1252."""
    decoder = codecs.getincrementaldecoder("utf-8-sig")()
    file.seek(0)
    utf8 = True
    while chunk := file.read(1 << 20):
        if b"\0" in chunk:
            raise _no_table("it is no text: send CSV in UTF-8 or Windows-1252, or XLSX")
        if utf8:
            try:
                decoder.decode(chunk)
            except UnicodeDecodeError:
                utf8 = False
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        utf8 = False
    return "utf-8-sig" if utf8 else _windows(file)


def _windows(file: IO[bytes]) -> str:
    file.seek(0)
    while chunk := file.read(1 << 20):
        try:
            chunk.decode("cp1252")
        except UnicodeDecodeError:
            raise _no_table("its characters are neither UTF-8 nor Windows-1252") from None
    return "cp1252"


# XLSX


def _xlsx_rows(file: IO[bytes]) -> Iterator[Row]:
    _check_zip(file)
    try:
        book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
    except (InvalidFileException, KeyError, ValueError, ParseError, zipfile.BadZipFile, OSError) as error:
        raise _no_table(f"it is no readable spreadsheet ({type(error).__name__})") from error
    try:
        sheet = book.worksheets[0] if book.worksheets else None
        if sheet is None:
            raise _no_table("the spreadsheet has no sheet")
        sheet.reset_dimensions()
        for line, cells in enumerate(sheet.iter_rows(values_only=True), start=1):
            yield line, _cells(cells)
    except (KeyError, ValueError, ParseError, zipfile.BadZipFile, EOFError) as error:
        raise _no_table(f"the sheet is damaged ({type(error).__name__})") from error
    finally:
        book.close()


def _check_zip(file: IO[bytes]) -> None:
    """Refuse a bomb before it is opened: zipfile reads no member beyond the size that it declares."""
    try:
        with zipfile.ZipFile(file) as archive:
            members = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError) as error:
        raise _no_table("it is a damaged zip archive") from error
    names = {member.filename for member in members}
    if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
        raise _no_table("it is a zip archive, but no spreadsheet")
    strings = sum(member.file_size for member in members if member.filename == "xl/sharedStrings.xml")
    unpacked = sum(member.file_size for member in members)
    if len(members) > MOST_MEMBERS or unpacked > LARGEST_UNPACKED or strings > LARGEST_SHARED_STRINGS:
        raise TooLargeError(f"The spreadsheet unpacks to {unpacked / 1e6:.0f} MB: too large. Save only the cut list.")
    file.seek(0)


def _cells(values: Sequence[object]) -> list[str]:
    """A row without the empty cells at its end: spreadsheets often have many."""
    used = len(values)
    while used and values[used - 1] is None:
        used -= 1
    return [_cell(value) for value in values[:used]]


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        return f"{value:.9f}".rstrip("0").rstrip(".") if abs(value) < 1e9 else repr(value)
    return str(value)[:LONGEST_CELL]
