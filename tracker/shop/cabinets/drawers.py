"""Drawers: a box on two slides behind an applied front."""

from collections.abc import Sequence
from math import ceil

from tracker.shop.cabinets.building import ACROSS, LEFT_SIDE, LYING, RIGHT_SIDE, Block, Build, refuse
from tracker.shop.cabinets.carcass import LEFT_ID, RIGHT_ID, Carcass
from tracker.shop.cabinets.fronts import Opening, drawer_pull, front_panel
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.panels import DOWN, Face, Hand, Vector, Work
from tracker.shop.saying import Mm, say

_HOLES_APART = 7  # pitches between the two holes of a slide, where it is long enough; common practice, no source


def slide_length(build: Build, carcass: Carcass) -> float:
    """Return the longest slide that the depth takes; refuses a cabinet shallower than the shortest."""
    rules = build.standard.drawers
    room = carcass.back_at - rules.rear_clearance_mm
    fitting = [length for length in rules.slide_lengths_mm if length <= room]
    if not fitting:
        what = say(
            "the depth leaves %(room)s for a slide and the shortest is %(shortest)s",
            room=Mm(room),
            shortest=Mm(rules.slide_lengths_mm[0]),
        )
        raise refuse("depth", "drawers.slide_lengths", what)
    return fitting[-1]


def drawers(build: Build, carcass: Carcass, openings: Sequence[Opening]) -> None:
    """Build a drawer behind each opening of the front, from the top down.

    All boxes stand equally far behind the edges of their fronts, so that equal fronts have drawers truly alike.
    """
    rules = build.standard.drawers
    insides = [carcass.opening_of(*opening.z) for opening in openings]
    pairs = list(zip(openings, insides, strict=True))
    low = max(max(0.0, inside[0] - opening.z[0]) for opening, inside in pairs) + rules.bottom_clearance_mm
    high = max(max(0.0, opening.z[1] - inside[1]) for opening, inside in pairs) + rules.top_clearance_mm
    for number, opening in enumerate(openings, 1):
        _drawer(build, carcass, opening, (opening.z[0] + low, opening.z[1] - high), number)


def _drawer(build: Build, carcass: Carcass, opening: Opening, height: tuple[float, float], number: int) -> None:
    unit = f"Drawer {number}"
    x, y, z = _room(build, carcass, height)
    board, edging = build.standard.boards.drawer, build.standard.edging
    thick = board.thickness_mm
    into = build.standard.drawers.bottom_inset_mm
    bottom = build.standard.boards.drawer_bottom.thickness_mm
    side: Block = ((x[0], x[0] + thick), y, z)
    left = build.panel(f"{unit} left side", side, LEFT_SIDE, board, edging.drawer_side, hand=Hand.LEFT, unit=unit)
    side = ((x[1] - thick, x[1]), y, z)
    right = build.panel(f"{unit} right side", side, RIGHT_SIDE, board, edging.drawer_side, hand=Hand.RIGHT, unit=unit)
    inner = (x[0] + thick, x[1] - thick)
    block: Block = (inner, (y[0], y[0] + thick), z)
    front = build.panel(f"{unit} box front", block, ACROSS, board, edging.drawer_side, unit=unit)
    block = (inner, (y[1] - thick, y[1]), (z[0] + into + bottom, z[1]))
    rear = build.panel(f"{unit} box back", block, ACROSS, board, edging.drawer_side, unit=unit)
    for part, start in ((front, into + bottom), (rear, 0.0)):
        build.lock(part, Face.W1, left, Face.A, DOWN, start=start)
        build.lock(part, Face.W2, right, Face.A, DOWN, start=start)
    _bottom(build, unit, (inner, (y[0] + thick, y[1]), (z[0] + into, z[0] + into + bottom)), (left, right, front, rear))
    _slides(build, carcass, (left, right), (x, y, z))
    shown = front_panel(build, f"{unit} front", opening, unit=unit)
    drawer_pull(build, shown, opening)
    _pull_through(build, shown, front)
    build.screw_faces(front, _FORWARD, shown, Face.B)


