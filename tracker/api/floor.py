"""What screens and stations ask beside the work itself: changes, stations, slots."""

from typing import Any

from flask import Response, jsonify, request

from tracker.api.schemas import (
    ChangesQueryShape,
    ChangesShape,
    SlotOrderShape,
    SlotShape,
    StationOrderShape,
    StationShape,
    StationsShape,
)
from tracker.api.service import CallBlueprint
from tracker.records import look
from tracker.records.access import list_stations
from tracker.shop.codes import Code, Kind
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.web.context import database
from tracker.work.access import add_slot, add_station, needs

blueprint = CallBlueprint("floor", __name__)

CHANGES_AT_ONCE = 1_000


@blueprint.route("/changes", methods=["GET"])
@blueprint.arguments(ChangesQueryShape, location="query")
@blueprint.response(200, ChangesShape)
@needs(Role.STATION)
def get_changes(query: dict[str, Any]) -> Response:
    """What changed after ``since``. With ``If-None-Match`` a 304 when nothing did."""
    since = query["since"]
    with database().read() as connection:
        last = look.last_change(connection)
        if request.if_none_match.contains(f"{since}-{last}"):
            return _tagged(Response(status=304), since, last)
        changes = look.changes_since(connection, since, limit=CHANGES_AT_ONCE)
    return _tagged(jsonify(ChangesShape().dump(changes)), since, last)


def _tagged(response: Response, since: int, last: int) -> Response:
    response.set_etag(f"{since}-{last}")
    response.headers["Cache-Control"] = "no-cache"
    return response


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
