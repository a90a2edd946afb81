"""The diagonal corner: two ends at right angles, two backs along the walls, and one front across the corner.

Seen from above, the room's corner is at x = 0, y = width; the left end stands at y = 0, the right one at x = width, and
the front runs from the left end's front edge to the right end's, at 45° to both. All four walls lock onto deck, top and
shelves: a shelf is wider than the opening, so it is locked in rather than laid on pins. The cabinet is put together
lying on its left back, on which deck, top and shelves stand until the other walls hold them.
"""

from math import sqrt
from typing import Final

from tracker.shop.cabinets.building import LYING, Block, Build, refuse
from tracker.shop.cabinets.carcass import (
    KICK_ID,
    LEFT_BACK_ID,
    LEFT_ID,
    RIGHT_BACK_ID,
    RIGHT_ID,
    carcass_depth,
    toe_notch,
)
from tracker.shop.cabinets.fronts import bore_pull, check_door, front_board
from tracker.shop.cabinets.hinges import hang_corner_door
from tracker.shop.cabinets.orders import Fronts, Hinge
from tracker.shop.cabinets.panels import (
    BACK,
    DOWN,
    LEFT,
    UP,
    Face,
    Feature,
    Hand,
    Place,
    Vector,
    Work,
    cross,
    moved,
)
from tracker.shop.saying import Mm, say

_S: Final = 1 / sqrt(2)
ALONG: Final[Vector] = (_S, _S, 0.0)  # along the front, from the left end to the right one
OUTWARD: Final[Vector] = (_S, -_S, 0.0)  # out of the front
_LOWEST_MM: Final = 300.0  # a door on two hinges between deck and top; common practice, no source


def build_diagonal(build: Build) -> None:
    """A diagonal corner, as a base on a toe kick or as a wall cabinet."""
    order, standard = build.order, build.standard
    toe = standard.carcass.toe_height_mm if order.fronts is Fronts.BASE else 0.0
    board = standard.boards.carcass.thickness_mm
    if order.width_mm - carcass_depth(build) < 2 * board + standard.fronts.narrowest_door_mm * _S:
        raise refuse(
            "width",
            "fronts.narrowest_door",
            say("a diagonal corner's walls are longer than its depth by a door and two boards"),
        )
    lines = standard.lines
    shallowest = max(2 * lines.setback_mm + lines.pitch_mm, standard.carcass.toe_setback_mm + 3 * board)
    if carcass_depth(build) < shallowest:
        what = say("a diagonal corner's ends are at least %(least)s deep", least=Mm(shallowest))
        raise refuse("depth", "lines.setback", what)
    if order.height_mm - toe < _LOWEST_MM:
        what = say("above the toe kick %(least)s or more are wanted", least=Mm(_LOWEST_MM))
        raise refuse("height", "hinges.spacing", what)
    _walls(build, board, toe)
    _lying(build, "Deck", toe)
    _lying(build, "Top", order.height_mm - board)
    if toe:
        _kick(build, board, toe)
    _shelves(build, (toe + board, order.height_mm - board))
    _door(build, toe)


def _walls(build: Build, board: float, toe: float) -> None:
    width, depth, height = build.order.width_mm, carcass_depth(build), build.order.height_mm
    tall = (0.0, height)
    stock, edging = build.standard.boards.carcass, build.standard.edging
    left: Block = ((0.0, depth), (0.0, board), tall)
    build.panel(LEFT_ID, left, (DOWN, LEFT), stock, edging.end, hand=Hand.LEFT)
    right: Block = ((width - board, width), (width - depth, width), tall)
    build.panel(RIGHT_ID, right, (UP, BACK), stock, edging.end, hand=Hand.RIGHT)
    block: Block = ((0.0, board), (board, width), tall)
    build.panel(LEFT_BACK_ID, block, (DOWN, BACK), stock, edging.nailer)
    block = ((board, width - board), (width - board, width), tall)
    build.panel(RIGHT_BACK_ID, block, (UP, LEFT), stock, edging.nailer)
    if toe:
        toe_notch(build, LEFT_ID, left=True, height=height, toe=toe)
        toe_notch(build, RIGHT_ID, left=False, height=height, toe=toe)


