"""The construction standard: how a shop builds, as one frozen value. Lengths in mm, densities in kg/m³, masses in kg.

A standard is read from a table by `standard_reading`; the one that comes with the program is `standard.toml` beside
this file, whose comments say what each value is for.
"""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from itertools import pairwise
from math import floor
from typing import Final

from tracker.shop.errors import InvalidInputError, fault_at, refuse_faults
from tracker.shop.saying import Mm, Number, say

EDGES: Final = ("L1", "L2", "W1", "W2")  # of a panel, along its length and along its width
LOCK_SLIDE_MM: Final = (25.4 / 8, 25.4 / 4)  # common practice, no source: 1/8 to 1/4 in
MATERIAL_LEFT_MM: Final = 2.0
SCREW_BITE_MM: Final = 10.0  # common practice, no source


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A sheet material; ``grained`` when its face has a direction that must be kept."""

    material: str
    thickness_mm: float
    density: float
    grained: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Boards:
    carcass: Board
    back: Board
    fronts: Board
    drawer: Board
    drawer_bottom: Board


@dataclass(frozen=True, slots=True, kw_only=True)
class Carcass:
    toe_height_mm: float
    toe_setback_mm: float
    nailer_mm: float
    stretcher_mm: float
    groove_depth_mm: float
    groove_distance_mm: float
    play_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Fronts:
    reveal_mm: float
    outer_reveal_mm: float
    gap_mm: float
    depth_includes_fronts: bool
    narrowest_door_mm: float
    widest_door_mm: float
    top_drawer_mm: float
    pantry_split_mm: float
    oven_drawer_mm: float
    oven_opening_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Edging:
    """The thickness of the tape, and the edges that each kind of panel shows.

    Raises InvalidInputError naming what are no edges.
    """

    carcass_tape_mm: float
    front_tape_mm: float
    end: tuple[str, ...]
    across: tuple[str, ...]
    shelf: tuple[str, ...]
    kick: tuple[str, ...]
    nailer: tuple[str, ...]
    front: tuple[str, ...]
    drawer_side: tuple[str, ...]

    def __post_init__(self) -> None:
        what = say("wanted: any of L1 L2 W1 W2, each once")
        shown = [(own.name, getattr(self, own.name)) for own in fields(self) if not own.name.endswith("_mm")]
        wrong = [(name, what) for name, edges in shown if not set(edges) <= set(EDGES) or len(set(edges)) < len(edges)]
        refuse_faults("edging", "", wrong)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountByLength:
    """``count`` fasteners in a joint of up to ``up_to_mm``."""

    up_to_mm: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Lock:
    """The fastener that the shop fits: its body in a bore in the edge, its hook in a slot in the face.

    ``hanging_kg`` is what one may carry on the wall by its maker's word; None when nothing is known of it.
    """

    slide_mm: float
    bore_diameter_mm: float
    bore_depth_mm: float
    slot_width_mm: float
    slot_depth_mm: float
    inset_mm: float
    counts: tuple[CountByLength, ...]
    hanging_kg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dowels:
    """The plain dowels on which a toe kick stands: ``face_depth_mm`` of each is in the end's face.

    The values here are the fallback for standards that leave the section out.
    """

    diameter_mm: float = 8.0
    length_mm: float = 30.0
    face_depth_mm: float = 10.0
    inset_mm: float = 25.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Pins:
    diameter_mm: float
    length_mm: float
    count: int
    inset_mm: float

    @staticmethod
    def longest_within(room_mm: float) -> float:
        """Return the length of the pin for a hole of ``room_mm``: short pins come in steps of 2 mm."""
        return 2 * floor(room_mm / 2)


@dataclass(frozen=True, slots=True, kw_only=True)
class Screws:
    """The two screws: one through a panel into an edge, one through a panel into the back of a front."""

    clearance_diameter_mm: float
    pilot_diameter_mm: float
    pilot_depth_mm: float
    edge_pilot_depth_mm: float
    edge_length_mm: float
    face_length_mm: float
    inset_mm: float
    counts: tuple[CountByLength, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """The lines of holes at one pitch that carry shelves, hinge plates and slides."""

    pitch_mm: float
    diameter_mm: float
    depth_mm: float
    setback_mm: float
    margin_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CountByDoor:
    """``count`` hinges carry a door of up to this height and mass."""

    door_height_mm: float
    door_mass_kg: float
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Hinges:
    cup_diameter_mm: float
    cup_depth_mm: float
    cup_distance_mm: float
    inset_mm: float
    least_inset_mm: float
    spacing_mm: float
    counts: tuple[CountByDoor, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawers:
    slide_lengths_mm: tuple[float, ...]
    slide_hole_depth_mm: float
    slide_height_mm: float
    side_clearance_mm: float
    rear_clearance_mm: float
    top_clearance_mm: float
    bottom_clearance_mm: float
    narrowest_mm: float
    lowest_mm: float
    bottom_inset_mm: float
    bottom_groove_depth_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Shelves:
    side_clearance_mm: float
    front_setback_mm: float
    rear_clearance_mm: float
    spacing_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Pulls:
    diameter_mm: float
    spacing_mm: float
    inset_mm: float
    supplied: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    blind_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Standard:
    """One shop's way to build. Raises InvalidInputError naming every value that contradicts another."""

    name: str
    version: int
    boards: Boards
    carcass: Carcass
    fronts: Fronts
    edging: Edging
    lock: Lock
    pins: Pins
    screws: Screws
    lines: Lines
    hinges: Hinges
    drawers: Drawers
    shelves: Shelves
    pulls: Pulls
    corner: Corner
    dowels: Dowels = Dowels()

    def face_screw_mm(self, through_mm: float) -> float:
        """Return the length of the screw into the back of a front through ``through_mm`` of board and gap.

        It bites as far as ``screws.face_length`` does through a drawer's box; screws come in steps of 5 mm.
        """
        bite = self.screws.face_length_mm - self.boards.drawer.thickness_mm
        return 5 * floor((through_mm + bite) / 5)

    def __post_init__(self) -> None:
        faults = [
            fault_at(field, rule)
            for holds, field, rule in (*_carcass_rules(self), *_hardware_rules(self), *_drawer_rules(self))
            if not holds
        ]
        if faults:
            told = say("The construction standard %(name)s contradicts itself. Mend it.", name=repr(self.name))
            raise InvalidInputError(told, faults)


