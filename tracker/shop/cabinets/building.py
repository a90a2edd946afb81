"""A cabinet while it is being designed: panels are put in their places, and joints give both partners their machining.

Each fastener's middle is found once, in the cabinet's own space, and written onto both panels from there: partners
cannot disagree.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from math import inf
from typing import Final

from tracker.shop.cabinets.joints import Fastening, Item, Joint
from tracker.shop.cabinets.orders import CabinetOrder, Family
from tracker.shop.cabinets.panels import (
    BACK,
    DOWN,
    LEFT,
    RIGHT,
    SIDES,
    UP,
    Face,
    Feature,
    Grain,
    Hand,
    Part,
    Place,
    Vector,
    Work,
    cross,
    distance,
    minus,
    moved,
)
from tracker.shop.cabinets.standard import MATERIAL_LEFT_MM, Board, CountByLength, Standard
from tracker.shop.errors import Fault, InvalidInputError
from tracker.shop.saying import BareMm, Mm, Name, say

Extent = tuple[float, float]
Block = tuple[Extent, Extent, Extent]
Turn = tuple[Vector, Vector]  # the directions of a panel's length and width

# How panels stand. The face A of an end looks into the cabinet, its edge L1 is in front.
LEFT_END: Final[Turn] = (DOWN, BACK)
RIGHT_END: Final[Turn] = (UP, BACK)
LYING: Final[Turn] = (RIGHT, BACK)
ACROSS: Final[Turn] = (RIGHT, UP)
FRONT_UPRIGHT: Final[Turn] = (UP, LEFT)
LEFT_SIDE: Final[Turn] = (BACK, UP)
RIGHT_SIDE: Final[Turn] = ((0.0, -1.0, 0.0), UP)
_TINY: Final = 1e-6


def refuse(field: str, rule: str, what: str) -> InvalidInputError:
    """Return the refusal of an order that cannot be built: its field, the rule of the standard, what is wanted."""
    fault = Fault(where={"field": field, "rule": rule}, what=what)
    return InvalidInputError(say("The cabinet cannot be built: %(what)s.", what=what), [fault])


def named(part: str) -> Name:
    """Return a part's name within a sentence: where nobody speaks English it stands as on the label."""
    return Name(part.lower(), printed=part)


