"""A label that was drawn, and what is known of the symbols on it: enough to read it back and judge it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, get_args

from PIL import Image

SymbolKind = Literal["code128", "qr", "gs1-128"]
SYMBOL_KINDS: Final = get_args(SymbolKind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Symbol:
    """A symbol on a label: its text, and its place from the label's left upper corner in mm, quiet zones in it.

    Raises ValueError for a kind that is not known, no text, or a place without a size.
    """

    kind: SymbolKind
    text: str
    left_mm: float
    top_mm: float
    width_mm: float
    height_mm: float

    def __post_init__(self) -> None:
        if self.kind not in SYMBOL_KINDS:
            raise ValueError(f"a symbol is one of {', '.join(SYMBOL_KINDS)}, not {self.kind}")
        if not self.text:
            raise ValueError("a symbol says something: its text is empty")
        if not (self.width_mm > 0 and self.height_mm > 0):
            raise ValueError(f"a symbol has a size: {self.width_mm} × {self.height_mm} mm")


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """A finished label, its resolution in dots an inch, the symbols that stand on it, and letters that its font lacks.

    Raises ValueError for a resolution that is not positive.
    """

    image: Image.Image
    dpi: int
    symbols: Sequence[Symbol]
    lacking: str = ""

    def __post_init__(self) -> None:
        if self.dpi <= 0:
            raise ValueError(f"a label has a resolution in dots an inch: {self.dpi}")
