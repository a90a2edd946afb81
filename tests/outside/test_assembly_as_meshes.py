"""The order of assembly, replayed with meshes: what comes in meets nothing, and what stands holds when it is turned.

The solids have the heads of their locks, the slots and the dowels (see ``blocking``). Where a part comes in is taken
from the pushes that follow: they have to bring it to its place.
"""

import json
from itertools import pairwise
from typing import Any

import pytest
from cattrs.preconf.json import make_converter
from hypothesis import given
from manifold3d import Manifold

from tests.examples import examples
from tests.outside.blocking import MEETS_MM3, MOVED_MM, Graph, arcs_of, equipped, standing
from tests.outside.placed import overlap, placed, shared
from tests.shop.cabinets.examples import OF_0_5, ONE_OF_EACH, buildable, designed, name_of
from tracker.shop.cabinets.assembly import Move, Posture, assembly_order
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.joints import Fastening
from tracker.shop.cabinets.orders import CabinetOrder, Family
from tracker.shop.cabinets.panels import Vector, Work, dot, normal_of

STEP_MM = 5.0  # less than the thinnest panel: none is jumped over
HEADS_MM = 12.0  # more than a head stands out of its edge
FALLS_MM = 6.0  # more than a lock slides
DOWN = {Posture.LYING: "left", Posture.ON_ITS_FACE: "front", Posture.STANDING: "down"}
STILL: Vector = (0.0, 0.0, 0.0)


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_each_kind_goes_together_step_by_step(ordered: CabinetOrder) -> None:
    replay(designed(ordered))


@examples(5, deadline=None)
@given(buildable())
def test_any_cabinet_goes_together_step_by_step(ordered: CabinetOrder) -> None:
    replay(designed(ordered))


@pytest.mark.parametrize("body", OF_0_5, ids=lambda body: str(body["order"]["family"]))
def test_a_cabinet_that_was_kept_before_locks_crossed_goes_together_in_the_same_way(body: dict[str, Any]) -> None:
    replay(make_converter().loads(json.dumps(body), Cabinet))


def replay(cabinet: Cabinet) -> None:
    moves = assembly_order(cabinet)
    check_each_part_comes_in_once(cabinet, moves)
    check_each_joint_closes_once(cabinet, moves)
    for unit in dict.fromkeys(move.unit for move in moves):
        Replay(cabinet, [move for move in moves if move.unit == unit]).run()


def check_each_part_comes_in_once(cabinet: Cabinet, moves: tuple[Move, ...]) -> None:
    """Into its unit once, if it has one with others, and into the cabinet once, alone or with its unit."""
    whole = [own for move in moves if not (move.unit or move.is_push) for own in move.parts]
    assert sorted(whole) == sorted(part.id for part in cabinet.parts)


def check_each_joint_closes_once(cabinet: Cabinet, moves: tuple[Move, ...]) -> None:
    closed = [joint for move in moves for joint in move.joints]
    assert len(closed) == len(cabinet.joints)
    assert {id(joint) for joint in closed} == {id(joint) for joint in cabinet.joints}


