"""What changed, for screens and stations to ask again and again."""

from typing import Any

from flask import Response, jsonify, request
from marshmallow import Schema, fields, validate

from tracker.api.service import CallBlueprint
from tracker.records.logged import changes_since, last_change
from tracker.shop.roles import Role
from tracker.web.context import database
from tracker.work.access import needs

blueprint = CallBlueprint("changes", __name__)

CHANGES_AT_ONCE = 1_000


class ChangesQueryShape(Schema):
    """After which change."""

    since = fields.Integer(load_default=0, validate=validate.Range(min=0, max=10**15))


class ChangesShape(Schema):
    """What changed; ``more`` says to ask again from ``now`` at once."""

    now = fields.Integer()
    more = fields.Boolean()
    jobs = fields.List(fields.String())
    boxes = fields.List(fields.String())
    parts = fields.List(fields.String())
    changed_loads = fields.List(fields.String(), attribute="loads", data_key="loads")


@blueprint.route("/changes", methods=["GET"])
@blueprint.arguments(ChangesQueryShape, location="query")
@blueprint.response(200, ChangesShape)
@needs(Role.STATION)
def get_changes(query: dict[str, Any]) -> Response:
    """What changed after ``since``. With ``If-None-Match`` a 304 when nothing did."""
    since = query["since"]
    with database().read() as connection:
        last = last_change(connection)
        if request.if_none_match.contains(f"{since}-{last}"):
            return _tagged(Response(status=304), since, last)
        changes = changes_since(connection, since, limit=CHANGES_AT_ONCE)
    return _tagged(jsonify(ChangesShape().dump(changes)), since, last)


def _tagged(response: Response, since: int, last: int) -> Response:
    response.set_etag(f"{since}-{last}")
    response.headers["Cache-Control"] = "no-cache"
    return response
