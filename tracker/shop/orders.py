"""An order as the shop takes it: the parts and items of one job, before any code is given."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from tracker.shop.cabinets.design import Cabinet, Mark
from tracker.shop.measures import board_mass_kg
from tracker.shop.steps import Route, Supply, route_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Designed:
    """What is known of a part whose cabinet was designed here, beyond the line of a cut list.

    ``own`` is its id in the cabinet; ``marks`` are the joint numbers at its sides and ``front`` the side that looks to
    the front; ``blank_mm`` is its sawn length and width; with ``grain`` the length runs along the board's; ``fragile``
    marks a front.
    """

    own: str
    front: str
    marks: tuple[Mark, ...]
    blank_mm: tuple[float, float]
    grain: bool
    fragile: bool
    mass_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PartLine:
    """One line of a cut list: ``quantity`` equal pieces. Sizes in mm.

    ``edges`` are the banded edges in the order of EDGES; ``machining`` is a programme name or empty; ``box`` is the
    name of the box that the order asks for, or empty when the service may choose. ``room`` is where the cabinet will
    stand and ``drop`` where it is unloaded; each may be empty.
    """

    cabinet: str
    part: str
    quantity: int
    length_mm: float
    width_mm: float
    thickness_mm: float
    material: str = ""
    edges: tuple[str, ...] = ()
    machining: str = ""
    supply: Supply = Supply.MADE
    box: str = ""
    room: str = ""
    drop: str = ""
    designed: Designed | None = None

    def __post_init__(self) -> None:
        sizes = (self.length_mm, self.width_mm, self.thickness_mm)
        if not all(math.isfinite(size) and size > 0 for size in sizes):
            raise ValueError(f"a panel's sizes are more than 0 mm: {sizes}")
        if self.quantity < 1 or not self.cabinet or not self.part:
            raise ValueError("a part line has a cabinet, a part name and a quantity of 1 or more")

    @property
    def route(self) -> Route:
        return route_of(supply=self.supply, machining=self.machining, edges=self.edges)

    @property
    def size(self) -> tuple[float, float, float]:
        return (self.length_mm, self.width_mm, self.thickness_mm)

    @property
    def mass_kg(self) -> float:
        """The planned mass of one piece: by its own board's density, or by the usual one (see ``board_mass_kg``)."""
        if self.designed:
            return self.designed.mass_kg
        return board_mass_kg(self.length_mm, self.width_mm, self.thickness_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemLine:
    """Bought-in hardware that is counted into the box named ``box``."""

    box: str
    item: str
    quantity: int

    def __post_init__(self) -> None:
        if self.quantity < 1 or not self.box or not self.item:
            raise ValueError("an item line has a box, an item name and a quantity of 1 or more")


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderedDesign:
    """A designed cabinet and the numbers of those in the job that are built so."""

    cabinet: Cabinet
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """One job as it is taken: who for, by when, and what. An item's box may be the name of a cabinet.

    ``read_as`` has the headings of its table that name a column by another well-known name, each with the column.
    """

    job: str
    customer: str
    due: date
    parts: Sequence[PartLine]
    items: Sequence[ItemLine] = ()
    designs: Sequence[OrderedDesign] = ()
    read_as: Mapping[str, str] = field(default_factory=dict)