_Rules = Iterator[tuple[bool, str, str]]


def _carcass_rules(standard: Standard) -> _Rules:
    carcass, fronts, boards = standard.carcass, standard.fronts, standard.boards
    thickness = boards.carcass.thickness_mm
    yield (
        carcass.groove_depth_mm + 4 <= min(thickness, boards.fronts.thickness_mm),
        "carcass.groove_depth",
        say(
            "the groove leaves less than %(least)s of the board; wanted: a shallower groove or a thicker board",
            least=Mm(4),
        ),
    )
    yield (
        carcass.groove_depth_mm > 2 * carcass.play_mm,
        "carcass.groove_depth",
        say("the groove is not deeper than the play; the back would fall out of it"),
    )
    yield (
        boards.back.thickness_mm > standard.lock.slide_mm + carcass.play_mm,
        "boards.back.thickness",
        say("the back is not thicker than lock.slide and carcass.play together: what locks before it could come loose"),
    )
    yield (
        carcass.groove_distance_mm >= thickness,
        "carcass.groove_distance",
        say("the nailers behind the back are thicker than the room that is left for them"),
    )
    yield (
        carcass.toe_height_mm > thickness,
        "carcass.toe_height",
        say("wanted: more than the thickness of the carcass board"),
    )
    yield (
        fronts.outer_reveal_mm < thickness / 2 and fronts.reveal_mm < thickness,
        "fronts.reveal",
        say("a gap wider than the board behind it shows the inside; wanted: less than the board"),
    )
    yield (
        fronts.narrowest_door_mm < fronts.widest_door_mm,
        "fronts.narrowest_door",
        say("wanted: less than fronts.widest_door"),
    )
    yield (
        standard.shelves.spacing_mm >= 2 * standard.lines.pitch_mm + thickness,
        "shelves.spacing",
        say("the shelves would lie on each other; wanted: two pitches and a board or more"),
    )
    yield (
        standard.corner.blind_mm > carcass.stretcher_mm + thickness,
        "corner.blind",
        say("wanted: more than a stretcher's width and a board"),
    )
    yield (
        2 * standard.corner.blind_mm > fronts.narrowest_door_mm,
        "corner.blind",
        say("wanted: more than half the narrowest door"),
    )