def _lying(build: Build, name: str, level: float, *, number: int = 0) -> None:
    """Lay a panel across between the four walls and lock it to them, its corner cut off along the front.

    The walls share no way to slide but the upright one, so pins from outside hold what a load does not: through all
    four walls into deck and top, through both backs into a shelf.
    """
    width, board = build.order.width_mm, build.standard.boards.carcass
    low, high = board.thickness_mm, width - board.thickness_mm
    block: Block = ((low, high), (low, high), (level, level + board.thickness_mm))
    own = build.panel(name, block, LYING, board, (), number=number)
    leg = high - low - carcass_depth(build)
    cut = Feature(
        work=Work.CORNER_CUT, face=Face.A, x_mm=high - low, y_mm=0.0, dx_mm=-leg, dy_mm=leg, depth_mm=board.thickness_mm
    )
    build.work(own, cut)
    for side, wall in ((Face.W1, LEFT_BACK_ID), (Face.W2, RIGHT_ID), (Face.L1, LEFT_ID), (Face.L2, RIGHT_BACK_ID)):
        build.lock(own, side, wall, Face.A, DOWN)
        if not number or wall in (LEFT_BACK_ID, RIGHT_BACK_ID):
            build.pin_edge(own, side, wall, Face.A)


def _kick(build: Build, board: float, toe: float) -> None:
    """Stand the toe kick across the corner between the ends; the deck is screwed down onto it."""
    width, depth = build.order.width_mm, carcass_depth(build)
    out = depth * _S - build.standard.carcass.toe_setback_mm
    length = (width - 2 * board) / _S - 2 * out
    if length <= build.standard.fronts.narrowest_door_mm:
        raise refuse("width", "carcass.toe_setback", say("the toe kick would be too short"))
    middle: Vector = (width / 2, width / 2, 0.0)
    start = moved(moved(middle, ALONG, -length / 2), OUTWARD, out - board)
    place = Place(origin=start, length=ALONG, width=UP, thickness=cross(ALONG, UP))
    kick = build.placed(KICK_ID, place, (length, toe), build.standard.boards.carcass, build.standard.edging.kick)
    build.screw_edge(kick, Face.L2, "Deck", Face.B)


def _shelves(build: Build, opening: tuple[float, float]) -> None:
    """Lock in as many shelves as the height asks for, evenly apart."""
    room = opening[1] - opening[0]
    count = int(room // build.standard.shelves.spacing_mm)
    for number in range(1, count + 1):
        middle = opening[0] + room * number / (count + 1)
        _lying(build, "Fixed shelf", middle - build.standard.boards.carcass.thickness_mm / 2, number=number)


def _door(build: Build, toe: float) -> None:
    order, rules = build.order, build.standard.fronts
    board = front_board(build)
    hand = Hand.LEFT if order.hinge is Hinge.LEFT else Hand.RIGHT
    out = carcass_depth(build) * _S + rules.gap_mm
    width = order.width_mm / _S - 2 * (out + board.thickness_mm) - 2 * rules.outer_reveal_mm
    check_door(build, width)
    height = order.height_mm - toe - 2 * rules.outer_reveal_mm
    middle: Vector = (order.width_mm / 2, order.width_mm / 2, toe + rules.outer_reveal_mm)
    start = moved(moved(middle, ALONG, width / 2), OUTWARD, out)
    across = (-ALONG[0], -ALONG[1], 0.0)
    place = Place(origin=start, length=UP, width=across, thickness=cross(UP, across))
    door = build.placed("Door", place, (height, width), board, build.standard.edging.front, hand=hand, front=True)
    hang_corner_door(build, door, hand, toe)
    pulls = build.standard.pulls
    along = pulls.inset_mm if hand is Hand.LEFT else width - pulls.inset_mm
    up = height - pulls.inset_mm if toe else pulls.inset_mm
    more = -pulls.spacing_mm if toe else pulls.spacing_mm
    places = [(up, along), (up + more, along)] if pulls.spacing_mm else [(up, along)]
    bore_pull(build, door, [build.parts[door].from_side(Face.B, x, y) for x, y in places])
