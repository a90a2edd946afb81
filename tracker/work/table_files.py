"""Read a table from a file, CSV or XLSX: row by row, within limits, and told plainly when it is no table."""

import codecs
import csv
import io
import lzma
import zipfile
import zlib
from collections import Counter
from collections.abc import Generator, Iterator, Mapping, Sequence
from contextlib import closing, suppress
from dataclasses import dataclass
from types import TracebackType
from typing import IO, Final, Self
from xml.parsers import expat

import openpyxl
from openpyxl.utils import column_index_from_string
from openpyxl.utils.exceptions import InvalidFileException

from tracker.shop.cabinets.orders import CABINET_COLUMNS
from tracker.shop.columns import Formula, column_of
from tracker.shop.cutlist import ITEM_COLUMNS, PART_COLUMNS, Row
from tracker.shop.errors import Fault, InvalidInputError, TooLargeError
from tracker.shop.lengths import spell_number
from tracker.shop.saying import Said, join, say

LARGEST_FILE: Final = 64 * 1024 * 1024
MOST_ROWS: Final = 201_000
LAST_LINE: Final = 1_048_576  # the last row that a spreadsheet program can show
MOST_COLUMNS: Final = 200
LONGEST_CELL: Final = 10_000
LONGEST_LINE: Final = 1_000_000
LARGEST_UNPACKED: Final = 250 * 1024 * 1024
LARGEST_SHARED_STRINGS: Final = 60 * 1024 * 1024
MOST_MEMBERS: Final = 2_000
MOST_TIMES_PACKED: Final = 100  # sheets of equal rows reach 15
SMALL_MEMBER: Final = 1024 * 1024
MOST_FORMULAS_OF_A_COLUMN: Final = 50  # told
MOST_ELEMENTS_OF_A_ROW: Final = 100_000
MOST_ELEMENTS_OF_A_SHEET: Final = 12_000_000
MOST_ELEMENTS_OF_THE_STRINGS: Final = 2_000_000
MOST_ELEMENTS_OF_OTHER_PARTS: Final = 200_000

_CHUNK: Final = 1 << 18
_ZIP: Final = b"PK\x03\x04"
_ZIP_MEMBER: Final = b"PK\x01\x02"
_OLD_EXCEL: Final = b"\xd0\xcf\x11\xe0"
_UTF_16: Final = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_NOT_IN_WINDOWS_1252: Final = b"\x81\x8d\x8f\x90\x9d"
_SHARED_STRINGS: Final = "xl/sharedstrings.xml"
_KNOWN: Final = frozenset((*PART_COLUMNS, *ITEM_COLUMNS, *CABINET_COLUMNS))
# What zipfile, expat and openpyxl raise, each where it first stumbles over a damaged file.
_DAMAGE: Final = (
    *(ArithmeticError, AttributeError, EOFError, LookupError, OSError, RuntimeError, SyntaxError, TypeError),
    *(ValueError, InvalidFileException, expat.ExpatError, lzma.LZMAError, zipfile.BadZipFile, zlib.error),
)
_SAVE_ANEW: Final = say("Save the cut list alone in a new spreadsheet, or as CSV.")


@dataclass(frozen=True, slots=True)
class Table:
    """A table: the names in its first line, and its further rows with their line numbers, to be read once.

    ``formulas`` are cells whose value is not known: each is read as an empty one. As a context manager it lets go of
    the file's inside when it is left; the file itself stays open.
    """

    header: Sequence[str]
    rows: Generator[Row]
    formulas: Sequence[Formula] = ()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.rows.close()


