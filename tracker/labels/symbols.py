"""Code 128 symbols at whole printer dots (ISO/IEC 15417).

The encoding is python-barcode's; the drawing is ours, because bars of uneven width do not read: every module is the
same whole number of printer dots.
"""

from typing import Final

from barcode.codex import Code128
from PIL import Image

DPIS: Final = (203, 300, 600)
NARROWEST_MODULE_MM: Final = 0.25
WIDEST_MODULE_MM: Final = 0.51
QUIET_MODULES: Final = 10
MM_PER_INCH: Final = 25.4


def modules_of(text: str) -> str:
    """Return the symbol of ``text`` as a string of 1 (bar) and 0 (space), one character a module, no quiet zones.

    Raises ValueError for text that starts with 99: python-barcode 0.16.1 drops it and draws a valid symbol of another
    text (its issue 251).
    """
    if text.startswith("99"):
        raise ValueError("a Code 128 symbol of this text would not say what it should")
    built: list[str] = Code128(text).build()  # a new object each time: one built twice keeps its code set
    return built[0]


def dots_per_module(modules: int, width_mm: float, dpi: int) -> int:
    """Return the dots of a module: the widest that fits ``width_mm`` with quiet zones, from 0.25 to about 0.5 mm.

    Raises ValueError when even the narrowest does not fit.
    """
    narrowest = -(-NARROWEST_MODULE_MM * dpi // MM_PER_INCH)
    widest = max(narrowest, WIDEST_MODULE_MM * dpi // MM_PER_INCH)
    fitting = int(min(widest, width_mm * dpi / MM_PER_INCH // (modules + 2 * QUIET_MODULES)))
    if fitting < narrowest:
        raise ValueError(f"a symbol of {modules} modules does not fit {width_mm} mm at {dpi} dpi")
    return fitting


def draw_code128(text: str, *, width_mm: float, height_mm: float, dpi: int) -> Image.Image:
    """Draw the symbol of ``text`` with its quiet zones, black on white, one bit a dot."""
    modules = modules_of(text)
    dots = dots_per_module(len(modules), width_mm, dpi)
    quiet = "0" * QUIET_MODULES
    row = bytes(0 if module == "1" else 255 for module in quiet + modules + quiet for _ in range(dots))
    line = Image.frombytes("L", (len(row), 1), row).convert("1", dither=Image.Dither.NONE)
    return line.resize((len(row), round(height_mm * dpi / MM_PER_INCH)), Image.Resampling.NEAREST)
