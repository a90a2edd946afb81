"""The scan reflectance profile of a line across a linear symbol (ISO/IEC 15416), as a raster gives it.

A verifier moves a round aperture along the line and sees the mean reflectance under it; here the aperture moves over
the dots of a picture: 0 is black, 1 is white. What ink and paper do beside that no raster knows. Lengths are in dots.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby, pairwise
from math import ceil, sqrt
from operator import sub
from typing import Final

SAMPLES_PER_DOT: Final = 4
_STRIPS: Final = 5  # the round aperture as so many strips, each as long as the aperture is wide there
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Element:
    """A bar, a space or a quiet zone of a profile: whether it is light, and its samples from left to right."""

    light: bool
    samples: Sequence[float]

    @property
    def reflectance(self) -> float:
        """The lightest of a space, the darkest of a bar."""
        return max(self.samples) if self.light else min(self.samples)

    @property
    def unevenness(self) -> float:
        """The highest peak less the lowest valley inside the element; 0 where there is only one of both.

        The standard's element reflectance non-uniformity, ERN. A valley has something higher on both of its sides.
        """
        samples = self.samples if self.light else [1 - sample for sample in self.samples]
        from_left = list(accumulate(samples, max))
        from_right = list(accumulate(reversed(samples), max))[::-1]
        shores = map(min, from_left, from_right)
        valleys = [low for low, shore in zip(samples, shores, strict=True) if low < shore - _ROUNDING]
        return max(samples) - min(valleys) if valleys else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Profile:
    """What an aperture saw on its way: bars and spaces in their order, the edges between them, and how long it went.

    The first and the last element are light where there are quiet zones. An edge is where the reflectance passes the
    middle between the lightest of the space and the darkest of the bar; edges and width are in dots.
    """

    elements: Sequence[Element]
    edges: Sequence[float]
    width: float


def scan(rows: Sequence[bytes], middle: float, aperture: float) -> Profile:
    """Return the profile of a level line across a picture: ``rows`` of greys from 0 to 255, alike in length.

    ``middle`` is the line's height from the upper edge and ``aperture`` the diameter of the aperture, in dots. Beyond
    its edges the picture goes on as it ends.
    """
    seen = rows_under(rows, middle, aperture)
    crisp = _crisp(seen[0], aperture) if all(row == seen[0] for row in seen) else None
    return crisp or _profile_of(_samples(rows, middle, aperture))


def rows_under(rows: Sequence[bytes], middle: float, aperture: float) -> Sequence[bytes]:
    """Return the rows that an aperture on this line sees: lines that see the same have the same profile."""
    first = max(int(middle - aperture / 2), 0)
    return rows[first : int(middle + aperture / 2) + 1]


def _crisp(row: bytes, aperture: float) -> Profile | None:
    """Return the profile of a drawing in two greys whose bars and spaces are all at least as wide as the aperture.

    That is known without moving the aperture: everywhere it sees a full bar or a full space, and half of both where
    they meet. None for any other picture.
    """
    levels = sorted(set(row))
    runs = [(level, len(list(run))) for level, run in groupby(row)]
    if len(levels) != 2 or min((length for _level, length in runs[1:-1]), default=0) < aperture:
        return None
    return Profile(
        elements=[Element(light=level == levels[1], samples=[level / 255]) for level, _length in runs],
        edges=list(accumulate(length for _level, length in runs[:-1])),
        width=len(row),
    )


def _profile_of(samples: Sequence[float]) -> Profile:
    """Find bars and spaces: what is over the middle of the lightest and the darkest is space, the rest is bar."""
    threshold = (max(samples) + min(samples)) / 2
    runs = groupby(samples, key=lambda sample: sample > threshold)
    elements = [Element(light=light, samples=list(run)) for light, run in runs]
    ends = accumulate(len(element.samples) for element in elements)
    return Profile(
        elements=elements,
        edges=[_crossing(samples, end, *both) for end, both in zip(ends, pairwise(elements), strict=False)],
        width=len(samples) / SAMPLES_PER_DOT,
    )


def _crossing(samples: Sequence[float], end: int, one: Element, other: Element) -> float:
    """Look from where two elements meet for the nearest passage of their own middle."""
    middle = (one.reflectance + other.reflectance) / 2
    low, high = end - len(one.samples), end + len(other.samples) - 1
    for index in sorted(range(low, high), key=lambda index: abs(index - end + 1)):
        left, right = samples[index], samples[index + 1]
        if min(left, right) <= middle <= max(left, right) and left != right:
            return (index + 0.5 + (middle - left) / (right - left)) / SAMPLES_PER_DOT
    return end / SAMPLES_PER_DOT


def _samples(rows: Sequence[bytes], middle: float, aperture: float) -> Sequence[float]:
    """Return the mean reflectance under the aperture at SAMPLES_PER_DOT places in each dot."""
    radius = aperture / 2
    heights = [radius * ((2 * strip + 1) / _STRIPS - 1) for strip in range(_STRIPS)]
    chords = [2 * sqrt(radius * radius - height * height) for height in heights]
    share = 1 / (sum(chords) * 255)
    samples = [0.0] * (len(rows[0]) * SAMPLES_PER_DOT)
    for height, chord in zip(heights, chords, strict=True):
        row = rows[min(max(int(middle + height), 0), len(rows) - 1)]
        for phase, values in enumerate(_moving_sums(row, chord)):
            places = slice(phase, None, SAMPLES_PER_DOT)
            samples[places] = [so_far + share * value for so_far, value in zip(samples[places], values, strict=True)]
    return samples


def _moving_sums(row: bytes, chord: float) -> Iterator[list[float]]:
    """Yield, for each place of a sample within a dot, the sums of the greys under a chord in the middle of it."""
    beyond = ceil(chord / 2) + 1
    greys = row[:1] * beyond + row + row[-1:] * beyond
    below = list(accumulate(greys, initial=0))
    for phase in range(SAMPLES_PER_DOT):
        middle = beyond + (phase + 0.5) / SAMPLES_PER_DOT
        upper = _sums_up_to(greys, below, middle + chord / 2, len(row))
        yield list(map(sub, upper, _sums_up_to(greys, below, middle - chord / 2, len(row))))


def _sums_up_to(greys: bytes, below: Sequence[int], place: float, count: int) -> Iterator[float]:
    """Yield the sum of the greys left of ``place``, then of the place one dot on, and so on."""
    first = int(place)
    part = place - first
    whole = below[first : first + count]
    return (total + part * grey for total, grey in zip(whole, greys[first : first + count], strict=True))
