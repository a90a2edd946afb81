"""Panels and cartons in whole units, so that no sum drifts over a limit.

One unit is 1e-12 mm or kg. A limit is widened by 0.5e-9, so that six panels of 16.666666666666668 mm still stand in
100 mm; more than 1e-9 over its limit no box is ever filled.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from tracker.shop.boxing.values import HEAVIEST_KG, Carton, KeepTogether, PackingRules, Panel

UNITS: Final = 10**12
_SLACK: Final = 500
UNLIMITED: Final = 10**9


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExactPanel:
    """A panel whose longer side is ``long``; ``tall`` is its thickness and the sheet on it."""

    index: int
    long: int
    short: int
    tall: int
    mass: int
    cabinet: str
    group: str
    drop: str
    front: bool

    @property
    def area(self) -> int:
        return self.long * self.short

    @property
    def volume(self) -> int:
        return self.area * self.tall

    def least_along(self, across: int) -> int:
        """Return the least that the panel takes along a carton that is ``across`` wide."""
        return self.short if self.long <= across else self.long


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ExactCarton:
    """What a carton offers: its plan, the height for layers each with a sheet, and the mass left for panels."""

    index: int
    long: int
    short: int
    tall: int
    mass: int
    available: int

    @property
    def volume(self) -> int:
        return self.long * self.short * self.tall

    def takes(self, panel: ExactPanel) -> bool:
        """Whether the panel alone fits."""
        return (
            panel.long <= self.long
            and panel.short <= self.short
            and panel.tall <= self.tall
            and panel.mass <= self.mass
        )


def whole(value: float) -> int:
    """Return a length or mass in units, from the digits as they are written."""
    return int(Decimal(repr(float(value))).scaleb(12).to_integral_value())


def exact_panels(panels: Sequence[Panel], rules: PackingRules) -> list[ExactPanel]:
    """Return the panels in units; where boxes are to be fewest, groups are no more than cabinets."""
    gather = rules.keep_together is KeepTogether.FEWEST_BOXES
    gap = whole(rules.layer_gap_mm)
    return [
        ExactPanel(
            index=index,
            long=whole(max(panel.length_mm, panel.width_mm)),
            short=whole(min(panel.length_mm, panel.width_mm)),
            tall=whole(panel.thickness_mm) + gap,
            mass=whole(panel.mass_kg),
            cabinet=panel.group or panel.cabinet if gather else panel.cabinet,
            group="" if gather else panel.group,
            drop=panel.drop,
            front=panel.front,
        )
        for index, panel in enumerate(panels)
    ]


def exact_cartons(cartons: Sequence[Carton], rules: PackingRules) -> list[ExactCarton]:
    """Return the cartons in units, less the bag and the tare; n layers have n - 1 gaps, so one gap is added.

    Each may weigh what its kind and the shop's own limit allow.
    """
    gap, bag, bag_mass = whole(rules.layer_gap_mm), whole(rules.bag_height_mm), whole(rules.bag_mass_kg)
    most = HEAVIEST_KG if rules.box_mass_kg is None else rules.box_mass_kg
    return [
        ExactCarton(
            index=index,
            long=whole(max(carton.length_mm, carton.width_mm)) + _SLACK,
            short=whole(min(carton.length_mm, carton.width_mm)) + _SLACK,
            tall=whole(carton.height_mm) + gap - bag + _SLACK,
            mass=whole(min(carton.max_mass_kg, most)) - whole(carton.tare_kg) - bag_mass + _SLACK,
            available=UNLIMITED if carton.available is None else carton.available,
        )
        for index, carton in enumerate(cartons)
    ]
