"""Panels, cartons and the plan that lays the one in the other."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from tracker.shop.errors import refuse_faults
from tracker.shop.saying import Count, say

LEAST: Final = 1e-9
LONGEST_MM: Final = 100_000.0
HEAVIEST_KG: Final = 100_000.0


class KeepTogether(StrEnum):
    """What is kept together before the boxes are made few: whole groups, groups without their fronts, or nothing."""

    CABINET = "cabinet"
    FRONTS_APART = "fronts apart"
    FEWEST_BOXES = "fewest boxes"


@dataclass(frozen=True, slots=True, kw_only=True)
class Panel:
    """One panel to be packed. Sizes in mm, mass in kg; ``length_mm`` is the name of a side, not always the longer one.

    ``front`` marks a fragile face, which lies on top. ``cabinet`` names what it is gathered with where that costs no
    box, ``group`` what it is kept together with before the boxes are made few, ``drop`` where it is unloaded: no box
    holds panels of two drops. Each may be empty.
    Raises InvalidInputError for a size or a mass that is not more than 0, not a number, or absurd.
    """

    id: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    mass_kg: float
    cabinet: str = ""
    group: str = ""
    drop: str = ""
    front: bool = False

    def __post_init__(self) -> None:
        lengths = {"length_mm": self.length_mm, "width_mm": self.width_mm, "thickness_mm": self.thickness_mm}
        faults = [*_length_faults(lengths), *_mass_faults({"mass_kg": self.mass_kg})]
        refuse_faults("panel", self.id, [*_id_faults(self.id), *faults])


@dataclass(frozen=True, slots=True, kw_only=True)
class Carton:
    """One kind of carton: inner sizes in mm, masses in kg.

    ``max_mass_kg`` is the gross limit: the empty carton (``tare_kg``), its panels and its bag together. ``available``
    is how many there are, None for as many as wanted. Raises InvalidInputError for sizes that cannot be.
    """

    id: str
    length_mm: float
    width_mm: float
    height_mm: float
    max_mass_kg: float
    tare_kg: float = 0.0
    available: int | None = None

    def __post_init__(self) -> None:
        lengths = {"length_mm": self.length_mm, "width_mm": self.width_mm, "height_mm": self.height_mm}
        faults = [*_length_faults(lengths), *_mass_faults({"max_mass_kg": self.max_mass_kg})]
        if not 0 <= self.tare_kg < self.max_mass_kg:
            faults.append(("tare_kg", say("the empty carton's mass is 0 kg or more and below max_mass_kg")))
        if self.available is not None and self.available < 0:
            faults.append(("available", say("the number of cartons is 0 or more, or left out when there is no limit")))
        refuse_faults("carton", self.id, [*_id_faults(self.id), *faults])


@dataclass(frozen=True, slots=True, kw_only=True)
class PackingRules:
    """What lies in a box beside its panels.

    ``layer_gap_mm`` is the sheet between two layers. ``bag_height_mm`` and ``bag_mass_kg`` are kept free in every box
    for its bag of items, which lies on the top layer; 0 plans no bag. ``box_mass_kg`` is the gross mass that the shop
    allows a box, None for what its carton carries; only a panel that alone comes to more lies in a heavier box, by
    itself. ``keep_together`` says how groups are: with FRONTS_APART their fronts come late and lie in other boxes than
    the rest; with FEWEST_BOXES they are gathered as cabinets are, where that costs no box.
    Raises InvalidInputError for a value below 0.
    """

    layer_gap_mm: float = 0.0
    bag_height_mm: float = 0.0
    bag_mass_kg: float = 0.0
    box_mass_kg: float | None = None
    keep_together: KeepTogether = KeepTogether.CABINET

    def __post_init__(self) -> None:
        values = (
            ("layer_gap_mm", self.layer_gap_mm, LONGEST_MM),
            ("bag_height_mm", self.bag_height_mm, LONGEST_MM),
            ("bag_mass_kg", self.bag_mass_kg, HEAVIEST_KG),
        )
        faults: list[tuple[str, str]] = [
            (name, say("a number from 0 to %(most)s is wanted, not %(given)s", most=Count(most), given=value))
            for name, value, most in values
            if not 0 <= value <= most
        ]
        if self.box_mass_kg is not None:
            faults += _mass_faults({"box_mass_kg": self.box_mass_kg})
        refuse_faults("rules", "", faults)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedPanel:
    """Where a panel lies: the corner nearest the carton's inner origin, in mm; z is up, x along the carton's length.

    ``rotated`` says that the panel's length lies along the carton's width. ``layer`` and ``position`` count from 1;
    position 1 is laid first.
    """

    id: str
    x_mm: float
    y_mm: float
    z_mm: float
    rotated: bool
    layer: int
    position: int


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedBag:
    """The gap kept for the bag of items: above which layer, and from which height in mm."""

    above_layer: int
    z_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxContent:
    """One box: its carton's id, its panels in the order of laying, and what it comes to.

    ``mass_kg`` is gross: carton, panels and bag. ``height_mm`` is the height used inside, bag included.
    ``centre_of_mass_mm`` is that of the panels (x, y, z); ``shift_mm`` is how far it lies from the middle in plan.
    """

    carton: str
    panels: tuple[PlacedPanel, ...]
    mass_kg: float
    height_mm: float
    centre_of_mass_mm: tuple[float, float, float]
    shift_mm: float
    bag: PlannedBag | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Unplaceable:
    """A panel that lies in no box, and why."""

    id: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxPlan:
    """The boxes; ``lower_bound`` is a number of boxes below which the panels that were placed cannot be packed.

    ``bound_for`` says for which boxes that holds. ``proved_least`` says that there are no more boxes than that.
    """

    boxes: tuple[BoxContent, ...]
    lower_bound: int
    bound_for: str
    unplaceable: tuple[Unplaceable, ...]

    @property
    def proved_least(self) -> bool:
        return len(self.boxes) == self.lower_bound


def _id_faults(name: str) -> list[tuple[str, str]]:
    return [] if name else [("id", say("it must not be empty"))]


def _length_faults(lengths: Mapping[str, float]) -> list[tuple[str, str]]:
    most = Count(LONGEST_MM)
    return [
        (name, say("a number of more than 0 and at most %(most)s mm is wanted, not %(given)s", most=most, given=value))
        for name, value in lengths.items()
        if not LEAST <= value <= LONGEST_MM
    ]


def _mass_faults(masses: Mapping[str, float]) -> list[tuple[str, str]]:
    most = Count(HEAVIEST_KG)
    return [
        (name, say("a number of more than 0 and at most %(most)s kg is wanted, not %(given)s", most=most, given=value))
        for name, value in masses.items()
        if not LEAST <= value <= HEAVIEST_KG
    ]
