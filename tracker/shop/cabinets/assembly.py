"""The order in which a cabinet goes together, found by taking it apart.

What locks or stands on dowels goes together first, all of it where its locks just enter their slots: the base lies
down, the others are set onto it, and the last end goes on top. Only then is it pushed home, all that slides one way at
once: nothing is home that the closing of the last end would pull open again. Before anything is turned, every lock is
pushed half its way, so that it holds. The rest follows: a panel can be taken off when it can be moved straight away
without meeting another, and taken off one after the other and read backwards, this is an order in which all can be put
in. A drawer is put together in the same way on its own, and then moves as one body.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from tracker.shop.cabinets.building import named, refuse
from tracker.shop.cabinets.carcass import LEFT_BACK_ID, LEFT_ID, RIGHT_ID, STILE_ID
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.joints import Fastening, Joint
from tracker.shop.cabinets.orders import Family
from tracker.shop.cabinets.panels import BACK, DOWN, FRONT, LEFT, RIGHT, UP, Vector, dot, moved, normal_of, reverse
from tracker.shop.cabinets.solids import Prism, moved_by, overlap, solids_of, swept
from tracker.shop.saying import join, say

STILL: Final[Vector] = (0.0, 0.0, 0.0)
AWAY_MM: Final = 4_000.0  # farther than any cabinet is large
_AXES: Final = (FRONT, UP, RIGHT, LEFT, BACK, DOWN)
_FRAMED: Final = (Fastening.LOCK, Fastening.DOWEL)
_OUTWARD: Final = 4  # how many sorts of bodies come before the frame, see _rank
_Body = tuple[str, ...]


class Posture(StrEnum):
    """How the work lies while a step is done."""

    LYING = "lying on its base"  # the left end, or the left back of a diagonal corner
    ON_ITS_FACE = "lying on its face"
    STANDING = "standing"
    INSIDE_UP = "one panel, its inner face up"


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One step: a body comes along ``approach`` (a direction), or parts that are there slide by ``slide`` (mm).

    ``parts`` are the ids of what moves; ``unit`` is the sub-assembly that is being put together, or empty for the
    cabinet itself. ``joints`` are those that this move brings together; what has locks comes to where they enter their
    slots. The first body of all has no approach. ``is_catch`` marks a push of half the way, after which locks hold.
    ``posture`` is how the work lies.
    """

    unit: str
    parts: _Body
    approach: Vector
    slide: Vector
    joints: tuple[Joint, ...]
    posture: Posture
    is_catch: bool = False

    @property
    def is_push(self) -> bool:
        """Whether it only slides what is there."""
        return self.slide != STILL


def assembly_order(cabinet: Cabinet) -> tuple[Move, ...]:
    """Return the moves, units first. Raises InvalidInputError when there is no such order."""
    solids = {part.id: solids_of(part) for part in cabinet.parts}
    units = dict.fromkeys(part.unit for part in cabinet.parts if part.unit)
    moves: list[Move] = []
    bodies: list[_Body] = []
    for unit in units:
        inside = tuple(part.id for part in cabinet.parts if part.unit == unit)
        bodies.append(inside)
        if len(inside) > 1:
            moves += _Work(cabinet, solids, [(own,) for own in inside], unit).moves()
    bodies = [(part.id,) for part in cabinet.parts if not part.unit] + bodies
    return (*moves, *_Work(cabinet, solids, bodies, "").moves())