class Build:
    """Panels, joints and hardware of one cabinet, added one by one."""

    def __init__(self, order: CabinetOrder, standard: Standard) -> None:
        self.order = order
        self.standard = standard
        self.parts: dict[str, Part] = {}
        self.joints: list[Joint] = []
        self._features: dict[str, list[Feature]] = defaultdict(list)
        self._drilled: dict[tuple[str, Face, float, int], list[tuple[float, float]]] = defaultdict(list)
        self._items: Counter[tuple[str, bool]] = Counter()

    # ------------------------------------------------------------------ panels
    def panel(
        self,
        name: str,
        block: Block,
        turn: Turn,
        board: Board,
        edges: Sequence[str],
        *,
        number: int = 0,
        hand: Hand = Hand.NONE,
        unit: str = "",
        front: bool = False,
    ) -> str:
        """Put a panel into the block of space that it fills (x, y, z from and to, in mm); return its id."""
        length, width = turn
        thickness = cross(length, width)
        corner = [0.0, 0.0, 0.0]
        for axis in (length, width, thickness):
            place = next(i for i in range(3) if axis[i])
            corner[place] = block[place][0 if axis[place] > 0 else 1]
        place_ = Place(origin=(corner[0], corner[1], corner[2]), length=length, width=width, thickness=thickness)
        sizes = [abs(sum(axis[i] * (block[i][1] - block[i][0]) for i in range(3))) for axis in (length, width)]
        return self.placed(
            name, place_, (sizes[0], sizes[1]), board, edges, number=number, hand=hand, unit=unit, front=front
        )

    def placed(
        self,
        name: str,
        place: Place,
        size: tuple[float, float],
        board: Board,
        edges: Sequence[str],
        *,
        number: int = 0,
        hand: Hand = Hand.NONE,
        unit: str = "",
        front: bool = False,
    ) -> str:
        """Put a panel of a length and width where ``place`` says; return its id."""
        if min(size) < _LEAST_PANEL_MM:
            way = place.length if size[0] <= size[1] else place.width
            what = say(
                "the %(part)s would be %(length)s × %(width)s, which cannot be made",
                part=named(name),
                length=BareMm(size[0]),
                width=Mm(size[1]),
            )
            raise refuse(_field_along(self.order, way), "panels", what)
        own = f"{name} {number}" if number else name
        edging = self.standard.edging
        self.parts[own] = Part(
            id=own,
            name=name,
            length_mm=size[0],
            width_mm=size[1],
            board=board,
            grain=Grain.LENGTH if board.grained else Grain.NONE,
            edges=tuple(edges),
            tape_mm=edging.front_tape_mm if front else edging.carcass_tape_mm,
            hand=hand,
            unit=unit,
            front=front,
            features=(),
            place=place,
        )
        return own

    def work(self, part: str, feature: Feature) -> None:
        """Add machining to a panel; the same hole asked for twice is drilled once."""
        x, y = feature.x_mm, feature.y_mm
        if feature.diameter_mm:
            near = {round(x - _TINY), round(x + _TINY)}
            places = [self._drilled[part, feature.face, feature.diameter_mm, place] for place in near]
            if any(abs(x - other[0]) < _TINY and abs(y - other[1]) < _TINY for place in places for other in place):
                return
            places[0].append((x, y))
        self._features[part].append(feature)

    def features_of(self, part: str) -> tuple[Feature, ...]:
        return tuple(self._features[part])

    def hole(self, part: str, face: Face, work: Work, at: Vector, *, depth: float, diameter: float) -> None:
        """Drill a hole into a side of a panel at a point of the cabinet."""
        x, y = self.parts[part].on_side(face, at)
        self.work(part, Feature(work=work, face=face, x_mm=x, y_mm=y, depth_mm=depth, diameter_mm=diameter))

    def item(self, name: str, quantity: int, *, in_bag: bool = True) -> None:
        if quantity:
            self._items[name, in_bag] += quantity

    # ------------------------------------------------------------------ joints
    def join(
        self,
        part: str,
        side: Face,
        onto: str,
        onto_side: Face,
        fastening: Fastening,
        points: Iterable[Vector] = (),
        *,
        item: str = "",
        gap: float = 0.0,
        slide: Vector = (0.0, 0.0, 0.0),
    ) -> None:
        self.joints.append(
            Joint(
                number=0,
                part=part,
                side=side,
                onto=onto,
                onto_side=onto_side,
                fastening=fastening,
                points=tuple(points),
                item=item,
                gap_mm=gap,
                slide=slide,
            )
        )

    def lock(self, part: str, side: Face, onto: str, onto_side: Face, way: Vector, *, start: float = 0.0) -> None:
        """Lock an edge to a face: bodies in bores in the edge, hooks in slots in the face.

        The part moves ``way`` at last to lock. The first ``start`` mm of the joint stay free.
        """
        lock = self.standard.lock
        points = self.along(part, side, onto, onto_side, lock.counts, lock.inset_mm, free=(start, 0.0))
        for point in points:
            self.hole(part, side, Work.LOCK_BORE, point, depth=lock.bore_depth_mm, diameter=lock.bore_diameter_mm)
            x, y = self.parts[onto].on_side(onto_side, point)
            entry = self.parts[onto].on_side(onto_side, moved(point, way, -lock.slide_mm))
            self.work(
                onto,
                Feature(
                    work=Work.LOCK_SLOT,
                    face=onto_side,
                    x_mm=x,
                    y_mm=y,
                    dx_mm=entry[0] - x,
                    dy_mm=entry[1] - y,
                    depth_mm=lock.slot_depth_mm,
                    diameter_mm=lock.slot_width_mm,
                ),
            )
        self.item("panel lock", len(points), in_bag=False)
        slide = (way[0] * lock.slide_mm, way[1] * lock.slide_mm, way[2] * lock.slide_mm)
        self.join(part, side, onto, onto_side, Fastening.LOCK, points, slide=slide)

    def dowel(self, part: str, side: Face, onto: str, onto_side: Face) -> None:
        """Stand an edge on a face with plain dowels; the hole in the edge is a little deeper than the dowel needs."""
        dowels = self.standard.dowels
        points = self.along(part, side, onto, onto_side, _DOWELS, dowels.inset_mm)
        deep = dowels.length_mm - dowels.face_depth_mm + _UNDER_DOWEL_MM
        for point in points:
            self.hole(part, side, Work.DOWEL_HOLE, point, depth=deep, diameter=dowels.diameter_mm)
            self.hole(onto, onto_side, Work.DOWEL_HOLE, point, depth=dowels.face_depth_mm, diameter=dowels.diameter_mm)
        self.item(f"dowel {dowels.diameter_mm:g} × {dowels.length_mm:g} mm", len(points))
        self.join(part, side, onto, onto_side, Fastening.DOWEL, points)

    def pin_edge(self, part: str, side: Face, onto: str, onto_side: Face) -> None:
        """Drive spring pins from outside through a panel (``onto``) into the edge that is locked to its face."""
        pins, through = self.standard.pins, self.parts[onto].thickness_mm
        counts = (CountByLength(up_to_mm=3 * pins.inset_mm, count=1), CountByLength(up_to_mm=inf, count=pins.count))
        points = self.along(part, side, onto, onto_side, counts, pins.inset_mm)
        locks = next(joint for joint in self.joints if (joint.part, joint.side) == (part, side)).points
        least = (pins.diameter_mm + self.standard.lock.bore_diameter_mm) / 2 + MATERIAL_LEFT_MM
        if any(distance(point, lock) < least for point in points for lock in locks):
            what = say(
                "a spring pin would meet a lock in the edge of the %(part)s; wanted: another distance from its end",
                part=named(self.parts[part].name),
            )
            raise refuse("width", "pins.inset", what)
        for point in points:
            depth = pins.length_mm - through
            self.hole(part, side, Work.PIN_HOLE, point, depth=depth, diameter=pins.diameter_mm)
            self.hole(onto, onto_side, Work.PIN_HOLE, point, depth=through, diameter=pins.diameter_mm)
        self.item(f"spring pin {pins.diameter_mm:g} mm", len(points))
        self.join(part, side, onto, onto_side, Fastening.PIN, points)

    def screw_edge(
        self,
        part: str,
        side: Face,
        onto: str,
        onto_side: Face,
        *,
        gap: float = 0.0,
        free: tuple[float, float] = (0.0, 0.0),
    ) -> None:
        """Screw a face (``onto``) to an edge: clearance holes through the face's panel, pilot holes into the edge.

        As many mm as ``free`` says stay without a screw at the start and at the end of the joint.
        """
        screws = self.standard.screws
        points = self.along(part, side, onto, onto_side, screws.counts, screws.inset_mm, free=free)
        through = self.parts[onto].thickness_mm
        for point in points:
            self.hole(
                part, side, Work.PILOT_HOLE, point, depth=screws.edge_pilot_depth_mm, diameter=screws.pilot_diameter_mm
            )
            self.hole(onto, onto_side, Work.SCREW_HOLE, point, depth=through, diameter=screws.clearance_diameter_mm)
        self._screwed(part, side, onto, onto_side, points, screws.edge_length_mm, gap)

    def screw_faces(self, part: str, side: Face, onto: str, onto_side: Face, *, gap: float = 0.0) -> None:
        """Screw a front (``onto``) to the panel behind it, from the inside, below the middle where the pull may be."""
        screws = self.standard.screws
        points = self.along(part, side, onto, onto_side, screws.counts, screws.inset_mm, share=1 / 3)
        for point in points:
            depth = self.parts[part].thickness_mm
            self.hole(part, side, Work.SCREW_HOLE, point, depth=depth, diameter=screws.clearance_diameter_mm)
            self.hole(
                onto, onto_side, Work.PILOT_HOLE, point, depth=screws.pilot_depth_mm, diameter=screws.pilot_diameter_mm
            )
        length = self.standard.face_screw_mm(self.parts[part].thickness_mm + gap)
        self._screwed(part, side, onto, onto_side, points, length, gap)

    def _screwed(
        self, part: str, side: Face, onto: str, onto_side: Face, points: Sequence[Vector], length: float, gap: float
    ) -> None:
        screw = f"screw {length:g} mm"
        self.item(screw, len(points))
        if gap:
            self.item(f"spacer {gap:g} mm", len(points))
        self.join(part, side, onto, onto_side, Fastening.SCREW, points, item=screw, gap=gap)

    def groove(self, part: str, side: Face, onto: str, onto_side: Face, block: Block) -> None:
        """Let an edge into a groove that fills a block of space inside the other panel."""
        panel = self.parts[onto]
        ends = [panel.place.to_panel((block[0][i], block[1][i], block[2][i])) for i in (0, 1)]
        axis, _, first, second = SIDES[onto_side]
        low = [min(ends[0][i], ends[1][i]) for i in range(3)]
        high = [max(ends[0][i], ends[1][i]) for i in range(3)]
        self.work(
            onto,
            Feature(
                work=Work.GROOVE,
                face=onto_side,
                x_mm=low[first],
                y_mm=low[second],
                dx_mm=high[first] - low[first],
                dy_mm=high[second] - low[second],
                depth_mm=high[axis] - low[axis],
            ),
        )
        self.join(part, side, onto, onto_side, Fastening.GROOVE)

    def along(
        self,
        part: str,
        side: Face,
        onto: str,
        onto_side: Face,
        counts: Sequence[CountByLength],
        inset: float,
        *,
        free: tuple[float, float] = (0.0, 0.0),
        share: float = 0.5,
    ) -> list[Vector]:
        """Return the places of the fasteners of a joint, on one line along the strip in which the two sides meet.

        The line divides the strip's width at ``share``; as many mm as ``free`` says stay free at its start and end.
        """
        one, other = self.parts[part], self.parts[onto]
        low, high = met(one, side, other, onto_side)
        long = 0 if high[0] - low[0] >= high[1] - low[1] else 1
        first, last = low[long] + free[0], high[long] - free[1]
        steps = [one.from_side(side, *((at, 0.0) if long == 0 else (0.0, at))) for at in (0.0, 1.0)]
        field = _field_along(self.order, minus(steps[1], steps[0]))
        count = count_for(last - first, counts, (one.name, other.name), field)
        middle = low[1 - long] + (high[1 - long] - low[1 - long]) * share
        places = spread(first, last, count, inset)
        return [one.from_side(side, *((at, middle) if long == 0 else (middle, at))) for at in places]

    # ------------------------------------------------------------------ results
    def finished_parts(self) -> tuple[Part, ...]:
        return tuple(replace(part, features=tuple(self._features[own])) for own, part in self.parts.items())

    def finished_items(self) -> tuple[Item, ...]:
        return tuple(
            Item(item=name, quantity=count, in_bag=in_bag) for (name, in_bag), count in sorted(self._items.items())
        )


