"""A job's boxes: the box that the order names, otherwise planned into the shop's cartons, or one cabinet one box."""

from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from tracker.shop.boxing.planner import MOST_IN_JOB, plan_job
from tracker.shop.boxing.values import BoxContent, Carton, KeepTogether, PackingRules, Panel, PlacedPanel
from tracker.shop.errors import Fault, InvalidInputError, TooLargeError, fault_at, gathered
from tracker.shop.left_over import told_with_first
from tracker.shop.lifting import LiftingMarks
from tracker.shop.orders import ItemLine, PartLine
from tracker.shop.saying import Count, join, say

MOST_FAULTS_TOLD: Final = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Packing:
    """The cartons that a shop has, what lies in them beside panels, and who carries them."""

    cartons: tuple[Carton, ...]
    rules: PackingRules = field(default_factory=PackingRules)
    marks: LiftingMarks = field(default_factory=LiftingMarks)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxSize:
    """The mass in kg and the size in mm of what is packed."""

    mass_kg: float
    length_mm: float
    width_mm: float
    height_mm: float


@dataclass(slots=True, kw_only=True)
class PlannedBox:
    """What one carton is to hold: ``pieces`` in the order in which they are laid, and the counted items.

    With a carton, ``places`` says where each piece lies, ``bag_above`` above which layer the bag of items is, and
    ``empty_kg`` what carton and bag weigh.
    """

    name: str
    pieces: list[PartLine] = field(default_factory=list)
    items: list[ItemLine] = field(default_factory=list)
    carton: str | None = None
    empty_kg: float | None = None
    places: tuple[PlacedPanel, ...] = ()
    bag_above: int | None = None
    size: BoxSize | None = None

    @property
    def cabinets(self) -> list[str]:
        return list(dict.fromkeys(piece.cabinet for piece in self.pieces))

    @property
    def drop(self) -> str:
        """Where it is unloaded: a box holds what goes to one drop."""
        return self.pieces[0].drop if self.pieces else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Way:
    """What one way of keeping together comes to: boxes, and how many cabinets one absent box stops."""

    keep_together: KeepTogether
    boxes: int
    stopped_at_most: int
    stopped_on_average: float


def ways_of(
    planned: Sequence[PlannedBox], parts: Sequence[PartLine], items: Sequence[ItemLine], packing: Packing | None
) -> tuple[Way, ...]:
    """Return what the boxes come to as they are planned, and beside it the fewest boxes; nothing without cartons."""
    if packing is None:
        return ()
    ways = [_way(packing.rules.keep_together, planned)]
    if packing.rules.keep_together is not KeepTogether.FEWEST_BOXES:
        fewest = replace(packing.rules, keep_together=KeepTogether.FEWEST_BOXES)
        ways.append(_way(fewest.keep_together, plan_boxes(parts, items, replace(packing, rules=fewest))))
    return tuple(ways)


def _way(keep: KeepTogether, boxes: Sequence[PlannedBox]) -> Way:
    stopped = [len(box.cabinets) for box in boxes]
    return Way(
        keep_together=keep,
        boxes=len(boxes),
        stopped_at_most=max(stopped, default=0),
        stopped_on_average=sum(stopped) / max(1, len(stopped)),
    )


def plan_boxes(
    parts: Sequence[PartLine], items: Sequence[ItemLine], packing: Packing | None = None
) -> list[PlannedBox]:
    """Return the planned boxes, in the order in which the lines first ask for them; those of cartons come last.

    An item belongs to the box of its name, or else to the box that holds most of the cabinet of that name. Raises
    InvalidInputError for panels that fit no carton and for a box that the order fills for two drops, KeyError for an
    item whose box is named by no part; check the order first.
    """
    named: dict[str, PlannedBox] = {}
    of_cabinet: dict[str, PlannedBox] = {}
    boxes: list[PlannedBox] = []
    for line in parts:
        if line.box or packing is None:
            known, key = (named, line.box) if line.box else (of_cabinet, line.cabinet)
            if key not in known:
                known[key] = PlannedBox(name=key)
                boxes.append(known[key])
            known[key].pieces.extend([line] * line.quantity)
    _refuse_two_drops(boxes)
    if packing is not None:
        boxes += _carton_boxes([line for line in parts if not line.box], packing, named)
    for box in boxes:
        if not box.places:
            box.pieces.sort(key=lambda piece: (-piece.length_mm * piece.width_mm, -piece.thickness_mm))
    homes = _homes(boxes)
    for item in items:
        (named.get(item.box) or of_cabinet.get(item.box) or homes[item.box]).items.append(item)
    return boxes