def read_table(file: IO[bytes]) -> Table:
    """Open a table. Its kind is told from its content. The file must stay open while the rows are read.

    Raises InvalidInputError for a file that is no table, TooLargeError for one over the limits, also while the rows
    are read.
    """
    size = file.seek(0, io.SEEK_END)
    if size > LARGEST_FILE:
        told = say(
            "The file has %(size)s MB; the limit is %(most)s MB.",
            size=f"{size / 1e6:.0f}",
            most=f"{LARGEST_FILE / 1e6:.0f}",
        )
        raise TooLargeError(told)
    formulas: list[Formula] = []
    rows = _limited(_rows_of_its_kind(file, formulas))
    first = next(rows, None)
    if first is None:
        raise _no_table(say("it is empty"))
    return Table(header=first[1], rows=rows, formulas=formulas)


def _rows_of_its_kind(file: IO[bytes], formulas: list[Formula]) -> Generator[Row]:
    file.seek(0)
    start = file.read(4)
    if start == _ZIP:
        return _xlsx_rows(file, formulas)
    if start == _OLD_EXCEL:
        raise _no_table(say("it is an old or an encrypted spreadsheet: save it as .xlsx without a password"))
    if start.startswith(_UTF_16):
        raise _no_table(say("it is text in UTF-16: save it as CSV in UTF-8"))
    return _csv_rows(file)


def _no_table(why: str, line: int | None = None) -> InvalidInputError:
    where = {} if line is None else {"line": line}
    told = say("The file cannot be read as a table. Nothing was stored.")
    return InvalidInputError(told, [Fault(where=where, what=why)])


def _too_large(why: Said) -> TooLargeError:
    return TooLargeError(join([why, _SAVE_ANEW], between=" "))


def _limited(rows: Generator[Row]) -> Generator[Row]:
    filled = 0
    with closing(rows):
        for line, cells in rows:
            filled += any(cells)
            if filled > MOST_ROWS + 1 or line > LAST_LINE:
                raise TooLargeError(
                    say("The table has more than %(most)s rows. Split it into several jobs.", most=MOST_ROWS)
                )
            if len(cells) > MOST_COLUMNS:
                raise _no_table(say("more than %(most)s columns", most=MOST_COLUMNS), line)
            yield line, cells


# CSV


def _csv_rows(file: IO[bytes]) -> Generator[Row]:
    text = io.TextIOWrapper(file, _encoding(file), newline="")
    try:
        text.seek(0)
        separator = _separator(text.readline(LONGEST_LINE))
        text.seek(0)
        yield from _split(text, separator)
    finally:
        if not file.closed:
            text.detach()


def _split(text: io.TextIOWrapper, separator: str) -> Iterator[Row]:
    """Number each row by its first line: a cell in quotation marks may hold line ends."""
    csv.field_size_limit(LONGEST_CELL)
    reader = csv.reader(_lines(text), delimiter=separator, strict=True)
    line = 1
    try:
        for cells in reader:
            yield line, cells
            line = reader.line_num + 1
    except csv.Error as error:
        why = say("a quotation mark without its partner, or a cell of more than %(most)s characters", most=LONGEST_CELL)
        raise _no_table(why, line) from error


def _lines(text: io.TextIOWrapper) -> Iterator[str]:
    number = 0
    while line := text.readline(LONGEST_LINE + 1):
        number += 1
        if len(line) > LONGEST_LINE:
            raise _no_table(say("a line of more than %(most)s characters", most=LONGEST_LINE), number)
        yield line


def _separator(first_line: str) -> str:
    return max(",;\t", key=lambda mark: _known_names(first_line, mark))


def _known_names(line: str, separator: str) -> int:
    return sum(column_of(name.strip().strip('"'), _KNOWN) is not None for name in line.split(separator))


