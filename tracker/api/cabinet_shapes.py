"""A designed cabinet as JSON: what a program needs to draw it, drill it, or check it."""

from typing import Any

from marshmallow import Schema, ValidationError, fields, validate

from tracker.api.parts import MarkShape
from tracker.api.shapes import Shape
from tracker.shop.cabinets.assembly import Move, assembly_order
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.joints import Joint
from tracker.shop.cabinets.panels import Part


def _name_or_table(value: Any) -> None:
    if not isinstance(value, str | dict):
        raise ValidationError("the name of a construction standard, or a standard as a table")


class CabinetOrderShape(Shape):
    """One row of a cabinet table. Its cells are read by the rules of the table, which name every fault."""

    cabinet = fields.Raw()
    family = fields.Raw(required=True)
    width = fields.Raw(required=True)
    height = fields.Raw(required=True)
    depth = fields.Raw(required=True)
    quantity = fields.Raw()
    fronts = fields.Raw()
    hinge = fields.Raw()
    finish = fields.Raw()
    note = fields.Raw()
    room = fields.Raw()
    drop = fields.Raw()
    units = fields.String(load_default="mm", validate=validate.OneOf(["mm", "in"]))
    standard = fields.Raw(load_default=None, allow_none=True, validate=_name_or_table)


class FeatureShape(Schema):
    """One piece of machining on a side of a panel, in mm from the corner where length, width and thickness are 0."""

    kind = fields.String(attribute="work")
    face = fields.String()
    x_mm = fields.Float()
    y_mm = fields.Float()
    dx_mm = fields.Float()
    dy_mm = fields.Float()
    depth_mm = fields.Float()
    diameter_mm = fields.Float()


class PlaceShape(Schema):
    """Where a panel stands: its corner, and the directions of its length, width and thickness."""

    origin = fields.List(fields.Float())
    length = fields.List(fields.Float())
    width = fields.List(fields.Float())
    thickness = fields.List(fields.Float())


class CabinetPartShape(Schema):
    """A part of a cabinet; ``front_side`` is the side to which the arrow on its label points."""

    id = fields.String()
    name = fields.String()
    unit = fields.String()
    hand = fields.String()
    front = fields.Boolean()
    material = fields.String()
    length_mm = fields.Float()
    width_mm = fields.Float()
    thickness_mm = fields.Float()
    blank_length_mm = fields.Float()
    blank_width_mm = fields.Float()
    mass_kg = fields.Float()
    grain = fields.String()
    edges = fields.List(fields.String())
    machining = fields.List(fields.Nested(FeatureShape))
    marks = fields.List(fields.Nested(MarkShape))
    front_side = fields.String()
    place = fields.Nested(PlaceShape)


class CabinetItemShape(Schema):
    """Bought hardware; what is not in the bag is fitted by the shop."""

    item = fields.String()
    quantity = fields.Integer()
    in_bag = fields.Boolean()


class JointShape(Schema):
    """A joint: which side of which part meets which side of which other, and what holds them together."""

    number = fields.Integer()
    part = fields.String()
    edge = fields.String()
    onto = fields.String()
    face = fields.String()
    fastening = fields.String()
    count = fields.Integer()
    points_mm = fields.List(fields.List(fields.Float()))
    gap_mm = fields.Float()
    slide_mm = fields.List(fields.Float())


class MoveShape(Schema):
    """A step of the assembly: which parts come in along which direction, or are pushed by how much.

    ``catches`` marks a push of half the way, after which the locks hold; ``posture`` says how the work lies.
    """

    unit = fields.String()
    parts = fields.List(fields.String())
    approach = fields.List(fields.Float())
    slide_mm = fields.List(fields.Float())
    catches = fields.Boolean()
    posture = fields.String()
    joints = fields.List(fields.Integer())


class StandardShape(Schema):
    """Which construction standard was used."""

    name = fields.String()
    version = fields.Integer()


class CabinetShape(Schema):
    """A designed cabinet. Axes: x to the right, y to the back, z up, from the left front bottom corner.

    ``held_by_grip`` are the parts that only the grip of their locks keeps from sliding back. ``hanging_locks`` counts
    the locks on which it hangs on a wall, and ``lock_carries_kg`` is what each may carry, null where nothing is known.
    """

    cabinet = fields.String()
    standard = fields.Nested(StandardShape)
    mass_kg = fields.Float()
    parts = fields.List(fields.Nested(CabinetPartShape))
    items = fields.List(fields.Nested(CabinetItemShape))
    joints = fields.List(fields.Nested(JointShape))
    held_by_grip = fields.List(fields.String())
    hanging_locks = fields.Integer()
    lock_carries_kg = fields.Float(allow_none=True)
    assembly = fields.List(fields.Nested(MoveShape))


def cabinet_json(cabinet: Cabinet) -> dict[str, Any]:
    """Return what CabinetShape dumps."""
    return {
        "cabinet": cabinet.order.cabinet,
        "standard": {"name": cabinet.standard, "version": cabinet.version},
        "mass_kg": cabinet.mass_kg,
        "parts": [_part(cabinet, part) for part in cabinet.parts],
        "items": cabinet.items,
        "joints": [_joint(joint) for joint in cabinet.joints],
        "held_by_grip": cabinet.held_by_grip,
        "hanging_locks": cabinet.hanging_locks,
        "lock_carries_kg": cabinet.lock_carries_kg,
        "assembly": [_move(move) for move in assembly_order(cabinet)],
    }


def _part(cabinet: Cabinet, part: Part) -> dict[str, Any]:
    return {
        "id": part.id,
        "name": part.name,
        "unit": part.unit,
        "hand": part.hand.value,
        "front": part.front,
        "material": part.board.material,
        "length_mm": part.length_mm,
        "width_mm": part.width_mm,
        "thickness_mm": part.thickness_mm,
        "blank_length_mm": part.blank_mm[0],
        "blank_width_mm": part.blank_mm[1],
        "mass_kg": part.mass_kg,
        "grain": part.grain.value,
        "edges": part.edges,
        "machining": part.features,
        "marks": cabinet.marks(part),
        "front_side": cabinet.front_side(part).value,
        "place": part.place,
    }


def _joint(joint: Joint) -> dict[str, Any]:
    return {
        "number": joint.number,
        "part": joint.part,
        "edge": joint.side.value,
        "onto": joint.onto,
        "face": joint.onto_side.value,
        "fastening": joint.fastening.value,
        "count": joint.count,
        "points_mm": joint.points,
        "gap_mm": joint.gap_mm,
        "slide_mm": joint.slide,
    }


def _move(move: Move) -> dict[str, Any]:
    return {
        "unit": move.unit,
        "parts": move.parts,
        "approach": move.approach,
        "slide_mm": move.slide,
        "catches": move.is_catch,
        "posture": move.posture.value,
        "joints": [joint.number for joint in move.joints],
    }
