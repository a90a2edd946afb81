"""Blanks, boards and the plan that cuts the one out of the other."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from tracker.shop.errors import refuse_faults
from tracker.shop.saying import Count, Said, say

LEAST_MM: Final = 0.01
LONGEST_MM: Final = 100_000.0
WIDEST_KERF_MM: Final = 100.0
WIDEST_TRIM_MM: Final = 1_000.0
MOST_AVAILABLE: Final = 1_000_000
SAME_THICKNESS_MM: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Blank:
    """One piece to be cut out of a board, at its sawn size in mm.

    With ``grain``, ``length_mm`` runs along the board's length wherever the board has grain too; otherwise the piece
    may be turned. Raises InvalidInputError for an empty name, or a size that is not a number or is absurd.
    """

    id: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    grain: bool = False

    def __post_init__(self) -> None:
        refuse_faults("blank", self.id, _sheet_faults(self))


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """One kind of board that is there or can be bought, at its full size in mm; grain runs along ``length_mm``.

    ``available`` is how many there are, None for as many as wanted. Raises InvalidInputError like ``Blank``, and for a
    number of boards below 0.
    """

    id: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    grain: bool = False
    available: int | None = None

    def __post_init__(self) -> None:
        faults = _sheet_faults(self)
        if self.available is not None and not 0 <= self.available <= MOST_AVAILABLE:
            what = say(
                "the number of boards is from 0 to %(most)s, or left out when there is no limit",
                most=Count(MOST_AVAILABLE),
            )
            faults.append(("available", what))
        refuse_faults("stock", self.id, faults)


@dataclass(frozen=True, slots=True, kw_only=True)
class CuttingRules:
    """How the boards are cut.

    ``kerf_mm`` is what one cut turns to dust. ``trim_mm`` is taken off each of a board's four edges, its cut included.
    ``guillotine`` asks for cuts that go from edge to edge, as a panel saw makes them; without it a router may cut
    around each piece. 3.2 mm and 10 mm: common practice, no source. Raises InvalidInputError for a value below 0.
    """

    kerf_mm: float = 3.2
    trim_mm: float = 10.0
    guillotine: bool = True

    def __post_init__(self) -> None:
        values = (("kerf_mm", self.kerf_mm, WIDEST_KERF_MM), ("trim_mm", self.trim_mm, WIDEST_TRIM_MM))
        faults = [
            (name, say("a number from 0 to %(most)s mm is wanted, not %(given)s", most=Count(most), given=value))
            for name, value, most in values
            if not 0 <= value <= most
        ]
        refuse_faults("rules", "", faults)


@dataclass(frozen=True, slots=True, kw_only=True)
class CutPiece:
    """Where a blank lies: the corner nearest the board's own corner, trim included, in mm; x runs along the length.

    ``rotated`` says that the blank's length lies along the board's width.
    """

    id: str
    x_mm: float
    y_mm: float
    rotated: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Offcut:
    """A rectangle that stays whole after the cutting: its corner and its size along the board's sides, in mm."""

    x_mm: float
    y_mm: float
    length_mm: float
    width_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class CutBoard:
    """One board: its stock's id and its pieces in the order in which they come off the saw.

    ``yield_share`` is the pieces' part of the full board's area, from 0 to 1; ``offcut`` is the largest that is left.
    """

    stock: str
    pieces: tuple[CutPiece, ...]
    yield_share: float
    offcut: Offcut | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class StockNeed:
    """How many boards of one stock the plan takes."""

    stock: str
    boards: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Uncuttable:
    """A blank that comes off no board, and why."""

    id: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class CuttingPlan:
    """The boards; ``lower_bound`` is a number of boards below which the blanks that were placed cannot be cut.

    ``yield_share`` is the pieces' part of all the boards' area, 0 where there is no board. ``need`` names every stock
    that is used. ``proved_least`` says that there are no more boards than the bound.
    """

    boards: tuple[CutBoard, ...]
    lower_bound: int
    yield_share: float
    unplaceable: tuple[Uncuttable, ...]
    need: tuple[StockNeed, ...]

    @property
    def proved_least(self) -> bool:
        return len(self.boards) == self.lower_bound


def _sheet_faults(sheet: Blank | Stock) -> list[tuple[str, str]]:
    names = {"id": sheet.id, "material": sheet.material}
    sizes = {"length_mm": sheet.length_mm, "width_mm": sheet.width_mm, "thickness_mm": sheet.thickness_mm}
    return [*_name_faults(names), *_size_faults(sizes)]


def _name_faults(names: Mapping[str, str]) -> list[tuple[str, str]]:
    return [(field, say("it must not be empty")) for field, name in names.items() if not name.strip()]


def _size_faults(sizes: Mapping[str, float]) -> list[tuple[str, str]]:
    return [(field, _wanted(size)) for field, size in sizes.items() if not LEAST_MM <= size <= LONGEST_MM]


def _wanted(given: float) -> Said:
    return say(
        "a number from %(least)s to %(most)s mm is wanted, not %(given)s",
        least=f"{LEAST_MM:g}",
        most=Count(LONGEST_MM),
        given=given,
    )
