"""Panels laid flat in the layers of one carton."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from tracker.shop.boxing.exact import ExactCarton, ExactPanel

_MOST_GAPS: Final = 40  # of a layer with very many panels only the largest gaps are kept in mind

Gap = tuple[int, int, int, int]  # x, y, and how far it reaches along and across
Spot = tuple[int, int, int, bool]  # what is left beside the panel (less is better), x, y, turned


@dataclass(frozen=True, slots=True)
class Laid:
    """A panel in its layer: its corner in units, and whether its longer side lies across the carton."""

    panel: ExactPanel
    x: int
    y: int
    turned: bool

    @property
    def along(self) -> int:
        return self.panel.short if self.turned else self.panel.long

    @property
    def across(self) -> int:
        return self.panel.long if self.turned else self.panel.short


class Layer:
    """One layer: as tall as its tallest panel. The gaps are the largest free rectangles, which may overlap."""

    __slots__ = ("fronts", "gaps", "laid", "tall")

    def __init__(self, carton: ExactCarton) -> None:
        self.tall = 0
        self.fronts = 0
        self.laid: list[Laid] = []
        self.gaps: list[Gap] = [(0, 0, carton.long, carton.short)]

    @property
    def mixed(self) -> bool:
        """Whether fronts and other panels lie side by side."""
        return 0 < self.fronts < len(self.laid)

    def spot_for(self, panel: ExactPanel) -> Spot | None:
        """Return the gap's corner where the panel leaves the narrowest rest, or None."""
        long, short = panel.long, panel.short
        best: Spot | None = None
        for x, y, along, across in self.gaps:
            if along >= long and across >= short:
                rest = min(along - long, across - short)
                if best is None or rest < best[0]:
                    best = (rest, x, y, False)
            if along >= short and across >= long:
                rest = min(along - short, across - long)
                if best is None or rest < best[0]:
                    best = (rest, x, y, True)
        return best

    def lay(self, panel: ExactPanel, x: int, y: int, *, turned: bool) -> None:
        """Lay the panel there; the caller has made sure that there is room."""
        laid = Laid(panel, x, y, turned)
        self.laid.append(laid)
        self.fronts += panel.front
        self.tall = max(self.tall, panel.tall)
        self.gaps = _largest([rest for gap in self.gaps for rest in _cut(gap, laid)])


def _cut(gap: Gap, laid: Laid) -> Iterable[Gap]:
    """Return what the panel leaves of a gap: up to four rectangles, which may overlap."""
    x, y, along, across = gap
    right, far = x + along, y + across
    end, side = laid.x + laid.along, laid.y + laid.across
    if laid.x >= right or end <= x or laid.y >= far or side <= y:
        return (gap,)
    rests = (
        (x, y, laid.x - x, across),
        (end, y, right - end, across),
        (x, y, along, laid.y - y),
        (x, side, along, far - side),
    )
    return (rest for rest in rests if rest[2] > 0 and rest[3] > 0)


def _largest(gaps: list[Gap]) -> list[Gap]:
    """Return the gaps that lie in no other, largest first."""
    gaps.sort(key=lambda gap: -gap[2] * gap[3])
    kept: list[Gap] = []
    for x, y, along, across in gaps:
        inside = any(kx <= x and ky <= y and kx + kl >= x + along and ky + kc >= y + across for kx, ky, kl, kc in kept)
        if not inside:
            kept.append((x, y, along, across))
            if len(kept) == _MOST_GAPS:
                break
    return kept


