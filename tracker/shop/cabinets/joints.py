"""Joints: which edge of which part meets which face of which part, and what holds them together."""

from dataclasses import dataclass
from enum import StrEnum

from tracker.shop.cabinets.panels import Face, Vector


class Fastening(StrEnum):
    """What holds two parts together."""

    LOCK = "lock"
    DOWEL = "dowel"
    GROOVE = "groove"
    PIN = "spring pin"
    SCREW = "screw"
    HINGE = "hinge"
    SLIDE = "slide"


@dataclass(frozen=True, slots=True, kw_only=True)
class Joint:
    """One joint. ``part`` and ``onto`` are part ids; the side of the first meets the side of the second.

    ``number`` is the mark that stands at both; joints between parts that are truly alike share it. ``gap_mm`` is the
    distance between the two sides where they do not touch: a hinge or a slide bridges it. ``points`` are the middles
    of the fasteners in the cabinet, in mm, on the side of ``part``; ``count`` is how many there are. ``item`` names
    the screw, where one is driven in. ``slide`` is the way in mm in which ``part`` moves at last to lock, seen from
    ``onto``.
    """

    number: int
    part: str
    side: Face
    onto: str
    onto_side: Face
    fastening: Fastening
    points: tuple[Vector, ...]
    item: str = ""
    gap_mm: float = 0.0
    slide: Vector = (0.0, 0.0, 0.0)

    @property
    def count(self) -> int:
        return len(self.points)


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """Bought hardware of one cabinet: how many, and whether the shop fits it or it goes into the bag."""

    item: str
    quantity: int
    in_bag: bool
