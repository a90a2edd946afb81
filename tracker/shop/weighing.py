"""What a scale can tell of a packed box, and what it cannot.

Boards of one kind differ in density, so the planned mass of a box is itself uncertain; a light part may weigh less than
that. A weight check can doubt a box, only scans prove it.

The sum of the scatter follows the law of propagation of uncertainty (JCGM 100:2008, 5.1.2 and 5.2.2, note 1): what
varies together adds up, what varies apart adds in squares. Parts of one board are equally heavy or light, so parts of
one material are taken as cut from one board, which is the careful side. A scale's division ``d`` brings d²/12 (the
same guide, 4.3.7 and F.2.2.1).
"""

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from tracker.shop.errors import refuse_faults
from tracker.shop.saying import say

BOARD_SCATTER: Final = 0.04  # standard deviation of a board's density, by its mean: common practice, no source
COVERAGE: Final = 2.0  # standard deviations; a right box is doubted about once in 22 times (JCGM 100:2008, 6.3.3)
HEAVIEST_KG: Final = 10_000.0
MOST_PARTS: Final = 10_000


class Weight(StrEnum):
    """What the scale says."""

    AGREES = "agrees"
    TOO_LIGHT = "too_light"
    TOO_HEAVY = "too_heavy"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A scale: the standard deviation of its readings, and its division, in kg.

    The defaults are those of a floor scale with a division of 50 g: common practice, no source.
    """

    scatter_kg: float = 0.02
    division_kg: float = 0.05

    def __post_init__(self) -> None:
        values = (("scatter_kg", self.scatter_kg), ("division_kg", self.division_kg))
        faults = [
            (name, f"a mass from 0 to 100 kg is wanted, not {each}") for name, each in values if not 0 <= each <= 100
        ]
        refuse_faults("scale", "", faults)


FLOOR_SCALE: Final = Scale()


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """How far off a box may be when a packer alone seals it: a share of what it should weigh, and at least so many kg.

    Beyond it a foreman decides.
    """

    percent: float = 5.0
    least_kg: float = 0.5

    def __post_init__(self) -> None:
        values = (("percent", self.percent), ("least_kg", self.least_kg))
        refuse_faults("limit", "", [(name, _UP_TO_100) for name, each in values if not 0 <= each <= 100])

    def of(self, mass_kg: float) -> float:
        """Return the limit in kg for a box that should weigh ``mass_kg``."""
        return max(self.least_kg, mass_kg * self.percent / 100)


_UP_TO_100: Final = say("wanted: a number from 0 to 100")
USUAL_LIMIT: Final = Limit()


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A part that should be in the box: its name, its planned mass in kg and the material that it is cut from."""

    name: str
    mass_kg: float
    material: str

    def __post_init__(self) -> None:
        if not 0 <= self.mass_kg <= HEAVIEST_KG:
            what = f"a mass from 0 to {HEAVIEST_KG:,.0f} kg is wanted, not {self.mass_kg}"
            refuse_faults("part", self.name, [("mass_kg", what)])


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """What a box should weigh, in kg, how far a right box may be from it, and how far one that a packer alone seals.

    ``surely_kg``: a part as heavy as this is missed no more than about once in 44 times when it is left out.
    """

    mass_kg: float
    tolerance_kg: float
    limit_kg: float
    pieces: tuple[Piece, ...]

    @property
    def surely_kg(self) -> float:
        return 2 * self.tolerance_kg

    @property
    def lightest_noticed(self) -> Piece | None:
        """The lightest part of the box that the scale would surely miss, or None when there is none.

        A name that a lighter part has, too, would say of that one what is not so.
        """
        light = {piece.name for piece in self.unnoticed}
        noticed = [piece for piece in self.pieces if piece.mass_kg >= self.surely_kg and piece.name not in light]
        return min(noticed, key=lambda piece: piece.mass_kg, default=None)

    @property
    def unnoticed(self) -> tuple[Piece, ...]:
        """The parts that may be left out without the scale telling, heaviest first."""
        light = [piece for piece in self.pieces if piece.mass_kg < self.surely_kg]
        return tuple(sorted(light, key=lambda piece: -piece.mass_kg))

    @property
    def give_kg(self) -> float:
        """How far off a box may be without a doubt: what is beyond the shop's limit is doubted in any case."""
        return min(self.tolerance_kg, self.limit_kg)

    def beyond_limit(self, measured_kg: float) -> bool:
        """Say whether a foreman decides about a box of this mass."""
        return abs(measured_kg - self.mass_kg) > self.limit_kg

    def judge(self, measured_kg: float) -> Weight:
        """Say what a measured mass means. Raises InvalidInputError for one that no scale shows."""
        if not 0 < measured_kg <= HEAVIEST_KG:
            what = f"a mass above 0 and up to {HEAVIEST_KG:,.0f} kg is wanted, not {measured_kg}"
            refuse_faults("scale", "", [("mass_kg", what)])
        if abs(measured_kg - self.mass_kg) <= self.give_kg:
            return Weight.AGREES
        return Weight.TOO_LIGHT if measured_kg < self.mass_kg else Weight.TOO_HEAVY


def scatter_kg(pieces: Sequence[Piece], *, share: float = BOARD_SCATTER) -> float:
    """Return the standard deviation in kg of what these parts weigh; ``share`` is that of a board's density."""
    by_material: defaultdict[str, float] = defaultdict(float)
    for piece in pieces:
        by_material[piece.material] += piece.mass_kg
    return math.hypot(*(share * mass for mass in by_material.values()))


def expect(
    pieces: Sequence[Piece], *, besides_kg: float = 0.0, scale: Scale = FLOOR_SCALE, limit: Limit = USUAL_LIMIT
) -> Expected:
    """Return what a box with these parts should weigh; ``besides_kg`` is its carton and bag, taken as known.

    Raises InvalidInputError for a mass that cannot be or for more than 10,000 parts.
    """
    if len(pieces) > MOST_PARTS:
        refuse_faults("box", "", [("parts", f"at most {MOST_PARTS:,} parts are wanted, not {len(pieces):,}")])
    if not 0 <= besides_kg <= HEAVIEST_KG:
        what = f"a mass from 0 to {HEAVIEST_KG:,.0f} kg is wanted, not {besides_kg}"
        refuse_faults("box", "", [("besides_kg", what)])
    apart = math.hypot(scatter_kg(pieces), scale.scatter_kg, scale.division_kg / math.sqrt(12))
    mass_kg = sum(piece.mass_kg for piece in pieces) + besides_kg
    return Expected(
        mass_kg=mass_kg,
        tolerance_kg=COVERAGE * apart,
        limit_kg=limit.of(mass_kg),
        pieces=tuple(pieces),
    )