_LEAST_PANEL_MM: Final = 20.0
_DOWELS: Final = (CountByLength(up_to_mm=60.0, count=1), CountByLength(up_to_mm=inf, count=2))
_UNDER_DOWEL_MM: Final = 1.0  # common practice, no source: or a dowel would keep the joint open


def spread(low: float, high: float, count: int, inset: float) -> Iterator[float]:
    """Return ``count`` places between two ends, evenly, the outer ones ``inset`` from the ends (or a quarter of it)."""
    if count == 1:
        yield (low + high) / 2
        return
    inset = min(inset, (high - low) / 4)
    step = (high - low - 2 * inset) / (count - 1)
    for index in range(count):
        yield low + inset + index * step


def _field_along(order: CabinetOrder, way: Vector) -> str:
    """Return the size of the order that runs along a direction; both walls of a diagonal corner are its width."""
    sizes = ("width", "width" if order.family is Family.DIAGONAL_CORNER else "depth", "height")
    return max(zip(sizes, way, strict=True), key=lambda each: round(abs(each[1]), 6))[0]


def count_for(length: float, counts: Sequence[CountByLength], parts: tuple[str, str], field: str) -> int:
    """Return how many fasteners a joint of this length takes; refuses one that is longer than the standard knows.

    ``field`` is the size of the order that makes it so long.
    """
    for line in counts:
        if length <= line.up_to_mm + _TINY:
            return line.count
    what = say(
        "the joint %(one)s on %(other)s is %(length)s long; the standard ends at %(longest)s",
        one=parts[0],
        other=parts[1],
        length=Mm(length),
        longest=Mm(counts[-1].up_to_mm),
    )
    raise refuse(field, "fasteners by length", what)


def met(one: Part, side: Face, other: Part, onto_side: Face) -> tuple[tuple[float, float], tuple[float, float]]:
    """Return the rectangle of ``one``'s side that lies on ``other``'s, in coordinates of the first."""
    width, height = other.side_sizes(onto_side)
    own = one.side_sizes(side)
    here = one.on_side(side, other.from_side(onto_side, 0.0, 0.0))
    along = one.on_side(side, other.from_side(onto_side, width, 0.0))
    above = one.on_side(side, other.from_side(onto_side, 0.0, height))
    xs, ys = ((here[i], along[i], above[i], along[i] + above[i] - here[i]) for i in (0, 1))
    return (max(0.0, min(xs)), max(0.0, min(ys))), (min(own[0], max(xs)), min(own[1], max(ys)))