class Replay:
    """Puts together a cabinet, or a drawer, move by move."""

    def __init__(self, cabinet: Cabinet, moves: list[Move]) -> None:
        self.cabinet, self.moves = cabinet, moves
        self.plain = {part.id: placed(part) for part in cabinet.parts}
        self.equipped = equipped(cabinet.parts, [Work.DOWEL_HOLE])
        self.away = {own: STILL for move in moves for own in move.parts}  # how far each is from its place
        for move in moves:
            if move.is_push:
                self.shift(move.parts, move.slide, -1)
        self.present: list[str] = []

    def shift(self, parts: tuple[str, ...], way: Vector, share: float) -> None:
        for own in parts:
            x, y, z = self.away[own]
            self.away[own] = (x + way[0] * share, y + way[1] * share, z + way[2] * share)

    def at(self, solids: dict[str, Manifold], own: str, out: Vector = STILL, far: float = 0.0) -> Manifold:
        x, y, z = self.away[own]
        return solids[own].translate((x + out[0] * far, y + out[1] * far, z + out[2] * far))

    def run(self) -> None:
        posture = self.moves[0].posture
        for move in self.moves:
            if not move.unit and move.posture is not posture:
                if move.posture is Posture.STANDING and self.cabinet.order.family is not Family.DIAGONAL_CORNER:
                    # The pins are driven before; those of a diagonal corner come when it stands.
                    self.equipped = equipped(self.cabinet.parts, [Work.DOWEL_HOLE, Work.PIN_HOLE])
                self.check_it_can_be_turned(move.posture)
            posture = move.posture
            if move.is_push:
                self.push(move)
            else:
                self.put_in(move)
        assert set(self.away.values()) == {STILL}, "all is pushed home"

    def put_in(self, move: Move) -> None:
        self.check_it_comes_along_its_joints(move)
        if self.present:
            self.check_the_way_is_free(move)
            self.check_it_holds_on_to_what_stands(move)
        self.present.extend(move.parts)

    def check_it_comes_along_its_joints(self, move: Move) -> None:
        """A lock is entered straight onto its face, seen from the part that moves."""
        for joint in move.joints:
            if joint.fastening in (Fastening.LOCK, Fastening.DOWEL):
                normal = normal_of(self.cabinet.part(joint.part).place, joint.side)
                sign = 1 if joint.part in move.parts else -1
                assert sign * dot(move.approach, normal) == pytest.approx(1.0)

    def check_the_way_is_free(self, move: Move) -> None:
        """From far away without meeting a panel; at last without meeting a head, or meeting one with its own."""
        boxes = [self.plain[own].bounding_box() for own in (*self.present, *move.parts)]
        across = sum((max(b[i + 3] for b in boxes) - min(b[i] for b in boxes)) ** 2 for i in range(3)) ** 0.5
        out: Vector = (-move.approach[0], -move.approach[1], -move.approach[2])
        bare, whole = ({other: self.at(each, other) for other in self.present} for each in (self.plain, self.equipped))
        for own in move.parts:
            for far in (index * STEP_MM for index in range(int(across / STEP_MM) + 1)):
                moved = self.at(self.plain, own, out, far)
                for other in self.present:
                    assert not overlap(moved, bare[other]), f"{own} meets {other}, {far} mm away"
            for far in (HEADS_MM, HEADS_MM / 2, HEADS_MM / 4, 0.0):
                moved = self.at(self.equipped, own, out, far)
                for other in self.present:
                    met = shared(moved, whole[other])
                    assert met < MEETS_MM3, f"a lock of {own} or {other} meets the other, {far} mm away"

    def check_it_holds_on_to_what_stands(self, move: Move) -> None:
        """Only what lies loose (a shelf on its pins) joins nothing."""
        joined = {own for joint in move.joints for own in (joint.part, joint.onto)}
        loose = all(own.startswith("Shelf") for own in move.parts)
        assert loose or joined & set(self.present), move.parts

    def push(self, move: Move) -> None:
        """What is pushed slides along its slots in all that stands, and a push lets go of no lock."""
        assert set(move.parts) <= set(self.present)
        for _ in range(4):
            self.shift(move.parts, move.slide, 0.25)
            for own in move.parts:
                for other in self.present:
                    if other not in move.parts:
                        met = shared(self.at(self.equipped, own), self.at(self.equipped, other))
                        assert met < MEETS_MM3, f"{own} meets {other} while it is pushed"
        self.check_locks_hold(move.parts)

    def check_locks_hold(self, parts: tuple[str, ...]) -> None:
        """The panels of a lock cannot be pulled off each other once it was pushed half its way."""
        for joint in self.cabinet.joints:
            if joint.fastening is Fastening.LOCK and joint.part in parts and joint.onto in self.present:
                x, y, z = normal_of(self.cabinet.part(joint.part).place, joint.side)
                pulled = self.at(self.equipped, joint.part, (-x, -y, -z), MOVED_MM)
                assert shared(pulled, self.at(self.equipped, joint.onto)) > MEETS_MM3, f"{joint.part}, {joint.onto}"

    def check_it_can_be_turned(self, posture: Posture) -> None:
        """Whatever way it is turned no lock comes apart, and then all rests on the floor by way of what is below it."""
        carcass = [part.id for part in standing(self.cabinet) if part.id in self.present]
        self.check_locks_hold(tuple(carcass))
        bodies = {own: self.at(self.equipped, own) for own in carcass}
        graph = arcs_of(bodies, FALLS_MM)[DOWN[posture]]
        for own in carcass:
            assert _reaches_the_floor(graph, own, bodies, posture), f"{own} falls out when it is {posture.value}"


def _reaches_the_floor(graph: Graph, own: str, bodies: dict[str, Manifold], posture: Posture) -> bool:
    axis = {Posture.LYING: 0, Posture.ON_ITS_FACE: 1, Posture.STANDING: 2}[posture]
    floor = min(body.bounding_box()[axis] for body in bodies.values())
    seen, waiting = {own}, [own]
    while waiting:
        here = waiting.pop()
        if bodies[here].bounding_box()[axis] < floor + FALLS_MM:
            return True
        new = graph[here] - seen
        seen |= new
        waiting += new
    return False


def test_a_drawer_is_put_together_before_it_goes_in() -> None:
    moves = assembly_order(designed(ONE_OF_EACH[0]))
    units = [move.unit for move in moves]
    assert all(before >= after for before, after in pairwise(units))
    assert len(moves[-1].parts) == 6, "two sides, box front, box back, bottom and front go in as one"
