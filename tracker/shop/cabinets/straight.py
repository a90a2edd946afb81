"""The straight cabinets: base, wall, tall and blind corner, and the single panels."""

from tracker.shop.cabinets.building import FRONT_UPRIGHT, LEFT_END, Block, Build, named, refuse
from tracker.shop.cabinets.carcass import (
    STILE_ID,
    Carcass,
    adjustable_shelves,
    crossing,
    frame,
    join_ends,
    upright,
)
from tracker.shop.cabinets.drawers import drawers
from tracker.shop.cabinets.fronts import Opening, doors, front_board, front_panel, split, whole_front
from tracker.shop.cabinets.orders import Fronts, Hinge
from tracker.shop.cabinets.panels import Face
from tracker.shop.saying import Mm, say

_BANKS = {Fronts.TWO_DRAWERS: 2, Fronts.THREE_DRAWERS: 3, Fronts.FOUR_DRAWERS: 4, Fronts.FIVE_DRAWERS: 5}


def build_base(build: Build) -> None:
    """A base: on a toe kick, with a full top, and what the fronts ask for."""
    fronts = build.order.fronts
    carcass = frame(build, toe=build.standard.carcass.toe_height_mm, with_top=fronts is not Fronts.SINK)
    if fronts is Fronts.SINK:
        _sink(build, carcass)
    elif fronts in _BANKS:
        _bank(build, carcass, _BANKS[fronts])
    elif fronts in (Fronts.DRAWER_OVER_DOOR, Fronts.DRAWER_OVER_DOORS):
        _drawer_over_doors(build, carcass)
    else:
        _opening(build, carcass)


def build_wall(build: Build) -> None:
    """A wall cabinet: no toe kick; the nailers behind the back carry it."""
    _opening(build, frame(build, toe=0.0))


def build_tall(build: Build) -> None:
    """A tall cabinet: a pantry with doors below and above a fixed shelf, or an oven between drawer and doors."""
    carcass = frame(build, toe=build.standard.carcass.toe_height_mm)
    if build.order.fronts is Fronts.PANTRY:
        _pantry(build, carcass)
    else:
        _oven(build, carcass)


def build_blind(build: Build) -> None:
    """A blind corner: one side runs behind the cabinet beside it and is closed by a fixed panel."""
    carcass = frame(build, toe=build.standard.carcass.toe_height_mm)
    join_ends(build, carcass)
    whole, rules = whole_front(build, carcass), build.standard.fronts
    blind, reveal, stretcher = build.standard.corner.blind_mm, rules.reveal_mm, build.standard.carcass.stretcher_mm
    if carcass.width - blind < rules.narrowest_door_mm:
        what = say(
            "%(blind)s run behind the cabinet beside it and leave %(room)s for the door",
            blind=Mm(blind),
            room=Mm(carcass.width - blind),
        )
        raise refuse("width", "corner.blind", what)
    on_left = build.order.fronts is Fronts.BLIND_LEFT
    under = reveal + _BEHIND_DOOR_MM  # the stile holds the fixed panel and stops the door's free edge
    edge = blind if on_left else carcass.width - blind
    if on_left:
        low = blind + under - stretcher
        stile, closed, door = (low, low + stretcher), (whole.x[0], blind), (blind + reveal, whole.x[1])
    else:
        low = edge - under
        stile, closed, door = (low, low + stretcher), (edge, whole.x[1]), (whole.x[0], edge - reveal)
    inside = carcass.opening_of(*whole.z)
    block: Block = (stile, (0.0, carcass.board), inside)
    boards, edging = build.standard.boards, build.standard.edging
    own = build.panel(STILE_ID, block, FRONT_UPRIGHT, boards.carcass, edging.nailer)
    build.screw_edge(own, Face.W1, "Deck", Face.A)
    build.screw_edge(own, Face.W2, "Top", Face.B)
    panel = front_panel(build, "Blind panel", Opening(x=closed, z=whole.z))
    build.screw_faces(own, Face.A, panel, Face.B, gap=rules.gap_mm)
    # Away from the stile the panel is screwed from the front: the cabinet beside it hides these screws.
    free = (0.0, blind - low) if on_left else (low + stretcher - edge, 0.0)
    for lying in ("Deck", "Top"):
        build.screw_edge(lying, Face.L1, panel, Face.B, gap=rules.gap_mm, free=free)
    adjustable_shelves(build, carcass, inside, front=carcass.board + build.standard.shelves.front_setback_mm)
    doors(build, carcass, Opening(x=door, z=whole.z), Hinge.RIGHT if on_left else Hinge.LEFT)


_BEHIND_DOOR_MM = 20.0  # how far a stile reaches behind a door's free edge; common practice, no source


def build_filler(build: Build) -> None:
    """A filler: one panel of the fronts' board."""
    _single(build, "Filler", "depth", build.order.depth_mm)
    order, board = build.order, front_board(build)
    block: Block = ((0.0, order.width_mm), (0.0, board.thickness_mm), (0.0, order.height_mm))
    build.panel("Filler", block, FRONT_UPRIGHT, board, build.standard.edging.front, front=True)


