"""Grades of a drawn symbol, from 4.0 (nothing to find fault with) to 0.0 (does not read).

Linear symbols by what a raster allows of ISO/IEC 15416: ten lines across the bars, each graded by its worst measure,
the symbol by their mean. The thresholds are those of two public summaries of the standard's table (its editions of 2000
and 2016), which agree; the standard itself was not at hand. Between two thresholds a grade is in proportion, in tenths,
as in the edition of 2016; under the threshold of 1.0 it is 0. The diameter of the aperture by the module's width is
written from memory of the same standard. A QR code cannot be graded whole from a raster (ISO/IEC 15415): its contrast
and the share of its error correction that reading left unused are graded, its quiet zone is looked at.

What a printer, ribbon and board do is not in a raster: a label that is graded 4.0 here can still be printed badly.
"""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby, pairwise
from math import floor
from statistics import fmean
from typing import Final, cast

from PIL import Image

from tracker.labels.code128 import ELEMENTS, MODULES, decode
from tracker.labels.reflectance import Element, Profile, rows_under, scan
from tracker.labels.symbols import MM_PER_INCH, QUIET_MODULES

BEST: Final = 4.0
SCAN_LINES: Final = 10
_BAND: Final = (0.1, 0.9)  # the part of the bars' height in which the lines lie: the ends are left out
_APERTURES_MM: Final = ((0.18, 0.075), (0.33, 0.125), (0.635, 0.25), (float("inf"), 0.5))
QR_QUIET_MODULES: Final = 4  # ISO/IEC 18004
_ROUNDING: Final = 1e-6


class Measure(StrEnum):
    """What is graded."""

    DECODE = "decode"
    CONTRAST = "symbol contrast"
    DARKNESS = "minimum reflectance"
    EDGES = "minimum edge contrast"
    MODULATION = "modulation"
    DEFECTS = "defects"
    DECODABILITY = "decodability"
    QUIET_ZONES = "quiet zones"
    UNUSED_CORRECTION = "unused error correction"


# the values that are worth 4, 3, 2 and 1
THRESHOLDS: Final[Mapping[Measure, tuple[float, float, float, float]]] = {
    Measure.CONTRAST: (0.70, 0.55, 0.40, 0.20),
    Measure.MODULATION: (0.70, 0.60, 0.50, 0.40),
    Measure.DEFECTS: (0.15, 0.20, 0.25, 0.30),
    Measure.DECODABILITY: (0.62, 0.50, 0.37, 0.25),
    Measure.UNUSED_CORRECTION: (0.62, 0.50, 0.37, 0.25),
}
LEAST_EDGE_CONTRAST: Final = 0.15
MOST_DARK_SHARE: Final = 0.5  # the darkest is at most so much of the lightest


@dataclass(frozen=True, slots=True, kw_only=True)
class SymbolGrade:
    """The grade of a symbol, and the grade and the value of each measure where it is worst.

    A value is a share of 1, for quiet zones modules; 1 or 0 for decode.
    """

    grade: float
    grades: Mapping[Measure, float]
    values: Mapping[Measure, float]

    @property
    def worst(self) -> Measure:
        """The measure that a better grade waits for."""
        return min(self.grades, key=lambda measure: self.grades[measure])


def grade_of(measure: Measure, value: float) -> float:
    """Return what a value is worth by the standard's table, in tenths."""
    thresholds = THRESHOLDS[measure]
    turn = -1 if thresholds[0] > thresholds[-1] else 1  # more is better, or less is
    if turn * value <= turn * thresholds[0] + _ROUNDING:
        return BEST
    for worth, (better, worse) in enumerate(pairwise(thresholds)):
        if turn * value <= turn * worse + _ROUNDING:
            share = (value - worse) / (better - worse)
            return BEST - worth - 1 + min(floor(share * 10 + _ROUNDING), 9) / 10
    return 0.0


# ---------------------------------------------------------------------------------------------- linear symbols
def grade_linear(picture: Image.Image, *, dpi: float) -> SymbolGrade:
    """Grade a Code 128 or GS1-128 symbol: a picture of it upright, quiet zones in it, nothing else."""
    grey = picture.convert("L")
    rows = _rows(grey)
    module = _module_dots(rows, _extremes(grey))
    aperture = _aperture_mm(module * MM_PER_INCH / dpi) * dpi / MM_PER_INCH
    first, last = (share * len(rows) for share in _BAND)
    graded: dict[tuple[bytes, ...], _Line] = {}
    lines = []
    for number in range(SCAN_LINES):
        middle = first + (number + 0.5) * (last - first) / SCAN_LINES
        seen = tuple(rows_under(rows, middle, aperture))
        if seen not in graded:  # a drawing's lines are alike
            graded[seen] = _grade_line(scan(rows, middle, aperture))
        lines.append(graded[seen])
    return _symbol_grade(lines)


def _rows(grey: Image.Image) -> Sequence[bytes]:
    data, width = grey.tobytes(), grey.width
    return [data[start : start + width] for start in range(0, len(data), width)]


def _extremes(grey: Image.Image) -> tuple[int, int]:
    """Return the darkest and the lightest of a picture in greys."""
    return cast("tuple[int, int]", grey.getextrema())


