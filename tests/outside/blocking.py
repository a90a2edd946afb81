"""What keeps a cabinet's parts from sliding apart, as a directional blocking graph of solids made by manifold3d.

Randall Wilson and Jean-Claude Latombe, "Geometric reasoning about mechanical assembly", Artificial Intelligence 71
(1994): for one direction, an arc goes from a part to each part that it runs into when it is moved a little that way. A
group that no arc leads out of is free to leave the rest that way; so nothing can when every part reaches
every other along the arcs. It is a proof of sliding alone: of strength it says nothing.

Nothing here uses the joints or the order of assembly. A lock's head stands out of its bore, mushroom-like, and the
slot in the other panel is wide where the head enters and has a lip on the way to where it rests. A pin or a dowel
belongs to the panel in whose edge it ends (a pin that ends in no edge, to the thickest that it goes through); screwed
panels are one solid.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from manifold3d import Manifold, OpType

from tests.outside.placed import less, machined, place, shared
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.panels import Face, Feature, Part, Vector, Work, normal_of

MOVED_MM = 1.0  # more than any play
MEETS_MM3 = 2.0  # what shares less only touches
WAYS: Mapping[str, Vector] = {
    "right": (1, 0, 0), "left": (-1, 0, 0), "back": (0, 1, 0), "front": (0, -1, 0), "up": (0, 0, 1), "down": (0, 0, -1)
}  # fmt: skip
_OPPOSITE = {"right": "left", "left": "right", "back": "front", "front": "back", "up": "down", "down": "up"}
_CLEARANCE_MM = 0.1
_LIP_MM = 3.0
_PLUGS = (Work.PIN_HOLE, Work.DOWEL_HOLE)
Graph = Mapping[str, frozenset[str]]


def standing(cabinet: Cabinet) -> list[Part]:
    """All but fronts, drawers and loose shelves."""
    return [part for part in cabinet.parts if not (part.front or part.unit)]


def groups_that_can_leave(cabinet: Cabinet) -> dict[str, set[frozenset[str]]]:
    """For each of six directions, the smallest groups of standing parts that can move out of the rest."""
    return groups_out_of(blocking_graphs(standing(cabinet)))


def groups_out_of(graphs: Mapping[str, Graph]) -> dict[str, set[frozenset[str]]]:
    """For each direction, the smallest groups out of which no arc leads."""
    return {way: set(_closed(graph)) for way, graph in graphs.items()}


def blocking_graphs(parts: Sequence[Part]) -> dict[str, Graph]:
    """For each direction the arcs from each solid to those that it runs into; a solid is named by its panels."""
    return arcs_of(_screwed_together(parts, equipped(parts, _PLUGS)))


def arcs_of(bodies: Mapping[str, Manifold], moved_mm: float = MOVED_MM) -> dict[str, Graph]:
    """The same of named solids, moved so far. Raises AssertionError when two are in the same place."""
    for (one, first), (other, second) in combinations(bodies.items(), 2):
        assert shared(first, second) < MEETS_MM3, f"{one} and {other} are in the same place"
    arcs: dict[str, dict[str, set[str]]] = {way: {name: set() for name in bodies} for way in WAYS}
    for one, other in combinations(bodies, 2):
        for way, (x, y, z) in WAYS.items():
            moved = bodies[one].translate((x * moved_mm, y * moved_mm, z * moved_mm))
            if shared(moved, bodies[other]) > MEETS_MM3:
                arcs[way][one].add(other)
                arcs[_OPPOSITE[way]][other].add(one)
    return {way: {name: frozenset(met) for name, met in graph.items()} for way, graph in arcs.items()}


def _closed(graph: Graph) -> Iterator[frozenset[str]]:
    """Yield the smallest groups out of which no arc leads; none where every part reaches every other."""
    reached = {name: _reached(graph, name) for name in graph}
    for group in reached.values():
        if len(group) < len(graph) and not any(reached[name] < group for name in group):
            yield group


def _reached(graph: Graph, start: str) -> frozenset[str]:
    seen, waiting = {start}, [start]
    while waiting:
        new = graph[waiting.pop()] - seen
        seen |= new
        waiting += new
    return frozenset(seen)


# ---------------------------------------------------------------------- solids with heads, slots, pins and dowels
@dataclass(frozen=True)
class _Hole:
    """A hole in the cabinet: where it starts, the way it goes, how deep, how wide, and whether it comes out again."""

    part: Part
    feature: Feature
    start: Vector
    into: Vector

    @property
    def goes_through(self) -> bool:
        axis = {Face.A: 2, Face.B: 2, Face.L1: 1, Face.L2: 1, Face.W1: 0, Face.W2: 0}[self.feature.face]
        return self.feature.depth_mm >= self.part.sizes[axis] - 1e-6

    @property
    def ends(self) -> tuple[float, float]:
        """Where it starts and ends along its own axis."""
        at = sum(self.start[i] * abs(self.into[i]) for i in range(3))
        sign = 1 if sum(self.into) > 0 else -1
        return (min(at, at + sign * self.feature.depth_mm), max(at, at + sign * self.feature.depth_mm))

    def is_in_line(self, other: "_Hole") -> bool:
        """Whether another hole has the same axis."""
        away = [self.start[i] - other.start[i] for i in range(3)]
        along = sum(away[i] * self.into[i] for i in range(3))
        aside = sum((away[i] - along * self.into[i]) ** 2 for i in range(3)) ** 0.5
        straight = abs(sum(self.into[i] * other.into[i] for i in range(3)))
        return straight > 0.999 and aside < 0.1


def _holes(parts: Iterable[Part], *works: Work) -> list[_Hole]:
    return [
        _Hole(part, feature, part.from_side(feature.face, feature.x_mm, feature.y_mm), _inward(part, feature.face))
        for part in parts
        for feature in part.features
        if feature.work in works
    ]


def _inward(part: Part, face: Face) -> Vector:
    x, y, z = normal_of(part.place, face)
    return (-x, -y, -z)


def equipped(parts: Sequence[Part], plugs: Sequence[Work]) -> dict[str, Manifold]:
    """Each panel in its place with its slots and the heads of its locks, and what is in its holes of some kinds."""
    solids = {part.id: _cut(part) for part in parts}
    wide = min((slot.feature.diameter_mm for slot in _holes(parts, Work.LOCK_SLOT)), default=0.0)
    for hole in _holes(parts, Work.LOCK_BORE):
        solids[hole.part.id] += _head(hole, wide - 2 * _CLEARANCE_MM)
    for own, plug in _plugs(parts, plugs):
        solids[own] += plug
    return {own: Manifold(solid.to_mesh64()) for own, solid in solids.items()}  # worked out once


def _cut(part: Part) -> Manifold:
    """A panel in its place with its grooves and notches, and with the holes that take a head, a pin or a dowel."""
    tools = [_slot(hole) for hole in _holes([part], Work.LOCK_SLOT)]
    tools += [
        _rod(hole.start, hole.into, -1.0, hole.feature.depth_mm + hole.goes_through, hole.feature.diameter_mm)
        for hole in _holes([part], *_PLUGS)
    ]
    return less(place(part, machined(part)), tools)


def _rod(start: Vector, way: Vector, low: float, high: float, diameter: float) -> Manifold:
    """A round rod from ``low`` to ``high`` along a way from a point."""
    solid = Manifold.cylinder(high - low, diameter / 2, circular_segments=8).translate((0, 0, low))
    x = (way[2], way[0], way[1])  # any vector across will do
    dot = sum(x[i] * way[i] for i in range(3))
    x = (x[0] - dot * way[0], x[1] - dot * way[1], x[2] - dot * way[2])
    size = sum(value * value for value in x) ** 0.5
    x = (x[0] / size, x[1] / size, x[2] / size)
    y = (way[1] * x[2] - way[2] * x[1], way[2] * x[0] - way[0] * x[2], way[0] * x[1] - way[1] * x[0])
    return solid.transform(tuple((x[i], y[i], way[i], start[i]) for i in range(3)))


def _slot(hole: _Hole) -> Manifold:
    """A head enters at one end of the slot through a hole as wide as itself; at the other a lip holds it."""
    feature, part = hole.feature, hole.part
    entry = part.from_side(feature.face, feature.x_mm + feature.dx_mm, feature.y_mm + feature.dy_mm)
    wide, deep = feature.diameter_mm, feature.depth_mm
    neck = [_rod(at, hole.into, -1.0, deep, wide / 2) for at in (hole.start, entry)]
    under = [_rod(at, hole.into, _LIP_MM, deep, wide) for at in (hole.start, entry)]
    mouth = _rod(entry, hole.into, -1.0, deep, wide)
    return Manifold.batch_hull(neck) + Manifold.batch_hull(under) + mouth


def _head(bore: _Hole, wide: float) -> Manifold:
    """What stands out of the edge: a neck, and on it a head."""
    out = (-bore.into[0], -bore.into[1], -bore.into[2])
    neck = _rod(bore.start, out, -1.0, _HEAD_MM, wide / 2)
    return neck + _rod(bore.start, out, _LIP_MM + _CLEARANCE_MM, _HEAD_MM, wide)


_HEAD_MM = 8.0  # common practice, no source: how far a lock's head stands out of its edge


def _plugs(parts: Sequence[Part], works: Sequence[Work]) -> Iterator[tuple[str, Manifold]]:
    """Yield each pin and dowel with the panel that keeps it."""
    for work in works:
        left = _holes(parts, work)
        while left:
            line = [hole for hole in left if hole.is_in_line(left[0])]
            line = _touching(line, left[0])
            left = [hole for hole in left if hole not in line]
            assert len(line) > 1, f"a pin in {line[0].part.id} alone holds nothing"
            blind = [hole for hole in line if not hole.goes_through and hole.feature.face not in (Face.A, Face.B)]
            keeper = blind[0] if blind else max(line, key=lambda hole: hole.part.thickness_mm)
            at = sum(keeper.start[i] * abs(keeper.into[i]) for i in range(3))
            sign = 1 if sum(keeper.into) > 0 else -1
            low, high = sorted(
                sign * (end - at) for end in (min(each.ends[0] for each in line), max(each.ends[1] for each in line))
            )
            plug = _rod(keeper.start, keeper.into, low, high, keeper.feature.diameter_mm - 2 * _CLEARANCE_MM)
            yield keeper.part.id, plug


def _touching(line: Sequence[_Hole], first: _Hole) -> list[_Hole]:
    """Those holes of one axis that follow each other without a board's thickness between them."""
    found, low, high = [first], *first.ends
    grown = True
    while grown:
        grown = False
        for hole in line:
            if hole not in found and hole.ends[0] < high + MOVED_MM and hole.ends[1] > low - MOVED_MM:
                found.append(hole)
                low, high, grown = min(low, hole.ends[0]), max(high, hole.ends[1]), True
    return found


def _screwed_together(parts: Sequence[Part], solids: Mapping[str, Manifold]) -> dict[str, Manifold]:
    """Make one solid of panels that share a screw: a clearance hole in one, a pilot hole in line in the other."""
    group = {part.id: {part.id} for part in parts}
    for hole in _holes(parts, Work.SCREW_HOLE):
        for pilot in _holes(parts, Work.PILOT_HOLE):
            if hole.part is not pilot.part and hole.is_in_line(pilot) and len(_touching([hole, pilot], hole)) > 1:
                both = group[hole.part.id] | group[pilot.part.id]
                group |= dict.fromkeys(both, both)
    named = {" + ".join(sorted(each)): each for each in group.values()}
    return {
        name: Manifold.batch_boolean([solids[own] for own in sorted(each)], OpType.Add) for name, each in named.items()
    }
