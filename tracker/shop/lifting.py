"""How many people a box needs: the revised NIOSH lifting equation of 1991.

Source: Applications Manual for the Revised NIOSH Lifting Equation, DHHS (NIOSH) publication 94-110. The grade is a
planning aid. It does not replace the employer's own assessment: local rules and a competent person come first.
"""

import math
from bisect import bisect_right
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from tracker.shop.errors import InvalidInputError, fault_at

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
    """Who may lift a box."""

    ONE_PERSON = "one person"
    TWO_PERSONS = "two persons"
    MACHINE = "machine"


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


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftingAssumptions:
    """How a box is taken to be lifted; lengths in mm. Each is printed with the grade, and each may be set by the shop.

    The reach of one person is the manual's estimate for a box held flat before the body: 20 cm and half its width, or
    25 cm and half its width with the hands below 25 cm. Two persons stand at its ends and hold its edges, at
    ``end_reach_mm``, and together count for ``two_persons_count`` times one of them, since they never share evenly:
    two thirds of two, after the team-lifting guidance of the British HSE (L23), from memory. The other values are
    common practice, no source: a bench at 75 cm, a cart as high as the bench, no more than one box in five minutes,
    and a large carton without handles, which is a poor hold.
    """

    height_mm: float = 750.0
    travel_mm: float = 250.0
    twist_deg: float = 0.0
    lifts_a_minute: float = 0.2
    duration: Duration = Duration.UP_TO_2_HOURS
    coupling: Coupling = Coupling.POOR
    end_reach_mm: float = 300.0
    two_persons_count: float = 4 / 3

    def __post_init__(self) -> None:
        _refuse_below_zero(end_reach_mm=self.end_reach_mm, two_persons_count=self.two_persons_count)
        self.lift(0.0)

    def lift(self, reach_mm: float) -> Lift:
        """Return the lift of a person who holds the box at this reach. Raises InvalidInputError like ``Lift``."""
        return Lift(
            reach_mm=reach_mm,
            height_mm=self.height_mm,
            travel_mm=self.travel_mm,
            twist_deg=self.twist_deg,
            lifts_a_minute=self.lifts_a_minute,
            duration=self.duration,
            coupling=self.coupling,
        )

    def reach_over_mm(self, width_mm: float) -> float:
        """Return the reach of one person for a box that is so wide, from the manual's estimate."""
        return (200.0 if self.height_mm >= 250 else 250.0) + width_mm / 2

    def printed(self) -> list[str]:
        """Return the assumptions as sentences, to stand beside a grade."""
        hands = f"Hands {self.height_mm:g} mm above the floor, raised or lowered {self.travel_mm:g} mm"
        ends = (
            f"Two persons hold its ends at {self.end_reach_mm:g} mm and count for {self.two_persons_count:.2f} of one."
        )
        return [
            f"{hands}, body turned {self.twist_deg:g} degrees.",
            f"{self.lifts_a_minute:g} lifts a minute, {self.duration} a day. The hold is {self.coupling}.",
            f"One person holds the box flat, by its sides, at half its width. {ends}",
            "NIOSH lifting equation of 1991, load constant 23 kg. Your own assessment and local rules come first.",
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class LiftingGrade:
    """Who may lift a box, with the limits in kg of one and of two persons."""

    handling: Handling
    mass_kg: float
    one_person_limit_kg: float
    two_persons_limit_kg: float
    assumptions: LiftingAssumptions = field(default_factory=LiftingAssumptions)


def grade_lifting(
    mass_kg: float, length_mm: float, width_mm: float, assumptions: LiftingAssumptions | None = None
) -> LiftingGrade:
    """Return who may lift a box of this mass in kg and plan size in mm: who has a lifting index of at most 1.

    The shorter side is taken towards the body. Raises InvalidInputError for a mass or a size of 0 or below.
    """
    assumptions = assumptions or LiftingAssumptions()
    _refuse_below_zero(mass_kg=mass_kg, length_mm=length_mm, width_mm=width_mm)
    alone = recommended_weight_limit_kg(assumptions.lift(assumptions.reach_over_mm(min(length_mm, width_mm))))
    at_an_end = recommended_weight_limit_kg(assumptions.lift(assumptions.end_reach_mm))
    together = max(alone, assumptions.two_persons_count * at_an_end)
    handling = Handling.MACHINE
    if mass_kg <= together:
        handling = Handling.ONE_PERSON if mass_kg <= alone else Handling.TWO_PERSONS
    return LiftingGrade(
        handling=handling,
        mass_kg=mass_kg,
        one_person_limit_kg=alone,
        two_persons_limit_kg=together,
        assumptions=assumptions,
    )


def _refuse_below_zero(**values: float) -> None:
    faults = [
        fault_at(name, f"a number of 0 or more is wanted, not {value}")
        for name, value in values.items()
        if not 0 <= value < math.inf
    ]
    if faults:
        raise InvalidInputError(f"{faults[0].where['field']}: {faults[0].what}", faults)
