"""Doors and fixed fronts: where they hang, their hinge cups and plates, and the holes for the pulls."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from tracker.shop.cabinets.building import FRONT_UPRIGHT, Block, Build, named, refuse, spread
from tracker.shop.cabinets.carcass import LEFT_ID, RIGHT_ID, Carcass, grid, line_hole
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import Family, Hinge
from tracker.shop.cabinets.panels import Face, Hand, Part, Vector, Work
from tracker.shop.cabinets.standard import Board
from tracker.shop.saying import BareMm, Mm, say

_BUMPERS: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """The rectangle of a cabinet's front that one front or a pair of them covers, in mm."""

    x: tuple[float, float]
    z: tuple[float, float]


def front_board(build: Build) -> Board:
    """The board of the fronts, in the finish that was ordered if one was."""
    board = build.standard.boards.fronts
    if not build.order.finish:
        return board
    return Board(
        material=build.order.finish, thickness_mm=board.thickness_mm, density=board.density, grained=board.grained
    )


def whole_front(build: Build, carcass: Carcass) -> Opening:
    """All that the fronts of a straight cabinet cover."""
    outer = build.standard.fronts.outer_reveal_mm
    return Opening(x=(outer, carcass.width - outer), z=(carcass.toe + outer, carcass.height - outer))


def split(opening: Opening, heights: list[float], reveal: float) -> list[Opening]:
    """Divide a front from the top down into heights; one of them may be 0 and takes what is left."""
    left = opening.z[1] - opening.z[0] - sum(heights) - reveal * (len(heights) - 1)
    found = []
    top = opening.z[1]
    for height in heights:
        low = top - (height or left)
        found.append(Opening(x=opening.x, z=(low, top)))
        top = low - reveal
    return found


def front_panel(
    build: Build, name: str, opening: Opening, *, hand: Hand = Hand.NONE, number: int = 0, unit: str = ""
) -> str:
    """Put a front before the carcass; return its id. Its length runs upright, along the grain."""
    gap, board = build.standard.fronts.gap_mm, front_board(build)
    block: Block = (opening.x, (-gap - board.thickness_mm, -gap), opening.z)
    edges = build.standard.edging.front
    return build.panel(name, block, FRONT_UPRIGHT, board, edges, hand=hand, number=number, unit=unit, front=True)


def doors(build: Build, carcass: Carcass, opening: Opening, hinge: Hinge, *, name: str = "door") -> None:
    """Hang one door, or a pair, before an opening; the pulls go to the end that the hand reaches."""
    rules = build.standard.fronts
    width = opening.x[1] - opening.x[0]
    if hinge in (Hinge.LEFT, Hinge.RIGHT):
        _door(build, carcass, name.capitalize(), opening, Hand(hinge.value))
        return
    half = (width - rules.reveal_mm) / 2
    left = Opening(x=(opening.x[0], opening.x[0] + half), z=opening.z)
    right = Opening(x=(opening.x[1] - half, opening.x[1]), z=opening.z)
    _door(build, carcass, f"Left {name}", left, Hand.LEFT)
    _door(build, carcass, f"Right {name}", right, Hand.RIGHT)


_ONE_DOOR: Final = (Family.BLIND_CORNER, Family.DIAGONAL_CORNER)


def check_door(build: Build, width: float) -> None:
    """Refuse a door that is too narrow for its hinges and its pull, or too wide for them to carry."""
    rules = build.standard.fronts
    if width < rules.narrowest_door_mm:
        what = say(
            "a door would be %(width)s wide, narrower than its hinges and its pull need: %(least)s",
            width=Mm(width),
            least=Mm(rules.narrowest_door_mm),
        )
        raise refuse("width", "fronts.narrowest_door", what)
    if width > rules.widest_door_mm:
        sizes = {"width": Mm(width), "most": Mm(rules.widest_door_mm)}
        what = say("a door would be %(width)s wide, more than %(most)s", **sizes)
        if build.order.family not in _ONE_DOOR:
            what = say("a door would be %(width)s wide, more than %(most)s; order a pair", **sizes)
        raise refuse("width", "fronts.widest_door", what)


def _door(build: Build, carcass: Carcass, name: str, opening: Opening, hand: Hand) -> None:
    check_door(build, opening.x[1] - opening.x[0])
    door = front_panel(build, name, opening, hand=hand)
    end = LEFT_ID if hand is Hand.LEFT else RIGHT_ID
    cup_at = build.standard.hinges.cup_distance_mm
    x = opening.x[0] + cup_at if hand is Hand.LEFT else opening.x[1] - cup_at
    inside = carcass.opening_of(*opening.z)
    points: list[Vector] = [(x, -build.standard.fronts.gap_mm, z) for z in hinge_levels(build, carcass, door, inside)]
    pitch = build.standard.lines.pitch_mm
    for point in points:
        for z in (point[2] - pitch / 2, point[2] + pitch / 2):
            line_hole(build, carcass, end, build.standard.lines.setback_mm, z)
    hang(build, door, end, points)
    pull_x = (
        opening.x[1] - build.standard.pulls.inset_mm
        if hand is Hand.LEFT
        else opening.x[0] + build.standard.pulls.inset_mm
    )
    door_pull(build, carcass, door, pull_x, opening)


