"""Drawings as plain shapes, in units of the page from its top left corner.

Grey tones alone; a letter on a black disc names a part, a number in a frame a joint.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from tracker.shop.cabinets.solids import Point
from tracker.shop.errors import InvalidInputError, fault_at


class Frame(StrEnum):
    """What stands around a text: nothing, a black disc (a part's letter), a frame (a joint's number), or a broken frame
    (a joint that is hidden from here)."""

    NONE = "none"
    DISC = "disc"
    BOX = "box"
    BEHIND = "broken box"


@dataclass(frozen=True, slots=True, kw_only=True)
class Area:
    """A filled polygon without a line around it. ``tone`` from 0 (black) to 1 (white); ``part`` is whose side it is."""

    points: tuple[Point, ...]
    tone: float
    part: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    start: Point
    end: Point
    weight: float
    dashed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """A text with its middle ``at`` a point, its letters ``size`` high."""

    at: Point
    text: str
    size: float
    frame: Frame

    @property
    def half(self) -> Point:
        """Half of the width and height that it takes with its frame."""
        wide = max(len(self.text) * self.size * 0.34, self.size * 0.5)
        if self.frame is Frame.DISC:
            return (max(wide + self.size * 0.2, self.size * 0.75),) * 2
        return (wide + self.size * 0.22, self.size * 0.68)


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A hole: its middle, its radius, and its ``tone`` from 0 (black: it is used) to 1 (white)."""

    at: Point
    radius: float
    tone: float


Shape = Area | Line | Label | Dot
LARGEST: Final = 2_000.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """Shapes in the order in which they are painted, in units from the top left corner; ``title`` says what is seen.

    Raises InvalidInputError when the sizes are none.
    """

    width: float
    height: float
    title: str
    shapes: tuple[Shape, ...]

    def __post_init__(self) -> None:
        if not (0 < self.width <= LARGEST and 0 < self.height <= LARGEST):
            fault = fault_at("width, height", f"wanted: more than 0, at most {LARGEST:g}")
            raise InvalidInputError("A drawing has no size.", [fault])
