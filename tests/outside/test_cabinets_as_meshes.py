"""The placed panels of any cabinet, checked as solids: whatever formula made them, this is what the shop would cut."""

import contextlib
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import combinations
from math import sqrt

import pytest
from hypothesis import given
from manifold3d import Manifold

from tests.examples import examples
from tests.outside.placed import block, less, overlap, placed, tool
from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, VARIANTS, buildable, designed, name_of, variant
from tracker.shop.cabinets.design import Cabinet, design_cabinet
from tracker.shop.cabinets.joints import Fastening, Joint
from tracker.shop.cabinets.orders import CabinetOrder, Family
from tracker.shop.cabinets.panels import Feature, Part, Vector, Work
from tracker.shop.cabinets.standard import Board, Standard
from tracker.shop.errors import InvalidInputError

NEAR_MM = 0.1
SOME = examples(20)


@pytest.mark.parametrize("ordered", ONE_OF_EACH, ids=name_of)
def test_one_of_each_kind_stands_as_it_should(ordered: CabinetOrder) -> None:
    check_all(designed(ordered))


@SOME
@given(buildable())
def test_any_cabinet_stands_as_it_should(ordered: CabinetOrder) -> None:
    check_all(designed(ordered))


@pytest.mark.parametrize("name", VARIANTS)
def test_every_kind_stands_as_it_should_by_a_shops_own_standard(name: str) -> None:
    standard = variant(name)
    for ordered in ONE_OF_EACH:
        with contextlib.suppress(InvalidInputError):  # what this standard cannot build it refuses; all else must stand
            check_all(design_cabinet(ordered, standard), standard)


def check_all(cabinet: Cabinet, standard: Standard = STANDARD) -> None:
    solids = {part.id: placed(part) for part in cabinet.parts}
    check_no_two_parts_overlap(solids)
    check_each_joint_touches(cabinet, solids)
    check_gaps_between_fronts(cabinet, solids, standard)
    check_the_bounding_box_is_the_ordered_size(cabinet, solids, standard)
    check_the_ends_mirror_each_other(cabinet)
    for part in cabinet.parts:
        check_every_hole_lies_in_material(part)
    for joint in cabinet.joints:
        check_holes_meet_their_partners(cabinet, joint)


def check_no_two_parts_overlap(solids: dict[str, Manifold]) -> None:
    for (name, one), (other_name, other) in combinations(solids.items(), 2):
        assert not overlap(one, other), f"{name} and {other_name} are in the same place"


def check_each_joint_touches(cabinet: Cabinet, solids: dict[str, Manifold]) -> None:
    for joint in cabinet.joints:
        gap = solids[joint.part].min_gap(solids[joint.onto], 100.0)
        if joint.fastening is Fastening.HINGE and cabinet.order.family is Family.DIAGONAL_CORNER:
            assert joint.gap_mm <= gap < 60, "a door across a corner hangs beside its end, not before it"
        else:
            assert gap == pytest.approx(joint.gap_mm, abs=NEAR_MM), f"{joint.part} on {joint.onto}"


def check_gaps_between_fronts(cabinet: Cabinet, solids: dict[str, Manifold], standard: Standard) -> None:
    fronts = [part.id for part in cabinet.parts if part.front]
    opening = standard.fronts.oven_opening_mm
    for name in fronts:
        gaps = [solids[name].min_gap(solids[other], 5_000.0) for other in fronts if other != name]
        if gaps and min(gaps) < opening - 1:
            assert min(gaps) == pytest.approx(standard.fronts.reveal_mm, abs=NEAR_MM), name


def check_the_bounding_box_is_the_ordered_size(
    cabinet: Cabinet, solids: dict[str, Manifold], standard: Standard
) -> None:
    """Of the carcass, or with its fronts where the standard counts them in."""
    diagonal = cabinet.order.family is Family.DIAGONAL_CORNER
    carcass = [part.id for part in cabinet.parts if not part.front] or [part.id for part in cabinet.parts]
    if standard.fronts.depth_includes_fronts and not diagonal:
        carcass = [part.id for part in cabinet.parts]
    else:
        carcass = [own for own in carcass if not own.startswith("Drawer ") or own == "Drawer stretcher"]
    boxes = [solids[own].bounding_box() for own in carcass]
    size = [max(box[i + 3] for box in boxes) - min(box[i] for box in boxes) for i in range(3)]
    order = cabinet.order
    depth = order.width_mm if diagonal else order.depth_mm
    assert size == pytest.approx([order.width_mm, depth, order.height_mm], abs=NEAR_MM), "the size that was ordered"


