"""Stations, and the slots where parts wait."""

from typing import Any

from marshmallow import Schema, fields, validate

from tracker.api.service import CallBlueprint
from tracker.api.shapes import Shape
from tracker.records.access import list_stations
from tracker.shop.codes import Code, Kind
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.web.context import database
from tracker.work.access import add_slot, add_station, needs

blueprint = CallBlueprint("stations", __name__)


class StationOrderShape(Shape):
    """A new station."""

    name = fields.String(required=True)
    step = fields.String(required=True, validate=validate.OneOf(["cut", "machine", "band", "pack", "ship"]))
    strict = fields.Boolean(load_default=False)


class StationShape(Schema):
    """A station."""

    code = fields.String()
    name = fields.String()
    step = fields.String()
    strict = fields.Boolean()


class StationsShape(Schema):
    """All stations."""

    items = fields.List(fields.Nested(StationShape))
    next = fields.Constant(None)


class SlotOrderShape(Shape):
    """A new slot."""

    name = fields.String(required=True)


class SlotShape(Schema):
    """A slot."""

    code = fields.String()
    name = fields.String()


@blueprint.route("/stations", methods=["GET"])
@blueprint.response(200, StationsShape)
@needs(Role.STATION)
def get_stations() -> dict[str, Any]:
    """All stations."""
    with database().read() as connection:
        stations = list_stations(connection)
    return {
        "items": [
            {"code": str(Code(Kind.STATION, row.id)), "name": row.name, "step": row.step.value, "strict": row.strict}
            for row in stations
        ]
    }


@blueprint.route("/stations", methods=["POST"])
@blueprint.arguments(StationOrderShape)
@blueprint.response(201, StationShape)
@needs(Role.ADMIN)
def post_station(body: dict[str, Any]) -> dict[str, Any]:
    """Add a station."""
    code = add_station(database(), body["name"], Step(body["step"]), strict=body["strict"])
    return {**body, "code": code}


@blueprint.route("/slots", methods=["POST"])
@blueprint.arguments(SlotOrderShape)
@blueprint.response(201, SlotShape)
@needs(Role.FOREMAN)
def post_slot(body: dict[str, Any]) -> dict[str, Any]:
    """Add a slot where parts wait."""
    return {"code": add_slot(database(), body["name"]), "name": body["name"]}
