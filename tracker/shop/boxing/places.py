"""Where each panel lies: the order of the layers, their place in the carton, and the centre of mass."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate
from math import hypot
from typing import Final, NamedTuple

from tracker.shop.boxing.exact import UNITS, ExactCarton, whole
from tracker.shop.boxing.filling import Box
from tracker.shop.boxing.layers import Laid, Layer, lowest_layers
from tracker.shop.boxing.values import BoxContent, Carton, PackingRules, Panel, PlacedPanel, PlannedBag

_GRID: Final = UNITS // 10  # layers are moved by whole tenths of a millimetre
_ROUNDS: Final = 3


@dataclass(frozen=True, slots=True)
class _Level:
    """One layer in its place: its lowest height in units, and its panels, heaviest first, with the corner of each."""

    bottom: int
    members: Sequence[tuple[Laid, int, int]]


def content_of(box: Box, panels: Sequence[Panel], carton: Carton, rules: PackingRules) -> BoxContent:
    """Return the box as it is to be packed."""
    stacks = [sorted(layers, key=_lowest_first) for layers in lowest_layers(box.panels, box.carton)]
    levels, _ = min((_levelled(layers, box.carton) for layers in stacks), key=lambda found: found[1])
    placed: list[PlacedPanel] = []
    for number, level in enumerate(levels, start=1):
        for laid, x, y in level.members:
            panel = panels[laid.panel.index]
            placed.append(_placed(laid, (x, y, level.bottom), panel, carton, number, len(placed) + 1))
    top = sum(layer.tall for layer in stacks[0]) - whole(rules.layer_gap_mm)
    bag = whole(rules.bag_height_mm)
    mass = sum(panel.mass for panel in box.panels) + whole(carton.tare_kg) + whole(rules.bag_mass_kg)
    centre = _centre_of_mass(placed, {panels[panel.index].id: panels[panel.index] for panel in box.panels})
    return BoxContent(
        carton=carton.id,
        panels=tuple(placed),
        mass_kg=mass / UNITS,
        height_mm=(top + bag) / UNITS,
        centre_of_mass_mm=centre,
        shift_mm=hypot(centre[0] - carton.length_mm / 2, centre[1] - carton.width_mm / 2),
        bag=PlannedBag(above_layer=len(levels), z_mm=top / UNITS) if bag else None,
    )


def _lowest_first(layer: Layer) -> tuple[int, ...]:
    """Fronts on top, below them a layer that fronts share; otherwise what is heavier, then larger, lies lower."""
    on_top = (layer.fronts > 0) + (layer.fronts == len(layer.laid))
    masses = [laid.panel.mass for laid in layer.laid]
    return on_top, -max(masses), -sum(masses), -sum(laid.panel.area for laid in layer.laid)


def _levelled(layers: Sequence[Layer], carton: ExactCarton) -> tuple[list[_Level], float]:
    """Return the layers moved so that the whole is best in balance, and how far it is from that."""
    ordered = [
        sorted(layer.laid, key=lambda laid: (laid.panel.front, -laid.panel.mass, -laid.panel.area)) for layer in layers
    ]
    xs, along = _balanced([[_Span(d.x, d.along, d.panel.mass) for d in laid] for laid in ordered], carton.long)
    ys, across = _balanced([[_Span(d.y, d.across, d.panel.mass) for d in laid] for laid in ordered], carton.short)
    bottoms = accumulate((layer.tall for layer in layers), initial=0)
    levels = [
        _Level(bottom, list(zip(laid, x, y, strict=True)))
        for bottom, laid, x, y in zip(bottoms, ordered, xs, ys, strict=False)
    ]
    return levels, hypot(along, across)


class _Span(NamedTuple):
    """Where a panel starts and how far it reaches along one axis, and its mass."""

    start: int
    reach: int
    mass: int


def _balanced(layers: Sequence[Sequence[_Span]], room: int) -> tuple[list[list[int]], int]:
    """Mirror and move each layer along one axis, some times over, so that the moment of all about the middle is least;
    return where their panels start, and twice that moment.
    """
    starts: list[list[int]] = [[] for _ in layers]
    moments = [0] * len(layers)
    for _ in range(_ROUNDS):
        for number, spans in enumerate(layers):
            others = sum(moments) - moments[number]
            starts[number], moments[number] = _against(others, spans, room)
    return starts, sum(moments)


def _against(others: int, spans: Sequence[_Span], room: int) -> tuple[list[int], int]:
    """Return where one layer's panels start so that its moment best undoes that of the others, and its moment."""
    end = max(span.start + span.reach for span in spans)
    mass = sum(span.mass for span in spans)
    choices = []
    for starts in ([span.start for span in spans], [end - span.start - span.reach for span in spans]):
        moment = sum(span.mass * (2 * start + span.reach - room) for start, span in zip(starts, spans, strict=True))
        move = min(max(0, -(others + moment) // (2 * mass)), room - end) // _GRID * _GRID
        choices.append(([start + move for start in starts], moment + 2 * mass * move))
    return min(choices, key=lambda choice: abs(others + choice[1]))


def _placed(
    laid: Laid, corner: tuple[int, int, int], panel: Panel, carton: Carton, layer: int, position: int
) -> PlacedPanel:
    """Turn along and across into the carton's own length and width, whichever of them is the longer."""
    x, y, z = corner
    reach_x = laid.along
    if carton.width_mm > carton.length_mm:
        x, y, reach_x = y, x, laid.across
    return PlacedPanel(
        id=panel.id,
        x_mm=x / UNITS,
        y_mm=y / UNITS,
        z_mm=z / UNITS,
        rotated=reach_x != whole(panel.length_mm),
        layer=layer,
        position=position,
    )


def _centre_of_mass(placed: Sequence[PlacedPanel], panels: dict[str, Panel]) -> tuple[float, float, float]:
    mass = sum(panels[place.id].mass_kg for place in placed)
    moments = [0.0, 0.0, 0.0]
    for place in placed:
        panel = panels[place.id]
        reach = (panel.length_mm, panel.width_mm, panel.thickness_mm)
        if place.rotated:
            reach = (panel.width_mm, panel.length_mm, panel.thickness_mm)
        for axis, start in enumerate((place.x_mm, place.y_mm, place.z_mm)):
            moments[axis] += panel.mass_kg * (start + reach[axis] / 2)
    return moments[0] / mass, moments[1] / mass, moments[2] / mass
