"""Panels into cartons: the fewest boxes, then whole cabinets, then the least carton volume, then the best balance."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tracker.shop.boxing.bounds import lower_bound
from tracker.shop.boxing.cabinets import by_cabinet, cabinets_in, gathered, pieces_of_cabinets
from tracker.shop.boxing.exact import ExactCarton, exact_cartons, exact_panels
from tracker.shop.boxing.filling import Box, Panels, measures
from tracker.shop.boxing.places import content_of
from tracker.shop.boxing.search import boxes_of_many_kinds, boxes_of_one_kind
from tracker.shop.boxing.supply import in_smaller_cartons, supplied
from tracker.shop.boxing.values import BoxContent, BoxPlan, Carton, PackingRules, Panel, Unplaceable
from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.saying import Count, Mm, Number, Said, join, say
from tracker.shop.searching import Effort

MOST_PANELS: Final = 2_000
MOST_CARTONS: Final = 50
MOST_IN_JOB: Final = 20_000
MOST_IN_RUN: Final = 500
STEPS: Final = 3_000_000  # about half a second
_STEPS_OF_A_RUN: Final = 300_000


@dataclass(frozen=True, slots=True)
class _Draft:
    """Boxes as they were planned, the same in the smallest cartons that there are, and what is left without one."""

    planned: list[Box]
    boxes: list[Box]
    without: Panels

    @property
    def rank(self) -> tuple[int, int, int, int]:
        """Return what makes a plan good, the most important first; less is better."""
        volume = sum(box.carton.volume for box in self.boxes)
        return len(self.without), len(self.boxes), pieces_of_cabinets(self.boxes), volume


def plan_boxes(
    panels: Sequence[Panel], cartons: Sequence[Carton], rules: PackingRules | None = None, *, steps: int = STEPS
) -> BoxPlan:
    """Return boxes that hold the panels, flat in layers, within every carton's size and mass.

    The boxes are made as few as ``steps`` of search allow; then a cabinet's parts are kept together where that costs
    no extra box, then the cartons' volume is made small, then the centre of mass is brought to the middle. The same
    input gives the same plan. Raises InvalidInputError for no carton, too many panels, or an id that stands twice.
    """
    rules = rules or PackingRules()
    _check(panels, cartons, MOST_PANELS)
    exact, kinds = exact_panels(panels, rules), exact_cartons(cartons, rules)
    fitting = [panel for panel in exact if any(kind.takes(panel) for kind in kinds)]
    kinds = [kind for kind in kinds if kind.available > 0 and any(map(kind.takes, fitting))]
    placeable = [panel for panel in fitting if any(kind.takes(panel) for kind in kinds)]
    draft = _best_draft(placeable, kinds, Effort(steps)) if placeable else _Draft([], [], [])
    placed = [panel for box in draft.boxes for panel in box.panels]
    boxes = sorted(draft.boxes, key=lambda box: min(panel.index for panel in box.panels))
    return BoxPlan(
        boxes=tuple(content_of(box, panels, cartons[box.carton.index], rules) for box in boxes),
        lower_bound=lower_bound(placed, kinds),
        unplaceable=tuple(_why_left(panels, cartons, rules, _indexes(fitting), _indexes(placed))),
    )


def plan_job(panels: Sequence[Panel], cartons: Sequence[Carton], rules: PackingRules | None = None) -> BoxPlan:
    """Return boxes for a whole job of up to MOST_IN_JOB panels: planned at once when it is small, otherwise in runs of
    whole cabinets, in the order in which the cabinets come.

    Each run may cost one box more than a plan of the whole would. Raises InvalidInputError like ``plan_boxes``.
    """
    rules = rules or PackingRules()
    _check(panels, cartons, MOST_IN_JOB)
    runs = _runs(panels)
    left = {carton.id: carton for carton in cartons}
    boxes: list[BoxContent] = []
    unplaceable: list[Unplaceable] = []
    for run in runs:
        plan = plan_boxes(run, list(left.values()), rules, steps=STEPS if len(runs) == 1 else _STEPS_OF_A_RUN)
        boxes += plan.boxes
        unplaceable += plan.unplaceable
        for name, count in Counter(box.carton for box in plan.boxes).items():
            available = left[name].available
            left[name] = replace(left[name], available=None if available is None else available - count)
    refused = {panel.id for panel in unplaceable}
    placed = [panel for panel in exact_panels(panels, rules) if panels[panel.index].id not in refused]
    return BoxPlan(
        boxes=tuple(boxes),
        lower_bound=lower_bound(placed, exact_cartons(cartons, rules)),
        unplaceable=tuple(unplaceable),
    )


def _runs(panels: Sequence[Panel]) -> list[list[Panel]]:
    """Return the panels in runs of at most MOST_IN_RUN; a cabinet is cut only when it alone is larger than a run."""
    families: dict[str, list[Panel]] = defaultdict(list)
    for panel in panels:
        families[f"cabinet {panel.cabinet}" if panel.cabinet else f"panel {panel.id}"].append(panel)
    runs: list[list[Panel]] = [[]]
    for family in families.values():
        for start in range(0, len(family), MOST_IN_RUN):
            piece = family[start : start + MOST_IN_RUN]
            if len(runs[-1]) + len(piece) > MOST_IN_RUN:
                runs.append([])
            runs[-1] += piece
    return runs


def _best_draft(panels: Panels, kinds: Sequence[ExactCarton], effort: Effort) -> _Draft:
    bound = lower_bound(panels, kinds)
    best = _fewest(panels, kinds, bound, effort)
    if pieces_of_cabinets(best.boxes) > cabinets_in(panels):
        best = _whole_cabinets(best, panels, kinds, effort.part(0.7))
    if len(kinds) == 1:
        return best
    boxes = in_smaller_cartons(list(best.boxes), kinds, measures(panels, kinds)[0], effort)
    return _Draft(best.planned, boxes, best.without)


def _fewest(panels: Panels, kinds: Sequence[ExactCarton], bound: int, effort: Effort) -> _Draft:
    drafts: list[_Draft] = []
    for kind in _for_all(panels, kinds):
        target = max(bound, lower_bound(panels, [kind]))
        if not drafts or target <= min(len(draft.boxes) for draft in drafts):
            drafts.append(_draft(boxes_of_one_kind(panels, kind, target, effort.part(0.6)), kinds))
    enough = any(not draft.without and len(draft.boxes) == bound for draft in drafts)
    if not enough and (len(kinds) > 1 or not drafts):
        drafts.append(_draft(boxes_of_many_kinds(panels, kinds, bound, effort.part(0.5)), kinds))
    return min(drafts, key=lambda draft: draft.rank)


def _whole_cabinets(best: _Draft, panels: Panels, kinds: Sequence[ExactCarton], effort: Effort) -> _Draft:
    largest = _for_all(panels, kinds)[:1]
    drafts = [best, *(_draft(by_cabinet(panels, kind, breaking=b), kinds) for kind in largest for b in (False, True))]
    best = min(drafts, key=lambda draft: draft.rank)
    drafts.append(_draft(gathered(list(best.planned), effort), kinds))
    return min(drafts, key=lambda draft: draft.rank)


def _for_all(panels: Panels, kinds: Sequence[ExactCarton]) -> list[ExactCarton]:
    """Return the kinds of carton that take every one of the panels, the largest first."""
    fitting = [kind for kind in kinds if all(kind.takes(panel) for panel in panels)]
    return sorted(fitting, key=lambda kind: -kind.volume)


def _draft(planned: list[Box], kinds: Sequence[ExactCarton]) -> _Draft:
    return _Draft(planned, *supplied(planned, kinds))


def _check(panels: Sequence[Panel], cartons: Sequence[Carton], most: int) -> None:
    faults = []
    if len(panels) > most:
        faults.append(fault_at("panels", say("at most %(most)s in one plan; send them in parts", most=Count(most))))
    if not 1 <= len(cartons) <= MOST_CARTONS:
        faults.append(fault_at("cartons", say("from 1 to %(most)s kinds of carton are wanted", most=MOST_CARTONS)))
    for field, ids in (("panels", [panel.id for panel in panels]), ("cartons", [carton.id for carton in cartons])):
        twice = [name for name, count in Counter(ids).items() if count > 1]
        faults += [Fault(where={"field": field, "id": name}, what=say("each id stands once")) for name in twice[:20]]
    if faults:
        first = join([str(faults[0].where["field"]), faults[0].what], between=": ")
        raise InvalidInputError(say("the boxes cannot be planned: %(first)s", first=first), faults)


def _indexes(panels: Panels) -> set[int]:
    return {panel.index for panel in panels}


def _why_left(
    panels: Sequence[Panel], cartons: Sequence[Carton], rules: PackingRules, fitting: set[int], placed: set[int]
) -> Iterator[Unplaceable]:
    """Return the panels that lie in no box, and why; ``fitting`` fit at least one kind of carton."""
    for index, panel in enumerate(panels):
        if index in fitting and index not in placed:
            why = say("every carton that it fits is used up: order more, or allow another kind")
            yield Unplaceable(id=panel.id, why=why)
        elif index not in placed:
            yield Unplaceable(id=panel.id, why=_why_too_large(panel, cartons, rules))


def _why_too_large(panel: Panel, cartons: Sequence[Carton], rules: PackingRules) -> Said:
    """Say in a sentence why no carton takes the panel: the first reason that is true of every carton."""
    long, short = max(panel.length_mm, panel.width_mm), min(panel.length_mm, panel.width_mm)
    thick, mass = panel.thickness_mm, panel.mass_kg
    longest = max(max(carton.length_mm, carton.width_mm) for carton in cartons)
    widest = max(min(carton.length_mm, carton.width_mm) for carton in cartons)
    highest = max(carton.height_mm for carton in cartons) - rules.bag_height_mm
    strongest = max(carton.max_mass_kg - carton.tare_kg for carton in cartons) - rules.bag_mass_kg
    if long > longest:
        return say("it is %(size)s long and the longest carton is %(most)s", size=Mm(long), most=Mm(longest))
    if short > widest:
        return say("it is %(size)s wide and the widest carton is %(most)s", size=Mm(short), most=Mm(widest))
    if thick > highest:
        return say("it is %(size)s thick and the highest carton leaves %(most)s", size=Mm(thick), most=Mm(highest))
    if mass > strongest:
        return say(
            "it weighs %(mass)s kg and no carton may hold more than %(most)s kg of panels",
            mass=Number(f"{mass:g}"),
            most=Number(f"{strongest:g}"),
        )
    return say("no one carton is large, high and strong enough for it")
