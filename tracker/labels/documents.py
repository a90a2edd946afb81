"""Labels as files: a PDF with one label a page at true size, or a PNG."""

from collections.abc import Iterable
from io import BytesIO
from typing import BinaryIO

from fpdf import FPDF
from fpdf.prefs import ViewerPreferences
from PIL import Image

from tracker.labels.symbols import MM_PER_INCH


def write_pdf(labels: Iterable[Image.Image], stream: BinaryIO, *, dpi: int, title: str) -> int:
    """Write labels as a PDF, one a page, each page exactly as large as its label; return how many.

    The pages are one-bit pictures without loss, and viewers are told not to scale: fitted to a page, bars lose parts
    of a module. The compressed pages are held in memory, a few kB each.
    """
    document = FPDF(unit="mm")
    document.set_title(title)
    document.set_margin(0)
    document.set_auto_page_break(False)
    document.viewer_preferences = ViewerPreferences(print_scaling="None")
    count = 0
    for label in labels:
        size = tuple(dots * MM_PER_INCH / dpi for dots in label.size)
        document.add_page(format=(size[0], size[1]))
        document.image(label, x=0, y=0, w=size[0], h=size[1])
        count += 1
    stream.write(document.output())
    return count


def png_bytes(label: Image.Image, *, dpi: int) -> bytes:
    """Return a label as a PNG that says its resolution."""
    buffer = BytesIO()
    label.save(buffer, "PNG", dpi=(dpi, dpi))
    return buffer.getvalue()