class _Work:
    """Bodies that go together: a drawer's panels, or a cabinet's with its finished drawers."""

    def __init__(
        self, cabinet: Cabinet, solids: Mapping[str, Sequence[Prism]], bodies: Sequence[_Body], unit: str
    ) -> None:
        self._cabinet, self._solids, self._unit = cabinet, dict(solids), unit
        self._bodies = sorted(bodies, key=lambda body: _rank(cabinet, body))
        present = {own for body in bodies for own in body}
        owner = {own: body for body in bodies for own in body}
        self._joints = [
            joint
            for joint in cabinet.joints
            if joint.part in present and joint.onto in present and owner[joint.part] is not owner[joint.onto]
        ]
        self._pushes = self._all_pushes()

    def _all_pushes(self) -> dict[Vector, _Body]:
        """Return what slides home, by its way: the nailers last, behind the back."""
        found: dict[Vector, dict[str, None]] = {}
        for joint in self._joints:
            if joint.fastening is Fastening.LOCK:
                found.setdefault(_rounded(joint.slide), {})[joint.part] = None
        return {slide: tuple(found[slide]) for slide in sorted(found, key=lambda slide: slide[2])}

    def moves(self) -> list[Move]:
        """Take the bodies apart, the most outward first, and return the way back."""
        framed = {own for joint in self._joints if joint.fastening in _FRAMED for own in (joint.part, joint.onto)}
        standing = list(self._bodies)
        later = [body for body in standing[:-1] if body[0] not in framed]
        pushes = list(self._pushes)
        rest: list[Move] = []
        while later or pushes:
            move = self._first(self._off(later, pushes, standing), standing)
            rest.append(move)
            if move.is_push:
                pushes.remove(move.slide)
                self._shift(move.parts, reverse(move.slide))
            else:
                later.remove(move.parts)
                standing.remove(move.parts)
        frame: list[Move] = []
        while len(standing) > 1:
            frame.append(self._first(self._ways_off(standing, standing), standing))
            standing.remove(frame[-1].parts)
        frame.append(self._move(standing[0]))
        return [*frame[::-1], *self._in_their_postures(rest[::-1])]

    def _first(self, moves: Iterator[Move], standing: Sequence[_Body]) -> Move:
        move = next(moves, None)
        if move is None:
            parts = join([named(body[0]) for body in standing[:3]])
            what = say("there is no order in which %(parts)s go together at this size", parts=parts)
            raise refuse("family", "assembly", what)
        return move

    def _move(
        self, parts: _Body, approach: Vector = STILL, slide: Vector = STILL, joints: tuple[Joint, ...] = ()
    ) -> Move:
        return Move(unit=self._unit, parts=parts, approach=approach, slide=slide, joints=joints, posture=Posture.LYING)

    def _in_their_postures(self, rest: Sequence[Move]) -> Iterator[Move]:
        """Yield what follows when the last end is on; a cabinet's locks are caught first, then it is turned.

        What locks forward is seated with the cabinet on its face, and so it lies until all of the carcass is in.
        """
        if self._unit or not self._pushes:
            yield from (replace(move, posture=Posture.STANDING) for move in rest)
            return
        halves = {slide: moved(STILL, slide, 0.5) for slide in self._pushes}
        for slide, parts in self._pushes.items():
            yield replace(self._move(parts, slide=halves[slide]), is_catch=True)
        is_turned = False
        for move in rest:
            posture = Posture.ON_ITS_FACE if is_turned else Posture.LYING
            if not move.is_push and self._is_outward(move.parts):
                posture = Posture.STANDING
            yield replace(move, slide=halves.get(move.slide, STILL), posture=posture)
            is_turned = is_turned or move.slide[1] < 0

    def _is_outward(self, body: _Body) -> bool:
        """Whether a body hangs or lies in the cabinet, and is no part of its carcass."""
        return _rank(self._cabinet, body)[0] < _OUTWARD

    # ------------------------------------------------------------------ what can be taken off now
    def _off(self, later: Sequence[_Body], pushes: Sequence[Vector], standing: Sequence[_Body]) -> Iterator[Move]:
        """Yield what can come off a cabinet whose locks are home: what hangs or lies in it, the nailers, the rest."""
        outward = [body for body in later if self._is_outward(body)]
        hanging = [slide for slide in pushes if slide[2] > 0]
        yield from self._ways_off(outward, standing)
        yield from self._pushes_back(hanging, standing)
        yield from self._ways_off([body for body in later if body not in outward], standing)
        yield from self._pushes_back([slide for slide in pushes if slide not in hanging], standing)

    def _pushes_back(self, pushes: Sequence[Vector], standing: Sequence[_Body]) -> Iterator[Move]:
        """Yield the pushes that can be taken back: what they moved can slide to where its locks let go."""
        for slide in pushes:
            parts = self._pushes[slide]
            others = [own for body in standing for own in body if own not in parts]
            if _free([swept(piece, reverse(slide)) for piece in self._pieces(parts)], self._pieces(others)):
                yield self._move(parts, slide=slide)

    def _ways_off(self, bodies: Sequence[_Body], standing: Sequence[_Body]) -> Iterator[Move]:
        """Yield the moves that put in what can be taken off now and leaves the others joined; then the other ones."""
        present = {own for body in standing for own in body}
        joints = [joint for joint in self._joints if joint.part in present and joint.onto in present]
        loosening = []
        for body in bodies:
            own = set(body)
            mine = tuple(joint for joint in joints if (joint.part in own) != (joint.onto in own))
            way = self._way_off(body, present - own, mine)
            if way is None:
                continue
            move = self._move(body, reverse(way), joints=mine)
            if _joined([other for other in standing if other != body], joints):
                yield move
            else:
                loosening.append(move)
        yield from loosening

    def _way_off(self, body: _Body, others: set[str], joints: Sequence[Joint]) -> Vector | None:
        """Return the direction in which a body comes off, or None when it is held."""
        own, front = set(body), self._cabinet.front
        outs = [_rounded(_out(self._cabinet, joint, own)) for joint in joints]
        framed = {out for out, joint in zip(outs, joints, strict=True) if joint.fastening in _FRAMED}
        if len(framed) > 1:
            return None
        pieces, held_by = self._pieces(body), self._pieces(others)
        ways = framed or {*outs, _rounded(front), *_AXES}
        for out in sorted(ways, key=lambda way: (bool(outs) and way not in outs, -dot(way, front), -way[2], way)):
            if _free([swept(piece, moved(STILL, out, AWAY_MM)) for piece in pieces], held_by):
                return out
        return None

    def _pieces(self, parts: Iterable[str]) -> list[Prism]:
        return [piece for own in parts for piece in self._solids[own]]

    def _shift(self, parts: Iterable[str], way: Vector) -> None:
        for own in parts:
            self._solids[own] = tuple(moved_by(piece, way) for piece in self._solids[own])