def _encoding(file: IO[bytes]) -> str:
    """UTF-8 if the whole file is that, otherwise Windows-1252 if it can be."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    utf_8 = windows = True
    line = 1
    file.seek(0)
    while chunk := file.read(_CHUNK):
        if b"\0" in chunk:
            line += chunk.count(b"\n", 0, chunk.index(b"\0"))
            raise _no_table(say("a NUL byte: it is no text. Send CSV in UTF-8 or Windows-1252, or XLSX"), line)
        line += chunk.count(b"\n")
        utf_8 = utf_8 and _decodes(decoder, chunk)
        windows = windows and not any(byte in chunk for byte in _NOT_IN_WINDOWS_1252)
    if utf_8 and _decodes(decoder, b"", final=True):
        return "utf-8-sig"
    if windows:
        return "cp1252"
    raise _no_table(say("its characters are neither UTF-8 nor Windows-1252"))


def _decodes(decoder: codecs.IncrementalDecoder, chunk: bytes, *, final: bool = False) -> bool:
    try:
        decoder.decode(chunk, final)
    except UnicodeDecodeError:
        return False
    return True


# XLSX


def _xlsx_rows(file: IO[bytes], formulas: list[Formula]) -> Generator[Row]:
    """Give the rows of the first sheet; before the first, put its formulas without a value into ``formulas``."""
    uncounted = _check_package(file)
    try:
        book = openpyxl.load_workbook(file, read_only=True, data_only=True, keep_links=False)
    except _DAMAGE as error:
        raise _damaged(error) from error
    try:
        if not book.worksheets:
            raise _no_table(say("the spreadsheet has no sheet"))
        sheet = book.worksheets[0]
        part: str = sheet._worksheet_path  # type: ignore[attr-defined]  # noqa: SLF001 - nothing else tells it
        formulas += uncounted.get(part.lstrip("/").lower(), [])
        sheet.reset_dimensions()  # what a file says of its size may be wrong
        for line, values in enumerate(sheet.iter_rows(values_only=True), start=1):
            yield line, _cells(values)
    except _DAMAGE as error:
        raise _damaged(error) from error
    finally:
        book.close()


def _damaged(error: BaseException) -> InvalidInputError:
    kind = type(error).__name__
    return _no_table(say("it is no readable spreadsheet, or a damaged one (%(kind)s)", kind=kind))


def _check_package(file: IO[bytes]) -> dict[str, list[Formula]]:
    """Refuse what is no spreadsheet, and a small file that would fill the memory, before openpyxl opens it.

    Returns the cells with a formula and no value, by the part that they stand in.

    zipfile unpacks no member beyond the size that the archive declares, so that declared sizes are true bounds.
    """
    _check_member_count(file)
    try:
        with zipfile.ZipFile(file) as archive:
            members = archive.infolist()
            names = {member.filename for member in members}
            if "[Content_Types].xml" not in names or not any(name.startswith("xl/") for name in names):
                raise _no_table(say("it is a zip archive, but no spreadsheet"))
            _check_sizes(members)
            uncounted = {}
            for member in members:
                name = member.filename.lower()
                with archive.open(member) as part:
                    uncounted[name] = _check_elements(part, name)
            return uncounted
    except _DAMAGE as error:
        raise _damaged(error) from error


def _check_member_count(file: IO[bytes]) -> None:
    """Count the archive's entries by their signature: zipfile would first make an object of each of a million."""
    file.seek(0)
    count, tail = 0, b""
    while chunk := file.read(_CHUNK):
        count += (tail + chunk).count(_ZIP_MEMBER)
        tail = chunk[1 - len(_ZIP_MEMBER) :]
    if count > MOST_MEMBERS:
        raise _too_large(say("The spreadsheet has more than %(most)s parts.", most=MOST_MEMBERS))


def _check_sizes(members: Sequence[zipfile.ZipInfo]) -> None:
    unpacked = sum(member.file_size for member in members)
    strings = sum(member.file_size for member in members if member.filename.lower() == _SHARED_STRINGS)
    if unpacked > LARGEST_UNPACKED or strings > LARGEST_SHARED_STRINGS:
        raise _too_large(say("The spreadsheet unpacks to %(size)s MB: too large.", size=f"{unpacked / 1e6:.0f}"))
    if any(member.file_size > max(SMALL_MEMBER, MOST_TIMES_PACKED * member.compress_size) for member in members):
        raise _too_large(say("The spreadsheet unpacks to more than %(most)s times its size.", most=MOST_TIMES_PACKED))


