"""The order of assembly, replayed with meshes: at every step the panel comes in without meeting one that stands."""

from itertools import pairwise

import pytest
from hypothesis import given
from manifold3d import Manifold

from tests.examples import examples
from tests.outside.placed import overlap, placed
from tests.shop.cabinets.examples import ONE_OF_EACH, buildable, designed, name_of
from tracker.shop.cabinets.assembly import Move, assembly_order
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.cabinets.panels import Vector, dot, normal_of

STEP_MM = 5.0  # less than the thinnest panel: none is jumped over


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_each_kind_goes_together_step_by_step(ordered: CabinetOrder) -> None:
    replay(designed(ordered))


@examples(5)
@given(buildable())
def test_any_cabinet_goes_together_step_by_step(ordered: CabinetOrder) -> None:
    replay(designed(ordered))


def replay(cabinet: Cabinet) -> None:
    moves = assembly_order(cabinet)
    solids = {part.id: placed(part) for part in cabinet.parts}
    check_each_part_moves_once(cabinet, moves)
    check_each_joint_closes_once(cabinet, moves)
    standing: dict[str, list[str]] = {}
    for move in moves:
        present = standing.setdefault(move.unit, [])
        check_it_comes_along_its_joints(cabinet, move)
        if present:
            check_the_way_is_free(move, solids, present)
            check_it_holds_on_to_what_stands(cabinet, move, present)
        present.extend(move.parts)


def check_each_part_moves_once(cabinet: Cabinet, moves: tuple[Move, ...]) -> None:
    """Into its unit once, if it has one with others, and into the cabinet once, alone or with its unit."""
    whole = [own for move in moves if not move.unit for own in move.parts]
    assert sorted(whole) == sorted(part.id for part in cabinet.parts)


def check_each_joint_closes_once(cabinet: Cabinet, moves: tuple[Move, ...]) -> None:
    closed = [joint for move in moves for joint in move.joints]
    assert len(closed) == len(cabinet.joints)
    assert {id(joint) for joint in closed} == {id(joint) for joint in cabinet.joints}


def check_it_comes_along_its_joints(cabinet: Cabinet, move: Move) -> None:
    """A lock is entered straight onto its face and closed by the slide of the lock, seen from the part that moves."""
    for joint in move.joints:
        if joint.fastening is not Fastening.LOCK:
            continue
        moves_part = joint.part in move.parts
        normal = normal_of(cabinet.part(joint.part).place, joint.side)
        towards = normal if moves_part else tuple(-value for value in normal)
        assert dot(move.approach, (towards[0], towards[1], towards[2])) == pytest.approx(1.0)
        sign = 1 if moves_part else -1
        assert move.slide == pytest.approx([sign * value for value in joint.slide])
        way = sum(value * value for value in move.slide) ** 0.5
        assert 25.4 / 8 - 1e-9 <= way <= 25.4 / 4 + 1e-9  # common practice, no source: the last 1/8 to 1/4 in


def check_the_way_is_free(move: Move, solids: dict[str, Manifold], present: list[str]) -> None:
    boxes = [solids[own].bounding_box() for own in (*present, *move.parts)]
    across = sum((max(b[i + 3] for b in boxes) - min(b[i] for b in boxes)) ** 2 for i in range(3)) ** 0.5
    approach = [index * STEP_MM for index in range(int(across / STEP_MM) + 1)]
    before: Vector = (-move.slide[0], -move.slide[1], -move.slide[2])
    places = [tuple(before[i] - move.approach[i] * far for i in range(3)) for far in approach]
    places += [tuple(before[i] * share for i in range(3)) for share in (0.75, 0.5, 0.25, 0.0)]
    for own in move.parts:
        for here in places:
            moved = solids[own].translate((here[0], here[1], here[2]))
            for other in present:
                assert not overlap(moved, solids[other]), f"{own} meets {other} at {here}"


def check_it_holds_on_to_what_stands(cabinet: Cabinet, move: Move, present: list[str]) -> None:
    """Only what lies loose (a shelf on its pins) joins nothing."""
    joined = {own for joint in move.joints for own in (joint.part, joint.onto)}
    loose = all(own.startswith("Shelf") for own in move.parts)
    assert loose or joined & set(present), move.parts


def test_a_drawer_is_put_together_before_it_goes_in() -> None:
    moves = assembly_order(designed(ONE_OF_EACH[0]))
    units = [move.unit for move in moves]
    assert all(before >= after for before, after in pairwise(units))
    assert len(moves[-1].parts) == 6, "two sides, box front, box back, bottom and front go in as one"
