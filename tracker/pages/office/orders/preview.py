"""What taking an order would make, set out for the eye: cabinets, boxes, boards, items. Nothing is stored."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.job_boxes import Packing, PlannedBox, Way, plan_boxes, size_of, ways_of
from tracker.shop.lifting import Handling, LiftingMarks
from tracker.shop.order_warnings import made_of, material_of, unlisted
from tracker.shop.orders import Order
from tracker.shop.supplies import Boards
from tracker.work.orders import preview_order

MOST_SHOWN: Final = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class CabinetRow:
    """A cabinet, or several equal ones: ``count`` of them. ``order`` is None for one that comes as a cut list."""

    name: str
    count: int
    parts: int
    mass_kg: float
    order: CabinetOrder | None
    room: str = ""
    drop: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxRow:
    """A planned box. Sizes in mm."""

    name: str
    carton: str | None
    drop: str
    parts: int
    items: int
    mass_kg: float
    size_mm: tuple[float, float, float]
    handling: Handling


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialRow:
    """What a material comes to, all its finished panels together, without any waste.

    ``listed`` says that the shop has a board of it, that it lists no boards at all, or that the parts are bought.
    """

    material: str
    thickness_mm: float
    parts: int
    area_m2: float
    mass_kg: float
    listed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """What an order comes to. The lists are cut at MOST_SHOWN; the ``more_`` numbers say how many are left out."""

    cabinets: int
    parts: int
    items: int
    boxes: int
    mass_kg: float
    ways: Sequence[Way]
    cabinet_rows: Sequence[CabinetRow]
    box_rows: Sequence[BoxRow]
    materials: Sequence[MaterialRow]
    item_rows: Sequence[tuple[str, int]]
    more_cabinets: int
    more_boxes: int
    more_items: int

    @property
    def unlisted(self) -> list[MaterialRow]:
        """The materials that the shop's list of boards does not have: slips, or boards that are to be bought."""
        return [row for row in self.materials if not row.listed]


def preview(order: Order, packing: Packing | None, boards: Boards) -> Preview:
    """Return what taking an order would make. Raises InvalidInputError for one that could not be taken."""
    made = preview_order(order)
    planned = plan_boxes(order.parts, order.items, packing)
    marks = packing.marks if packing else LiftingMarks()
    cabinets = _cabinet_rows(order)
    items = _item_rows(order)
    return Preview(
        cabinets=made.cabinets,
        parts=made.parts,
        items=sum(line.quantity for line in order.items),
        boxes=len(planned),
        mass_kg=sum(line.mass_kg * line.quantity for line in order.parts),
        ways=ways_of(planned, order.parts, order.items, packing),
        cabinet_rows=cabinets[:MOST_SHOWN],
        box_rows=[_box_row(box, marks) for box in islice(planned, MOST_SHOWN)],
        materials=_materials(order, boards)[:MOST_SHOWN],
        item_rows=items[:MOST_SHOWN],
        more_cabinets=max(0, len(cabinets) - MOST_SHOWN),
        more_boxes=max(0, len(planned) - MOST_SHOWN),
        more_items=max(0, len(items) - MOST_SHOWN),
    )


def _cabinet_rows(order: Order) -> list[CabinetRow]:
    designed = {name for design in order.designs for name in design.names}
    rows = [
        CabinetRow(
            name=design.names[0] if len(design.names) == 1 else f"{design.names[0]} … {design.names[-1]}",
            count=len(design.names),
            parts=len(design.cabinet.parts),
            mass_kg=design.cabinet.mass_kg,
            order=design.cabinet.order,
            room=design.cabinet.order.room,
            drop=design.cabinet.order.drop,
        )
        for design in order.designs
    ]
    places: dict[str, tuple[str, str]] = {}
    parts: Counter[str] = Counter()
    masses: Counter[str] = Counter()
    for line in order.parts:
        if line.cabinet not in designed:
            places[line.cabinet] = line.room, line.drop
            parts[line.cabinet] += line.quantity
            masses[line.cabinet] += line.quantity * line.mass_kg  # type: ignore[assignment]  # a Counter adds floats too
    rows += [
        CabinetRow(
            name=name,
            count=1,
            parts=count,
            mass_kg=masses[name],
            order=None,
            room=places[name][0],
            drop=places[name][1],
        )
        for name, count in parts.items()
    ]
    return rows


def _box_row(box: PlannedBox, marks: LiftingMarks) -> BoxRow:
    size = box.size or size_of([(*piece.size, piece.mass_kg) for piece in box.pieces])
    return BoxRow(
        name=box.name,
        carton=box.carton,
        drop=box.drop,
        parts=len(box.pieces),
        items=sum(line.quantity for line in box.items),
        mass_kg=size.mass_kg,
        size_mm=(size.length_mm, size.width_mm, size.height_mm),
        handling=marks.handling(size.mass_kg),
    )


def _materials(order: Order, boards: Boards) -> list[MaterialRow]:
    sums: dict[tuple[str, float], list[float]] = {}
    not_listed = unlisted(made_of(order.parts), boards)
    for line in order.parts:
        found = sums.setdefault(material_of(line), [0, 0.0, 0.0])
        found[0] += line.quantity
        found[1] += line.quantity * line.length_mm * line.width_mm / 1e6
        found[2] += line.quantity * line.mass_kg
    return [
        MaterialRow(
            material=name,
            thickness_mm=thickness,
            parts=int(count),
            area_m2=area,
            mass_kg=mass,
            listed=(name, thickness) not in not_listed,
        )
        for (name, thickness), (count, area, mass) in sorted(sums.items())
    ]


def _item_rows(order: Order) -> list[tuple[str, int]]:
    counts: Counter[str] = Counter()
    for line in order.items:
        counts[line.item] += line.quantity
    return sorted(counts.items())
