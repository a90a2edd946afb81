"""The box as it lies on the bench: its layers from the end, and the layer that is being laid from above.

Panels are slabs at true proportion. Where the plan gives no places, the panels lie in one stack in the order of laying.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from tracker.records.box_contents import BoxView
from tracker.records.parts import SeenPart
from tracker.shop.completeness import is_lacking

WIDE: Final = 600.0  # the drawing's own units, about a pixel each on a tablet
PLAN_TALL: Final = 380.0
SIDE_TALL: Final = 190.0
SIDE_MARGIN: Final = 104.0  # for the arrow and its word
PLAN_MARGIN: Final = 46.0
WORD_WIDE: Final = 68.0  # of the word beside an arrow that lies flat
_SIZES: Final = (34.0, 30.0, 26.0, 22.0, 19.0, 17.0, 15.0)
_LETTER: Final = 0.6  # the mean width of a bold letter, by its size
_LINE: Final = 1.15


class SlabState(StrEnum):
    """A panel in the drawing: in the box, missing, the one to lay next, or that one while it is not at hand."""

    IN = "in"
    OPEN = "open"
    NEXT = "next"
    AWAITED = "awaited"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lying:
    """A part and where it lies: its corner and its reach along x (the carton's length) and y, in mm."""

    part: SeenPart
    number: int
    layer: int
    x: float
    y: float
    z: float
    along: float
    across: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab:
    """A rectangle to draw, in the drawing's units, with its text in lines; ``upright`` text runs upward."""

    number: int
    name: str
    state: SlabState
    x: float
    y: float
    wide: float
    tall: float
    lines: tuple[str, ...] = ()
    size: float = 0.0
    upright: bool = False

    @property
    def rows(self) -> list[tuple[float, float, str]]:
        """Where each line of text starts, and the line."""
        x, y = self.x + self.wide / 2, self.y + self.tall / 2
        first = y - (len(self.lines) - 1) * self.size * _LINE / 2 + self.size * 0.35
        return [(x, first + row * self.size * _LINE, line) for row, line in enumerate(self.lines)]


class Edge(StrEnum):
    """An edge of the carton, from which an arrow comes."""

    ABOVE = "above"
    BELOW = "below"
    LEFT = "left"
    RIGHT = "right"

    @property
    def upright(self) -> bool:
        """The arrow stands upright."""
        return self in (Edge.ABOVE, Edge.BELOW)


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrow:
    """Points at what is laid next, or ``waits`` to be: from an edge of the drawing to a slab, its word beside it."""

    edge: Edge
    x: float
    y: float
    to_x: float
    to_y: float
    waits: bool

    @property
    def outline(self) -> str:
        """The arrow as the points of a polygon."""
        length = abs(self.to_x - self.x) + abs(self.to_y - self.y)
        head = min(16.0, length)
        along_across = ((0, 4), (length - head, 4), (length - head, 12), (length, 0))
        mirrored = [(along, -across) for along, across in reversed(along_across[:-1])]
        return " ".join(self._point(along, across) for along, across in (*along_across, *mirrored))

    def _point(self, along: float, across: float) -> str:
        match self.edge:
            case Edge.ABOVE:
                x, y = self.x + across, self.y + along
            case Edge.BELOW:
                x, y = self.x + across, self.y - along
            case Edge.LEFT:
                x, y = self.x + along, self.y + across
            case Edge.RIGHT:
                x, y = self.x - along, self.y + across
        return f"{x:.1f},{y:.1f}"

    @property
    def word(self) -> tuple[float, float, str]:
        """Where the word stands, and which end of it (the anchor of an SVG text)."""
        match self.edge:
            case Edge.ABOVE | Edge.BELOW if self.x > WIDE - 90:  # there is no room to its right
                x, anchor = self.x - 18, "end"
            case Edge.ABOVE | Edge.BELOW:
                x, anchor = self.x + 18, "start"
            case Edge.LEFT:
                x, anchor = 2.0, "start"
            case Edge.RIGHT:
                x, anchor = WIDE - 2, "end"
        match self.edge:
            case Edge.ABOVE:
                return x, self.y + 24, anchor
            case Edge.BELOW:
                return x, self.y - 6, anchor
            case Edge.LEFT | Edge.RIGHT:
                return x, max(self.y + 7, 20.0), anchor


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawing:
    """One view. ``frame`` is the carton's inside: x, y, width, height."""

    wide: float
    tall: float
    frame: tuple[float, float, float, float]
    slabs: tuple[Slab, ...]
    arrow: Arrow | None
    bag: tuple[float, float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bench:
    """All that is drawn of a box: which part is next, which layer is being laid, and the two views."""

    next: SeenPart | None
    layer: int
    layers: int
    side: Drawing
    plan: Drawing


def draw_bench(box: BoxView) -> Bench | None:
    """Return the drawings of a box, or None for one without panels."""
    lying = lie(box)
    if not lying:
        return None
    upcoming = next_to_lay(lying)
    layers = max(each.layer for each in lying)
    open_layers = [each.layer for each in lying if is_lacking(each.part.status)]
    layer = upcoming.layer if upcoming else next(iter(open_layers), layers)
    inside = _inside(box, lying)
    return Bench(
        next=upcoming.part if upcoming else None,
        layer=layer,
        layers=layers,
        side=_side(box, lying, upcoming, inside),
        plan=_plan([each for each in lying if each.layer == layer], upcoming, inside),
    )


def draw_layers(box: BoxView) -> list[tuple[int, Drawing]]:
    """Return each layer of a box from above with its number, the lowest first; none where no carton was planned.

    Drawn as at the bench while it is laid, so that both say the same.
    """
    if box.carton is None or not box.places:
        return []
    lying = lie(box)
    inside = _inside(box, lying)
    numbers = sorted({each.layer for each in lying})
    return [(number, _plan([each for each in lying if each.layer == number], None, inside)) for number in numbers]


def in_order(box: BoxView) -> list[SeenPart]:
    """Return a box's parts in the order in which they are laid."""
    return [each.part for each in lie(box)]


def lie(box: BoxView) -> list[Lying]:
    """Return where each part lies, in the order of laying; what has no place in the plan lies on top of the rest."""
    places = box.places if box.carton is not None else {}
    placed: list[Lying] = []
    for part in box.parts:
        place = places.get(part.code)
        if place is not None:
            along, across = part.length_mm, part.width_mm
            if place.turned:
                along, across = across, along
            spot = {"x": place.x_mm, "y": place.y_mm, "z": place.z_mm}
            placed.append(Lying(part=part, number=0, layer=place.layer, along=along, across=across, **spot))
    loose = [part for part in box.parts if part.code not in places]
    ordered = sorted(placed, key=lambda each: (each.layer, each.part.position, each.part.id))
    return [_numbered(each, number) for number, each in enumerate([*ordered, *_stack(loose, ordered)], start=1)]


def _stack(parts: Sequence[SeenPart], below: Sequence[Lying]) -> list[Lying]:
    top = max((each.z + each.part.thickness_mm for each in below), default=0.0)
    layer = max((each.layer for each in below), default=0)
    stacked = []
    for part in parts:
        layer += 1
        along, across = max(part.length_mm, part.width_mm), min(part.length_mm, part.width_mm)
        stacked.append(Lying(part=part, number=0, layer=layer, x=0.0, y=0.0, z=top, along=along, across=across))
        top += part.thickness_mm
    return stacked


def _numbered(each: Lying, number: int) -> Lying:
    spot = {"x": each.x, "y": each.y, "z": each.z, "along": each.along, "across": each.across}
    return Lying(part=each.part, number=number, layer=each.layer, **spot)


def next_to_lay(lying: Sequence[Lying]) -> Lying | None:
    """Return the part to lay next: the first that is at hand, from the lowest layer up; else the first that may come.

    A damaged part does not come: it is replaced or repaired first.
    """
    coming = [each for each in lying if is_lacking(each.part.status) and not each.part.damaged]
    return next((each for each in coming if at_hand(each.part)), coming[0] if coming else None)


def at_hand(part: SeenPart) -> bool:
    """Say whether a part has all its work done and only waits to be packed."""
    return part.step == "pack" and not part.damaged


def _inside(box: BoxView, lying: Sequence[Lying]) -> tuple[float, float]:
    """The carton's inside along x and y; of a plain stack the size of its largest panel."""
    along = max(each.x + each.along for each in lying)
    across = max(each.y + each.across for each in lying)
    if box.carton is None:
        return along, across
    return max(along, box.length_mm), max(across, box.width_mm)


def _state(each: Lying, upcoming: Lying | None) -> SlabState:
    if each.part.packed:
        return SlabState.IN
    if each is not upcoming:
        return SlabState.OPEN
    return SlabState.NEXT if at_hand(each.part) else SlabState.AWAITED


_POINTED: Final = (SlabState.NEXT, SlabState.AWAITED)
_DRAWN_LAST: Final = (SlabState.IN, SlabState.OPEN, *_POINTED)


def _side(box: BoxView, lying: Sequence[Lying], upcoming: Lying | None, inside: tuple[float, float]) -> Drawing:
    """The layers, seen from the carton's end: there the slabs are drawn largest. What is missing hides what is in."""
    short, sideways = (inside[1], False) if inside[1] <= inside[0] else (inside[0], True)
    top = max(each.z + each.part.thickness_mm for each in lying)
    bag_mm = max(0.0, box.height_mm - top) if box.bag_above is not None else 0.0
    scale = min((WIDE - 2 * SIDE_MARGIN) / short, SIDE_TALL / (top + bag_mm))
    left, height = (WIDE - short * scale) / 2, (top + bag_mm) * scale
    slabs = []
    for each in sorted(lying, key=lambda each: _DRAWN_LAST.index(_state(each, upcoming))):
        start, reach = (each.x, each.along) if sideways else (each.y, each.across)
        if box.carton is None:
            start = (short - reach) / 2
        tall = each.part.thickness_mm * scale
        y = 4 + height - each.z * scale - tall
        x, wide = left + start * scale, reach * scale
        slabs.append(_slab(each, _state(each, upcoming), (x, y, wide, tall)))
    pointed = next((slab for slab in slabs if slab.state in _POINTED), None)
    arrow = None
    if pointed is not None:
        y = pointed.y + pointed.tall / 2
        arrow = Arrow(edge=Edge.LEFT, x=WORD_WIDE, y=y, to_x=pointed.x - 3, to_y=y, waits=_waits(pointed))
    frame = (left - 3, 1, short * scale + 6, height + 6)
    bag = (left, 4, short * scale, bag_mm * scale) if bag_mm * scale >= 16 else None
    return Drawing(wide=WIDE, tall=height + 10, frame=frame, slabs=tuple(slabs), arrow=arrow, bag=bag)


def _plan(layer: Sequence[Lying], upcoming: Lying | None, inside: tuple[float, float]) -> Drawing:
    """One layer from above, its longer side across the screen; the arrow comes from where nothing lies in its way."""
    upended = inside[1] > inside[0]
    long, short = (inside[1], inside[0]) if upended else inside
    edge = _free_edge(layer, upcoming, upended=upended) if upcoming else None
    aside = SIDE_MARGIN if edge in (Edge.LEFT, Edge.RIGHT) else 4.0
    scale = min((WIDE - 2 * aside) / long, PLAN_TALL / short)
    left, above = (WIDE - long * scale) / 2, PLAN_MARGIN if edge is Edge.ABOVE else 4.0
    slabs = []
    for each in layer:
        x, y, wide, tall = each.x, each.y, each.along, each.across
        if upended:
            x, y, wide, tall = y, x, tall, wide
        if not each.x and not each.y and len(layer) == 1:
            x, y = (long - wide) / 2, (short - tall) / 2  # one panel alone is laid in the middle
        spot = (left + x * scale, above + (short - y - tall) * scale, wide * scale, tall * scale)
        slabs.append(_lettered(each, _state(each, upcoming), spot))
    frame = (left - 3, above - 3, long * scale + 6, short * scale + 6)
    tall = above + short * scale + (PLAN_MARGIN if edge is Edge.BELOW else 6.0)
    pointed = next((slab for slab in slabs if slab.state in _POINTED), None)
    arrow = _arrow(pointed, edge, tall) if pointed is not None and edge is not None else None
    return Drawing(wide=WIDE, tall=tall, frame=frame, slabs=tuple(slabs), arrow=arrow)


def _free_edge(layer: Sequence[Lying], upcoming: Lying, *, upended: bool) -> Edge:
    """The first edge from which nothing of the layer lies before the next part; from above where there is none."""

    def spot(each: Lying) -> tuple[float, float, float, float]:
        x, y, wide, tall = each.x, each.y, each.along, each.across
        return (y, x, tall, wide) if upended else (x, y, wide, tall)

    x, y, wide, tall = spot(upcoming)
    free = set(Edge)
    for each in layer:
        if each is upcoming:
            continue
        left, low, across, up = spot(each)
        beside = low < y + tall and y < low + up
        over = left < x + wide and x < left + across
        free -= {Edge.ABOVE} if over and low > y else {Edge.BELOW} if over else set()
        free -= {Edge.RIGHT} if beside and left > x else {Edge.LEFT} if beside else set()
    return next((edge for edge in Edge if edge in free), Edge.ABOVE)


def _arrow(pointed: Slab, edge: Edge, tall: float) -> Arrow:
    x, y = pointed.x + min(pointed.wide / 2, 40.0), pointed.y + pointed.tall / 2
    match edge:
        case Edge.ABOVE:
            line = (x, 4.0, x, pointed.y - 2)
        case Edge.BELOW:
            line = (x, tall - 4, x, pointed.y + pointed.tall + 2)
        case Edge.LEFT:
            line = (WORD_WIDE, y, pointed.x - 3, y)
        case Edge.RIGHT:
            line = (WIDE - WORD_WIDE, y, pointed.x + pointed.wide + 3, y)
    return Arrow(edge=edge, x=line[0], y=line[1], to_x=line[2], to_y=line[3], waits=_waits(pointed))


def _waits(pointed: Slab) -> bool:
    return pointed.state is SlabState.AWAITED


def _slab(each: Lying, state: SlabState, spot: tuple[float, float, float, float]) -> Slab:
    x, y, wide, tall = spot
    return Slab(number=each.number, name=each.part.name, state=state, x=x, y=y, wide=wide, tall=tall)


def _lettered(each: Lying, state: SlabState, spot: tuple[float, float, float, float]) -> Slab:
    """A slab with its number and name in the largest letters that fit, or with its number alone."""
    slab = _slab(each, state, spot)
    text = f"{each.number} {each.part.name}" + (" ✓" if state is SlabState.IN else "")
    for upright in (False, True):
        wide, tall = (slab.tall, slab.wide) if upright else (slab.wide, slab.tall)
        for size in _SIZES:
            lines = _wrapped(text, int((wide - 12) / (_LETTER * size)))
            if lines and len(lines) * size * _LINE <= tall - 4:
                return replace(slab, lines=lines, size=size, upright=upright)
    return replace(slab, lines=(str(each.number),), size=min(_SIZES[-1], slab.tall * 0.8, slab.wide * 0.6))


def _wrapped(text: str, letters: int) -> tuple[str, ...]:
    """Break a text at its spaces into lines of so many letters; nothing when a word is longer."""
    lines: list[str] = []
    for word in text.split():
        if len(word) > letters:
            return ()
        if lines and len(lines[-1]) + 1 + len(word) <= letters:
            lines[-1] += " " + word
        else:
            lines.append(word)
    return tuple(lines)
