"""Each group in cartons of its own, as few as its size and mass allow; small things share cartons.

A group is a cabinet. It is small when it has fewer panels than any cabinet: a filler, an end panel, loose shelves.
Fronts that come late are small, too: they lie apart from the rest of their cabinet. Small things may lie beside one
another or beside a cabinet, whole, with at most MOST_SHARING cabinets to a carton; what comes late lies with what comes
late. A panel of no group is loose and counts as no cabinet.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from tracker.shop.boxing.bounds import Least
from tracker.shop.boxing.drafts import drafted
from tracker.shop.boxing.exact import ExactCarton, ExactPanel
from tracker.shop.boxing.filling import LAYING, Box, Panels
from tracker.shop.boxing.layers import fits
from tracker.shop.searching import Effort, Shuffle

MOST_SHARING: Final = 3
FEWEST_OF_A_CABINET: Final = 4  # two ends, a deck and a back
_MOST_TRIED: Final = 30  # beside how many boxes a small thing is tried
_MOST_SHUFFLES: Final = 60

Shape = tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Group:
    """What is kept together: the panels of a cabinet, or its late fronts; a loose panel has no name."""

    name: str
    late: bool
    small: bool
    panels: Panels

    @property
    def volume(self) -> int:
        return sum(panel.volume for panel in self.panels)

    @property
    def mass(self) -> int:
        return sum(panel.mass for panel in self.panels)


@dataclass(frozen=True, slots=True)
class Keeping:
    """How panels are kept together: ``few`` names the groups that have too few panels to be a cabinet."""

    fronts_apart: bool
    few: frozenset[str]

    @classmethod
    def of(cls, panels: Iterable[ExactPanel], *, fronts_apart: bool) -> "Keeping":
        """Return the way for a plan of all these panels."""
        counts = Counter(panel.group for panel in panels)
        few = frozenset(name for name, count in counts.items() if count < FEWEST_OF_A_CABINET)
        return cls(fronts_apart=fronts_apart, few=few)

    def groups(self, panels: Iterable[ExactPanel]) -> list[Group]:
        """Return the groups of these panels in the order in which they come."""
        found: dict[tuple[str | int, bool], Panels] = defaultdict(list)
        for panel in panels:
            found[panel.group or panel.index, self.fronts_apart and panel.front].append(panel)
        return [
            Group(members[0].group, late, late or members[0].group in self.few or not members[0].group, members)
            for (_, late), members in found.items()
        ]


@dataclass(frozen=True, slots=True)
class _Shared:
    """A box and the cabinets in it."""

    box: Box
    names: frozenset[str]
    late: bool


def boxes_by_group(panels: Panels, kinds: Sequence[ExactCarton], keeping: Keeping, effort: Effort) -> list[Box]:
    """Return boxes that keep the groups together; each panel fits one of the kinds.

    The number of cartons of each group comes first, then the number of boxes, then the cartons' volume. What no carton
    is left for lies in none of them.
    """
    groups = keeping.groups(panels)
    sharing = {id(group) for group in groups if group.name and _may_share(group, kinds)}
    boxes = _own_boxes([group for group in groups if group.name and id(group) not in sharing], kinds, effort.part(0.6))
    boxes = _shared_out(boxes, [group for group in groups if id(group) in sharing], kinds, effort.part(0.6))
    loose = sorted((group for group in groups if not group.name), key=lambda group: -group.volume)
    boxes, loose = _filled_up(boxes, loose, kinds, effort, grow=False)
    found = [shared.box for shared in boxes]
    for late in (False, True):
        rest = [group.panels[0] for group in loose if group.late is late]
        found += drafted(rest, kinds_left(kinds, found), effort)
    return found


def least_by_group(boxes: Sequence[Box], kinds: Sequence[ExactCarton], keeping: Keeping) -> int:
    """Return a number of boxes below which what is in these cannot be kept together so; each panel fits a kind."""
    groups = keeping.groups(panel for box in boxes for panel in box.panels)
    homes = Counter(key for box in boxes for key in {(group.name, group.late) for group in keeping.groups(box.panels)})
    least = 0
    for late in (False, True):
        members = [group for group in groups if group.late is late]
        sharing = [group for group in members if _may_share(group, kinds)]
        alone = [group for group in members if not _may_share(group, kinds)]
        own = sum(Least(group.panels, kinds).of(homes[group.name, late]) for group in alone)
        names = own + sum(bool(group.name) for group in sharing)
        together = Least([panel for group in members for panel in group.panels], kinds)
        least += max(own, -(-names // MOST_SHARING), together.boxes if sharing else 0)
    return least


def kinds_left(kinds: Sequence[ExactCarton], boxes: Iterable[Box]) -> list[ExactCarton]:
    """Return the kinds of which cartons are left beside those of the boxes."""
    return _less(kinds, Counter(box.carton.index for box in boxes))


def _less(kinds: Sequence[ExactCarton], used: Mapping[int, int]) -> list[ExactCarton]:
    return [
        replace(kind, available=kind.available - used.get(kind.index, 0))
        for kind in kinds
        if kind.available > used.get(kind.index, 0)
    ]


def _may_share(group: Group, kinds: Sequence[ExactCarton]) -> bool:
    """Whether it is small and lies whole in one carton; what does not is planned like a cabinet."""
    return group.small and any(fits(group.panels, kind) for kind in kinds)


def _shape_of(group: Group) -> tuple[Shape, Panels]:
    """Return what makes two groups equal for a plan, and the panels in the order of it."""

    def looks(panel: ExactPanel) -> tuple[int, ...]:
        return (panel.tall, panel.long, panel.short, panel.mass, panel.front)

    ordered = sorted(group.panels, key=looks)
    return tuple(map(looks, ordered)), ordered


def _own_boxes(groups: Sequence[Group], kinds: Sequence[ExactCarton], effort: Effort) -> list[_Shared]:
    """Return each group's own boxes, the largest group first; equal groups lie alike as long as there are cartons."""
    shapes = {id(group): _shape_of(group) for group in groups}
    each = effort.left // max(1, len({shape for shape, _ in shapes.values()}))
    known: dict[tuple[Shape, tuple[tuple[int, int], ...]], list[tuple[int, list[int]]]] = {}
    used: Counter[int] = Counter()
    boxes = []
    for group in sorted(groups, key=lambda group: -group.volume):
        shape, ordered = shapes[id(group)]
        left = _less(kinds, used)
        key = shape, tuple((kind.index, min(kind.available, len(ordered))) for kind in left)
        if key not in known:
            known[key] = _laid_out(ordered, left, Effort(each))
        by_index = {kind.index: kind for kind in left}
        for index, places in known[key]:
            used[index] += 1
            box = Box(by_index[index], [ordered[place] for place in places])
            boxes.append(_Shared(box, frozenset([group.name]), group.late))
    return boxes


