"""The first plan of boxes: the box that the order names, otherwise one cabinet one box."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from tracker.shop.measures import board_mass_kg
from tracker.shop.orders import ItemLine, PartLine


@dataclass(slots=True, kw_only=True)
class PlannedBox:
    """What one carton is to hold: ``pieces`` in the order in which they are laid, and the counted items."""

    name: str
    pieces: list[PartLine] = field(default_factory=list)
    items: list[ItemLine] = field(default_factory=list)

    @property
    def cabinets(self) -> list[str]:
        return list(dict.fromkeys(piece.cabinet for piece in self.pieces))


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxSize:
    """The mass in kg and the size in mm of a stack of panels, one on the other."""

    mass_kg: float
    length_mm: float
    width_mm: float
    height_mm: float


def plan_boxes(parts: Sequence[PartLine], items: Sequence[ItemLine]) -> list[PlannedBox]:
    """Return the planned boxes in the order in which the cut list first names them.

    An item belongs to the box of its name, or else to the box of the cabinet of that name. Raises KeyError for an item
    whose box is named by no part; check the order first.
    """
    named: dict[str, PlannedBox] = {}
    of_cabinet: dict[str, PlannedBox] = {}
    boxes: list[PlannedBox] = []
    for line in parts:
        known, key = (named, line.box) if line.box else (of_cabinet, line.cabinet)
        if key not in known:
            known[key] = PlannedBox(name=key)
            boxes.append(known[key])
        known[key].pieces.extend([line] * line.quantity)
    for item in items:
        (named.get(item.box) or of_cabinet[item.box]).items.append(item)
    for box in boxes:
        box.pieces.sort(key=lambda piece: (-piece.length_mm * piece.width_mm, -piece.thickness_mm))
    return boxes


def size_of(pieces: Sequence[tuple[float, float, float]]) -> BoxSize:
    """Return the size of a stack of panels, each given as its length, width and thickness in mm."""
    return BoxSize(
        mass_kg=sum(board_mass_kg(*piece) for piece in pieces),
        length_mm=max((piece[0] for piece in pieces), default=0.0),
        width_mm=max((piece[1] for piece in pieces), default=0.0),
        height_mm=sum(piece[2] for piece in pieces),
    )
