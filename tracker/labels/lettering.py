"""Text on labels: it shrinks, then breaks, then is cut with an ellipsis; it never runs out of its place.

A letter that the font does not have is drawn as an open square and told, never left out in silence.
"""

import unicodedata
from bisect import bisect_right
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from PIL import Image, ImageDraw

from tracker.labels.faces import Face, can_shape, letters_of, sized

SMALLEST_MM: Final = 1.8
LONGEST_TEXT: Final = 500
_INSTEAD: Final = "□"
_JOINERS: Final = "\u200c\u200d"
_LEFTWARD: Final = frozenset({"R", "AL", "AN"})  # Unicode Bidirectional Algorithm (UAX 9), table 4
# Blocks of scripts whose letters join or change their order (The Unicode Standard, chapters 12 to 16).
_JOINED: Final = ((0x0600, 0x08FF), (0x0900, 0x0DFF), (0x0E00, 0x0FFF), (0x1000, 0x109F), (0x1780, 0x17FF))


@dataclass(frozen=True, slots=True)
class Place:
    """A rectangle on a label, in dots."""

    left: int
    top: int
    width: int
    height: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Hand:
    """How a text is written: in which font, how many lines at most, where it stands in its place, in which ink."""

    face: Face
    bold: bool = False
    lines: int = 1
    align: str = "left"
    ink: int = 0


def write(image: Image.Image, text: str, place: Place, *, dot_mm: float, hand: Hand) -> str:
    """Write ``text`` into ``place`` as large as it fits, on at most the hand's lines; return letters that lack."""
    asked = unicodedata.normalize("NFC", " ".join(text.split()))[:LONGEST_TEXT]
    if not asked:
        return ""
    shown, lacking = drawable(asked, hand.face, bold=hand.bold)
    pen = _Pen(face=hand.face, bold=hand.bold, shaped=needs_shaping(shown))
    size, wrapped = _fit(shown, place, pen, smallest=max(6, round(SMALLEST_MM / dot_mm)), lines=hand.lines)
    for count, line in enumerate(wrapped):
        spare = 0.0 if hand.align == "left" else place.width - pen.length(line, size)
        left = place.left + int(spare if hand.align == "right" else spare / 2)
        picture, lean, drop = pen.picture(line, size)
        image.paste(hand.ink, (left + lean, place.top + count * _pitch(size) + drop), picture)
    return lacking


@lru_cache(maxsize=4096)
def drawable(text: str, face: Face, *, bold: bool) -> tuple[str, str]:
    """Return ``text`` with an open square for each letter that cannot be drawn, and those letters, each once."""
    known = letters_of(face.file(bold=bold))
    drawn, lacking = [], dict[str, None]()
    for letter in text:
        if unicodedata.category(letter) in ("Cf", "Cc") and letter not in _JOINERS:
            continue  # a mark that only steers its neighbours, and may turn them round
        lacks = ord(letter) not in known or (needs_shaping(letter) and not can_shape())
        drawn.append(_INSTEAD if lacks else letter)
        if lacks:
            lacking[letter] = None
    return "".join(drawn), "".join(lacking)


@lru_cache(maxsize=4096)
def needs_shaping(text: str) -> bool:
    """Whether letters of ``text`` join, change their order, or run from right to left."""
    if text.isascii():
        return False
    return any(
        any(first <= ord(letter) <= last for first, last in _JOINED) or unicodedata.bidirectional(letter) in _LEFTWARD
        for letter in text
    )


@dataclass(frozen=True, slots=True)
class _Pen:
    """What the width of a text depends on beside its size."""

    face: Face
    bold: bool
    shaped: bool

    def length(self, text: str, size: int) -> float:
        return sized(self.face.file(bold=self.bold), size, shaped=self.shaped).getlength(text)

    def picture(self, text: str, size: int) -> tuple[Image.Image, int, int]:
        """Return a line as a picture, and how far right and down of its place it stands."""
        return _picture(self, text, size)


@lru_cache(maxsize=1024)
def _picture(pen: _Pen, text: str, size: int) -> tuple[Image.Image, int, int]:
    """The labels of a job say much that is the same: a line is drawn once and laid onto each."""
    font = sized(pen.face.file(bold=pen.bold), size, shaped=pen.shaped)
    left, top, right, bottom = (int(edge) for edge in font.getbbox(text, mode="1"))
    picture = Image.new("1", (max(1, right - left), max(1, bottom - top)))
    draw = ImageDraw.Draw(picture)
    draw.fontmode = "1"
    draw.text((-left, -top), text, font=font, fill=1)
    return picture, left, top


@lru_cache(maxsize=4096)
def _fit(text: str, place: Place, pen: _Pen, *, smallest: int, lines: int) -> tuple[int, tuple[str, ...]]:
    largest = max(smallest, int(place.height / 1.2))
    for wanted in range(1, lines + 1):
        size = max(smallest, int(place.height / 1.2 / wanted))
        while size > smallest and (wanted > 1 or size > largest * 0.6 or lines == 1):
            wrapped = _wrap(text, place.width, size, pen, most=wanted)
            if len(wrapped) <= wanted:
                return size, tuple(wrapped)
            size = max(smallest, int(size * 0.92))
    room = max(1, min(lines, place.height // _pitch(smallest)))
    wrapped = _wrap(text, place.width, smallest, pen, most=room)
    if len(wrapped) > room:
        kept = wrapped[:room]
        kept[-1] = _cut(kept[-1] + "…", place.width, smallest, pen)
        return smallest, tuple(kept)
    return smallest, tuple(wrapped)


def _wrap(text: str, width: int, size: int, pen: _Pen, *, most: int) -> list[str]:
    """Return the lines of a text; where they are more than ``most``, only so many that this is seen."""
    lines: list[str] = []
    current = ""
    for word in text.split(" "):
        longer = f"{current} {word}" if current else word
        if pen.length(longer, size) <= width:
            current = longer
            continue
        if current:
            lines.append(current)
        current = word
        while len(lines) <= most and pen.length(current, size) > width and len(current) > 1:
            head = _head(current, width, size, pen)
            lines.append(current[:head])
            current = current[head:]
        if len(lines) > most:
            return lines
    return [*lines, current] if current else lines


def _head(word: str, width: int, size: int, pen: _Pen) -> int:
    """How many characters of a word fit: at least one."""
    return 1 + bisect_right(range(2, len(word) + 1), float(width), key=lambda count: pen.length(word[:count], size))


def _cut(text: str, width: int, size: int, pen: _Pen) -> str:
    while pen.length(text, size) > width and len(text) > 1:
        text = text[:-2] + "…"
    return text


def _pitch(size: int) -> int:
    return round(size * 1.2)
