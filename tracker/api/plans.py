"""Plans without a job: panels into boxes, a cabinet order into parts. Nothing is stored."""

import dataclasses
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from marshmallow import Schema, fields, validate

from tracker.api.cabinet_shapes import CabinetOrderShape, CabinetShape, cabinet_json
from tracker.api.lifting import LiftingShape, lifting_json
from tracker.api.service import CallBlueprint
from tracker.api.shapes import Rows, Shape
from tracker.shop.boxing.planner import MOST_CARTONS, MOST_PANELS, plan_boxes
from tracker.shop.boxing.values import BoxContent, Carton, KeepTogether, PackingRules, Panel
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.orders import order_from_cells
from tracker.shop.cabinets.standard_reading import standard_from_table
from tracker.shop.errors import Fault, InvalidInputError, fault_at
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.web.context import database, marks
from tracker.work.access import needs
from tracker.work.lists import standard_named

blueprint = CallBlueprint("plans", __name__)
Value = TypeVar("Value")
_FEW_ENOUGH = validate.Length(max=MOST_PANELS, error=f"at most {MOST_PANELS:,} panels are wanted in one plan")
_FEW_CARTONS = validate.Length(max=MOST_CARTONS, error=f"at most {MOST_CARTONS} kinds of carton are wanted in one plan")


class Size(fields.Float):
    """A length in mm or a mass in kg; how much it may be is decided in the shop."""

    default_error_messages = dict.fromkeys(("invalid", "special", "too_large"), "a number of more than 0 is wanted")


class PanelShape(Shape):
    """A panel; ``front`` marks a fragile face.

    Panels of one ``group`` are kept together before the boxes are made few, those of one ``cabinet`` where that costs
    no box; panels of two drops never share a box.
    """

    id = fields.String(required=True)
    length_mm = Size(required=True)
    width_mm = Size(required=True)
    thickness_mm = Size(required=True)
    mass_kg = Size(required=True)
    cabinet = fields.String(load_default="")
    group = fields.String(load_default="")
    drop = fields.String(load_default="")
    front = fields.Boolean(load_default=False)


class CartonShape(Shape):
    """A kind of carton: inner sizes; ``max_mass_kg`` is the gross limit."""

    id = fields.String(required=True)
    length_mm = Size(required=True)
    width_mm = Size(required=True)
    height_mm = Size(required=True)
    max_mass_kg = Size(required=True)
    tare_kg = fields.Float(load_default=0.0)
    available = fields.Integer(load_default=None, allow_none=True, strict=True)


class PanelsShape(Shape):
    """What is to be packed, and into what.

    ``box_mass_kg`` is the gross mass that no box is over but by a single panel. ``keep_together`` says how groups are
    kept together: whole, without their fronts, or only where that costs no box.
    """

    panels = Rows(fields.Nested(PanelShape), required=True, validate=_FEW_ENOUGH)
    cartons = Rows(fields.Nested(CartonShape), required=True, validate=_FEW_CARTONS)
    layer_gap_mm = fields.Float(load_default=0.0)
    bag_height_mm = fields.Float(load_default=0.0)
    bag_mass_kg = fields.Float(load_default=0.0)
    box_mass_kg = Size(load_default=None, allow_none=True)
    keep_together = fields.Enum(KeepTogether, by_value=True, load_default=KeepTogether.CABINET)


class PlacedShape(Schema):
    """Where a panel lies in its box; position 1 is laid first."""

    id = fields.String()
    x_mm = fields.Float()
    y_mm = fields.Float()
    z_mm = fields.Float()
    rotated = fields.Boolean()
    layer = fields.Integer()
    position = fields.Integer()


class PlannedBoxShape(Schema):
    """One box of the plan."""

    carton = fields.String()
    panels = fields.List(fields.Nested(PlacedShape))
    mass_kg = fields.Float()
    height_mm = fields.Float()
    lifting = fields.Nested(LiftingShape)


class UnplaceableShape(Schema):
    """A panel that lies in no box, and why."""

    id = fields.String()
    why = fields.String()


class BoxPlanShape(Schema):
    """The boxes. Fewer than ``lower_bound`` cannot be of those that ``bound_for`` tells of.

    ``proved_least`` says that the plan has no more than that.
    """

    boxes = fields.List(fields.Nested(PlannedBoxShape))
    lower_bound = fields.Integer()
    bound_for = fields.String()
    proved_least = fields.Boolean()
    unplaceable = fields.List(fields.Nested(UnplaceableShape))


@blueprint.route("/plans/boxes", methods=["POST"])
@blueprint.arguments(PanelsShape)
@blueprint.response(200, BoxPlanShape)
@needs(Role.STATION)
def post_box_plan(body: dict[str, Any]) -> dict[str, Any]:
    """Lay panels flat into as few boxes as can be, within each carton's size and mass.

    Each group lies in cartons of its own, as few as it allows. A group of fewer than four panels is small and may
    share, with at most three groups to a carton.
    """
    panels = _made(Panel, body["panels"], "panels")
    cartons = _made(Carton, body["cartons"], "cartons")
    rules = PackingRules(**{each.name: body[each.name] for each in dataclasses.fields(PackingRules)})
    plan = plan_boxes(panels, cartons, rules)
    by_id = {carton.id: carton for carton in cartons}
    return {
        "boxes": [_box(box, by_id[box.carton]) for box in plan.boxes],
        "lower_bound": plan.lower_bound,
        "bound_for": plan.bound_for,
        "proved_least": plan.proved_least,
        "unplaceable": plan.unplaceable,
    }


@blueprint.route("/plans/cabinet", methods=["POST"])
@blueprint.arguments(CabinetOrderShape)
@blueprint.response(200, CabinetShape)
@needs(Role.STATION)
def post_cabinet_plan(body: dict[str, Any]) -> dict[str, Any]:
    """Design one cabinet: its parts in their places, its joints, its items, and the order of assembly."""
    units, given = Units(body.pop("units")), body.pop("standard")
    order = order_from_cells({"cabinet": "1", **body}, units)
    standard = standard_from_table(given) if isinstance(given, dict) else standard_named(database(), given)
    return cabinet_json(design_cabinet(order, standard))


def _made(make: Callable[..., Value], rows: Sequence[dict[str, Any]], field: str) -> list[Value]:
    """Make a value of each row; name every row that cannot be."""
    made: list[Value] = []
    faults: list[Fault] = []
    for index, row in enumerate(rows):
        try:
            made.append(make(**row))
        except InvalidInputError as error:
            faults += [
                fault_at(f"{field}.{index}.{fault.where.get('field', '')}", fault.what) for fault in error.faults
            ]
    if faults:
        raise InvalidInputError("The plan cannot be made from these.", faults)
    return made


def _box(box: BoxContent, carton: Carton) -> dict[str, Any]:
    return {
        "carton": box.carton,
        "panels": box.panels,
        "mass_kg": box.mass_kg,
        "height_mm": box.height_mm,
        "lifting": lifting_json(marks(), box.mass_kg, carton.length_mm, carton.width_mm),
    }
