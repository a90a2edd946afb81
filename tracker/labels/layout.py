"""Layouts: what stands on a label and where, as values; and drawing a label by one. Sizes in mm.

A layout is data (``layout_reading.py`` reads it from TOML); those that come with the program lie in ``layouts/``.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from tracker.labels.canvas import Canvas, Point, Size
from tracker.labels.contents import BoardLabel, BoxLabel, Label, LabelKind, PartLabel, Texts
from tracker.labels.drawn import Drawn
from tracker.labels.faces import Face
from tracker.labels.lettering import Hand
from tracker.labels.panel_outline import draw_outline
from tracker.shop.lengths import Units

NAMED: Final = re.compile(r"\{([a-z]+)\}")
ENGLISH: Final[Mapping[str, str]] = MappingProxyType(
    {
        "two_people": "LIFT WITH TWO PEOPLE",
        "trolley": "CARRY ON A TROLLEY",
        "face_front": "this face to the front",
        "face_back": "this face to the back",
        "grain": "grain",
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """Something in a rectangle: with ``when`` only where that text says something, with ``unless`` only where not."""

    at: Point
    size: Size
    when: str = ""
    unless: str = ""

    def stands(self, texts: Texts) -> bool:
        return not (self.when and not texts[self.when]) and not (self.unless and texts[self.unless])


@dataclass(frozen=True, slots=True, kw_only=True)
class Text(Element):
    """Words; ``{name}`` stands for what the label has of that name. ``white`` is for words on a block."""

    says: str
    bold: bool = False
    lines: int = 1
    align: str = "left"
    white: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars(Element):
    """The linear symbol of the label's code, or of a box's SSCC; its quiet zones in the rectangle."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Qr(Element):
    """The QR code of the label's link, or of its code; as large as the lesser side, its quiet zone in it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outline(Element):
    """The small outline of a panel."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Grain(Element):
    """Where the grain of a part runs, for a board that has one: along the length, as the outline lies."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces(Element):
    """The parts where they come off a board."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Block(Element):
    """A rectangle of ink: a line, or the ground for white words."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """A kind of label of one size: its elements in the order in which they are drawn.

    ``units`` are those in which sizes are written, ``words`` what it says of itself, in the shop's language.
    """

    name: str
    kind: LabelKind
    size: Size
    face: Face
    units: Units
    words: Mapping[str, str]
    elements: tuple[Element, ...]


def draw_label(layout: Layout, label: Label, dpi: int) -> Drawn:
    """Draw a label of the layout's kind. Raises ValueError when its symbol does not fit or its kind is another."""
    if label.kind is not layout.kind:
        raise ValueError(f"layout {layout.name} is for a {layout.kind}, not for a {label.kind}")
    texts = label.texts(layout.units)
    if isinstance(label, BoxLabel) and texts["lifting"]:
        texts = {**texts, "lifting": layout.words[texts["lifting"]]}
    canvas = Canvas(layout.size, dpi)
    for element in layout.elements:
        if element.stands(texts):
            _DRAWERS[type(element)](canvas, element, label, texts, layout)
    return canvas.drawn()


def _text(canvas: Canvas, element: Text, _label: Label, texts: Texts, layout: Layout) -> None:
    says = NAMED.sub(lambda found: texts[found[1]], element.says)
    hand = Hand(
        face=layout.face, bold=element.bold, lines=element.lines, align=element.align, ink=1 if element.white else 0
    )
    canvas.write(says, element.at, element.size, hand)


def _bars(canvas: Canvas, element: Bars, label: Label, _texts: Texts, _layout: Layout) -> None:
    sscc = label.sscc if isinstance(label, BoxLabel) else ""
    canvas.bars(sscc or label.code, element.at, element.size, gs1=bool(sscc))


def _qr(canvas: Canvas, element: Qr, label: Label, _texts: Texts, _layout: Layout) -> None:
    side = min(element.size)
    try:
        canvas.qr(label.link or label.code, element.at, side)
    except ValueError:
        if not label.link:
            raise
        canvas.qr(label.code, element.at, side)  # a long address asks for more modules than there is room for


def _outline(canvas: Canvas, element: Outline, label: Label, _texts: Texts, layout: Layout) -> None:
    if isinstance(label, PartLabel):
        draw_outline(canvas, label, element.at, element.size, layout.face, words=layout.words)


def _grain(canvas: Canvas, element: Grain, label: Label, _texts: Texts, layout: Layout) -> None:
    if not (isinstance(label, PartLabel) and label.grain):
        return
    (left, top), (width, height) = element.at, element.size
    for share in (0.2, 0.5, 0.8):
        inset = 0.0 if share == 0.5 else width * 0.08
        y = top + height * share
        canvas.line((left + inset, y), (left + width * 0.45 - inset, y), 0.25)
    canvas.write(layout.words["grain"], (left + width / 2, top), (width / 2, height), Hand(face=layout.face))


def _pieces(canvas: Canvas, element: Pieces, label: Label, _texts: Texts, _layout: Layout) -> None:
    if not isinstance(label, BoardLabel):
        return
    (left, top), (width, height) = element.at, element.size
    scale = min(width / label.length_mm, height / label.width_mm)
    canvas.frame(element.at, (label.length_mm * scale, label.width_mm * scale), 0.5)
    for x, y, long, wide in label.pieces:
        canvas.frame((left + x * scale, top + y * scale), (long * scale, wide * scale), 0.2)


def _block(canvas: Canvas, element: Block, _label: Label, _texts: Texts, _layout: Layout) -> None:
    canvas.block(element.at, element.size)


_DRAWERS: Final[Mapping[type[Element], Callable[..., None]]] = MappingProxyType(
    {
        Text: _text,
        Bars: _bars,
        Qr: _qr,
        Outline: _outline,
        Grain: _grain,
        Pieces: _pieces,
        Block: _block,
    }
)
