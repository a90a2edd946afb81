"""The shop's own lists, as TOML texts: cartons, boards, construction standards."""

from typing import Any

from marshmallow import Schema, fields

from tracker.api.service import CallBlueprint
from tracker.api.shapes import Shape
from tracker.shop.roles import Role
from tracker.web.context import bearer, database, now
from tracker.work.access import needs
from tracker.work.lists import list_text, set_list

blueprint = CallBlueprint("lists", __name__)


class ListTextShape(Shape):
    """A list as TOML."""

    text = fields.String(required=True)


class ListShape(Schema):
    """A list under its name, as it was given."""

    name = fields.String()
    text = fields.String()


@blueprint.route("/lists/<path:name>", methods=["GET"])
@blueprint.response(200, ListShape)
@needs(Role.OFFICE)
def get_list(name: str) -> dict[str, Any]:
    """One of the lists ``cartons``, ``boards``, ``weighing``, ``standard`` (the shipped one) or ``standard/NAME``."""
    return {"name": name, "text": list_text(database(), name)}


@blueprint.route("/lists/<path:name>", methods=["PUT"])
@blueprint.arguments(ListTextShape)
@blueprint.response(200, ListShape)
@needs(Role.ADMIN)
def put_list(body: dict[str, Any], name: str) -> dict[str, Any]:
    """Put a list in the place of the one before: ``cartons``, ``boards``, ``weighing``, ``standard``.

    A standard is kept under its own name.
    """
    kept = set_list(database(), name, body["text"], who=bearer().name, now=now())
    return {"name": kept, "text": body["text"]}
