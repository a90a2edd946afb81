"""The order in which a cabinet goes together, found by taking it apart.

A panel can be taken off when it can be unlocked and moved straight away without meeting another. Taken off one after
the other until one is left, and read backwards, this is an order in which everything can be put in. A drawer is put
together on its own and then moves as one body.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from tracker.shop.cabinets.building import named, refuse
from tracker.shop.cabinets.carcass import LEFT_BACK_ID, LEFT_ID, RIGHT_ID, STILE_ID
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.joints import Fastening, Joint
from tracker.shop.cabinets.orders import Family
from tracker.shop.cabinets.panels import BACK, DOWN, FRONT, LEFT, RIGHT, UP, Vector, dot, normal_of, reverse
from tracker.shop.cabinets.solids import Prism, moved_by, overlap, solids_of, swept
from tracker.shop.saying import join, say

STILL: Final[Vector] = (0.0, 0.0, 0.0)
AWAY_MM: Final = 4_000.0  # farther than any cabinet is large
_AXES: Final = (FRONT, UP, RIGHT, LEFT, BACK, DOWN)


@dataclass(frozen=True, slots=True, kw_only=True)
class Move:
    """One body is put in its place: it comes along ``approach`` (a direction) and at last moves by ``slide`` (mm).

    ``parts`` are the ids of the body's parts; ``unit`` is the sub-assembly that is being put together, or empty for the
    cabinet itself. ``joints`` are those that this move closes. The first body of all has no approach.
    """

    unit: str
    parts: tuple[str, ...]
    approach: Vector
    slide: Vector
    joints: tuple[Joint, ...]


def assembly_order(cabinet: Cabinet) -> tuple[Move, ...]:
    """Return the moves, units first. Raises InvalidInputError when there is no such order."""
    solids = {part.id: solids_of(part) for part in cabinet.parts}
    units = dict.fromkeys(part.unit for part in cabinet.parts if part.unit)
    moves: list[Move] = []
    bodies: list[tuple[str, ...]] = []
    for unit in units:
        inside = tuple(part.id for part in cabinet.parts if part.unit == unit)
        bodies.append(inside)
        if len(inside) > 1:
            moves += _in_order(cabinet, solids, [(own,) for own in inside], unit)
    bodies = [(part.id,) for part in cabinet.parts if not part.unit] + bodies
    return (*moves, *_in_order(cabinet, solids, bodies, ""))


def _in_order(
    cabinet: Cabinet, solids: Mapping[str, Sequence[Prism]], bodies: Sequence[tuple[str, ...]], unit: str
) -> list[Move]:
    """Take the bodies apart, the most outward first, and return the way back."""
    ranked = sorted(bodies, key=lambda body: _rank(cabinet, body))
    moves = []
    while len(ranked) > 1:
        move = next(_ways_off(cabinet, solids, ranked, unit), None)
        if move is None:
            parts = join([named(body[0]) for body in ranked[:3]])
            what = say("there is no order in which %(parts)s go together at this size", parts=parts)
            raise refuse("family", "assembly", what)
        moves.append(move)
        ranked.remove(move.parts)
    moves.append(Move(unit=unit, parts=ranked[0], approach=STILL, slide=STILL, joints=()))
    return moves[::-1]


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


def _ways_off(
    cabinet: Cabinet, solids: Mapping[str, Sequence[Prism]], bodies: Sequence[tuple[str, ...]], unit: str
) -> Iterator[Move]:
    """Yield the moves that put in what can be taken off now and leaves the others joined; then those that do not."""
    present = {own for body in bodies for own in body}
    joints = [joint for joint in cabinet.joints if joint.part in present and joint.onto in present]
    loosening = []
    for body in bodies:
        own = set(body)
        mine = tuple(joint for joint in joints if (joint.part in own) != (joint.onto in own))
        way = _way_off(cabinet, solids, body, present - own, mine)
        if way is None:
            continue
        move = Move(unit=unit, parts=body, approach=reverse(way[0]), slide=reverse(way[1]), joints=mine)
        if _joined([other for other in bodies if other != body], joints):
            yield move
        else:
            loosening.append(move)
    yield from loosening


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


def _way_off(
    cabinet: Cabinet,
    solids: Mapping[str, Sequence[Prism]],
    body: tuple[str, ...],
    others: set[str],
    joints: Sequence[Joint],
) -> tuple[Vector, Vector] | None:
    """Return the direction and the unlocking move by which a body comes off, or None when it is held."""
    own = set(body)
    outs = [_out(cabinet, joint, own) for joint in joints]
    locked = [(out, joint) for out, joint in zip(outs, joints, strict=True) if joint.fastening is Fastening.LOCK]
    unlocking = {reverse(joint.slide) if joint.part in own else joint.slide for _, joint in locked} or {STILL}
    directions = {_rounded(out) for out, _ in locked} or {_rounded(out) for out in (*outs, cabinet.front, *_AXES)}
    if len(unlocking) > 1 or (locked and len(directions) > 1):
        return None
    unlock = next(iter(unlocking))
    pieces = [piece for part in body for piece in solids[part]]
    held_by = [piece for part in others for piece in solids[part]]
    if unlock != STILL and not _free([swept(piece, unlock) for piece in pieces], held_by):
        return None
    loose = [moved_by(piece, unlock) for piece in pieces]
    ranked = sorted(directions, key=lambda out: (-dot(out, cabinet.front), out))
    for out in ranked if not outs else sorted(ranked, key=lambda out: out not in map(_rounded, outs)):
        way = (out[0] * AWAY_MM, out[1] * AWAY_MM, out[2] * AWAY_MM)
        if _free([swept(piece, way) for piece in loose], held_by):
            return out, unlock
    return None


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
