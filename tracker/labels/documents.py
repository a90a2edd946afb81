"""Labels as files: a PDF at true size, one label a page or many on a sheet, or a PNG."""

import zlib
from collections.abc import Iterable
from io import BytesIO
from typing import BinaryIO, Final

import pikepdf
from pikepdf import Array, Dictionary, Name
from PIL import Image

from tracker.labels.drawn import Drawn
from tracker.labels.stocks import Stock
from tracker.labels.symbols import MM_PER_INCH

_POINTS_PER_MM: Final = 72 / MM_PER_INCH


def write_pdf(labels: Iterable[tuple[Drawn, Stock]], stream: BinaryIO, *, title: str, taken: int = 0) -> int:
    """Write labels as a PDF, each in the middle of its stock's label; return how many.

    The labels are one-bit pictures without loss at whole dots of the page, and viewers are told not to scale: fitted to
    a page, bars lose parts of a module. ``taken`` labels of the first sheet of each stock are left out: they are used.
    The compressed pages are held in memory, a few kB each.
    """
    count = 0
    with pikepdf.new() as document:
        sheets: dict[str, _Sheet] = {}
        for label, stock in labels:
            sheet = sheets.setdefault(stock.name, _Sheet(document, stock, taken=taken))
            sheet.add(label)
            count += 1
        for sheet in sheets.values():
            sheet.finish()
        document.docinfo["/Title"] = title
        document.Root.ViewerPreferences = Dictionary(PrintScaling=Name("/None"))
        document.save(stream)
    return count


class _Sheet:
    """The page of one stock that is being filled; it goes into the document when it is full."""

    def __init__(self, document: pikepdf.Pdf, stock: Stock, *, taken: int) -> None:
        self._document = document
        self._stock = stock
        self._at = taken % stock.count
        self._pictures = Dictionary()
        self._places: list[bytes] = []

    def add(self, label: Drawn) -> None:
        name = f"/L{self._at}"
        self._pictures[name] = self._picture(label.image)
        self._places.append(self._place(label, name))
        self._at += 1
        if self._at == self._stock.count:
            self.finish()

    def finish(self) -> None:
        """Put the page into the document, unless nothing is on it."""
        if self._places:
            width, height = (mm * _POINTS_PER_MM for mm in self._stock.sheet)
            page = Dictionary(
                Type=Name.Page,
                MediaBox=Array([0, 0, round(width, 4), round(height, 4)]),
                Resources=Dictionary(XObject=self._pictures),
                Contents=pikepdf.Stream(self._document, b"\n".join(self._places)),
            )
            self._document.pages.append(pikepdf.Page(self._document.make_indirect(page)))
        self._at, self._pictures, self._places = 0, Dictionary(), []

    def _picture(self, image: Image.Image) -> pikepdf.Object:
        """Return the picture as the PDF holds it: one bit a dot, white is 1."""
        picture = pikepdf.Stream(self._document, zlib.compress(image.tobytes()))
        picture.Type, picture.Subtype = Name.XObject, Name.Image
        picture.Width, picture.Height = image.size
        picture.ColorSpace, picture.BitsPerComponent, picture.Filter = Name.DeviceGray, 1, Name.FlateDecode
        return picture

    def _place(self, label: Drawn, name: str) -> bytes:
        """Return what puts a picture onto the page: from the left lower corner, at a whole dot from the left upper."""
        dot = MM_PER_INCH / label.dpi
        size = [dots * dot for dots in label.image.size]
        spare = [(own - wanted) / 2 for own, wanted in zip(self._stock.label, size, strict=True)]
        x, y = (round((at + half) / dot) * dot for at, half in zip(self._stock.corner(self._at), spare, strict=True))
        bottom = self._stock.sheet[1] - y - size[1]
        left, below, wide, high = (mm * _POINTS_PER_MM for mm in (x, bottom, *size))
        return f"q {wide:.4f} 0 0 {high:.4f} {left:.4f} {below:.4f} cm {name} Do Q".encode()


def png_bytes(image: Image.Image, *, dpi: int) -> bytes:
    """Return a label as a PNG that says its resolution."""
    buffer = BytesIO()
    image.save(buffer, "PNG", dpi=(dpi, dpi))
    return buffer.getvalue()