def hang(build: Build, door: str, end: str, points: list[Vector], *, hinge: str = "hinge") -> None:
    """Bore the cups into a door's back and join it to the end that carries it."""
    rules = build.standard.hinges
    for point in points:
        build.hole(door, Face.B, Work.HINGE_CUP, point, depth=rules.cup_depth_mm, diameter=rules.cup_diameter_mm)
    build.item(hinge, len(points))
    build.item("door bumper", _BUMPERS)
    build.join(door, Face.B, end, Face.A, Fastening.HINGE, points, gap=build.standard.fronts.gap_mm)


def hinge_count(build: Build, door: Part) -> int:
    """Return how many hinges carry a door of its height and mass; refuses one too high or heavy for any row."""
    for row in build.standard.hinges.counts:
        if door.length_mm <= row.door_height_mm and door.mass_kg <= row.door_mass_kg:
            return row.count
    last = build.standard.hinges.counts[-1]
    what = say(
        "a door of %(height)s and %(mass)s kg is more than %(count)s hinges carry (%(most)s, %(most_mass)s kg)",
        height=Mm(door.length_mm),
        mass=f"{door.mass_kg:.1f}",
        count=last.count,
        most=Mm(last.door_height_mm),
        most_mass=f"{last.door_mass_kg:g}",
    )
    raise refuse("height", "hinges.counts", what)


def hinge_levels(build: Build, carcass: Carcass, door: str, inside: tuple[float, float]) -> list[float]:
    """Return the heights of a door's hinges: each plate's two holes lie on the grid, clear of the panels across."""
    rules, lines, part = build.standard.hinges, build.standard.lines, build.parts[door]
    bottom = part.place.origin[2]
    top = bottom + part.length_mm
    low = max(bottom + rules.least_inset_mm, inside[0] + lines.margin_mm + lines.pitch_mm / 2)
    high = min(top - rules.least_inset_mm, inside[1] - lines.margin_mm - lines.pitch_mm / 2)
    half = lines.pitch_mm / 2
    middles = clear_of_shelves(build, [z + half for z in grid(build, carcass, low - half, high - half)])
    count = hinge_count(build, part)
    wanted = spread(bottom, top, count, rules.inset_mm)
    chosen = [_nearest(middles, at) for at in wanted]
    if not middles or any(above - below < rules.spacing_mm - 1e-6 for below, above in pairwise(chosen)):
        what = say("a door of %(height)s is too low for its %(count)s hinges", height=Mm(part.length_mm), count=count)
        raise refuse("height", "hinges.spacing", what)
    return chosen


def clear_of_shelves(build: Build, levels: Sequence[float]) -> list[float]:
    """Return the heights at which a hinge plate and its holes keep clear of every shelf and its pins."""
    room = build.standard.lines.pitch_mm / 2 + _PLATE_MM
    shelves = [part for part in build.parts.values() if part.name in ("Shelf", "Fixed shelf")]
    spans = [(part.place.origin[2] - room, part.place.origin[2] + part.thickness_mm + room) for part in shelves]
    return [level for level in levels if not any(low < level < high for low, high in spans)]


_PLATE_MM: Final = 10.0  # how far a plate reaches beyond its holes; common practice, no source


def _nearest(levels: Sequence[float], wanted: float) -> float:
    return min(levels, key=lambda level: abs(level - wanted), default=0.0)


def door_pull(build: Build, carcass: Carcass, door: str, x: float, opening: Opening) -> None:
    """Bore a door's pull at the end that the hand reaches: low on a door that starts high, else high."""
    inset, spacing = build.standard.pulls.inset_mm, build.standard.pulls.spacing_mm
    low, high = opening.z
    starts_high = not carcass.toe or low > _HAND_MM
    z = low + inset if starts_high else high - inset
    other = z + spacing if starts_high else z - spacing
    pull_holes(build, door, [(x, z), (x, other)] if spacing else [(x, z)])


_HAND_MM: Final = 1000.0  # a door that starts above this height is opened from below; common practice, no source


def drawer_pull(build: Build, front: str, opening: Opening) -> None:
    """Bore a drawer's pull in the middle of its front."""
    spacing = build.standard.pulls.spacing_mm
    x, z = (opening.x[0] + opening.x[1]) / 2, (opening.z[0] + opening.z[1]) / 2
    pull_holes(build, front, [(x - spacing / 2, z), (x + spacing / 2, z)] if spacing else [(x, z)])


def pull_holes(build: Build, front: str, places: list[tuple[float, float]]) -> None:
    """Bore the holes of one pull through a front that faces forward, at places across and up in the cabinet."""
    y = build.parts[front].place.origin[1]
    bore_pull(build, front, [(x, y, z) for x, z in places])


def bore_pull(build: Build, front: str, points: list[Vector]) -> None:
    """Bore the holes of one pull through a front; refuses a pull that is longer than its front."""
    pulls, part = build.standard.pulls, build.parts[front]
    for point in points:
        along, across = part.on_side(Face.B, point)
        least = pulls.diameter_mm
        if not (least <= along <= part.length_mm - least and least <= across <= part.width_mm - least):
            what = say(
                "the pull does not fit the %(part)s of %(length)s × %(width)s",
                part=named(part.name),
                length=BareMm(part.length_mm),
                width=Mm(part.width_mm),
            )
            raise refuse("height", "pulls.spacing", what)
        build.hole(front, Face.B, Work.PULL_HOLE, point, depth=part.thickness_mm, diameter=pulls.diameter_mm)
    if pulls.supplied:
        build.item("pull", 1)