def base_of(cabinet: Cabinet) -> str:
    """Return the panel on which a cabinet lies while it is put together; a single panel is its own."""
    ids = [part.id for part in cabinet.parts]
    return next((own for own in (LEFT_BACK_ID, LEFT_ID) if own in ids), ids[0])


def _rank(cabinet: Cabinet, body: tuple[str, ...]) -> tuple[int, int]:
    """Return how early a body is taken off: drawers, fronts, shelves, then the right end, the base last of all."""
    first = cabinet.part(body[0])
    place = [part.id for part in cabinet.parts].index(first.id)
    is_loose = not any(first.id in (joint.part, joint.onto) for joint in cabinet.joints)
    turns = (
        len(body) > 1,
        first.front,
        first.id == STILE_ID,  # before the loose shelves behind it
        is_loose,
        first.id == RIGHT_ID or first.id.endswith("right side"),
        first.id != base_of(cabinet) and not first.id.endswith("left side"),
    )
    return (turns.index(True) if any(turns) else len(turns), -place)


def _joined(bodies: Sequence[tuple[str, ...]], joints: Sequence[Joint]) -> bool:
    """Whether bodies that have joints at all hang together by them."""
    owner = {own: index for index, body in enumerate(bodies) for own in body}
    links: dict[int, set[int]] = {index: set() for index in range(len(bodies))}
    for joint in joints:
        one, other = owner.get(joint.part), owner.get(joint.onto)
        if one is not None and other is not None and one != other:
            links[one].add(other)
            links[other].add(one)
    linked = [index for index, others in links.items() if others]
    if not linked:
        return len(bodies) == 1
    seen, waiting = {linked[0]}, [linked[0]]
    while waiting:
        new = links[waiting.pop()] - seen
        seen |= new
        waiting += new
    return all(index in seen for index in linked)


def _out(cabinet: Cabinet, joint: Joint, own: set[str]) -> Vector:
    """Return the direction straight off a joint for the body that ``own`` names."""
    part, side = (joint.part, joint.side) if joint.part in own else (joint.onto, joint.onto_side)
    return reverse(normal_of(cabinet.part(part).place, side))


def _rounded(way: Vector) -> Vector:
    return (round(way[0], 9) + 0.0, round(way[1], 9) + 0.0, round(way[2], 9) + 0.0)


def _free(moving: Sequence[Prism], standing: Sequence[Prism]) -> bool:
    return not any(overlap(piece, other) for piece in moving for other in standing)


def needs_wall_fixing(cabinet: Cabinet) -> bool:
    """Whether a cabinet can fall on somebody before it is fixed to the building."""
    order = cabinet.order
    return order.family in (Family.WALL, Family.TALL) or (
        order.family is Family.DIAGONAL_CORNER and order.fronts == "wall"
    )
