"""Which moves of a cabinet's assembly are told as one step."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from tracker.shop.cabinets.assembly import STILL, Move
from tracker.shop.cabinets.design import kind_of
from tracker.shop.cabinets.joints import Fastening, Joint
from tracker.shop.cabinets.panels import Part


@dataclass(frozen=True, slots=True, kw_only=True)
class Moves:
    """Moves that are told as one step; ``first`` is the one that the drawing shows where equal units are made."""

    moves: tuple[Move, ...]
    units: tuple[str, ...] = ()
    standing: tuple[str, ...] = ()

    @property
    def first(self) -> Move:
        return self.moves[0]

    @property
    def starts(self) -> bool:
        """Whether this lays down what the rest is put onto."""
        return self.first.approach == STILL

    @property
    def parts(self) -> tuple[str, ...]:
        return tuple(own for move in self.moves for own in move.parts)

    @property
    def joints(self) -> tuple[Joint, ...]:
        """The joints that the moves themselves close: pins come later."""
        return tuple(joint for move in self.moves for joint in move.joints if joint.fastening is not Fastening.PIN)

    def held_by(self, fastening: Fastening) -> list[Joint]:
        return [joint for joint in self.joints if joint.fastening is fastening]


def moves_of_units(moves: Sequence[Move], parts: Mapping[str, Part]) -> Iterator[Moves]:
    """Yield the moves on the bench; units that are put together alike are told together."""
    by_unit: dict[str, list[Move]] = {}
    for move in moves:
        if move.unit:
            by_unit.setdefault(move.unit, []).append(move)
    alike: dict[tuple[object, ...], list[str]] = {}
    for unit, own in by_unit.items():
        key = tuple(
            (*(kind_of(parts[part]) for part in m.parts), m.approach, m.slide, *sorted(j.number for j in m.joints))
            for m in own
        )
        alike.setdefault(key, []).append(unit)
    for units in alike.values():
        standing: tuple[str, ...] = ()
        for same in zip(*(by_unit[unit] for unit in units), strict=True):
            yield Moves(moves=same, units=tuple(units), standing=standing)
            standing += same[0].parts


def moves_of_cabinet(moves: Sequence[Move], parts: Mapping[str, Part]) -> list[Moves]:
    """Return the moves of the cabinet itself; loose shelves, doors and drawers that follow each other are one step."""
    told: list[Moves] = []
    standing: tuple[str, ...] = ()
    sort: tuple[object, ...] = ()
    for move in moves:
        before, sort = sort, (_sort(move, parts), move.approach)
        if sort[0] and sort == before:
            told[-1] = replace(told[-1], moves=(*told[-1].moves, move))
        else:
            told.append(Moves(moves=(move,), standing=standing))
        standing += move.parts
    return told


def _sort(move: Move, parts: Mapping[str, Part]) -> str:
    if move.approach == STILL:
        return ""
    if len(move.parts) > 1:
        return "drawer"
    if any(joint.fastening is Fastening.HINGE for joint in move.joints):
        return "door"
    return "shelf" if not move.joints and parts[move.parts[0]].name == "Shelf" else ""
