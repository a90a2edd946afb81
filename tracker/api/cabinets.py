"""A job's designed cabinets, the boards that it is cut from, and the sheet that lies in each carton."""

from io import BytesIO
from typing import Any

from flask import Response, request
from marshmallow import Schema, fields, validate

from tracker.api.cabinet_shapes import CabinetShape, cabinet_json
from tracker.api.context import number_of
from tracker.api.labels import DpiShape
from tracker.api.service import CallBlueprint
from tracker.shop.codes import Code, Kind
from tracker.shop.roles import Role
from tracker.translations.catalogues import LANGUAGES
from tracker.web.context import act, database, settings
from tracker.work.access import needs
from tracker.work.assembly_sheets import write_cabinet_sheet
from tracker.work.boards import job_boards, needed, plan_job_boards
from tracker.work.designs import cabinet_of_job, cabinets_of_job
from tracker.work.label_choice import Choice, What, print_labels
from tracker.work.labels import label_png

blueprint = CallBlueprint("cabinets", __name__)


class CabinetNamesShape(Schema):
    """The numbers of a job's designed cabinets."""

    items = fields.List(fields.String())


class SawnShape(Schema):
    """A part on its board: corner in mm from the board's own corner, sawn size, and whether it is turned."""

    code = fields.String()
    cabinet = fields.String()
    name = fields.String()
    x_mm = fields.Float()
    y_mm = fields.Float()
    length_mm = fields.Float()
    width_mm = fields.Float()
    turned = fields.Boolean()
    cut = fields.Boolean()


class BoardShape(Schema):
    """A board with the parts that come off it, in the order of the saw."""

    code = fields.String()
    number = fields.Integer()
    stock = fields.String()
    material = fields.String()
    length_mm = fields.Float()
    width_mm = fields.Float()
    thickness_mm = fields.Float()
    yield_share = fields.Float()
    parts = fields.List(fields.Nested(SawnShape))


class BoardsShape(Schema):
    """All boards of a job; ``need`` says how many of each stock they are."""

    items = fields.List(fields.Nested(BoardShape))
    need = fields.Dict(keys=fields.String(), values=fields.Integer())


class BoardPlanShape(Schema):
    """What a plan of boards came to; fewer than ``lower_bound`` cannot be, ``yield_share`` of their area is used."""

    boards = fields.Integer()
    lower_bound = fields.Integer()
    proved_least = fields.Boolean()
    yield_share = fields.Float()
    need = fields.Dict(keys=fields.String(), values=fields.Integer())


@blueprint.route("/jobs/<code>/cabinets", methods=["GET"])
@blueprint.response(200, CabinetNamesShape)
@needs(Role.STATION)
def get_job_cabinets(code: str) -> dict[str, Any]:
    """The cabinets of a job that were designed here; one that came as a cut list has none."""
    return {"items": cabinets_of_job(database(), code)}


@blueprint.route("/jobs/<code>/cabinets/<name>", methods=["GET"])
@blueprint.response(200, CabinetShape)
@needs(Role.STATION)
def get_job_cabinet(code: str, name: str) -> dict[str, Any]:
    """One cabinet as it was designed when the job was taken."""
    return cabinet_json(cabinet_of_job(database(), code, name))


@blueprint.route("/jobs/<code>/boards", methods=["POST"])
@blueprint.response(200, BoardPlanShape)
@needs(Role.FOREMAN)
def post_job_boards(code: str) -> Any:
    """Plan the boards for all that is not cut and lies on no board that was begun; these get new codes."""
    return plan_job_boards(database(), code, **act())


@blueprint.route("/jobs/<code>/boards", methods=["GET"])
@blueprint.response(200, BoardsShape)
@needs(Role.STATION)
def get_job_boards(code: str) -> dict[str, Any]:
    """The boards of a job, and what comes off each."""
    boards = job_boards(database(), code)
    return {"items": boards, "need": needed(boards)}


class PaperShape(Schema):
    """The paper of a sheet and its language, where none is named the shop's own."""

    language = fields.String(load_default=None, validate=validate.OneOf(list(LANGUAGES)))
    paper = fields.String(load_default="a4", validate=validate.OneOf(["a4", "letter"]))


@blueprint.route("/labels/sheets/<code>/<name>.pdf", methods=["GET"])
@blueprint.arguments(PaperShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="application/pdf")
@needs(Role.STATION)
def get_sheet(query: dict[str, Any], code: str, name: str) -> Response:
    """The sheet that lies in a cabinet's carton: its parts, its bag, and how it goes together."""
    document = BytesIO()
    write_cabinet_sheet(database(), settings(), code, name, document, site=request.host_url, **query)
    return Response(document.getvalue(), mimetype="application/pdf")


@blueprint.route("/labels/boards/<code>.png", methods=["GET"])
@blueprint.arguments(DpiShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="image/png")
@needs(Role.STATION)
def get_board_label(query: dict[str, Any], code: str) -> Response:
    """A board's label: its code, scanned at the saw, passes all its parts."""
    label = label_png(database(), settings(), Code(Kind.BOARD, number_of(code, Kind.BOARD)), dpi=query["dpi"])
    return Response(label, mimetype="image/png")


@blueprint.route("/labels/jobs/<code>/boards.pdf", methods=["GET"])
@blueprint.arguments(DpiShape, location="query")
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="application/pdf")
@needs(Role.STATION)
def get_board_labels(query: dict[str, Any], code: str) -> Response:
    """The labels of a job's boards, one a page."""
    document, _count = print_labels(database(), settings(), Choice(job=code, what=What.BOARDS), dpi=query["dpi"])
    return Response(document, mimetype="application/pdf")