def _laid_out(panels: Panels, kinds: Sequence[ExactCarton], effort: Effort) -> list[tuple[int, list[int]]]:
    """Return the boxes of these panels, each as the index of its carton and the places of its panels in the list."""
    whole = _new_box(panels, kinds)
    boxes = [whole] if whole else drafted(panels, kinds, effort)
    places = {panel: place for place, panel in enumerate(panels)}
    return [(box.carton.index, [places[panel] for panel in box.panels]) for box in boxes]


def _shared_out(
    own: list[_Shared], small: Sequence[Group], kinds: Sequence[ExactCarton], effort: Effort
) -> list[_Shared]:
    """Return the boxes with small groups beside what is in them, and as few new boxes for the others as were found."""
    best: tuple[tuple[int, int, int], list[_Shared]] | None = None
    for order in _orders(effort):
        boxes, rest = _filled_up(own, sorted(small, key=order), kinds, effort, grow=True)
        rank = len(rest), len(boxes), sum(shared.box.carton.volume for shared in boxes)
        if best is None or rank < best[0]:
            best = rank, boxes
        if not rest and len(boxes) == len(own):
            break
    return own if best is None else best[1]


def _orders(effort: Effort) -> Iterator[Callable[[Group], float]]:
    """Give the orders in which small things are tried, the plain ones first, as long as there is effort."""
    yield lambda group: -group.volume
    yield lambda group: -group.mass
    yield lambda group: -max(panel.long for panel in group.panels)
    shuffle = Shuffle()
    for _ in range(_MOST_SHUFFLES):
        if effort.left <= 0:
            return
        yield lambda group: -group.volume * (0.5 + shuffle.share())


