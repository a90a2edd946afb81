"""Doors and fixed fronts: where they stand, and the holes for the pulls."""

from dataclasses import dataclass, replace
from typing import Final

from tracker.shop.cabinets.building import FRONT_UPRIGHT, Block, Build, named, refuse
from tracker.shop.cabinets.carcass import LEFT_ID, RIGHT_ID, Carcass
from tracker.shop.cabinets.hinges import hang_door
from tracker.shop.cabinets.orders import Family, Hinge
from tracker.shop.cabinets.panels import Face, Hand, Vector, Work
from tracker.shop.cabinets.standard import Board
from tracker.shop.saying import BareMm, Mm, say


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
    return replace(board, material=build.order.finish)


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
    edge = opening.x[0] if hand is Hand.LEFT else opening.x[1]
    hang_door(build, carcass, door, end, edge, carcass.opening_of(*opening.z))
    inset = build.standard.pulls.inset_mm
    door_pull(build, carcass, door, opening.x[1] - inset if hand is Hand.LEFT else opening.x[0] + inset, opening)


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
