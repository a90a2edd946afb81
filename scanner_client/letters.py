"""Large letters and shapes for a terminal, out of half blocks: pure. A character cell is two dots high and one wide."""

from collections.abc import Sequence
from typing import Final
from unicodedata import combining, normalize

HEIGHT: Final = 5
_TABLE: Final = {
    "A": ".#./#.#/###/#.#/#.#",
    "B": "##./#.#/##./#.#/##.",
    "C": ".##/#../#../#../.##",
    "D": "##./#.#/#.#/#.#/##.",
    "E": "###/#../##./#../###",
    "F": "###/#../##./#../#..",
    "G": ".##/#../#.#/#.#/.##",
    "H": "#.#/#.#/###/#.#/#.#",
    "I": "#/#/#/#/#",
    "J": "..#/..#/..#/#.#/.#.",
    "K": "#.#/#.#/##./#.#/#.#",
    "L": "#../#../#../#../###",
    "M": "#...#/##.##/#.#.#/#...#/#...#",
    "N": "#..#/##.#/#.##/#..#/#..#",
    "O": ".#./#.#/#.#/#.#/.#.",
    "P": "##./#.#/##./#../#..",
    "Q": ".##./#..#/#..#/#.##/.###",
    "R": "##./#.#/##./#.#/#.#",
    "S": ".##/#../.#./..#/##.",
    "T": "###/.#./.#./.#./.#.",
    "U": "#.#/#.#/#.#/#.#/###",
    "V": "#.#/#.#/#.#/#.#/.#.",
    "W": "#...#/#...#/#.#.#/##.##/#...#",
    "X": "#.#/#.#/.#./#.#/#.#",
    "Y": "#.#/#.#/.#./.#./.#.",
    "Z": "###/..#/.#./#../###",
    "0": "###/#.#/#.#/#.#/###",
    "1": ".#/##/.#/.#/.#",
    "2": "##./..#/.#./#../###",
    "3": "##./..#/.#./..#/##.",
    "4": "#.#/#.#/###/..#/..#",
    "5": "###/#../##./..#/##.",
    "6": ".##/#../###/#.#/###",
    "7": "###/..#/.#./.#./.#.",
    "8": "###/#.#/###/#.#/###",
    "9": "###/#.#/###/..#/##.",
    "-": ".../.../###/.../...",
    ".": "././././#",
    "/": "..#/..#/.#./#../#..",
    "?": "##./..#/.#./.../.#.",
    " ": "../../../../..",
    # Shapes, one for each tone.
    "tick": "......#/.....##/#...##./##.##../.###...",
    "cross": "##...##/.##.##./..###../.##.##./##...##",
    "mark": "..###../..###../...#.../......./...#...",
    "question": ".####../....##./..###../......./..##...",
    "bar": "......./......./#######/......./.......",
}
GLYPHS: Final = {name: tuple(rows.split("/")) for name, rows in _TABLE.items()}
_UNKNOWN: Final = GLYPHS["?"]


def dots_of(names: Sequence[str]) -> list[str]:
    """Return the rows of dots of glyphs side by side, with a column between; a letter that has no glyph is a ``?``."""
    glyphs = [GLYPHS.get(name, _UNKNOWN) for name in names]
    return [".".join(glyph[row] for glyph in glyphs) for row in range(HEIGHT)]


def plain_letters(text: str) -> str:
    """Return a text without the marks over and under its letters, for which there are no glyphs."""
    return "".join(each for each in normalize("NFKD", text) if not combining(each))


def cells_of(dots: Sequence[str], scale: int) -> list[str]:
    """Return rows of dots as lines of half blocks, each dot ``scale`` cells wide and as many halves high."""
    high = [row for row in dots for _time in range(scale)]
    if len(high) % 2:
        high.append("." * len(high[0]))
    halves = {"..": " ", "#.": "▀", ".#": "▄", "##": "█"}
    return [
        "".join(halves[upper + lower] * scale for upper, lower in zip(top, bottom, strict=True))
        for top, bottom in zip(high[::2], high[1::2], strict=True)
    ]


def fitted(text: str, width: int, height: int) -> list[str]:
    """Return a word or two as large as they go into so many columns and lines; smaller than that, as plain text.

    The words are broken over lines where that makes them larger.
    """
    words = text.upper().split()
    best: list[str] = []
    for lines in _breakings(words):
        drawn = _drawn(lines, width, height)
        if len(drawn) * max((len(line.strip()) for line in drawn), default=0) > _size(best):
            best = drawn
    return best or [text[:width]]


def _size(lines: Sequence[str]) -> int:
    return len(lines) * max((len(line.strip()) for line in lines), default=0)


def _breakings(words: Sequence[str]) -> list[list[str]]:
    """All ways to put words into at most three lines, in their order."""
    if not words:
        return []
    one = [[" ".join(words)]]
    two = [[" ".join(words[:cut]), " ".join(words[cut:])] for cut in range(1, len(words))]
    three = [
        [" ".join(words[:first]), " ".join(words[first:second]), " ".join(words[second:])]
        for first in range(1, len(words) - 1)
        for second in range(first + 1, len(words))
    ]
    return one + two + three


def _drawn(lines: Sequence[str], width: int, height: int) -> list[str]:
    """Draw lines at the largest scale at which all fit; nothing when none does."""
    dots = [dots_of(line) for line in lines]
    widest = max(len(rows[0]) for rows in dots)
    for scale in range(min(width // widest, 8), 0, -1):
        tall = (HEIGHT * scale + 1) // 2
        if tall * len(lines) + len(lines) - 1 <= height:
            drawn: list[str] = []
            for rows in dots:
                drawn += ([""] if drawn else []) + cells_of(rows, scale)
            return drawn
    return []
