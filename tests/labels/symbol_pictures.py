"""Pictures of a symbol for tests: drawn well, then spoilt in a known way. A module is eight dots wide."""

from collections.abc import Sequence
from itertools import groupby

from PIL import Image

from tracker.labels.symbols import modules_of

TEXT = "P0000123456"
DOTS = 8  # a module
QUIET = 10  # modules
DPI = 25.4 * DOTS / 0.25  # a module of 0.25 mm
HEIGHT = 200


def widths_of(text: str = TEXT) -> list[int]:
    """The widths of a symbol's bars and spaces in modules, from the first bar to the last."""
    return [len(list(run)) for _colour, run in groupby(modules_of(text))]


def picture_of(
    widths: Sequence[float],
    *,
    dark: int = 0,
    light: int = 255,
    quiet: int = QUIET,
    levels: dict[int, int] | None = None,
) -> Image.Image:
    """Draw bars and spaces of these widths in modules; ``levels`` are the greys of single elements."""
    row = [light] * (quiet * DOTS)
    for index, width in enumerate(widths):
        level = light if index % 2 else dark
        row += [(levels or {}).get(index, level)] * round(width * DOTS)
    row += [light] * (quiet * DOTS)
    return Image.frombytes("L", (len(row), 1), bytes(row)).resize((len(row), HEIGHT), Image.Resampling.NEAREST)


def symbol_picture(text: str = TEXT) -> Image.Image:
    """A symbol with nothing to find fault with."""
    return picture_of(widths_of(text))
