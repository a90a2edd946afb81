"""Who carries a thing, by its mass, and beside it the advice of the revised NIOSH lifting equation of 1991.

The marks are the shop's own. The advice sets no limit: it does not replace the employer's own assessment, and local
rules and a competent person come first. Its source: Applications Manual for the Revised NIOSH Lifting Equation, DHHS
(NIOSH) publication 94-110.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from tracker.shop.errors import InvalidInputError, fault_at, refuse_faults
from tracker.shop.saying import say

LOAD_CONSTANT_KG: Final = 23.0
HIGH_MM: Final = 750.0  # from here up the hands are counted as high in the tables


class Duration(StrEnum):
    """How long lifting goes on in a day, with the rests that the manual asks for."""

    UP_TO_1_HOUR = "up to 1 hour"
    UP_TO_2_HOURS = "up to 2 hours"
    UP_TO_8_HOURS = "up to 8 hours"


class Coupling(StrEnum):
    """How well the hands hold the box."""

    GOOD = "good"
    FAIR = "fair"
    POOR = "poor"


class Handling(StrEnum):
    """Who carries a thing."""

    ONE_PERSON = "one person"
    TWO_PEOPLE = "two people"
    TROLLEY = "trolley"


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftingMarks:
    """Above which mass in kg a thing is for two people, and above which for a trolley.

    The usual values are common practice, no source. Raises InvalidInputError for a value that is not more than 0.
    """

    two_people_kg: float = 25.0
    trolley_kg: float = 40.0

    def __post_init__(self) -> None:
        values = {"two_people_kg": self.two_people_kg, "trolley_kg": self.trolley_kg}
        what = say("a number of more than 0 kg is wanted")
        refuse_faults("marks", "", [(name, what) for name, kg in values.items() if not 0 < kg < math.inf])

    def handling(self, mass_kg: float) -> Handling:
        """Return who carries a box, a part or a cabinet of this mass."""
        if mass_kg > self.trolley_kg:
            return Handling.TROLLEY
        return Handling.TWO_PEOPLE if mass_kg > self.two_people_kg else Handling.ONE_PERSON


# Table 5 of the manual: lifts a minute, then for each duration the multiplier with low and with high hands.
_FREQUENCY: Final[tuple[tuple[float, tuple[tuple[float, float], ...]], ...]] = (
    (0.2, ((1.00, 1.00), (0.95, 0.95), (0.85, 0.85))),
    (0.5, ((0.97, 0.97), (0.92, 0.92), (0.81, 0.81))),
    (1, ((0.94, 0.94), (0.88, 0.88), (0.75, 0.75))),
    (2, ((0.91, 0.91), (0.84, 0.84), (0.65, 0.65))),
    (3, ((0.88, 0.88), (0.79, 0.79), (0.55, 0.55))),
    (4, ((0.84, 0.84), (0.72, 0.72), (0.45, 0.45))),
    (5, ((0.80, 0.80), (0.60, 0.60), (0.35, 0.35))),
    (6, ((0.75, 0.75), (0.50, 0.50), (0.27, 0.27))),
    (7, ((0.70, 0.70), (0.42, 0.42), (0.22, 0.22))),
    (8, ((0.60, 0.60), (0.35, 0.35), (0.18, 0.18))),
    (9, ((0.52, 0.52), (0.30, 0.30), (0.00, 0.15))),
    (10, ((0.45, 0.45), (0.26, 0.26), (0.00, 0.13))),
    (11, ((0.41, 0.41), (0.00, 0.23), (0.00, 0.00))),
    (12, ((0.37, 0.37), (0.00, 0.21), (0.00, 0.00))),
    (13, ((0.00, 0.34), (0.00, 0.00), (0.00, 0.00))),
    (14, ((0.00, 0.31), (0.00, 0.00), (0.00, 0.00))),
    (15, ((0.00, 0.28), (0.00, 0.00), (0.00, 0.00))),
)
# Table 7 of the manual: the multiplier with low and with high hands.
_COUPLING: Final = {Coupling.GOOD: (1.0, 1.0), Coupling.FAIR: (0.95, 1.0), Coupling.POOR: (0.9, 0.9)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Lift:
    """One lift at its start or at its end. Lengths in mm.

    ``reach_mm`` is from the ankles to the hands, ``height_mm`` from the floor to the hands, ``travel_mm`` how far the
    hands rise or sink, ``twist_deg`` how far the body is turned. Raises InvalidInputError for a value that cannot be.
    """

    reach_mm: float
    height_mm: float
    travel_mm: float = 250.0
    twist_deg: float = 0.0
    lifts_a_minute: float = 0.2
    duration: Duration = Duration.UP_TO_1_HOUR
    coupling: Coupling = Coupling.GOOD

    def __post_init__(self) -> None:
        _refuse_below_zero(
            reach_mm=self.reach_mm,
            height_mm=self.height_mm,
            travel_mm=self.travel_mm,
            twist_deg=self.twist_deg,
            lifts_a_minute=self.lifts_a_minute,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Multipliers:
    """The six multipliers of the equation, each from 0 (never) to 1 (best)."""

    reach: float
    height: float
    travel: float
    twist: float
    frequency: float
    coupling: float

    @property
    def product(self) -> float:
        return self.reach * self.height * self.travel * self.twist * self.frequency * self.coupling


def multipliers(lift: Lift) -> Multipliers:
    """Return HM, VM, DM, AM, FM and CM of the manual, section 1.3 and tables 5 and 7, in its metric form.

    Beyond the limits of the equation (63 cm reach, 175 cm height or travel, 135 degrees) a multiplier is 0.
    """
    high = lift.height_mm >= HIGH_MM
    return Multipliers(
        reach=250 / max(lift.reach_mm, 250) if lift.reach_mm <= 630 else 0.0,
        height=1 - 0.0003 * abs(lift.height_mm - HIGH_MM) if lift.height_mm <= 1750 else 0.0,
        travel=0.82 + 45 / max(lift.travel_mm, 250) if lift.travel_mm <= 1750 else 0.0,
        twist=1 - 0.0032 * lift.twist_deg if lift.twist_deg <= 135 else 0.0,
        frequency=frequency_multiplier(lift.lifts_a_minute, lift.duration, high=high),
        coupling=_COUPLING[lift.coupling][high],
    )


def frequency_multiplier(lifts_a_minute: float, duration: Duration, *, high: bool) -> float:
    """Return FM of table 5, between its rows in proportion, 0 where it ends; below 0.2 a minute counts as 0.2."""
    column = list(Duration).index(duration)
    rates = [rate for rate, _ in _FREQUENCY]
    values = [columns[column][high] for _, columns in _FREQUENCY]
    rate = max(lifts_a_minute, rates[0])
    lower = bisect_right(rates, rate) - 1
    if rate == rates[lower]:
        return values[lower]
    if rate > rates[-1] or not values[lower + 1]:
        return 0.0
    part = (rate - rates[lower]) / (rates[lower + 1] - rates[lower])
    return values[lower] + part * (values[lower + 1] - values[lower])


def recommended_weight_limit_kg(lift: Lift) -> float:
    """Return RWL = 23 kg · HM · VM · DM · AM · FM · CM: what nearly all healthy workers may lift so."""
    return LOAD_CONSTANT_KG * multipliers(lift).product


ASSUMED: Final = (
    say("One person holds the box flat, by its sides, at half its width."),
    say("Hands 750 mm above the floor, raised or lowered 250 mm, body not turned."),
    say("One lift in five minutes, up to 2 hours a day. The hold is poor."),
    say("NIOSH lifting equation of 1991, load constant 23 kg. This is advice: local rules come first."),
)


def lift_of_box(length_mm: float, width_mm: float) -> Lift:
    """Return how one person is taken to lift a box of this plan size, as ASSUMED says.

    The reach is the manual's estimate for a box before the body, 20 cm and half its width, with the shorter side
    towards the body. The other values are common practice, no source: a bench and a cart at 75 cm, no more than one
    box in five minutes, and a large carton without handles, which is a poor hold.
    """
    return Lift(
        reach_mm=200 + min(length_mm, width_mm) / 2,
        height_mm=HIGH_MM,
        travel_mm=250.0,
        lifts_a_minute=0.2,
        duration=Duration.UP_TO_2_HOURS,
        coupling=Coupling.POOR,
    )


def lifting_index(mass_kg: float, length_mm: float, width_mm: float) -> float:
    """Return the lifting index (mass over limit) of one person for a box of this mass and plan size.

    It is infinite where the box is too wide for the equation. Raises InvalidInputError for a value below 0.
    """
    _refuse_below_zero(mass_kg=mass_kg, length_mm=length_mm, width_mm=width_mm)
    limit_kg = recommended_weight_limit_kg(lift_of_box(length_mm, width_mm))
    return mass_kg / limit_kg if limit_kg else math.inf


def _refuse_below_zero(**values: float) -> None:
    faults = [
        fault_at(name, f"a number of 0 or more is wanted, not {value}")
        for name, value in values.items()
        if not 0 <= value < math.inf
    ]
    if faults:
        raise InvalidInputError(f"{faults[0].where['field']}: {faults[0].what}", faults)
