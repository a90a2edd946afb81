"""Which moves of a cabinet's assembly are told as one step."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from tracker.shop.cabinets.assembly import STILL, Move, Posture
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
        return self.first.approach == STILL and not self.first.is_push

    @property
    def parts(self) -> tuple[str, ...]:
        return tuple(own for move in self.moves for own in move.parts)

    @property
    def pushes(self) -> tuple[Move, ...]:
        """Those that push what stands already; of equal units the first one's."""
        return tuple(move for move in (self.moves[:1] if self.units else self.moves) if move.is_push)

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
            yield Moves(moves=same, units=tuple(units), standing=_but(standing, same[:1]))
            standing = _with(standing, same[0])


def moves_of_cabinet(moves: Sequence[Move], parts: Mapping[str, Part]) -> list[Moves]:
    """Return the moves of the cabinet itself.

    Loose shelves, doors and drawers that follow each other are one step, and so is all that is pushed while it lies.
    """
    told: list[Moves] = []
    standing: tuple[str, ...] = ()
    sort: tuple[object, ...] = ()
    for move in moves:
        before, sort = sort, (_sort(move, parts), move.approach)
        if sort[0] and sort == before:
            moves_ = (*told[-1].moves, move)
            told[-1] = replace(told[-1], moves=moves_, standing=_but(told[-1].standing, moves_))
        else:
            told.append(Moves(moves=(move,), standing=_but(standing, [move])))
        standing = _with(standing, move)
    return told


def _with(standing: tuple[str, ...], move: Move) -> tuple[str, ...]:
    return standing if move.is_push else standing + move.parts


def _but(standing: tuple[str, ...], moves: Sequence[Move]) -> tuple[str, ...]:
    """What stands besides that which moves."""
    moving = {own for move in moves for own in move.parts}
    return tuple(own for own in standing if own not in moving)


def _sort(move: Move, parts: Mapping[str, Part]) -> str:
    if move.is_push:
        return "push" if move.posture is Posture.LYING else ""
    if move.approach == STILL:
        return ""
    if len(move.parts) > 1:
        return "drawer"
    if any(joint.fastening is Fastening.HINGE for joint in move.joints):
        return "door"
    return "shelf" if not move.joints and parts[move.parts[0]].name == "Shelf" else ""
