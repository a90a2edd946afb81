"""Jobs: taken, looked at, held, resumed, cancelled."""

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from flask import request
from marshmallow import Schema, fields, validate

from tracker.api.boxes import BoxShape
from tracker.api.paging import cut, date_and_number, number_after, token_after
from tracker.api.parts import PartShape
from tracker.api.service import CallBlueprint
from tracker.api.shapes import PageShape, Rows, Shape, page_of
from tracker.records.box_contents import boxes_of_job
from tracker.records.jobs import JobView, list_jobs
from tracker.records.parts import parts_of_job
from tracker.shop.boxing.values import KeepTogether
from tracker.shop.cabinets.orders import MOST_ROWS
from tracker.shop.cutlist import MOST_PIECES
from tracker.shop.errors import InvalidInputError, fault_at
from tracker.shop.job_states import JobStatus
from tracker.shop.lengths import Units
from tracker.shop.order_warnings import made_of, order_warnings
from tracker.shop.orders import Order
from tracker.shop.roles import Role
from tracker.web.context import act, database, settings
from tracker.work.access import needs
from tracker.work.intake import read_json_order, read_order_table
from tracker.work.jobs import cancel_job, hold_job, job_coded, resume_job
from tracker.work.lists import boards_of, packing_of, standard_named
from tracker.work.orders import preview_order, take_order

blueprint = CallBlueprint("jobs", __name__)


class OrderHeadShape(Schema):
    """What stands over the rows of every order."""

    code = fields.String(required=True)
    customer = fields.String(required=True)
    due = fields.Date(required=True)
    units = fields.String(load_default="mm", validate=validate.OneOf(["mm", "in"]))
    standard = fields.String(load_default=None, allow_none=True)


class JobOrderShape(OrderHeadShape, Shape):
    """A job from cabinets, from parts, or from both. The rows are read by the same rules as the tables for import.

    ``standard`` names the construction standard of the cabinets; without it the one that comes with the program holds.
    """

    parts = Rows(fields.Dict(), load_default=list, validate=validate.Length(max=MOST_PIECES))
    cabinets = Rows(fields.Dict(), load_default=list, validate=validate.Length(max=MOST_ROWS))
    items = Rows(fields.Dict(), load_default=list, validate=validate.Length(max=MOST_PIECES))


class ImportShape(OrderHeadShape):
    """The form fields of a cut list's upload."""

    ignore = fields.String(load_default="", metadata={"description": "columns that mean nothing, separated by commas"})


class DryRunShape(Schema):
    """Whether to report only."""

    dry_run = fields.Boolean(load_default=False)


class WayShape(Schema):
    """What a way of keeping cabinets together comes to: boxes, and how many cabinets one absent box stops."""

    keep_together = fields.Enum(KeepTogether, by_value=True)
    boxes = fields.Integer()
    stopped_at_most = fields.Integer()
    stopped_on_average = fields.Float()


class TakenShape(Schema):
    """What taking an order made; on a dry run ``boxes`` is empty and ``box_names`` says what would be made.

    On a dry run ``ways`` tells the shop's way of keeping cabinets together, and the fewest boxes beside it.
    """

    code = fields.String()
    parts = fields.Integer()
    cabinets = fields.Integer()
    boxes = fields.List(fields.String())
    box_names = fields.List(fields.String())
    columns = fields.Dict(
        keys=fields.String(), values=fields.String(), metadata={"description": "headings read by another name"}
    )
    ways = fields.List(fields.Nested(WayShape))
    warnings = fields.List(fields.String(), metadata={"description": "what to look at; none of it refuses the order"})


class CountShape(Schema):
    """How many of how many."""

    done = fields.Integer()
    total = fields.Integer()


class BoxCountsShape(Schema):
    """A job's boxes: sealed counts those that have gone further too."""

    total = fields.Integer()
    sealed = fields.Integer()
    shipped = fields.Integer()


class JobShape(Schema):
    """A job at a glance."""

    code = fields.String()
    customer = fields.String()
    due = fields.Date()
    status = fields.String()
    parts_total = fields.Integer()
    steps = fields.Dict(keys=fields.String(), values=fields.Nested(CountShape))
    boxes = fields.Nested(BoxCountsShape)


class JobsQueryShape(PageShape):
    """Which jobs."""

    status = fields.List(fields.String(validate=validate.OneOf(list(JobStatus))), load_default=list)


class ReasonOrNoneShape(Shape):
    """Why, if one says so."""

    reason = fields.String(load_default="", validate=validate.Length(max=500))


@blueprint.route("/jobs", methods=["POST"])
@blueprint.arguments(JobOrderShape)
@blueprint.arguments(DryRunShape, location="query")
@blueprint.response(201, TakenShape)
@needs(Role.OFFICE)
def post_job(order: dict[str, Any], query: dict[str, Any]) -> Any:
    """Take a job from cabinets or parts in JSON. All of it or nothing."""
    read = read_json_order(
        order["parts"],
        order["items"],
        order["cabinets"],
        standard=standard_named(database(), order["standard"]),
        job=order["code"],
        customer=order["customer"],
        due=order["due"],
        units=Units(order["units"]),
    )
    return _take(read, **query)


