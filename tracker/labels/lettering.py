"""Text on labels: it shrinks, then breaks, then is cut with an ellipsis; it never runs out of its place."""

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Final

from PIL import ImageDraw, ImageFont

_FOLDER: Final = Path(__file__).parent / "fonts"
SMALLEST_MM: Final = 1.8
LONGEST_TEXT: Final = 500


@dataclass(frozen=True, slots=True)
class Place:
    """A rectangle on a label, in dots."""

    left: int
    top: int
    width: int
    height: int


@lru_cache(maxsize=256)
def font(size: int, *, bold: bool) -> ImageFont.FreeTypeFont:
    """Return the shop's font at a size in dots."""
    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"
    return ImageFont.truetype(_FOLDER / name, size, layout_engine=ImageFont.Layout.BASIC)


def write(
    draw: ImageDraw.ImageDraw,
    text: str,
    place: Place,
    *,
    dot_mm: float,
    bold: bool = False,
    lines: int = 1,
    ink: int = 0,
) -> None:
    """Write ``text`` into ``place`` as large as it fits, on at most ``lines`` lines."""
    shown = " ".join(text.split())[:LONGEST_TEXT]
    if not shown:
        return
    size, wrapped = _fit(shown, place, smallest=max(6, round(SMALLEST_MM / dot_mm)), bold=bold, lines=lines)
    face = font(size, bold=bold)
    for count, line in enumerate(wrapped):
        draw.text((place.left, place.top + count * _pitch(size)), line, font=face, fill=ink)


@lru_cache(maxsize=4096)
def _fit(text: str, place: Place, *, smallest: int, bold: bool, lines: int) -> tuple[int, tuple[str, ...]]:
    largest = max(smallest, int(place.height / 1.2))
    for wanted in range(1, lines + 1):
        size = max(smallest, int(place.height / 1.2 / wanted))
        while size > smallest and (wanted > 1 or size > largest * 0.6 or lines == 1):
            wrapped = _wrap(text, place.width, size, bold=bold)
            if len(wrapped) <= wanted:
                return size, tuple(wrapped)
            size = max(smallest, int(size * 0.92))
    room = max(1, min(lines, place.height // _pitch(smallest)))
    wrapped = _wrap(text, place.width, smallest, bold=bold)
    if len(wrapped) > room:
        kept = wrapped[:room]
        kept[-1] = _cut(kept[-1] + "…", place.width, smallest, bold=bold)
        return smallest, tuple(kept)
    return smallest, tuple(wrapped)


def _wrap(text: str, width: int, size: int, *, bold: bool) -> list[str]:
    lines: list[str] = []
    current = ""
    for word in text.split(" "):
        longer = f"{current} {word}" if current else word
        if _length(longer, size, bold=bold) <= width:
            current = longer
            continue
        if current:
            lines.append(current)
        current = word
        while _length(current, size, bold=bold) > width and len(current) > 1:
            head = _head(current, width, size, bold=bold)
            lines.append(current[:head])
            current = current[head:]
    return [*lines, current] if current else lines


def _head(word: str, width: int, size: int, *, bold: bool) -> int:
    """How many characters of a word fit."""
    count = 1
    while count < len(word) and _length(word[: count + 1], size, bold=bold) <= width:
        count += 1
    return count


def _cut(text: str, width: int, size: int, *, bold: bool) -> str:
    while _length(text, size, bold=bold) > width and len(text) > 1:
        text = text[:-2] + "…"
    return text


def _length(text: str, size: int, *, bold: bool) -> float:
    return font(size, bold=bold).getlength(text)


def _pitch(size: int) -> int:
    return round(size * 1.2)
