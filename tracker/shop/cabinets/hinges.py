"""How many hinges a door has and where they sit: the cups in the door, the holes of the plates in the end.

The numbers of the rule are the shop's own: they stand in the section ``[hinges]`` of its construction standard.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from tracker.shop.cabinets.building import Build, refuse, spread
from tracker.shop.cabinets.carcass import LEFT_ID, RIGHT_ID, Carcass, carcass_depth, grid, line_hole
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.panels import Face, Hand, Part, Vector, Work
from tracker.shop.saying import Mm, Number, say

_BUMPERS: Final = 2
_PLATE_MM: Final = 10.0  # how far a plate reaches beyond its holes; common practice, no source


def hang_door(build: Build, carcass: Carcass, door: str, end: str, edge: float, inside: tuple[float, float]) -> None:
    """Hang a door before an ``end``: its hinged edge stands at ``edge`` across, plates go ``inside`` these heights."""
    cup_at = build.standard.hinges.cup_distance_mm
    x = edge + cup_at if end == LEFT_ID else edge - cup_at
    points: list[Vector] = [(x, -build.standard.fronts.gap_mm, z) for z in _levels(build, carcass, door, inside)]
    half = build.standard.lines.pitch_mm / 2
    for point in points:
        for z in (point[2] - half, point[2] + half):
            line_hole(build, carcass, end, build.standard.lines.setback_mm, z)
    _join(build, door, end, points, "hinge")


def hang_corner_door(build: Build, door: str, hand: Hand, toe: float) -> None:
    """Hang the door of a diagonal corner on hinges for a 45° end; the plates' holes stand as high in the end."""
    hinges, lines = build.standard.hinges, build.standard.lines
    part, end = build.parts[door], LEFT_ID if hand is Hand.LEFT else RIGHT_ID
    across = part.width_mm - hinges.cup_distance_mm if hand is Hand.LEFT else hinges.cup_distance_mm
    board, order = build.standard.boards.carcass.thickness_mm, build.order
    at: Vector = (
        (carcass_depth(build) - lines.setback_mm, board, 0.0)
        if hand is Hand.LEFT
        else (order.width_mm - board, order.width_mm - carcass_depth(build) + lines.setback_mm, 0.0)
    )
    origin = toe + board / 2
    half = lines.pitch_mm / 2
    points = []
    for up in spread(0.0, part.length_mm, _count(build, part), hinges.inset_mm):
        near = round((part.place.origin[2] + up - origin - half) / lines.pitch_mm)
        steps = [origin + half + (near + more) * lines.pitch_mm for more in (0, 1, -1, 2, -2, 3, -3)]
        z = next(iter(_clear_of_shelves(build, steps)), steps[0])
        for hole in (z - half, z + half):
            point = (at[0], at[1], hole)
            build.hole(end, Face.A, Work.LINE_HOLE, point, depth=lines.depth_mm, diameter=lines.diameter_mm)
        points.append(part.from_side(Face.B, z - part.place.origin[2], across))
    _join(build, door, end, points, "hinge for a 45° front")


def _join(build: Build, door: str, end: str, points: list[Vector], hinge: str) -> None:
    """Bore the cups into a door's back and join it to the end that carries it."""
    rules = build.standard.hinges
    for point in points:
        build.hole(door, Face.B, Work.HINGE_CUP, point, depth=rules.cup_depth_mm, diameter=rules.cup_diameter_mm)
    build.item(hinge, len(points))
    build.item("door bumper", _BUMPERS)
    build.join(door, Face.B, end, Face.A, Fastening.HINGE, points, gap=build.standard.fronts.gap_mm)


def _count(build: Build, door: Part) -> int:
    """Return how many hinges carry a door of its height and mass; refuses one too high or heavy for any row."""
    for row in build.standard.hinges.counts:
        if door.length_mm <= row.door_height_mm and door.mass_kg <= row.door_mass_kg:
            return row.count
    last = build.standard.hinges.counts[-1]
    what = say(
        "a door of %(height)s and %(mass)s kg is more than %(count)s hinges carry (%(most)s, %(most_mass)s kg)",
        height=Mm(door.length_mm),
        mass=Number(f"{door.mass_kg:.1f}"),
        count=last.count,
        most=Mm(last.door_height_mm),
        most_mass=Number(f"{last.door_mass_kg:g}"),
    )
    raise refuse("height", "hinges.counts", what)


def _levels(build: Build, carcass: Carcass, door: str, inside: tuple[float, float]) -> list[float]:
    """Return the heights of a door's hinges: each plate's two holes lie on the grid, clear of the panels across."""
    rules, lines, part = build.standard.hinges, build.standard.lines, build.parts[door]
    bottom = part.place.origin[2]
    top = bottom + part.length_mm
    low = max(bottom + rules.least_inset_mm, inside[0] + lines.margin_mm + lines.pitch_mm / 2)
    high = min(top - rules.least_inset_mm, inside[1] - lines.margin_mm - lines.pitch_mm / 2)
    half = lines.pitch_mm / 2
    middles = _clear_of_shelves(build, [z + half for z in grid(build, carcass, low - half, high - half)])
    count = _count(build, part)
    chosen = [_nearest(middles, at) for at in spread(bottom, top, count, rules.inset_mm)]
    if not middles or any(above - below < rules.spacing_mm - 1e-6 for below, above in pairwise(chosen)):
        what = say("a door of %(height)s is too low for its %(count)s hinges", height=Mm(part.length_mm), count=count)
        raise refuse("height", "hinges.spacing", what)
    return chosen


def _clear_of_shelves(build: Build, levels: Sequence[float]) -> list[float]:
    """Return the heights at which a hinge plate and its holes keep clear of every shelf and its pins."""
    room = build.standard.lines.pitch_mm / 2 + _PLATE_MM
    shelves = [part for part in build.parts.values() if part.name in ("Shelf", "Fixed shelf")]
    spans = [(part.place.origin[2] - room, part.place.origin[2] + part.thickness_mm + room) for part in shelves]
    return [level for level in levels if not any(low < level < high for low, high in spans)]


def _nearest(levels: Sequence[float], wanted: float) -> float:
    return min(levels, key=lambda level: abs(level - wanted), default=0.0)
