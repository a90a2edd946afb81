"""The carcass that all straight cabinets share: ends, deck, top, back, nailers, toe kick, and the lines of holes."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from math import ceil, floor
from typing import Final

from tracker.shop.cabinets.building import ACROSS, LEFT_END, LYING, RIGHT_END, Block, Build, refuse
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import Fronts
from tracker.shop.cabinets.panels import BACK, FRONT, UP, Face, Feature, Hand, Vector, Work, moved
from tracker.shop.saying import Mm, say

LEFT_ID: Final = "Left end"
RIGHT_ID: Final = "Right end"
LEFT_BACK_ID: Final = "Left back"
RIGHT_BACK_ID: Final = "Right back"
STILE_ID: Final = "Blind stile"
KICK_ID: Final = "Toe kick"
BACK_ID: Final = "Back"
NAILER_IDS: Final = ("Bottom nailer", "Top nailer")
_LEAST_OPENING_MM: Final = 60.0


@dataclass(slots=True, kw_only=True)
class Carcass:
    """Where things are in a carcass under construction: inner faces, levels, and the panels that lie across."""

    width: float
    depth: float
    height: float
    toe: float
    board: float
    back_at: float
    across: list[tuple[float, str]] = field(default_factory=list)

    @property
    def inner(self) -> tuple[float, float]:
        return (self.board, self.width - self.board)

    @property
    def openings(self) -> list[tuple[float, float]]:
        """The clear heights between the panels that lie across, from below."""
        levels = sorted(level for level, _ in self.across)
        return [(low + self.board, high) for low, high in pairwise(levels)]

    def opening_of(self, low: float, high: float) -> tuple[float, float]:
        """The opening that holds the middle of a front from ``low`` to ``high``."""
        middle = (low + high) / 2
        return next((o for o in self.openings if o[0] <= middle <= o[1]), (self.toe + self.board, self.height))


def frame(build: Build, *, toe: float, with_top: bool = True) -> Carcass:
    """Build ends, toe kick, deck, back, nailers and top; return where they are."""
    order, standard = build.order, build.standard
    depth = carcass_depth(build)
    carcass = Carcass(
        width=order.width_mm,
        depth=depth,
        height=order.height_mm,
        toe=toe,
        board=standard.boards.carcass.thickness_mm,
        back_at=depth
        - standard.carcass.groove_distance_mm
        - standard.carcass.play_mm
        - standard.boards.back.thickness_mm,
    )
    _check(build, carcass)
    _end(build, carcass, LEFT_ID)
    _end(build, carcass, RIGHT_ID)
    if toe:
        _kick(build, carcass)
    crossing(build, carcass, "Deck", toe)
    _back(build, carcass)
    low, high = NAILER_IDS
    _nailer(build, carcass, low, toe)
    _nailer(build, carcass, high, order.height_mm - standard.carcass.nailer_mm)
    _pins(build, carcass, "Deck", low)
    if with_top:
        _pins(build, carcass, crossing(build, carcass, "Top", order.height_mm - carcass.board), high)
    else:
        _short_pins(build, carcass, high)
    return carcass


def carcass_depth(build: Build) -> float:
    """Return the depth of the carcass: where the ordered depth includes the fronts, they are taken off."""
    rules = build.standard.fronts
    if not rules.depth_includes_fronts or build.order.fronts is Fronts.OPEN:
        return build.order.depth_mm
    return build.order.depth_mm - rules.gap_mm - build.standard.boards.fronts.thickness_mm


def join_ends(build: Build, carcass: Carcass) -> None:
    """Join to the ends all that lies or stands across between them, and let the back into its grooves.

    The locks cross, so that nothing slides out of the rest: what lies across locks forward, with the back behind it,
    and the nailers lock upward, as the cabinet hangs on them; the pins tie both to the back.
    """
    for part in list(build.parts.values()):
        if part.id in (LEFT_ID, RIGHT_ID, BACK_ID):
            continue
        for side, end in ((Face.W1, LEFT_ID), (Face.W2, RIGHT_ID)):
            if part.id == KICK_ID:
                build.dowel(part.id, side, end, Face.A)
            else:
                build.lock(part.id, side, end, Face.A, UP if part.id in NAILER_IDS else FRONT)
    _back_grooves(build, carcass)


def _check(build: Build, carcass: Carcass) -> None:
    standard = build.standard
    least_depth = 2 * standard.lines.setback_mm + standard.lines.pitch_mm
    if carcass.back_at < max(least_depth, standard.carcass.stretcher_mm):
        what = say(
            "in front of the back are %(room)s; the lines of holes and the stretcher need %(least)s",
            room=Mm(carcass.back_at),
            least=Mm(max(least_depth, standard.carcass.stretcher_mm)),
        )
        raise refuse("depth", "lines.setback", what)
    rules = standard.carcass
    if carcass.toe and rules.toe_setback_mm + 2 * carcass.board > carcass.back_at:
        what = say(
            "the toe kick would stand %(setback)s behind the front; in front of the back are %(room)s",
            setback=Mm(rules.toe_setback_mm),
            room=Mm(carcass.back_at),
        )
        raise refuse("depth", "carcass.toe_setback", what)
    if carcass.width - 2 * carcass.board < 2 * (standard.pins.inset_mm + standard.pins.diameter_mm):
        room = Mm(carcass.width - 2 * carcass.board)
        raise refuse("width", "pins.inset", say("between the ends are %(room)s, too few for the pins", room=room))
    nailers = carcass.toe + 2 * standard.carcass.nailer_mm + _LEAST_OPENING_MM
    if carcass.height < nailers:
        what = say("two nailers and the toe kick need %(least)s of height or more", least=Mm(nailers))
        raise refuse("height", "carcass.nailer", what)


def _end(build: Build, carcass: Carcass, name: str) -> None:
    left = name == LEFT_ID
    x = (0.0, carcass.board) if left else (carcass.width - carcass.board, carcass.width)
    block: Block = (x, (0.0, carcass.depth), (0.0, carcass.height))
    build.panel(
        name,
        block,
        LEFT_END if left else RIGHT_END,
        build.standard.boards.carcass,
        build.standard.edging.end,
        hand=Hand.LEFT if left else Hand.RIGHT,
    )
    if carcass.toe:
        toe_notch(build, name, left=left, height=carcass.height, toe=carcass.toe)


def toe_notch(build: Build, end: str, *, left: bool, height: float, toe: float) -> None:
    """Cut the corner at front and floor out of an end."""
    build.work(
        end,
        Feature(
            work=Work.NOTCH,
            face=Face.A,
            x_mm=height - toe if left else 0.0,
            y_mm=0.0,
            dx_mm=toe,
            dy_mm=build.standard.carcass.toe_setback_mm,
            depth_mm=build.standard.boards.carcass.thickness_mm,
        ),
    )


def _kick(build: Build, carcass: Carcass) -> None:
    at = build.standard.carcass.toe_setback_mm
    block: Block = (carcass.inner, (at, at + carcass.board), (0.0, carcass.toe))
    build.panel(KICK_ID, block, ACROSS, build.standard.boards.carcass, build.standard.edging.kick)


def crossing(
    build: Build, carcass: Carcass, name: str, level: float, *, depth: float | None = None, number: int = 0
) -> str:
    """Lay a panel across between the ends, its underside at ``level``; return its id."""
    block: Block = (carcass.inner, (0.0, depth or carcass.back_at), (level, level + carcass.board))
    edges = build.standard.edging.across
    own = build.panel(name, block, LYING, build.standard.boards.carcass, edges, number=number)
    carcass.across.append((level, own))
    return own


def upright(build: Build, carcass: Carcass, name: str, low: float) -> str:
    """Stand a rail across at the front, as high as a stretcher is wide; return its id."""
    block: Block = (carcass.inner, (0.0, carcass.board), (low, low + build.standard.carcass.stretcher_mm))
    return build.panel(name, block, ACROSS, build.standard.boards.carcass, build.standard.edging.nailer)


def _nailer(build: Build, carcass: Carcass, name: str, low: float) -> str:
    """Stand a nailer behind the back, with the play that lets the back slide in before it."""
    start = carcass.back_at + build.standard.boards.back.thickness_mm + build.standard.carcass.play_mm
    block: Block = (carcass.inner, (start, start + carcass.board), (low, low + build.standard.carcass.nailer_mm))
    return build.panel(name, block, ACROSS, build.standard.boards.carcass, build.standard.edging.nailer)


def _back(build: Build, carcass: Carcass) -> None:
    into = build.standard.carcass.groove_depth_mm - build.standard.carcass.play_mm
    x = (carcass.inner[0] - into, carcass.inner[1] + into)
    y = (carcass.back_at, carcass.back_at + build.standard.boards.back.thickness_mm)
    build.panel(BACK_ID, (x, y, (carcass.toe, carcass.height)), ACROSS, build.standard.boards.back, ())


def _back_grooves(build: Build, carcass: Carcass) -> None:
    rules = build.standard.carcass
    y = (carcass.back_at, carcass.back_at + build.standard.boards.back.thickness_mm + rules.play_mm)
    for side, end, x in (
        (Face.W1, LEFT_ID, (carcass.inner[0] - rules.groove_depth_mm, carcass.inner[0])),
        (Face.W2, RIGHT_ID, (carcass.inner[1], carcass.inner[1] + rules.groove_depth_mm)),
    ):
        build.groove(BACK_ID, side, end, Face.A, (x, y, (0.0, carcass.height)))


def _pins(build: Build, carcass: Carcass, lying: str, nailer: str) -> None:
    """Drive spring pins from behind through the nailer and the back into the rear edge of the panel before them."""
    pins, behind = build.standard.pins, build.standard.boards.back.thickness_mm + build.standard.carcass.play_mm
    edge = build.parts[lying]
    points = [edge.from_side(Face.L2, x - carcass.inner[0], carcass.board / 2) for x in _across(build, carcass)]
    for point in points:
        into = pins.length_mm - carcass.board - behind
        build.hole(lying, Face.L2, Work.PIN_HOLE, point, depth=into, diameter=pins.diameter_mm)
    build.item(f"spring pin {pins.diameter_mm:g} mm", len(points))
    build.join(lying, Face.L2, BACK_ID, Face.A, Fastening.PIN, points)
    _pin_back(build, nailer, points)


def _short_pins(build: Build, carcass: Carcass, nailer: str) -> None:
    """Drive pins through the nailer into the back alone, where nothing lies before it."""
    own, pins = build.parts[nailer], build.standard.pins
    middle = own.place.origin[2] + own.width_mm / 2
    _pin_back(build, nailer, [(x, carcass.back_at, middle) for x in _across(build, carcass)])
    length = pins.longest_within(carcass.board + build.standard.boards.back.thickness_mm)
    build.item(f"spring pin {pins.diameter_mm:g} × {length:g} mm", pins.count)


def _pin_back(build: Build, nailer: str, points: Sequence[Vector]) -> None:
    """Drill the back and the nailer behind it for pins at points of the back's face, and join the two."""
    play, diameter = build.standard.carcass.play_mm, build.standard.pins.diameter_mm
    back, strip = build.parts[BACK_ID], build.parts[nailer]
    for point in points:
        build.hole(BACK_ID, Face.A, Work.PIN_HOLE, point, depth=back.thickness_mm, diameter=diameter)
        build.hole(nailer, Face.A, Work.PIN_HOLE, point, depth=strip.thickness_mm, diameter=diameter)
    at_nailer = [moved(point, BACK, back.thickness_mm) for point in points]
    build.join(BACK_ID, Face.B, nailer, Face.A, Fastening.PIN, at_nailer, gap=play)