def build_end_panel(build: Build) -> None:
    """A finished end panel: one panel of the fronts' board, as deep as it is ordered."""
    _single(build, "End panel", "width", build.order.width_mm)
    order, board = build.order, front_board(build)
    block: Block = ((0.0, board.thickness_mm), (0.0, order.depth_mm), (0.0, order.height_mm))
    build.panel("End panel", block, LEFT_END, board, build.standard.edging.front, front=True)


def _single(build: Build, name: str, field: str, size: float) -> None:
    thickness = build.standard.boards.fronts.thickness_mm
    if abs(size - thickness) > _THICKNESS_ERROR_MM:
        what = say(
            "the %(part)s is one panel: its %(field)s is %(thickness)s",
            part=named(name),
            field=_SIZES[field],
            thickness=Mm(thickness),
        )
        raise refuse(field, "boards.fronts.thickness", what)


_THICKNESS_ERROR_MM = 0.6
_SIZES = {"depth": say("depth"), "width": say("width")}


def _opening(build: Build, carcass: Carcass) -> None:
    join_ends(build, carcass)
    whole = whole_front(build, carcass)
    adjustable_shelves(build, carcass, carcass.opening_of(*whole.z))
    if build.order.fronts is not Fronts.OPEN:
        doors(build, carcass, whole, build.order.hinge)


def _drawer_over_doors(build: Build, carcass: Carcass) -> None:
    rules = build.standard.fronts
    high, low = split(whole_front(build, carcass), [rules.top_drawer_mm, 0.0], rules.reveal_mm)
    level = high.z[0] - rules.reveal_mm / 2 - carcass.board / 2
    crossing(build, carcass, "Drawer stretcher", level, depth=build.standard.carcass.stretcher_mm)
    join_ends(build, carcass)
    below = carcass.opening_of(*low.z)
    adjustable_shelves(build, carcass, below)
    doors(build, carcass, low, build.order.hinge)
    drawers(build, carcass, [high])


def _bank(build: Build, carcass: Carcass, count: int) -> None:
    join_ends(build, carcass)
    rules, whole = build.standard.fronts, whole_front(build, carcass)
    room = whole.z[1] - whole.z[0] - (count - 1) * rules.reveal_mm
    heights = [room / count] * count
    if count > 2 and room / count > rules.top_drawer_mm:
        heights = [rules.top_drawer_mm, *[(room - rules.top_drawer_mm) / (count - 1)] * (count - 1)]
    drawers(build, carcass, split(whole, heights, rules.reveal_mm))


def _sink(build: Build, carcass: Carcass) -> None:
    rules, stretcher = build.standard.fronts, build.standard.carcass.stretcher_mm
    rail = upright(build, carcass, "Sink rail", carcass.height - stretcher)
    carcass.across.append((carcass.height - stretcher, rail))
    join_ends(build, carcass)
    high, low = split(whole_front(build, carcass), [rules.top_drawer_mm, 0.0], rules.reveal_mm)
    shown = front_panel(build, "Fixed front", high)
    build.screw_faces(rail, Face.A, shown, Face.B, gap=rules.gap_mm)
    doors(build, carcass, low, build.order.hinge)


def _pantry(build: Build, carcass: Carcass) -> None:
    rules, whole = build.standard.fronts, whole_front(build, carcass)
    at = rules.pantry_split_mm
    _check_level(carcass, at, "fronts.pantry_split")
    crossing(build, carcass, "Fixed shelf", at - carcass.board / 2)
    join_ends(build, carcass)
    half = rules.reveal_mm / 2
    low = Opening(x=whole.x, z=(whole.z[0], at - half))
    high = Opening(x=whole.x, z=(at + half, whole.z[1]))
    for opening, name in ((low, "lower door"), (high, "upper door")):
        adjustable_shelves(build, carcass, carcass.opening_of(*opening.z))
        doors(build, carcass, opening, build.order.hinge, name=name)


def _oven(build: Build, carcass: Carcass) -> None:
    rules, whole = build.standard.fronts, whole_front(build, carcass)
    under = whole.z[0] + rules.oven_drawer_mm
    over = under + rules.oven_opening_mm
    _check_level(carcass, over, "fronts.oven_opening")
    crossing(build, carcass, "Oven shelf", under - carcass.board)
    crossing(build, carcass, "Fixed shelf", over)
    join_ends(build, carcass)
    high = Opening(x=whole.x, z=(over, whole.z[1]))
    adjustable_shelves(build, carcass, carcass.opening_of(*high.z))
    doors(build, carcass, high, build.order.hinge, name="upper door")
    drawers(build, carcass, [Opening(x=whole.x, z=(whole.z[0], under))])


def _check_level(carcass: Carcass, level: float, rule: str) -> None:
    least = level + _ABOVE_MM
    if carcass.height < least:
        what = say(
            "above %(level)s a door must fit; wanted: %(least)s of height or more", level=Mm(level), least=Mm(least)
        )
        raise refuse("height", rule, what)


_ABOVE_MM = 250.0
