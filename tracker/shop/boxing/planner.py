"""Panels into cartons: groups together, the fewest boxes, whole cabinets, the least carton volume, the best balance."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from typing import Final

from tracker.shop.boxing.bounds import lower_bound
from tracker.shop.boxing.cabinets import families
from tracker.shop.boxing.drafts import drafted
from tracker.shop.boxing.exact import ExactCarton, ExactPanel, exact_cartons, exact_panels
from tracker.shop.boxing.filling import Box, Panels
from tracker.shop.boxing.groups import MOST_SHARING, Keeping, boxes_by_group, kinds_left, least_by_group
from tracker.shop.boxing.places import content_of
from tracker.shop.boxing.supply import supplied
from tracker.shop.boxing.values import BoxPlan, Carton, KeepTogether, PackingRules, Panel, Unplaceable
from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.saying import Count, Mm, Number, Said, join, say
from tracker.shop.searching import Effort

MOST_PANELS: Final = 2_000
MOST_CARTONS: Final = 50
MOST_IN_JOB: Final = 20_000
MOST_IN_RUN: Final = 500
STEPS: Final = 3_000_000  # about half a second
_STEPS_OF_A_RUN: Final = 300_000


def plan_boxes(
    panels: Sequence[Panel], cartons: Sequence[Carton], rules: PackingRules | None = None, *, steps: int = STEPS
) -> BoxPlan:
    """Return boxes that hold the panels, flat in layers, within every carton's size and mass and the shop's own limit.

    Panels of a group are kept together first: each group has cartons of its own, as few as it allows, and small things
    share (see ``groups``). Then the boxes are made as few as ``steps`` of search allow; a cabinet's parts are kept
    together where that costs no extra box; then the cartons' volume is made small, and the centre of mass is brought to
    the middle. The same input gives the same plan. Raises InvalidInputError for no carton, too many panels, or an id
    that stands twice.
    """
    _check(panels, cartons, MOST_PANELS)
    return _planned(panels, cartons, rules or PackingRules(), steps=steps, at_once=MOST_PANELS)


def plan_job(panels: Sequence[Panel], cartons: Sequence[Carton], rules: PackingRules | None = None) -> BoxPlan:
    """Return boxes for a whole job of up to MOST_IN_JOB panels: at once when it is small or has groups, otherwise in
    runs of whole cabinets, in the order in which the cabinets come.

    Each run may cost one box more than a plan of the whole would. Raises InvalidInputError like ``plan_boxes``.
    """
    _check(panels, cartons, MOST_IN_JOB)
    return _planned(panels, cartons, rules or PackingRules(), steps=STEPS, at_once=MOST_IN_RUN)


def _planned(
    panels: Sequence[Panel], cartons: Sequence[Carton], rules: PackingRules, *, steps: int, at_once: int
) -> BoxPlan:
    job = _Job(panels, cartons, rules)
    laid = job.boxes(steps, at_once)
    placed = [panel for box in laid for panel in box.panels]
    boxes = sorted(laid, key=lambda box: min(panel.index for panel in box.panels))
    return BoxPlan(
        boxes=tuple(content_of(box, panels, cartons[box.carton.index], rules) for box in boxes),
        lower_bound=job.least(laid),
        bound_for=job.bound_for,
        unplaceable=tuple(_why_left(panels, cartons, rules, _indexes(job.fitting), _indexes(placed))),
    )


class _Job:
    """What is to be packed, and into what: cartons within the shop's limit, and as strong as they are.

    ``fitting`` are the panels that fit a kind of carton, whether there are any of it or not.
    """

    def __init__(self, panels: Sequence[Panel], cartons: Sequence[Carton], rules: PackingRules) -> None:
        exact = exact_panels(panels, rules)
        self._kinds = exact_cartons(cartons, rules)
        self._strong = exact_cartons(cartons, replace(rules, box_mass_kg=None))
        self._grouped = any(panel.group for panel in exact)
        self._drops = list(dict.fromkeys(panel.drop for panel in exact))
        self._keeping = Keeping.of(exact, fronts_apart=rules.keep_together is KeepTogether.FRONTS_APART)
        self.fitting = [panel for panel in exact if _takes(self._strong, panel)]

    @property
    def bound_for(self) -> str:
        """For which boxes the lower bound holds."""
        limits = say("any boxes within the limits of size and mass")
        if self._grouped:
            limits = say(
                "boxes within the limits of size and mass in which each group has cartons of its own, as few as it "
                "allows, and at most %(most)s groups share one",
                most=MOST_SHARING,
            )
        if len(self._drops) > 1:
            limits = join([limits, say("and no box holds panels of two drops")], between=" ")
        return limits

    def boxes(self, steps: int, at_once: int) -> list[Box]:
        """Return the boxes of one drop after the other; without groups, of so many panels at once."""
        drops = [[panel for panel in self.fitting if panel.drop == drop] for drop in self._drops]
        runs = [run for panels in drops for run in ([panels] if self._grouped else _runs(panels, at_once))]
        each = min(steps, max(_STEPS_OF_A_RUN, steps // len(runs))) if runs else 0
        boxes: list[Box] = []
        for run in runs:
            boxes += self._boxes_beside(boxes, run, Effort(each))
        return boxes

    def _boxes_beside(self, boxes: Sequence[Box], panels: Panels, effort: Effort) -> list[Box]:
        """Return boxes of these panels in what cartons are left; one that alone is over the shop's limit lies alone."""
        strong = kinds_left(self._strong, boxes)
        kinds = kinds_left(self._kinds, boxes)
        heavy = [panel for panel in panels if _takes(strong, panel) and not _takes(kinds, panel)]
        first = {panel: next(kind for kind in strong if kind.takes(panel)) for panel in heavy}
        alone, _ = supplied([Box(first[panel], [panel]) for panel in heavy], strong)
        kinds = kinds_left(kinds, alone)
        rest = [panel for panel in panels if _takes(kinds, panel)]
        plan = boxes_by_group(rest, kinds, self._keeping, effort) if self._grouped else drafted(rest, kinds, effort)
        return [*alone, *plan]

    def least(self, boxes: Sequence[Box]) -> int:
        """Return a number of boxes below which what lies in these cannot be packed."""
        return sum(self._least_of([box for box in boxes if box.panels[0].drop == drop]) for drop in self._drops)

    def _least_of(self, boxes: Sequence[Box]) -> int:
        light = [box for box in boxes if _takes(self._kinds, box.panels[0])]
        panels = [panel for box in light for panel in box.panels]
        kinds = [kind for kind in self._kinds if kind.available and any(map(kind.takes, panels))]
        least = least_by_group(light, kinds, self._keeping) if self._grouped else lower_bound(panels, kinds)
        return len(boxes) - len(light) + least


def _takes(kinds: Iterable[ExactCarton], panel: ExactPanel) -> bool:
    return any(kind.takes(panel) for kind in kinds)


def _runs(panels: Panels, at_once: int) -> list[Panels]:
    """Return the panels in runs of so many at most; a cabinet is cut only when it alone is larger than a run."""
    if len(panels) <= at_once:
        return [panels]
    runs: list[Panels] = [[]]
    for family in families(panels):
        for start in range(0, len(family), at_once):
            piece = family[start : start + at_once]
            if len(runs[-1]) + len(piece) > at_once:
                runs.append([])
            runs[-1] = runs[-1] + piece
    return runs


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