def _hardware_rules(standard: Standard) -> _Rules:
    lock, pins, boards = standard.lock, standard.pins, standard.boards
    thinnest = min(boards.carcass.thickness_mm, boards.drawer.thickness_mm)
    behind = boards.carcass.thickness_mm + boards.back.thickness_mm + standard.carcass.play_mm
    low, high = LOCK_SLIDE_MM
    yield (
        low <= lock.slide_mm <= high,
        "lock.slide",
        say("wanted: %(low)s to %(high)s mm (1/8 to 1/4 in)", low=Number(f"{low:g}"), high=Number(f"{high:g}")),
    )
    yield (
        lock.bore_diameter_mm + 6 <= thinnest,
        "lock.bore_diameter",
        say("the bore leaves less than %(least)s at each face", least=Mm(3)),
    )
    yield (
        lock.slot_depth_mm + 4 <= thinnest,
        "lock.slot_depth",
        say("the slot leaves less than %(least)s of the board", least=Mm(4)),
    )
    yield (
        boards.carcass.thickness_mm / 2 - lock.slide_mm - lock.slot_width_mm / 2 >= MATERIAL_LEFT_MM,
        "lock.slot_width",
        say(
            "the slot would end less than %(least)s from the edge of the board; wanted: a narrower slot",
            least=Mm(MATERIAL_LEFT_MM),
        ),
    )
    yield (
        pins.length_mm > behind + 10,
        "pins.length",
        say("the pin does not reach %(least)s into the top through nailer and back", least=Mm(10)),
    )
    yield (
        pins.length_mm + 20 <= behind + 2 * standard.lines.setback_mm,
        "pins.length",
        say("the pin would reach through the shallowest top; wanted: a shorter pin"),
    )
    yield (
        lock.inset_mm >= lock.bore_depth_mm + lock.bore_diameter_mm / 2 + MATERIAL_LEFT_MM,
        "lock.inset",
        say("two bores would meet at the corner of a panel; wanted: more than the bore's depth and half its diameter"),
    )
    yield (
        2 * (lock.bore_depth_mm + boards.drawer.thickness_mm) + 10 <= standard.drawers.narrowest_mm,
        "lock.bore_depth",
        say("two bores would meet in the box of the narrowest drawer; wanted: a shallower bore"),
    )
    yield from _screw_rules(standard)
    yield from _dowel_rules(standard)
    yield (
        pins.diameter_mm + 6 <= boards.carcass.thickness_mm,
        "pins.diameter",
        say("the pin would split the edge"),
    )
    yield (
        standard.lines.depth_mm + 2 <= boards.carcass.thickness_mm,
        "lines.depth",
        say("the holes would come through the end"),
    )
    yield from _hinge_rules(standard)
    for field, counts in (("lock.counts", lock.counts), ("screws.counts", standard.screws.counts)):
        yield (
            _rising([count.up_to_mm for count in counts]) and _rising([float(count.count) for count in counts]),
            field,
            say("wanted: lengths and counts that rise from line to line"),
        )


def _dowel_rules(standard: Standard) -> _Rules:
    dowels, thickness = standard.dowels, standard.boards.carcass.thickness_mm
    yield (
        dowels.diameter_mm + 4 <= thickness,
        "dowels.diameter",
        say("the dowel would split the edge"),
    )
    yield (
        dowels.face_depth_mm + 2 <= thickness,
        "dowels.face_depth",
        say("the holes would come through the end"),
    )
    yield (
        dowels.length_mm >= dowels.face_depth_mm + SCREW_BITE_MM,
        "dowels.length",
        say("less than %(least)s of the dowel would be in the edge", least=Mm(SCREW_BITE_MM)),
    )


def _screw_rules(standard: Standard) -> _Rules:
    screws, boards, drawers = standard.screws, standard.boards, standard.drawers
    yield (
        screws.pilot_depth_mm + 2 <= boards.fronts.thickness_mm,
        "screws.pilot_depth",
        say("the screw would come through the front"),
    )
    bite = screws.face_length_mm - boards.drawer.thickness_mm
    yield (
        bite + 2 <= boards.fronts.thickness_mm,
        "screws.face_length",
        say("through a drawer's box the screw would come through the front; wanted: a shorter screw"),
    )
    yield (
        bite >= SCREW_BITE_MM,
        "screws.face_length",
        say(
            "through a drawer's box the screw would bite %(bite)s; wanted: %(least)s or more",
            bite=Mm(bite),
            least=Mm(SCREW_BITE_MM),
        ),
    )
    yield (
        screws.edge_length_mm >= boards.carcass.thickness_mm + standard.fronts.gap_mm + 2 * SCREW_BITE_MM,
        "screws.edge_length",
        say(
            "through a board the screw bites less than %(least)s into the edge; wanted: a longer screw",
            least=Mm(2 * SCREW_BITE_MM),
        ),
    )
    under = drawers.lowest_mm - drawers.bottom_inset_mm - boards.drawer_bottom.thickness_mm
    yield (
        screws.edge_length_mm - boards.drawer_bottom.thickness_mm + 5 <= under,
        "screws.edge_length",
        say("the screw would come out at the top of the lowest drawer's box back; wanted: a shorter screw"),
    )


