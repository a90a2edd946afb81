"""Stocks: rolls and sheets; labels lie where the sheet has them, at whole dots, and nothing is scaled."""

import io
import shutil
import subprocess
from pathlib import Path

import pypdf
import pytest
from PIL import Image

from tests.conftest import missing_tool
from tests.reading import codes_in
from tracker.labels.contents import CodeLabel, LabelKind
from tracker.labels.documents import write_pdf
from tracker.labels.drawn import Drawn
from tracker.labels.layout import draw_label
from tracker.labels.layout_reading import read_layout
from tracker.labels.stocks import Stock, read_stocks
from tracker.shop.codes import Code, Kind
from tracker.shop.errors import InvalidInputError
from tracker.work.label_setup import shipped_layouts, shipped_stocks

SHEET = shipped_stocks()["sheet A4, 10 of 100 x 50 mm"]


def label(number: int, dpi: int = 203) -> Drawn:
    says = CodeLabel(kind=LabelKind.SLOT, code=str(Code(Kind.SLOT, number)), title=f"CART-{number}")
    return draw_label(read_layout(shipped_layouts()["slot 100 x 50"]), says, dpi)


def written(labels: list[Drawn], *, taken: int = 0) -> bytes:
    stream = io.BytesIO()
    assert write_pdf([(each, SHEET) for each in labels], stream, title="Labels", taken=taken) == len(labels)
    return stream.getvalue()


def test_every_stock_that_comes_with_the_program_is_one() -> None:
    assert {"roll 100 x 50 mm", "roll 4 x 6 in", "sheet Letter, 10 of 4 x 2 in"} <= set(shipped_stocks())
    for stock in shipped_stocks().values():
        right, below = stock.corner(stock.count - 1)
        assert right + stock.label[0] <= stock.sheet[0] + 0.05
        assert below + stock.label[1] <= stock.sheet[1] + 0.05


def test_a_sheet_is_filled_row_by_row_and_a_started_one_is_used_up() -> None:
    assert len(pypdf.PdfReader(io.BytesIO(written([label(1)] * 10))).pages) == 1
    assert len(pypdf.PdfReader(io.BytesIO(written([label(1)] * 11))).pages) == 2
    assert len(pypdf.PdfReader(io.BytesIO(written([label(1)] * 10, taken=1))).pages) == 2


def test_labels_on_a_sheet_lie_where_the_sheet_has_them_and_read(tmp_path: Path) -> None:
    if shutil.which("pdftoppm") is None:
        missing_tool("pdftoppm")
    (tmp_path / "sheet.pdf").write_bytes(written([label(number) for number in (1, 2, 3)], taken=4))
    command = ["pdftoppm", "-r", "203", "-gray", str(tmp_path / "sheet.pdf"), str(tmp_path / "page")]
    subprocess.run(command, check=True)
    (page,) = (Image.open(path) for path in tmp_path.glob("page*.pgm"))
    for index, number in ((4, 1), (5, 2), (6, 3)):
        left, top = SHEET.corner(index)
        box = [round(mm * 203 / 25.4) for mm in (left, top, left + SHEET.label[0], top + SHEET.label[1])]
        assert codes_in(page.crop((box[0], box[1], box[2], box[3]))) == [str(Code(Kind.SLOT, number))]


def test_two_stocks_in_one_document_keep_their_own_pages() -> None:
    roll = shipped_stocks()["roll 100 x 50 mm"]
    stream = io.BytesIO()
    write_pdf([(label(1), roll), (label(2), SHEET), (label(3), roll)], stream, title="Labels")
    sizes = [round(float(page.mediabox.width) / 72 * 25.4) for page in pypdf.PdfReader(stream).pages]
    assert sorted(sizes) == [100, 100, 210]


GOOD = 'name = "own"\nlabel = [60, 40]\npage = [200, 100]\nacross = 3\ndown = 2\nfirst = [5, 5]\npitch = [62, 45]'


@pytest.mark.parametrize(
    ("change", "field"),
    [
        (("across = 3", "across = 4"), "stock.1.across"),
        (("pitch = [62, 45]", "pitch = [50, 45]"), "stock.1.pitch"),
        (("label = [60, 40]", "label = [60]"), "stock.1.label"),
        (("label = [60, 40]", "label = [1, 40]"), "stock.1.label"),
        (("down = 2", "down = 0"), "stock.1.down"),
        (("page = [200, 100]", ""), "stock.1.page"),
        (("down = 2", "rows = 2"), "stock.1.rows"),
        (('name = "own"', ""), "stock.1.name"),
    ],
)
def test_a_stock_that_cannot_be_is_refused_by_the_value(change: tuple[str, str], field: str) -> None:
    assert read_stocks(f"[[stock]]\n{GOOD}")["own"].count == 6
    with pytest.raises(InvalidInputError) as refused:
        read_stocks(f"[[stock]]\n{GOOD.replace(*change)}")
    assert field in {fault.where["field"] for fault in refused.value.faults}


def test_two_stocks_of_one_name_are_refused() -> None:
    with pytest.raises(InvalidInputError) as refused:
        read_stocks(f"[[stock]]\n{GOOD}\n[[stock]]\n{GOOD}")
    assert [fault.where["field"] for fault in refused.value.faults] == ["stock.2.name"]


def test_a_label_goes_onto_a_stock_that_is_not_smaller() -> None:
    roll = Stock(name="roll", label=(101.6, 50.8))
    assert roll.holds((100, 50))
    assert not roll.holds((100, 51))
