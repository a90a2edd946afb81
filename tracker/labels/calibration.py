"""A page to try a printer with: a ruler along both sides, and bars at each width of module, of one code each.

What is measured with a steel rule says whether the printer scales; the narrowest bars that a scanner still reads say
how fine it prints.
"""

from collections.abc import Iterator
from io import BytesIO
from typing import Final

from tracker.labels.canvas import Canvas
from tracker.labels.documents import write_pdf
from tracker.labels.drawn import Drawn
from tracker.labels.faces import SANS
from tracker.labels.lettering import Hand
from tracker.labels.stocks import Stock
from tracker.labels.symbols import MM_PER_INCH, NARROWEST_MODULE_MM, QUIET_MODULES, modules_of
from tracker.shop.codes import Code, Kind

_CODE: Final = str(Code(Kind.COMMAND, 0))  # no command has this number: a scan of it does nothing
_EDGE_MM: Final = 2.0
_BARS_MM: Final = 6.0
_ROW_MM: Final = 9.6
_WIDEST_MM: Final = 0.76


def calibration_pdf(stock: Stock, *, dpi: int) -> bytes:
    """Return the page for a stock as a PDF: one label of a roll, or one whole sheet."""
    whole = Stock(name=stock.name, label=stock.sheet)
    document = BytesIO()
    write_pdf([(draw_calibration(stock, dpi=dpi), whole)], document, title=f"Calibration, {stock.name}, {dpi} dpi")
    return document.getvalue()


def draw_calibration(stock: Stock, *, dpi: int) -> Drawn:
    """Draw the page: the outlines of a sheet's labels, a ruler in mm, and as many bars as there is room for."""
    wide, high = stock.sheet
    canvas = Canvas(stock.sheet, dpi)
    if stock.page is not None:
        for index in range(stock.count):
            canvas.frame(stock.corner(index), stock.label, 0.1)
    _ruler(canvas, wide, high)
    top = 12.0
    for dots in widths(dpi):
        need = (len(modules_of(_CODE)) + 2 * QUIET_MODULES) * dots * MM_PER_INCH / dpi
        if need > wide - 14 or top + _ROW_MM > high - _EDGE_MM:
            break
        canvas.bars(_CODE, (12, top), (need + 0.05, _BARS_MM))
        says = f"{dots} dots = {dots * MM_PER_INCH / dpi:.3f} mm"
        canvas.write(says, (16, top + _BARS_MM + 0.3), (wide - 20, 3), Hand(face=SANS))
        top += _ROW_MM
    return canvas.drawn()


def widths(dpi: int) -> Iterator[int]:
    """Yield the widths of module in dots that can be printed at this resolution, the narrowest first."""
    dots = -int(-NARROWEST_MODULE_MM * dpi // MM_PER_INCH)
    while dots * MM_PER_INCH / dpi <= _WIDEST_MM:
        yield dots
        dots += 1


def _ruler(canvas: Canvas, wide: float, high: float) -> None:
    """Draw millimetres along the top and the left, long every ten, and say how long the whole is."""
    across, down = int(wide - 2 * _EDGE_MM) // 10 * 10, int(high - 2 * _EDGE_MM) // 10 * 10
    for mm in range(across + 1):
        canvas.line((_EDGE_MM + mm, _EDGE_MM), (_EDGE_MM + mm, _EDGE_MM + (4 if mm % 10 == 0 else 2)), 0.13)
    for mm in range(down + 1):
        canvas.line((_EDGE_MM, _EDGE_MM + mm), (_EDGE_MM + (4 if mm % 10 == 0 else 2), _EDGE_MM + mm), 0.13)
    says = f"{across} mm across, {down} mm down: measure both. Not so? Print at 100 %, not fitted."
    canvas.write(says, (7, 7), (wide - 10, 4.5), Hand(face=SANS, lines=1))
