"""Placed panels as meshes, made by manifold3d (a general library for solid geometry) from what a part says.

Nothing here uses the program's own solids: a part's outline and machining are read as a machine operator would.
"""

from manifold3d import CrossSection, Manifold, OpType

from tracker.shop.cabinets.panels import Face, Feature, Part, Work

ROOM_MM = 0.02  # two meshes that share less than this are said to touch
_BLOCKS = (Work.GROOVE, Work.NOTCH)


def block(part: Part) -> Manifold:
    """The panel as it is sawn, in its own coordinates: length, width, thickness."""
    solid = Manifold.cube((part.length_mm, part.width_mm, part.thickness_mm))
    for feature in part.features:
        if feature.work is Work.CORNER_CUT:
            x, y = feature.x_mm, feature.y_mm
            triangle = CrossSection([[(x, y), (x + feature.dx_mm, y), (x, y + feature.dy_mm)]])
            if triangle.area() < 1:
                triangle = CrossSection([[(x, y), (x, y + feature.dy_mm), (x + feature.dx_mm, y)]])
            solid -= Manifold.extrude(triangle, part.thickness_mm)
    return solid


def tool(part: Part, feature: Feature) -> Manifold:
    """What a machine takes away for a feature, in the panel's own coordinates."""
    if feature.work in _BLOCKS:
        low, high = (
            sorted((feature.x_mm, feature.x_mm + feature.dx_mm)),
            sorted((feature.y_mm, feature.y_mm + feature.dy_mm)),
        )
        solid = Manifold.cube((low[1] - low[0], high[1] - high[0], feature.depth_mm)).translate((low[0], high[0], 0))
    else:
        hole = Manifold.cylinder(feature.depth_mm, feature.diameter_mm / 2, circular_segments=12)
        solid = hole = hole.translate((feature.x_mm, feature.y_mm, 0))
        if feature.dx_mm or feature.dy_mm:
            solid = Manifold.batch_hull([hole, hole.translate((feature.dx_mm, feature.dy_mm, 0))])
    return _from_side(part, feature.face, solid)


def _from_side(part: Part, face: Face, solid: Manifold) -> Manifold:
    """Turn a tool that goes up from z = 0 at coordinates of a side into the panel that has this side."""
    length, width, thick = part.sizes
    # The rows of the matrix: the panel's length, width and thickness as sums of x, y, depth and a constant.
    matrix = {
        Face.A: ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, -1, thick)),
        Face.B: ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 1, 0)),
        Face.L1: ((1, 0, 0, 0), (0, 0, 1, 0), (0, 1, 0, 0)),
        Face.L2: ((1, 0, 0, 0), (0, 0, -1, width), (0, 1, 0, 0)),
        Face.W1: ((0, 0, 1, 0), (1, 0, 0, 0), (0, 1, 0, 0)),
        Face.W2: ((0, 0, -1, length), (1, 0, 0, 0), (0, 1, 0, 0)),
    }[face]
    return solid.transform(matrix)


def machined(part: Part) -> Manifold:
    """The panel with its grooves and notches, without holes, in its own coordinates."""
    return less(block(part), [tool(part, feature) for feature in part.features if feature.work in _BLOCKS])


def less(solid: Manifold, tools: list[Manifold]) -> Manifold:
    """What the tools leave of a solid."""
    return Manifold.batch_boolean([solid, *tools], OpType.Subtract)


def place(part: Part, solid: Manifold) -> Manifold:
    """The same in the cabinet's coordinates."""
    place_ = part.place
    rows = tuple((place_.length[i], place_.width[i], place_.thickness[i], place_.origin[i]) for i in (0, 1, 2))
    return solid.transform(rows)


def placed(part: Part) -> Manifold:
    return place(part, machined(part))


def shared(one: Manifold, other: Manifold) -> float:
    """The volume that two solids share, in mm³; 0 at once when their enclosing boxes are apart."""
    a, b = one.bounding_box(), other.bounding_box()
    if any(min(a[i + 3], b[i + 3]) - max(a[i], b[i]) <= ROOM_MM for i in range(3)):
        return 0.0
    return float((one ^ other).volume())


def overlap(one: Manifold, other: Manifold) -> bool:
    """Whether two solids share more than rounding alone explains: a skin of ROOM_MM over the smaller one."""
    volume = shared(one, other)
    return volume > 0 and volume > ROOM_MM * float(min(one.surface_area(), other.surface_area()))