def _filled_up(
    boxes: Sequence[_Shared], small: Sequence[Group], kinds: Sequence[ExactCarton], effort: Effort, *, grow: bool
) -> tuple[list[_Shared], list[Group]]:
    """Return the boxes with small things laid into them one after the other, and what is left. ``grow`` adds boxes."""
    found, rest = list(boxes), []
    used = Counter(shared.box.carton.index for shared in boxes)
    for group in small:
        effort.left -= len(found)
        left = _less(kinds, used)
        place, box = _best_place(found, group, left, effort)
        if box is None and grow:
            place, box = len(found), _new_box(group.panels, left)
        if box is None:
            rest.append(group)
            continue
        names = frozenset([group.name]) if group.name else frozenset()
        if place < len(found):
            used[found[place].box.carton.index] -= 1
            names |= found[place].names
        used[box.carton.index] += 1
        found[place : place + 1] = [_Shared(box, names, group.late)]
    return found, rest


def _best_place(
    boxes: Sequence[_Shared], group: Group, left: Sequence[ExactCarton], effort: Effort
) -> tuple[int, Box | None]:
    """Return the box whose carton grows least; of equal ones the one with fewest cabinets, then the tightest."""
    best: tuple[tuple[int, int, int], int, Box] | None = None
    for place in _open_to(group, boxes, left)[:_MOST_TRIED]:
        box = boxes[place].box
        panels = box.panels + group.panels
        larger = sorted((kind for kind in left if kind.volume > box.carton.volume), key=lambda kind: kind.volume)
        effort.left -= LAYING * len(panels)
        carton = next((kind for kind in (box.carton, *larger) if fits(panels, kind)), None)
        if carton is not None:
            rest = carton.volume - sum(panel.volume for panel in panels)
            rank = carton.volume - box.carton.volume, len(boxes[place].names), rest
            if best is None or rank < best[0]:
                best = rank, place, Box(carton, panels)
    return (len(boxes), None) if best is None else best[1:]


def _open_to(group: Group, boxes: Sequence[_Shared], left: Sequence[ExactCarton]) -> list[int]:
    """Return the places of the boxes that may have room for the group: first those whose carton is long enough for it,
    and of these the heaviest.
    """
    strongest = max((kind.mass for kind in left), default=0)
    found = []
    for place, shared in enumerate(boxes):
        room = max(strongest, shared.box.carton.mass) - sum(panel.mass for panel in shared.box.panels) - group.mass
        cabinets = len(shared.names | ({group.name} - {""}))
        if room >= 0 and shared.late is group.late and cabinets <= MOST_SHARING:
            larger = not all(map(shared.box.carton.takes, group.panels))
            found.append((larger, room, place))
    return [place for *_, place in sorted(found)]


def _new_box(panels: Panels, kinds: Sequence[ExactCarton]) -> Box | None:
    """Return the smallest carton that holds all the panels, with them in it."""
    smallest_first = sorted(kinds, key=lambda kind: kind.volume)
    return next((Box(kind, panels) for kind in smallest_first if fits(panels, kind)), None)
