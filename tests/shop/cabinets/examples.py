"""Cabinet orders for the tests: one of each kind, and a hypothesis strategy for any that can be built."""

import json
from functools import lru_cache
from importlib.resources import files
from pathlib import Path

from hypothesis import reject
from hypothesis import strategies as st

from tracker.shop.cabinets.design import Cabinet, design_cabinet
from tracker.shop.cabinets.guide.values import Guide
from tracker.shop.cabinets.guide.writing import guide_of
from tracker.shop.cabinets.orders import CHOICES, CabinetOrder, Family, Fronts, Hinge
from tracker.shop.cabinets.standard import Standard
from tracker.shop.cabinets.standard_reading import read_standard
from tracker.shop.errors import InvalidInputError
from tracker.shop.lifting import LiftingMarks

STANDARD_TEXT = files("tracker.shop.cabinets").joinpath("standard.toml").read_text(encoding="utf-8")
STANDARD = read_standard(STANDARD_TEXT)


def order(family: str, width: float, height: float, depth: float, fronts: str = "", hinge: str = "") -> CabinetOrder:
    return CabinetOrder(
        cabinet="1",
        family=Family(family),
        width_mm=width,
        height_mm=height,
        depth_mm=depth,
        fronts=Fronts(fronts),
        hinge=Hinge(hinge),
    )


ONE_OF_EACH = (
    order("base", 457.2, 876.3, 457.2, "drawer over door", "left"),
    order("base", 400, 876, 600, "door", "right"),
    order("base", 800, 876, 600, "doors"),
    order("base", 800, 876, 600, "drawer over doors"),
    order("base", 600, 876, 600, "2 drawers"),
    order("base", 600, 876, 600, "3 drawers"),
    order("base", 600, 876, 600, "4 drawers"),
    order("base", 600, 900, 600, "5 drawers"),
    order("base", 900, 876, 600, "sink", "pair"),
    order("base", 600, 876, 600, "open"),
    order("wall", 600, 760, 320, "door", "right"),
    order("wall", 800, 760, 320, "doors"),
    order("wall", 800, 760, 320, "open"),
    order("tall", 600, 2134, 600, "pantry", "left"),
    order("tall", 900, 2134, 600, "pantry", "pair"),
    order("tall", 700, 2134, 600, "oven", "pair"),
    order("blind corner", 1100, 876, 600, "blind left"),
    order("blind corner", 1100, 876, 600, "blind right"),
    order("diagonal corner", 914, 876, 600, "base", "left"),
    order("diagonal corner", 650, 760, 320, "wall", "right"),
    order("filler", 76, 760, 19),
    order("end panel", 19.05, 876, 600),
)


# Two cabinets as version 0.5.0 kept them: all their locks slide down.
OF_0_5 = json.loads((Path(__file__).parent / "designs_0_5.json").read_text(encoding="utf-8"))


@lru_cache(maxsize=256)
def designed(ordered: CabinetOrder) -> Cabinet:
    """The cabinet by the shipped standard, made once for all that look at it."""
    return design_cabinet(ordered, STANDARD)


@lru_cache(maxsize=256)
def guided(ordered: CabinetOrder) -> Guide:
    """How the designed cabinet goes together."""
    return guide_of(designed(ordered), LiftingMarks())


def name_of(ordered: CabinetOrder | str) -> str:
    if isinstance(ordered, str):
        return ordered
    return f"{ordered.family} {ordered.fronts} {ordered.hinge}".strip()


_SIZES = {
    Family.BASE: ((250, 1200), (700, 950), (350, 700)),
    Family.WALL: ((250, 1200), (400, 1100), (250, 450)),
    Family.TALL: ((300, 1200), (1900, 2400), (350, 700)),
    Family.BLIND_CORNER: ((800, 1250), (700, 950), (450, 700)),
    Family.DIAGONAL_CORNER: ((600, 1050), (600, 950), (300, 600)),
    Family.FILLER: ((25, 200), (300, 2400), (19, 19)),
    Family.END_PANEL: ((19, 19), (300, 2400), (200, 700)),
}


@st.composite
def buildable(draw: st.DrawFn) -> CabinetOrder:
    """Any order that the shipped standard can build, in tenths of a millimetre."""
    family = draw(st.sampled_from(Family))
    fronts = draw(st.sampled_from(sorted(CHOICES[family])))
    hinge = draw(st.sampled_from(CHOICES[family][fronts]))
    width, height, depth = (draw(st.integers(low * 10, high * 10)) / 10 for low, high in _SIZES[family])
    ordered = order(family, width, height, depth, fronts, hinge)
    try:
        designed(ordered)
    except InvalidInputError:
        reject()
    return ordered


_BOARD = '[boards.carcass]\nmaterial = "white melamine particle board"\nthickness = "3/4 in"'
_GROOVE = 'groove_distance = "3/4 in"'


def _thick(value: float, *more: tuple[str, str]) -> tuple[tuple[str, str], ...]:
    board = f'[boards.carcass]\nmaterial = "board"\nthickness = {value}'
    return ((_BOARD, board), (_GROOVE, f"groove_distance = {value}"), *more)


# What a shop of its own may write instead of the shipped standard: each a list of texts and what stands in their place.
VARIANTS: dict[str, tuple[tuple[str, str], ...]] = {
    "bar pulls": (("spacing = 0 ", "spacing = 128 "),),
    "depth with fronts": (("depth_includes_fronts = false", "depth_includes_fronts = true"),),
    "grained board": (("grained = false", "grained = true"),),
    "18 mm board": _thick(18),
    "16 mm board": _thick(16, ("slide = 4 ", "slide = 3.3 "), ("slot_width = 6", "slot_width = 5")),
    "25 mm board": _thick(25, ("length = 50", "length = 60"), ("edge_length = 45", "edge_length = 50")),
    "tall toe kick": (('toe_height = "4 in"', "toe_height = 200"),),
    "toe kick in front": (('toe_setback = "3 in"', "toe_setback = 0"),),
    "back far in": ((_GROOVE, "groove_distance = 40"),),
    "no gap": (("gap = 2 ", "gap = 0 "),),
    "wide reveals": (("\nreveal = 3 ", "\nreveal = 6 "),),
    "narrow strips": (('nailer = "4 in"', "nailer = 60"), ('stretcher = "4 in"', "stretcher = 60")),
    "no play": (("play = 0.5 ", "play = 0 "),),
}


def variant(name: str) -> Standard:
    """The shipped standard with one thing changed."""
    text = STANDARD_TEXT
    for old, new in VARIANTS[name]:
        assert old in text, old
        text = text.replace(old, new)
    return read_standard(text)
