"""Code 128 symbols at whole printer dots (ISO/IEC 15417), and GS1-128 ones, which begin with an FNC1.

The encoding is python-barcode's; the drawing is ours, because bars of uneven width do not read: every module is the
same whole number of printer dots.
"""

from typing import Final

from barcode.codex import Code128, Gs1_128
from PIL import Image

from tracker.shop.sscc import element_string

DPIS: Final = (203, 300, 600)
NARROWEST_MODULE_MM: Final = 0.25
WIDEST_MODULE_MM: Final = 0.51
QUIET_MODULES: Final = 10
GS1_WIDEST_MODULE_MM: Final = 1.016  # GS1 General Specifications, symbol specification table 5 (logistic units)
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


def gs1_modules_of(sscc: str) -> str:
    """Return the GS1-128 symbol of an SSCC as a string of 1 and 0: FNC1, the application identifier 00, its 18 digits.

    The library sets the FNC1 itself. Its fault with text that starts with 99 cannot be met: what it encodes starts so.
    """
    built: list[str] = Gs1_128(element_string(sscc)).build()
    return built[0]


def dots_per_module(modules: int, width_mm: float, dpi: int, *, widest_mm: float = WIDEST_MODULE_MM) -> int:
    """Return the dots of a module: the widest that fits ``width_mm`` with quiet zones, from 0.25 mm to ``widest_mm``.

    Raises ValueError when even the narrowest does not fit.
    """
    narrowest = -(-NARROWEST_MODULE_MM * dpi // MM_PER_INCH)
    widest = max(narrowest, widest_mm * dpi // MM_PER_INCH)
    fitting = int(min(widest, width_mm * dpi / MM_PER_INCH // (modules + 2 * QUIET_MODULES)))
    if fitting < narrowest:
        raise ValueError(f"a symbol of {modules} modules does not fit {width_mm} mm at {dpi} dpi")
    return fitting


def draw_code128(text: str, *, width_mm: float, height_mm: float, dpi: int) -> Image.Image:
    """Draw the symbol of ``text`` with its quiet zones, black on white, one bit a dot."""
    modules = modules_of(text)
    return _drawn(modules, dots_per_module(len(modules), width_mm, dpi), height_mm, dpi)


def draw_gs1_128(sscc: str, *, width_mm: float, height_mm: float, dpi: int) -> Image.Image:
    """Draw the GS1-128 symbol of an SSCC with its quiet zones, black on white, one bit a dot.

    The modules are as wide as fits, at most the 1.016 mm of GS1. On a narrow label they are less than the 0.495 mm that
    GS1 wants on logistic units, down to 0.25 mm; its bars of at least 31.75 mm are the caller's to ask for.
    """
    modules = gs1_modules_of(sscc)
    dots = dots_per_module(len(modules), width_mm, dpi, widest_mm=GS1_WIDEST_MODULE_MM)
    return _drawn(modules, dots, height_mm, dpi)


def _drawn(modules: str, dots: int, height_mm: float, dpi: int) -> Image.Image:
    quiet = "0" * QUIET_MODULES
    row = bytes(0 if module == "1" else 255 for module in quiet + modules + quiet for _ in range(dots))
    line = Image.frombytes("L", (len(row), 1), row).convert("1", dither=Image.Dither.NONE)
    return line.resize((len(row), round(height_mm * dpi / MM_PER_INCH)), Image.Resampling.NEAREST)