def _hinge_rules(standard: Standard) -> _Rules:
    hinges, fronts = standard.hinges, standard.fronts
    yield (
        hinges.cup_depth_mm + 2 <= standard.boards.fronts.thickness_mm,
        "hinges.cup_depth",
        say("the cup would come through the door"),
    )
    yield (
        hinges.cup_distance_mm > hinges.cup_diameter_mm / 2 + 2,
        "hinges.cup_distance",
        say("the cup would break out of the door's edge"),
    )
    yield (
        hinges.cup_distance_mm + hinges.cup_diameter_mm / 2 + standard.pulls.inset_mm + 10 <= fronts.narrowest_door_mm,
        "fronts.narrowest_door",
        say("the pull would stand in the hinge cup"),
    )
    yield (
        hinges.least_inset_mm > hinges.cup_diameter_mm / 2,
        "hinges.least_inset",
        say("wanted: more than half a cup"),
    )
    yield (
        hinges.spacing_mm >= 2 * standard.lines.pitch_mm,
        "hinges.spacing",
        say("two hinge plates would use the same hole; wanted: two pitches or more"),
    )
    yield (
        _rising([count.door_height_mm for count in hinges.counts])
        and _rising([count.door_mass_kg for count in hinges.counts])
        and _rising([float(count.count) for count in hinges.counts])
        and hinges.counts[0].count >= 2,
        "hinges.counts",
        say("wanted: two hinges or more, and heights, masses and counts that rise from line to line"),
    )


def _drawer_rules(standard: Standard) -> _Rules:
    drawers, board = standard.drawers, standard.boards.drawer
    yield (
        _rising(drawers.slide_lengths_mm),
        "drawers.slide_lengths",
        say("wanted: one length or more, rising"),
    )
    yield (
        drawers.slide_lengths_mm[:1] >= (2 * standard.lines.setback_mm + standard.lines.pitch_mm,),
        "drawers.slide_lengths",
        say("the shortest slide has no room for its two holes"),
    )
    yield (
        drawers.slide_hole_depth_mm + 2 <= board.thickness_mm,
        "drawers.slide_hole_depth",
        say("it comes through the side"),
    )
    yield (
        drawers.lowest_mm >= drawers.slide_height_mm,
        "drawers.lowest",
        say("a box of this height is lower than its slide; wanted: drawers.slide_height or more"),
    )
    groove_top = drawers.bottom_inset_mm + standard.boards.drawer_bottom.thickness_mm + standard.carcass.play_mm
    yield (
        drawers.slide_height_mm / 2 >= groove_top + standard.screws.pilot_diameter_mm / 2 + MATERIAL_LEFT_MM
        or drawers.slide_hole_depth_mm + drawers.bottom_groove_depth_mm + MATERIAL_LEFT_MM <= board.thickness_mm,
        "drawers.slide_height",
        say("the slide's screws would come into the groove of the bottom; wanted: a higher slide"),
    )
    yield (
        drawers.bottom_groove_depth_mm + 4 <= board.thickness_mm,
        "drawers.bottom_groove_depth",
        say("it splits the side"),
    )
    yield (
        drawers.lowest_mm >= 2 * drawers.bottom_inset_mm + standard.boards.drawer_bottom.thickness_mm + 30,
        "drawers.lowest",
        say("no room for the fasteners above the bottom; wanted: %(least)s or more above it", least=Mm(30)),
    )
    yield (
        standard.fronts.top_drawer_mm
        >= drawers.lowest_mm
        + drawers.top_clearance_mm
        + drawers.bottom_clearance_mm
        + 1.5 * standard.boards.carcass.thickness_mm,
        "fronts.top_drawer",
        say("the lowest drawer box does not fit behind it; wanted: a higher front"),
    )


def _rising(values: tuple[float, ...] | list[float]) -> bool:
    return bool(values) and all(low < high for low, high in pairwise(values))