@blueprint.route("/jobs/import", methods=["POST"])
@blueprint.arguments(ImportShape, location="form")
@blueprint.arguments(DryRunShape, location="query")
@blueprint.response(201, TakenShape)
@needs(Role.OFFICE)
def import_job(form: dict[str, Any], query: dict[str, Any]) -> Any:
    """Take a job from a table, CSV or XLSX, in the form field ``file``; its items in ``items``, if any.

    A table with a column ``family`` lists cabinets; any other is a cut list.
    """
    file = request.files.get("file")
    if file is None:
        fault = fault_at("file", "the cut list, as a file of the form")
        raise InvalidInputError("There is no file in the form. Nothing was stored.", [fault])
    items = request.files.get("items")
    order = read_order_table(
        file.stream,
        None if items is None else items.stream,
        job=form["code"],
        customer=form["customer"],
        due=form["due"],
        units=Units(form["units"]),
        standard=standard_named(database(), form["standard"]),
        ignore=form["ignore"].split(","),
    )
    return _take(order, **query)


def _take(order: Order, *, dry_run: bool) -> dict[str, Any] | tuple[dict[str, Any], int]:
    packing, signed = packing_of(database()), act()
    boards, today = boards_of(database()), settings().day_of(signed["now"])
    told = {"warnings": order_warnings(order.due, made_of(order.parts), boards, today)}
    if dry_run:
        return {**asdict(preview_order(order, packing)), **told}, 200
    taken = take_order(database(), order, **signed, packing=packing)
    return {**asdict(taken), **told}


@blueprint.route("/jobs", methods=["GET"])
@blueprint.arguments(JobsQueryShape, location="query")
@blueprint.response(200, page_of("JobsShape", JobShape))
@needs(Role.STATION)
def get_jobs(query: dict[str, Any]) -> dict[str, Any]:
    """All jobs, latest due first; with ``status`` those, soonest due first."""
    with database().read() as connection:
        jobs = list_jobs(
            connection, limit=query["limit"] + 1, after=date_and_number(query["after"]), status=query["status"]
        )
    return cut(jobs, query["limit"], lambda job: token_after(job.due, job.id))


@blueprint.route("/jobs/<code>", methods=["GET"])
@blueprint.response(200, JobShape)
@needs(Role.STATION)
def get_job(code: str) -> JobView:
    """One job at a glance."""
    return _job(code)


@blueprint.route("/jobs/<code>/parts", methods=["GET"])
@blueprint.arguments(PageShape, location="query")
@blueprint.response(200, page_of("PartsShape", PartShape))
@needs(Role.STATION)
def get_job_parts(query: dict[str, Any], code: str) -> dict[str, Any]:
    """The parts of a job."""
    job = _job(code)
    with database().read() as connection:
        parts = parts_of_job(connection, job.id, limit=query["limit"] + 1, after=number_after(query["after"]))
    return cut(parts, query["limit"], lambda part: str(part.id))


@blueprint.route("/jobs/<code>/boxes", methods=["GET"])
@blueprint.arguments(PageShape, location="query")
@blueprint.response(200, page_of("BoxesShape", BoxShape))
@needs(Role.STATION)
def get_job_boxes(query: dict[str, Any], code: str) -> dict[str, Any]:
    """The boxes of a job with their planned content."""
    job = _job(code)
    with database().read() as connection:
        boxes = boxes_of_job(connection, job.id, limit=query["limit"] + 1, after=number_after(query["after"]))
    return cut(boxes, query["limit"], lambda box: str(box.id))


def _job(code: str) -> JobView:
    with database().read() as connection:
        return job_coded(connection, code)


def _acting(does: Callable[..., None], code: str) -> JobView:
    does(database(), code, **act())
    return _job(code)


@blueprint.route("/jobs/<code>/hold", methods=["POST"])
@blueprint.arguments(ReasonOrNoneShape, required=False)
@blueprint.response(200, JobShape)
@needs(Role.FOREMAN)
def post_hold(_reason: dict[str, Any], code: str) -> JobView:
    """Put a job on hold."""
    return _acting(hold_job, code)


@blueprint.route("/jobs/<code>/resume", methods=["POST"])
@blueprint.arguments(ReasonOrNoneShape, required=False)
@blueprint.response(200, JobShape)
@needs(Role.FOREMAN)
def post_resume(_reason: dict[str, Any], code: str) -> JobView:
    """Let a held job go on."""
    return _acting(resume_job, code)


@blueprint.route("/jobs/<code>/cancel", methods=["POST"])
@blueprint.arguments(ReasonOrNoneShape, required=False)
@blueprint.response(200, JobShape)
@needs(Role.FOREMAN)
def post_cancel(_reason: dict[str, Any], code: str) -> JobView:
    """Cancel a job of which nothing has shipped."""
    return _acting(cancel_job, code)
