"""An independent look at a plan: it knows the panels, the cartons and the placed boxes, and nothing of the planner."""

from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

from tracker.shop.boxing.values import BoxContent, BoxPlan, Carton, KeepTogether, PackingRules, Panel

NEARLY = 1e-6


class Solid(NamedTuple):
    """A placed panel as a body in the carton: its near and its far corner, in mm."""

    panel: Panel
    near: tuple[float, float, float]
    far: tuple[float, float, float]


def complaints(plan: BoxPlan, panels: Sequence[Panel], cartons: Sequence[Carton], rules: PackingRules) -> list[str]:
    """Return everything about the plan that breaks a rule of packing."""
    kinds = {carton.id: carton for carton in cartons}
    found = list(_whole_plan(plan, panels, kinds))
    if rules.keep_together is not KeepTogether.FEWEST_BOXES:
        found += _cabinets(plan, panels)
    for number, box in enumerate(plan.boxes):
        solids = solids_of(box, panels)
        for look in (_limits, _company, _room, _layers, _order):
            found += [f"box {number}: {what}" for what in look(box, solids, kinds[box.carton], rules)]
    return found


def solids_of(box: BoxContent, panels: Sequence[Panel]) -> list[Solid]:
    """Return the bodies of the box's panels in the order of laying."""
    known = {panel.id: panel for panel in panels}
    solids = []
    for place in box.panels:
        panel = known[place.id]
        along, across = (panel.width_mm, panel.length_mm) if place.rotated else (panel.length_mm, panel.width_mm)
        near = (place.x_mm, place.y_mm, place.z_mm)
        far = (place.x_mm + along, place.y_mm + across, place.z_mm + panel.thickness_mm)
        solids.append(Solid(panel, near, far))
    return solids


def _whole_plan(plan: BoxPlan, panels: Sequence[Panel], kinds: dict[str, Carton]) -> Iterator[str]:
    told = Counter(place.id for box in plan.boxes for place in box.panels)
    told.update(left.id for left in plan.unplaceable)
    if told != Counter(panel.id for panel in panels):
        yield "not every panel stands once, in a box or among the unplaceable"
    for name, used in Counter(box.carton for box in plan.boxes).items():
        available = kinds[name].available
        if available is not None and used > available:
            yield f"{used} cartons {name} are used and there are {available}"
    if not 0 <= plan.lower_bound <= len(plan.boxes):
        yield f"the lower bound {plan.lower_bound} is over the {len(plan.boxes)} boxes"
    if any(not left.why for left in plan.unplaceable):
        yield "a panel is left out for no reason"


def _limits(box: BoxContent, solids: Sequence[Solid], carton: Carton, rules: PackingRules) -> Iterator[str]:
    mass = carton.tare_kg + rules.bag_mass_kg + sum(solid.panel.mass_kg for solid in solids)
    if abs(mass - box.mass_kg) > NEARLY:
        yield f"its mass is {mass} and it says {box.mass_kg}"
    if mass > carton.max_mass_kg + NEARLY:
        yield f"it weighs {mass} and may weigh {carton.max_mass_kg}"
    if rules.box_mass_kg is not None and mass > rules.box_mass_kg + NEARLY and len(solids) > 1:
        yield f"it weighs {mass} with {len(solids)} panels, and the shop allows {rules.box_mass_kg}"
    top = max(solid.far[2] for solid in solids)
    if abs(top + rules.bag_height_mm - box.height_mm) > NEARLY:
        yield f"its panels end at {top} and it says {box.height_mm}"
    if box.height_mm > carton.height_mm + NEARLY:
        yield f"it is {box.height_mm} high and the carton is {carton.height_mm}"
    if (box.bag is not None) != (rules.bag_height_mm > 0) or (box.bag and abs(box.bag.z_mm - top) > NEARLY):
        yield "the bag's gap is not on top"


def _company(box: BoxContent, solids: Sequence[Solid], carton: Carton, rules: PackingRules) -> Iterator[str]:
    if len({solid.panel.drop for solid in solids}) > 1:
        yield "it holds panels of two drops"
    if rules.keep_together is KeepTogether.FEWEST_BOXES:
        return
    if len({solid.panel.group for solid in solids if solid.panel.group}) > 3:
        yield "more than three groups share it"
    fronts = {solid.panel.front for solid in solids if solid.panel.group}
    if rules.keep_together is KeepTogether.FRONTS_APART and len(fronts) > 1:
        yield "fronts that come late lie beside other panels"


def _cabinets(plan: BoxPlan, panels: Sequence[Panel]) -> Iterator[str]:
    """A group of four panels or more lies with none of its like, its late fronts excepted."""
    known = {panel.id: panel for panel in panels}
    counts = Counter(panel.group for panel in panels)
    for number, box in enumerate(plan.boxes):
        inside = {known[place.id].group for place in box.panels if not known[place.id].front} - {""}
        if sum(counts[group] >= 4 for group in inside) > 1:
            yield f"box {number}: two cabinets lie in it"


def _room(box: BoxContent, solids: Sequence[Solid], carton: Carton, rules: PackingRules) -> Iterator[str]:
    for solid in solids:
        if min(solid.near) < 0 or solid.far[0] > carton.length_mm + NEARLY or solid.far[1] > carton.width_mm + NEARLY:
            yield f"{solid.panel.id} sticks out"
    for one, other in combinations(solids, 2):
        if all(
            one.near[axis] < other.far[axis] - NEARLY and other.near[axis] < one.far[axis] - NEARLY for axis in range(3)
        ):
            yield f"{one.panel.id} and {other.panel.id} are in the same place"


def _layers(box: BoxContent, solids: Sequence[Solid], carton: Carton, rules: PackingRules) -> Iterator[str]:
    for (place, solid), (other_place, other) in combinations(zip(box.panels, solids, strict=True), 2):
        if place.layer == other_place.layer and solid.near[2] != other.near[2]:
            yield f"{place.id} and {other_place.id} are said to be in one layer"
        if place.layer < other_place.layer and other.near[2] < solid.far[2] + rules.layer_gap_mm - NEARLY:
            yield f"no sheet fits between {place.id} and {other_place.id}"


def _order(box: BoxContent, solids: Sequence[Solid], carton: Carton, rules: PackingRules) -> Iterator[str]:
    if [place.position for place in box.panels] != list(range(1, len(solids) + 1)):
        yield "the positions do not count from 1"
    heights = [solid.near[2] for solid in solids]
    if heights != sorted(heights):
        yield "a panel is to be laid under one that lies already"
    lowest_front = min((solid.near[2] for solid in solids if solid.panel.front), default=float("inf"))
    if any(not solid.panel.front and solid.near[2] > lowest_front for solid in solids):
        yield "something lies above a front"
    plain = {height: 0.0 for height in heights if height < lowest_front}
    for solid in solids:
        if solid.near[2] in plain:
            plain[solid.near[2]] = max(plain[solid.near[2]], solid.panel.mass_kg)
    if list(plain.values()) != sorted(plain.values(), reverse=True):
        yield "a heavier panel lies above every lighter one of a lower layer"
    masses = [solid.panel.mass_kg for solid in solids]
    for axis in range(3):
        middles = [(solid.near[axis] + solid.far[axis]) / 2 for solid in solids]
        centre = sum(mass * middle for mass, middle in zip(masses, middles, strict=True)) / sum(masses)
        if abs(centre - box.centre_of_mass_mm[axis]) > NEARLY:
            yield f"its centre of mass is at {centre} along axis {axis}"