class _Elements:
    """Watches a part's elements go by. A row is the third level of a sheet.

    openpyxl holds a row whole, some 300 bytes an element, and leaves out a row that is not numbered above the last.
    """

    def __init__(self, most: int, parser: expat.XMLParserType) -> None:
        self._most = most
        self._all = self._of_row = self._depth = self._row = 0
        self._cell, self._formula, self._value = "", False, False
        self._unnamed = 0  # cells since the last that was named
        self._in_column: Counter[int] = Counter()
        self.uncounted: list[Formula] = []
        self._parser = parser
        parser.StartElementHandler = self.start
        parser.EndElementHandler = self.end

    def start(self, name: str, attributes: Mapping[str, str]) -> None:
        self._depth += 1
        self._all += 1
        self._of_row = self._of_row + 1 if self._depth > 3 else 0
        if self._all > self._most or self._of_row > MOST_ELEMENTS_OF_A_ROW:
            raise _too_large(say("The spreadsheet has far more cells than a cut list needs."))
        if self._depth == 3 and name.endswith("row"):
            self._cell, self._unnamed = "", 0
            self._check_order(int(float(attributes.get("r", self._row + 1))))
        elif self._depth == 4:
            self._cell, self._unnamed = (attributes["r"], 0) if "r" in attributes else (self._cell, self._unnamed + 1)
            # A formula may come to an empty text; any other value is written out.
            self._formula, self._value = False, attributes.get("t") == "str"
        elif self._depth == 5 and name.rpartition(":")[2] == "f":
            self._formula = True
        elif self._depth == 5 and self._formula:
            self._parser.CharacterDataHandler = self._text

    def _text(self, _text: str) -> None:
        self._value = True
        self._parser.CharacterDataHandler = None

    def end(self, _name: str) -> None:
        if self._depth == 4 and self._formula:
            self._parser.CharacterDataHandler = None
            if not self._value:
                self._note()
        self._depth -= 1

    def _note(self) -> None:
        letters = self._cell.rstrip("0123456789")
        place = (column_index_from_string(letters) if letters else 0) + self._unnamed - 1
        counted = min(place, MOST_COLUMNS)  # the columns beyond are refused, and counted together
        self._in_column[counted] += 1
        if self._in_column[counted] <= MOST_FORMULAS_OF_A_COLUMN:
            self.uncounted.append(Formula(line=self._row, place=place))

    def _check_order(self, row: int) -> None:
        if row <= self._row:
            why = say("the rows are not stored in order: open the file in a spreadsheet program and save it")
            raise _no_table(why, row)
        self._row = row


def _check_elements(part: IO[bytes], name: str) -> list[Formula]:
    if name.startswith("xl/worksheets/"):
        most = MOST_ELEMENTS_OF_A_SHEET
    else:
        most = MOST_ELEMENTS_OF_THE_STRINGS if name == _SHARED_STRINGS else MOST_ELEMENTS_OF_OTHER_PARTS
    parser = expat.ParserCreate()
    elements = _Elements(most, parser)
    parser.EntityDeclHandler = _refuse_entities
    # A picture is no XML, and XML that is broken is refused by openpyxl at the same place.
    with suppress(expat.ExpatError):
        while chunk := part.read(_CHUNK):
            parser.Parse(chunk)
    return elements.uncounted


def _refuse_entities(*_declaration: object) -> None:
    raise ValueError("a spreadsheet declares no entities")


def _cells(values: Sequence[object]) -> list[str]:
    """A row without the empty cells at its end: spreadsheets often have many."""
    used = len(values)
    while used and values[used - 1] in (None, ""):
        used -= 1
    return [_cell(value) for value in values[:used]]


def _cell(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return spell_number(value)
    return str(value)[:LONGEST_CELL]