def _module_dots(rows: Sequence[bytes], greys: tuple[int, int]) -> float:
    """Return about how many dots a module has: bars and spaces are counted in many rows, and most of them agree."""
    threshold = sum(greys) / 2
    some = Counter(rows[:: max(1, len(rows) // SCAN_LINES)])
    counts: Counter[tuple[int, int]] = Counter()
    for row, times in some.items():
        runs = [(dark, len(list(run))) for dark, run in groupby(grey <= threshold for grey in row)]
        bars = runs[not runs[0][0] : len(runs) - (not runs[-1][0])]
        counts[len(bars), sum(length for _dark, length in bars)] += times
    (elements, dots), _times = counts.most_common(1)[0]
    return dots / max(1, elements * MODULES / ELEMENTS)


def _aperture_mm(module_mm: float) -> float:
    return next(diameter for widest, diameter in _APERTURES_MM if module_mm <= widest + _ROUNDING)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Line:
    """One line across a symbol: what it reads, and each measure's grade and value."""

    words: Sequence[int]
    grades: Mapping[Measure, float]
    values: Mapping[Measure, float]


def _grade_line(profile: Profile) -> _Line:
    elements, edges = profile.elements, profile.edges
    values = _reflectances(elements)
    widths = [right - left for left, right in pairwise(edges)]
    decoded = decode(widths) if elements[0].light and elements[-1].light else None
    values[Measure.DECODE] = float(decoded is not None)
    values[Measure.DECODABILITY] = 0.0 if decoded is None else decoded.decodability
    if decoded is not None:
        module = sum(widths) / ((len(widths) - 1) * MODULES / ELEMENTS + 2)  # 2: the bar that ends the stop character
        ends = (edges[0], profile.width - edges[-1])
        values[Measure.QUIET_ZONES] = min(ends) / module
    grades = {measure: _worth(measure, value) for measure, value in values.items()}
    return _Line(words=() if decoded is None else decoded.words, grades=grades, values=values)


def _reflectances(elements: Sequence[Element]) -> dict[Measure, float]:
    lightest = max(max(element.samples) for element in elements)
    darkest = min(min(element.samples) for element in elements)
    contrast = lightest - darkest
    edge = min((abs(one.reflectance - other.reflectance) for one, other in pairwise(elements)), default=0.0)
    uneven = max(element.unevenness for element in elements)
    return {
        Measure.CONTRAST: contrast,
        Measure.DARKNESS: darkest / lightest if lightest else 1.0,
        Measure.EDGES: edge,
        Measure.MODULATION: edge / contrast if contrast else 0.0,
        Measure.DEFECTS: uneven / contrast if contrast else 1.0,
    }


_QUIET_ROUNDING: Final = 0.5  # modules: a place in mm is put onto whole dots
_PASSES: Final[Mapping[Measure, Callable[[float], bool]]] = {
    Measure.DECODE: bool,
    Measure.DARKNESS: lambda share: share <= MOST_DARK_SHARE,
    Measure.EDGES: lambda contrast: contrast >= LEAST_EDGE_CONTRAST,
    Measure.QUIET_ZONES: lambda modules: modules >= QUIET_MODULES - _QUIET_ROUNDING,
}


def _worth(measure: Measure, value: float) -> float:
    passes = _PASSES.get(measure)
    return grade_of(measure, value) if passes is None else BEST * passes(value)


def _symbol_grade(lines: Sequence[_Line]) -> SymbolGrade:
    """The mean of the lines' grades; 0 where two of them read differently."""
    grades: dict[Measure, float] = {}
    values: dict[Measure, float] = {}
    for line in lines:
        for measure, grade in line.grades.items():
            if grade < grades.get(measure, BEST + 1):
                grades[measure], values[measure] = grade, line.values[measure]
    if len({line.words for line in lines if line.words}) != 1:
        grades[Measure.DECODE] = values[Measure.DECODE] = 0.0
        return SymbolGrade(grade=0.0, grades=grades, values=values)
    mean = fmean(min(line.grades.values()) for line in lines)
    return SymbolGrade(grade=round(mean, 1), grades=grades, values=values)


# ---------------------------------------------------------------------------------------------- QR codes
def grade_qr(picture: Image.Image, *, version: int, unused_correction: float | None) -> SymbolGrade:
    """Grade a QR code that was read: a picture of it with its quiet zone, nothing else.

    ``unused_correction`` is the share of its error correction that reading it did not need, None where the reader does
    not say: then it is not graded.
    """
    grey = picture.convert("L")
    darkest, lightest = _extremes(grey)
    threshold = (darkest + lightest) / 2
    left, top, right, bottom = grey.point(lambda level: 255 * (level <= threshold)).getbbox() or (0, 0, 1, 1)
    module = (right - left) / (17 + 4 * version)  # ISO/IEC 18004
    quiet = min(left, top, grey.width - right, grey.height - bottom) / module
    values = {
        Measure.DECODE: 1.0,
        Measure.CONTRAST: (lightest - darkest) / 255,
        Measure.QUIET_ZONES: quiet,
    }
    if unused_correction is not None:
        values[Measure.UNUSED_CORRECTION] = unused_correction
    grades = {measure: _worth(measure, value) for measure, value in values.items()}
    grades[Measure.QUIET_ZONES] = BEST * (quiet >= QR_QUIET_MODULES - _QUIET_ROUNDING)
    return SymbolGrade(grade=min(grades.values()), grades=grades, values=values)