def _across(build: Build, carcass: Carcass) -> list[float]:
    """Return where pins stand across the cabinet."""
    pins = build.standard.pins
    low, high = carcass.inner[0] + pins.inset_mm, carcass.inner[1] - pins.inset_mm
    return [low + (high - low) * index / max(1, pins.count - 1) for index in range(pins.count)]


def grid(build: Build, carcass: Carcass, low: float, high: float) -> list[float]:
    """Return the heights of the line holes from ``low`` to ``high``: one grid for the whole cabinet."""
    pitch = build.standard.lines.pitch_mm
    origin = carcass.toe + carcass.board / 2
    first, last = ceil((low - origin) / pitch - 1e-9), floor((high - origin) / pitch + 1e-9)
    return [origin + index * pitch for index in range(first, last + 1)]


def line_hole(build: Build, carcass: Carcass, end: str, y: float, z: float) -> None:
    """Drill one hole of a line into the inner face of an end."""
    lines = build.standard.lines
    x = carcass.inner[0] if end == LEFT_ID else carcass.inner[1]
    build.hole(end, Face.A, Work.LINE_HOLE, (x, y, z), depth=lines.depth_mm, diameter=lines.diameter_mm)


def adjustable_shelves(
    build: Build, carcass: Carcass, opening: tuple[float, float], *, front: float | None = None
) -> None:
    """Drill the lines of an opening and put in as many loose shelves as its height asks for, ``front`` mm back."""
    lines, shelves = build.standard.lines, build.standard.shelves
    levels = grid(build, carcass, opening[0] + lines.margin_mm, opening[1] - lines.margin_mm)
    count = int((opening[1] - opening[0]) // shelves.spacing_mm)
    if not count or len(levels) < 2:
        return
    for end in (LEFT_ID, RIGHT_ID):
        for y in (lines.setback_mm, carcass.back_at - lines.setback_mm):
            for z in levels:
                line_hole(build, carcass, end, y, z)
    for index in range(1, count + 1):
        wanted = opening[0] + (opening[1] - opening[0]) * index / (count + 1)
        level = min(levels, key=lambda z: abs(z - wanted)) + lines.diameter_mm / 2
        _shelf(build, carcass, level, shelves.front_setback_mm if front is None else front)


def _shelf(build: Build, carcass: Carcass, level: float, front: float) -> None:
    shelves = build.standard.shelves
    x = (carcass.inner[0] + shelves.side_clearance_mm, carcass.inner[1] - shelves.side_clearance_mm)
    y = (front, carcass.back_at - shelves.rear_clearance_mm)
    number = sum(part.name == "Shelf" for part in build.parts.values()) + 1
    board, edges = build.standard.boards.carcass, build.standard.edging.shelf
    own = build.panel("Shelf", (x, y, (level, level + carcass.board)), LYING, board, edges, number=number)
    build.parts[own] = replace(build.parts[own], unit=own)
    build.item("shelf pin 5 mm" if build.standard.lines.diameter_mm == 5 else "shelf pin", 4)