def _pull_through(build: Build, shown: str, behind: str) -> None:
    """Let the screws of a drawer's pull through the box front too, which lies flat behind the front."""
    front, box = build.parts[shown], build.parts[behind]
    points = [
        front.from_side(Face.B, feature.x_mm, feature.y_mm)
        for feature in build.features_of(shown)
        if feature.work is Work.PULL_HOLE
    ]
    for point in points:
        diameter = build.standard.pulls.diameter_mm
        build.hole(behind, _FORWARD, Work.PULL_HOLE, point, depth=box.thickness_mm, diameter=diameter)
    if build.standard.pulls.supplied:
        length = 5 * ceil((front.thickness_mm + box.thickness_mm + _INTO_PULL_MM) / 5)
        build.item(f"drawer pull screw {length} mm", len(points))


_INTO_PULL_MM = 8.0  # common practice, no source
_FORWARD = Face.A  # a panel that stands across shows its face A to the front


def _room(build: Build, carcass: Carcass, height: tuple[float, float]) -> Block:
    """Return the outer block of the drawer box, or refuse a room in which none can run."""
    rules, gap = build.standard.drawers, build.standard.fronts.gap_mm
    low, high = height
    x = (carcass.inner[0] + rules.side_clearance_mm, carcass.inner[1] - rules.side_clearance_mm)
    if high - low < rules.lowest_mm:
        what = say(
            "a drawer box would be %(height)s high, lower than its slide needs: %(least)s",
            height=Mm(high - low),
            least=Mm(rules.lowest_mm),
        )
        raise refuse("height", "drawers.lowest", what)
    if x[1] - x[0] < rules.narrowest_mm:
        what = say(
            "a drawer box would be %(width)s wide; wanted: %(least)s or more",
            width=Mm(x[1] - x[0]),
            least=Mm(rules.narrowest_mm),
        )
        raise refuse("width", "drawers.narrowest", what)
    length = slide_length(build, carcass)
    return x, (-gap, length - gap), (low, high)


def _bottom(build: Build, unit: str, room: Block, walls: tuple[str, str, str, str]) -> None:
    """Let the bottom into grooves of sides and box front; it slides in from behind and is screwed to the box back."""
    rules, board = build.standard.drawers, build.standard.boards.drawer_bottom
    deep, play = rules.bottom_groove_depth_mm, build.standard.carcass.play_mm
    (x0, x1), (y0, y1), (z0, z1) = room
    block: Block = ((x0 - deep + play, x1 + deep - play), (y0 - deep + play, y1), (z0, z1))
    own = build.panel(f"{unit} bottom", block, LYING, board, (), unit=unit)
    left, right, front, rear = walls
    length = build.parts[left].length_mm
    start = y1 - length
    height = (z0, z1 + play)
    build.groove(own, Face.W1, left, Face.A, ((x0 - deep, x0), (start, y1), height))
    build.groove(own, Face.W2, right, Face.A, ((x1, x1 + deep), (start, y1), height))
    build.groove(own, Face.L1, front, Face.B, ((x0, x1), (y0 - deep, y0), height))
    build.screw_edge(rear, Face.L1, own, Face.A)


def _slides(build: Build, carcass: Carcass, sides: tuple[str, str], room: Block) -> None:
    """Drill both ends and both sides for the slides, and join them across the clearance."""
    rules, lines = build.standard.drawers, build.standard.lines
    length = room[1][1] - room[1][0]
    last = min(_HOLES_APART, int((length - 2 * lines.setback_mm) // lines.pitch_mm))
    z = room[2][0] + rules.slide_height_mm / 2
    ends = ((LEFT_ID, carcass.inner[0], room[0][0]), (RIGHT_ID, carcass.inner[1], room[0][1]))
    for side, (end, at_end, at_side) in zip(sides, ends, strict=True):
        points: list[Vector] = []
        for y in (lines.setback_mm, lines.setback_mm + last * lines.pitch_mm):
            build.hole(end, Face.A, Work.SLIDE_HOLE, (at_end, y, z), depth=lines.depth_mm, diameter=lines.diameter_mm)
            point = (at_side, y, z)
            depth = rules.slide_hole_depth_mm
            build.hole(
                side, Face.B, Work.SLIDE_HOLE, point, depth=depth, diameter=build.standard.screws.pilot_diameter_mm
            )
            points.append(point)
        build.join(side, Face.B, end, Face.A, Fastening.SLIDE, points, gap=rules.side_clearance_mm)
    build.item(f"slide pair {length:g} mm", 1)
