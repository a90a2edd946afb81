"""Labels as pictures and as PDF."""

from io import BytesIO
from typing import Any

from flask import Response

from tracker.api.context import database, number_of
from tracker.api.schemas import DpiShape
from tracker.api.service import CallBlueprint
from tracker.shop.codes import Code, Kind
from tracker.shop.roles import Role
from tracker.work.access import needs
from tracker.work.labels import box_label_png, part_label_png, write_job_labels

blueprint = CallBlueprint("labels", __name__)


@blueprint.route("/labels/parts/<code>.png", methods=["GET"])
@blueprint.arguments(DpiShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="image/png")
@needs(Role.STATION)
def get_part_label(query: dict[str, Any], code: str) -> Response:
    """A part's label."""
    label = part_label_png(database(), Code(Kind.PART, number_of(code, Kind.PART)), dpi=query["dpi"])
    return Response(label, mimetype="image/png")


@blueprint.route("/labels/boxes/<code>.png", methods=["GET"])
@blueprint.arguments(DpiShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="image/png")
@needs(Role.STATION)
def get_box_label(query: dict[str, Any], code: str) -> Response:
    """A box's label."""
    label = box_label_png(database(), Code(Kind.BOX, number_of(code, Kind.BOX)), dpi=query["dpi"])
    return Response(label, mimetype="image/png")


@blueprint.route("/labels/jobs/<code>.pdf", methods=["GET"])
@blueprint.arguments(DpiShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="application/pdf")
@needs(Role.STATION)
def get_job_labels(query: dict[str, Any], code: str) -> Response:
    """All labels of a job, one a page. Print at 100 %, not fitted."""
    document = BytesIO()
    write_job_labels(database(), code, document, dpi=query["dpi"])
    return Response(document.getvalue(), mimetype="application/pdf")