def _refuse_two_drops(boxes: Sequence[PlannedBox]) -> None:
    """Refuse boxes that the order itself fills with parts for two drops."""
    faults = []
    for box in boxes:
        drops = list(dict.fromkeys(piece.drop or say("none") for piece in box.pieces))
        if len(drops) > 1:
            what = say("parts for several drops (%(drops)s); wanted: one box for each", drops=join(drops))
            faults.append(Fault(where={"box": box.name, "field": "drop"}, what=what))
    if faults:
        raise InvalidInputError(say("A box goes to one drop. Nothing was stored."), faults[:MOST_FAULTS_TOLD])


def _carton_boxes(parts: Sequence[PartLine], packing: Packing, taken: Collection[str]) -> list[PlannedBox]:
    pieces = [line for line in parts for _ in range(line.quantity)]
    if not pieces:
        return []
    if len(pieces) > MOST_IN_JOB:
        cabinets = len({piece.cabinet for piece in pieces})
        told = say(
            "%(parts)s parts in %(cabinets)s cabinets: more than %(most)s cannot be planned into cartons. "
            "Split it into several jobs.",
            parts=Count(len(pieces)),
            cabinets=Count(cabinets),
            most=Count(MOST_IN_JOB),
        )
        what = say("wanted: at most %(most)s in one job", most=Count(MOST_IN_JOB))
        raise TooLargeError(told, [fault_at("parts", what)])
    plan = plan_job([_panel(index, piece) for index, piece in enumerate(pieces)], packing.cartons, packing.rules)
    if plan.unplaceable:
        left = [(pieces[int(each.id)], each.why) for each in plan.unplaceable]
        faults = gathered(({"part": piece.part, "field": "cartons"}, piece.cabinet, why) for piece, why in left)
        detail = told_with_first(say("Not every panel fits a carton of the shop"), faults, say("Nothing was stored."))
        raise InvalidInputError(detail, faults[:MOST_FAULTS_TOLD])
    kinds = {carton.id: carton for carton in packing.cartons}
    names = _names(len(plan.boxes), taken)
    return [
        _carton_box(name, content, kinds[content.carton], pieces)
        for name, content in zip(names, plan.boxes, strict=True)
    ]


def _names(count: int, taken: Collection[str]) -> list[str]:
    """Number the boxes from 1, leaving out the names that the order uses itself."""
    names: list[str] = []
    number = 0
    while len(names) < count:
        number += 1
        if str(number) not in taken:
            names.append(str(number))
    return names


def _panel(index: int, piece: PartLine) -> Panel:
    return Panel(
        id=str(index),
        length_mm=piece.length_mm,
        width_mm=piece.width_mm,
        thickness_mm=piece.thickness_mm,
        mass_kg=piece.mass_kg,
        group=piece.cabinet,
        drop=piece.drop,
        front=piece.designed is not None and piece.designed.fragile,
    )


def _carton_box(name: str, content: BoxContent, carton: Carton, pieces: Sequence[PartLine]) -> PlannedBox:
    size = BoxSize(
        mass_kg=content.mass_kg, length_mm=carton.length_mm, width_mm=carton.width_mm, height_mm=content.height_mm
    )
    return PlannedBox(
        name=name,
        pieces=[pieces[int(place.id)] for place in content.panels],
        carton=content.carton,
        empty_kg=content.mass_kg - sum(pieces[int(place.id)].mass_kg for place in content.panels),
        places=content.panels,
        bag_above=content.bag.above_layer if content.bag else None,
        size=size,
    )


def _homes(boxes: Sequence[PlannedBox]) -> dict[str, PlannedBox]:
    """Return for each cabinet the box that holds most of its pieces, the first of equals."""
    counts: dict[str, Counter[int]] = {}
    for index, box in enumerate(boxes):
        for piece in box.pieces:
            counts.setdefault(piece.cabinet, Counter())[index] += 1
    return {cabinet: boxes[found.most_common(1)[0][0]] for cabinet, found in counts.items()}


def size_of(pieces: Sequence[tuple[float, float, float, float]]) -> BoxSize:
    """Return the size of a stack of panels, each given as its length, width and thickness in mm and its mass in kg."""
    return BoxSize(
        mass_kg=sum(piece[3] for piece in pieces),
        length_mm=max((piece[0] for piece in pieces), default=0.0),
        width_mm=max((piece[1] for piece in pieces), default=0.0),
        height_mm=sum(piece[2] for piece in pieces),
    )