def check_the_ends_mirror_each_other(cabinet: Cabinet) -> None:
    if cabinet.order.family in (Family.FILLER, Family.END_PANEL):
        return
    ends = [cabinet.part("Left end"), cabinet.part("Right end")]
    assert [end.hand.value for end in ends] == ["left", "right"]
    assert ends[0].sizes == pytest.approx(ends[1].sizes)
    width = cabinet.order.width_mm

    def mirrored(point: Vector) -> Vector:
        if cabinet.order.family is Family.DIAGONAL_CORNER:
            return (width - point[1], width - point[0], point[2])
        return (width - point[0], point[1], point[2])

    left = {seen_from(ends[0], feature, mirrored) for feature in ends[0].features}
    right = {seen_from(ends[1], feature, lambda point: point) for feature in ends[1].features}
    # Plates of hinges stand on one side alone where a single door hangs.
    assert {work for work, *_ in left ^ right} <= {Work.LINE_HOLE}, "the ends mirror each other"


def seen_from(part: Part, feature: Feature, turn: Callable[[Vector], Vector]) -> tuple[object, ...]:
    """What a feature is and where in the cabinet: its middle and its reach, whichever corner it is measured from."""
    middle = part.from_side(feature.face, feature.x_mm + feature.dx_mm / 2, feature.y_mm + feature.dy_mm / 2)
    point = turn(middle)
    reach = sorted((round(abs(feature.dx_mm), 3), round(abs(feature.dy_mm), 3)))
    drawn = (*point, feature.depth_mm, feature.diameter_mm)
    return (feature.work, *(round(value, 3) + 0.0 for value in drawn), *reach)


def check_every_hole_lies_in_material(part: Part) -> None:
    """What the tools take away together is what they take away one by one: none cuts air, none cuts another's hole."""
    together, alone = volumes(part.board, part.length_mm, part.width_mm, part.features)
    assert together == pytest.approx(alone, rel=1e-4, abs=1.0), f"{part.id}: a hole is not all in the board"


@cache  # many parts, of one cabinet and of several, are cut alike
def volumes(board: Board, length_mm: float, width_mm: float, features: tuple[Feature, ...]) -> tuple[float, float]:
    """What the tools take away from such a panel, in mm³: together, and one by one."""
    some = designed(ONE_OF_EACH[0]).parts[0]
    part = replace(some, board=board, length_mm=length_mm, width_mm=width_mm, features=features)
    blank = block(part)
    taken = [tool(part, feature) for feature in features if feature.work is not Work.CORNER_CUT]
    return blank.volume() - less(blank, taken).volume(), sum(each.volume() for each in taken)


def holes(part: Part, *works: Work) -> list[Vector]:
    """Where in the cabinet the holes of these kinds start."""
    return [
        part.from_side(feature.face, feature.x_mm, feature.y_mm) for feature in part.features if feature.work in works
    ]


def off_axis(part: Part, work: Work, point: Vector) -> float:
    """How far a point is from the nearest axis of a hole of this kind, in mm."""
    found = []
    for feature in part.features:
        if feature.work is work:
            start = part.from_side(feature.face, feature.x_mm, feature.y_mm)
            axis = part.place.axes[{"A": 2, "B": 2, "L1": 1, "L2": 1, "W1": 0, "W2": 0}[feature.face]]
            away = [point[i] - start[i] for i in range(3)]
            along = sum(away[i] * axis[i] for i in range(3))
            found.append(sqrt(sum((away[i] - along * axis[i]) ** 2 for i in range(3))))
    return min(found)


PARTNERS = {
    Fastening.LOCK: (Work.LOCK_BORE, Work.LOCK_SLOT),
    Fastening.DOWEL: (Work.DOWEL_HOLE, Work.DOWEL_HOLE),
    Fastening.PIN: (Work.PIN_HOLE, Work.PIN_HOLE),
    Fastening.SLIDE: (Work.SLIDE_HOLE, Work.SLIDE_HOLE),
}


def check_holes_meet_their_partners(cabinet: Cabinet, joint: Joint) -> None:
    part, onto = cabinet.part(joint.part), cabinet.part(joint.onto)
    for point in joint.points:
        if joint.fastening is Fastening.HINGE:
            assert off_axis(part, Work.HINGE_CUP, point) <= NEAR_MM
            plate = [hole[2] - point[2] for hole in holes(onto, Work.LINE_HOLE) if abs(hole[2] - point[2]) < 16.5]
            assert sorted({round(z, 1) for z in plate}) == [-16.0, 16.0]
        elif joint.fastening is Fastening.SCREW:
            kinds = {feature.work for feature in part.features} & {Work.PILOT_HOLE, Work.SCREW_HOLE}
            assert min(off_axis(part, kind, point) for kind in kinds) <= NEAR_MM
            kinds = {feature.work for feature in onto.features} & {Work.PILOT_HOLE, Work.SCREW_HOLE}
            assert min(off_axis(onto, kind, point) for kind in kinds) <= NEAR_MM
        else:
            one, other = PARTNERS[joint.fastening]
            assert off_axis(part, one, point) <= NEAR_MM
            assert off_axis(onto, other, point) <= NEAR_MM