class Stack:
    """The layers of one carton as they grow. Fronts share at most one layer with other panels, so that no such panel
    needs to lie above a front.
    """

    __slots__ = ("carton", "layers", "mass_left", "panels", "tall_left")

    def __init__(self, carton: ExactCarton) -> None:
        self.carton = carton
        self.layers: list[Layer] = []
        self.panels: list[ExactPanel] = []  # in the order in which they came, which gives the same stack again
        self.mass_left = carton.mass
        self.tall_left = carton.tall

    def add(self, panel: ExactPanel) -> bool:
        """Lay the panel where it raises the stack least, or say that it does not fit."""
        if panel.mass > self.mass_left:
            return False
        found = self._best_layer(panel) or self._new_layer(panel)
        if found is None:
            return False
        layer, (_, x, y, turned) = found
        before = layer.tall
        layer.lay(panel, x, y, turned=turned)
        self.tall_left -= layer.tall - before
        self.mass_left -= panel.mass
        self.panels.append(panel)
        return True

    def _best_layer(self, panel: ExactPanel) -> tuple[Layer, Spot] | None:
        best: tuple[int, int] | None = None
        found: tuple[Layer, Spot] | None = None
        for layer in self.layers:
            rise = max(0, panel.tall - layer.tall)
            if rise > self.tall_left or (best and rise > best[0]):
                continue
            spot = layer.spot_for(panel)
            if spot and (best is None or (rise, spot[0]) < best) and self._may_share(layer, panel):
                best, found = (rise, spot[0]), (layer, spot)
        return found

    def _new_layer(self, panel: ExactPanel) -> tuple[Layer, Spot] | None:
        """Start a layer with the panel lying so that most of its like would lie beside it."""
        layer = Layer(self.carton)
        spot = layer.spot_for(panel)
        if spot is None or panel.tall > self.tall_left:
            return None
        long, short = self.carton.long, self.carton.short
        straight = (long // panel.long) * (short // panel.short)
        turned = (long // panel.short) * (short // panel.long)
        if straight != turned:
            spot = (0, 0, 0, turned > straight)
        self.layers.append(layer)
        return layer, spot

    def _may_share(self, layer: Layer, panel: ExactPanel) -> bool:
        would_mix = layer.fronts < len(layer.laid) if panel.front else layer.fronts > 0
        return not would_mix or not any(other.mixed for other in self.layers if other is not layer)


Order = Callable[[ExactPanel], tuple[int, ...]]

# Tall panels first, so that a layer's height is set by its first panel; then what is awkward to lay.
ORDERS: Final[tuple[Order, ...]] = (
    lambda panel: (-panel.tall, -panel.area),
    lambda panel: (-panel.tall, -panel.long, -panel.short),
    lambda panel: (-panel.tall, -panel.short, -panel.long),
    lambda panel: (-panel.area, -panel.tall),
    lambda panel: (-panel.long, -panel.short),
)


def fits(panels: Sequence[ExactPanel], carton: ExactCarton) -> bool:
    """Whether a way was found to lay all the panels into the carton, first as they stand."""
    return surely_fit(panels, carton) or (_may_fit(panels, carton) and any(_stacks(panels, carton)))


def lowest_layers(panels: Sequence[ExactPanel], carton: ExactCarton) -> list[list[Layer]]:
    """Return the lowest stacks found for panels that fit the carton, their layers in no order."""
    if stacks := list(_stacks(panels, carton)):
        most_left = max(stack.tall_left for stack in stacks)
        return [stack.layers for stack in stacks if stack.tall_left == most_left]
    for plain in (_in_a_row, _in_a_grid, _one_a_layer):
        if layers := plain(panels, carton):
            return [layers]
    raise ValueError(f"these {len(panels)} panels do not fit the carton")


def _stacks(panels: Sequence[ExactPanel], carton: ExactCarton) -> Iterator[Stack]:
    """Return the stacks that hold all the panels, laid as they stand and in each of the orders."""
    for arranged in (panels, *(sorted(panels, key=order) for order in ORDERS)):
        stack = Stack(carton)
        if all(stack.add(panel) for panel in arranged):
            yield stack


def _may_fit(panels: Sequence[ExactPanel], carton: ExactCarton) -> bool:
    return (
        all(carton.takes(panel) for panel in panels)
        and sum(panel.mass for panel in panels) <= carton.mass
        and sum(panel.volume for panel in panels) <= carton.volume
    )


def surely_fit(panels: Sequence[ExactPanel], carton: ExactCarton) -> bool:
    """Whether one of the plain ways holds the panels. False decides nothing."""
    if not panels or not _may_fit(panels, carton):
        return False
    if sum(panel.tall for panel in panels) <= carton.tall:
        return True
    return _row_fits(panels, carton) or _grid_layers(panels, carton) * max(p.tall for p in panels) <= carton.tall


def _row_fits(panels: Sequence[ExactPanel], carton: ExactCarton) -> bool:
    along = sum(panel.least_along(carton.short) for panel in panels)
    return along <= carton.long or sum(panel.short for panel in panels) <= carton.short


def _grid_layers(panels: Sequence[ExactPanel], carton: ExactCarton) -> int:
    a_layer = (carton.long // max(p.long for p in panels)) * (carton.short // max(p.short for p in panels))
    return -(-len(panels) // a_layer)


def _in_a_row(panels: Sequence[ExactPanel], carton: ExactCarton) -> list[Layer] | None:
    """All in one layer, side by side along the carton or across it."""
    if max(panel.tall for panel in panels) > carton.tall or not _row_fits(panels, carton):
        return None
    across = sum(panel.short for panel in panels) <= carton.short
    layer, at = Layer(carton), 0
    for panel in panels:
        turned = not across and panel.long <= carton.short
        layer.lay(panel, *((0, at) if across else (at, 0)), turned=turned)
        at += panel.short if across or turned else panel.long
    return [layer]


def _in_a_grid(panels: Sequence[ExactPanel], carton: ExactCarton) -> list[Layer] | None:
    """In cells as large as the largest panel; fronts come last, so that they lie on top."""
    long, short = max(panel.long for panel in panels), max(panel.short for panel in panels)
    along, across = carton.long // long, carton.short // short
    layers: list[Layer] = []
    for count, panel in enumerate(sorted(panels, key=lambda panel: (panel.front, -panel.tall))):
        cell = count % (along * across)
        if cell == 0:
            layers.append(Layer(carton))
        layers[-1].lay(panel, cell // across * long, cell % across * short, turned=False)
    return layers if sum(layer.tall for layer in layers) <= carton.tall else None


def _one_a_layer(panels: Sequence[ExactPanel], carton: ExactCarton) -> list[Layer] | None:
    layers = []
    for panel in panels:
        layers.append(Layer(carton))
        layers[-1].lay(panel, 0, 0, turned=False)
    return layers if sum(layer.tall for layer in layers) <= carton.tall else None
