"""Labels as pictures and as PDF."""

from typing import Any

from flask import Response
from marshmallow import Schema, fields, validate

from tracker.api.context import number_of
from tracker.api.service import CallBlueprint
from tracker.shop.codes import Code, Kind
from tracker.shop.roles import Role
from tracker.web.context import database, settings
from tracker.work.access import needs
from tracker.work.label_choice import Choice, print_labels
from tracker.work.labels import label_png

blueprint = CallBlueprint("labels", __name__)


class DpiShape(Schema):
    """The printer's resolution."""

    dpi = fields.Integer(load_default=203, validate=validate.OneOf([203, 300, 600]))


@blueprint.route("/labels/parts/<code>.png", methods=["GET"])
@blueprint.arguments(DpiShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="image/png")
@needs(Role.STATION)
def get_part_label(query: dict[str, Any], code: str) -> Response:
    """A part's label."""
    label = label_png(database(), settings(), Code(Kind.PART, number_of(code, Kind.PART)), dpi=query["dpi"])
    return Response(label, mimetype="image/png")


@blueprint.route("/labels/boxes/<code>.png", methods=["GET"])
@blueprint.arguments(DpiShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="image/png")
@needs(Role.STATION)
def get_box_label(query: dict[str, Any], code: str) -> Response:
    """A box's label."""
    label = label_png(database(), settings(), Code(Kind.BOX, number_of(code, Kind.BOX)), dpi=query["dpi"])
    return Response(label, mimetype="image/png")


@blueprint.route("/labels/jobs/<code>.pdf", methods=["GET"])
@blueprint.arguments(DpiShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="application/pdf")
@needs(Role.STATION)
def get_job_labels(query: dict[str, Any], code: str) -> Response:
    """All labels of a job, one a page. Print at 100 %, not fitted."""
    document, _count = print_labels(database(), settings(), Choice(job=code), dpi=query["dpi"])
    return Response(document, mimetype="application/pdf")
