"""What may be ordered, as people read it: the names of columns, families, fronts and hinges in their language."""

from collections.abc import Mapping
from math import isfinite
from types import MappingProxyType
from typing import Final

from flask_babel import format_decimal
from flask_babel import lazy_gettext as _

from tracker.pages.words.names import Lazy, gettext
from tracker.shop.boxing.values import KeepTogether
from tracker.shop.cabinets.orders import Family, Fronts, Hinge
from tracker.shop.lifting import Handling, lifting_index

COLUMNS: Final[Mapping[str, Lazy]] = MappingProxyType(
    {
        "cabinet": _("Number"),
        "family": _("Family"),
        "width": _("Width"),
        "height": _("Height"),
        "depth": _("Depth"),
        "quantity": _("How many"),
        "fronts": _("Fronts"),
        "hinge": _("Hinges"),
        "finish": _("Finish"),
        "note": _("Note"),
        "room": _("Room"),
        "drop": _("Drop"),
    }
)

FAMILIES: Final[Mapping[Family, Lazy]] = MappingProxyType(
    {
        Family.BASE: _("base"),
        Family.WALL: _("wall"),
        Family.TALL: _("tall"),
        Family.BLIND_CORNER: _("blind corner"),
        Family.DIAGONAL_CORNER: _("diagonal corner"),
        Family.FILLER: _("filler"),
        Family.END_PANEL: _("end panel"),
    }
)

FRONTS: Final[Mapping[Fronts, Lazy]] = MappingProxyType(
    {
        Fronts.DOOR: _("door"),
        Fronts.DOORS: _("doors"),
        Fronts.DRAWER_OVER_DOOR: _("drawer over door"),
        Fronts.DRAWER_OVER_DOORS: _("drawer over doors"),
        Fronts.TWO_DRAWERS: _("2 drawers"),
        Fronts.THREE_DRAWERS: _("3 drawers"),
        Fronts.FOUR_DRAWERS: _("4 drawers"),
        Fronts.FIVE_DRAWERS: _("5 drawers"),
        Fronts.SINK: _("sink"),
        Fronts.OPEN: _("open front"),
        Fronts.PANTRY: _("pantry"),
        Fronts.OVEN: _("oven"),
        Fronts.BLIND_LEFT: _("blind on the left"),
        Fronts.BLIND_RIGHT: _("blind on the right"),
        Fronts.BASE: _("base"),
        Fronts.WALL: _("wall"),
        Fronts.NONE: _("none"),
    }
)

HINGES: Final[Mapping[Hinge, Lazy]] = MappingProxyType(
    {
        Hinge.LEFT: _("left"),
        Hinge.RIGHT: _("right"),
        Hinge.PAIR: _("pair of doors"),
        Hinge.NONE: _("none"),
    }
)


TOGETHER: Final[Mapping[KeepTogether, Lazy]] = MappingProxyType(
    {
        KeepTogether.CABINET: _("each cabinet in its own carton"),
        KeepTogether.FRONTS_APART: _("each cabinet in its own carton, fronts apart"),
        KeepTogether.FEWEST_BOXES: _("the fewest boxes"),
    }
)


def lifting_advice(mass_kg: float, length_mm: float, width_mm: float) -> str:
    """Return the advice that stands beside who carries a box; none for a box of no mass."""
    index = lifting_index(mass_kg, length_mm, width_mm)
    if not isfinite(index):
        return gettext("NIOSH 1991: too wide for the equation")
    number = format_decimal(round(index, 1))
    return gettext("NIOSH 1991 lifting index for one person: %(index)s", index=number) if index else ""


HANDLING: Final[Mapping[Handling, Lazy]] = MappingProxyType(
    {
        Handling.ONE_PERSON: _("one person"),
        Handling.TWO_PEOPLE: _("two people"),
        Handling.TROLLEY: _("a trolley"),
    }
)
