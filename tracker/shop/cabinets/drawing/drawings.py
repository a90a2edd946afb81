"""The drawings of a guide: one of all parts apart, and one for each step."""

from dataclasses import dataclass

from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.drawing.exploded import overview_of
from tracker.shop.cabinets.drawing.scene import Model
from tracker.shop.cabinets.drawing.shapes import Drawing
from tracker.shop.cabinets.drawing.steps import step_drawing
from tracker.shop.cabinets.guide.values import Guide


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawings:
    """The drawings of one guide: all parts apart, then one a step in their order."""

    overview: Drawing
    steps: tuple[Drawing, ...]


def drawings_of(
    cabinet: Cabinet, guide: Guide, *, step: tuple[float, float], overview: tuple[float, float]
) -> Drawings:
    """Return all drawings of a cabinet; ``step`` and ``overview`` are width and height of the frames, in units."""
    model = Model(cabinet, guide)
    steps = tuple(step_drawing(model, each, *step) for each in guide.steps)
    return Drawings(overview=overview_of(model, *overview), steps=steps)
