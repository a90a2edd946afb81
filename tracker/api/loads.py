"""Loads: planned, looked at, shipped."""

from collections.abc import Sequence
from typing import Any

from marshmallow import Schema, fields, validate

from tracker.api.context import number_of
from tracker.api.paging import cut, number_after
from tracker.api.service import CallBlueprint
from tracker.api.shapes import PageShape, Rows, Shape, Time, page_of
from tracker.records.shipping import LoadView, ShippingBox, list_loads, load_view, staying_of_loads
from tracker.shop.codes import Kind
from tracker.shop.errors import NotAllowedError, NotFoundError
from tracker.shop.leaving import load_warnings
from tracker.shop.roles import Role
from tracker.web.context import act, bearer, database, now, settings
from tracker.work.access import needs
from tracker.work.loads import LeaveBehind, plan_load, ship_load, take_off_load, told_of_staying

blueprint = CallBlueprint("loads", __name__)


class LoadOrderShape(Shape):
    """The boxes that are to leave together, and when."""

    ship_on = fields.Date(required=True)
    boxes = Rows(fields.String(), required=True, validate=validate.Length(min=1, max=2_000))


class LoadedBoxShape(Schema):
    """A box on a load."""

    box = fields.String()
    job = fields.String()
    state = fields.String()


class StayingBoxShape(LoadedBoxShape):
    """A box that stays behind, and why.

    ``missing_count`` parts are not in it, and ``items_to_count`` kinds of items are not counted into it in full.
    ``says`` is all of it in words.
    """

    name = fields.String()
    held = fields.Boolean(metadata={"description": "the box is on hold, or its job is"})
    missing_count = fields.Integer()
    items_to_count = fields.Integer()
    says = fields.String()


class LoadShape(Schema):
    """A load; ``stays_behind`` lists the boxes of its jobs that are not gone and on no load.

    ``warnings`` say what to look at; none of it refuses the load.
    """

    code = fields.String()
    ship_on = fields.Date()
    state = fields.String()
    shipped_at = Time(allow_none=True)
    boxes = fields.List(fields.Nested(LoadedBoxShape))
    stays_behind = fields.List(fields.Nested(StayingBoxShape))
    warnings = fields.List(fields.String())


class BoxCodeShape(Shape):
    """Which box."""

    box = fields.String(required=True)


class LeaveBehindShape(Shape):
    """A foreman's reason to let boxes stay behind, and which: just those that ``stays_behind`` lists."""

    reason = fields.String(required=True, validate=validate.Regexp(r"\s*\S", error="Say why these boxes stay behind."))
    boxes = fields.List(fields.String(), required=True, validate=validate.Length(max=2_000))


class ShipShape(Shape):
    """Nothing, where every box of the load's jobs leaves."""

    leave_behind = fields.Nested(LeaveBehindShape, load_default=None, allow_none=True)


@blueprint.route("/loads", methods=["POST"])
@blueprint.arguments(LoadOrderShape)
@blueprint.response(201, LoadShape)
@needs(Role.PACKER)
def post_load(body: dict[str, Any]) -> dict[str, Any]:
    """Plan boxes for a load."""
    numbers = list(dict.fromkeys(number_of(code, Kind.BOX) for code in body["boxes"]))
    code = plan_load(database(), numbers, body["ship_on"], **act())
    return _load(code)


@blueprint.route("/loads", methods=["GET"])
@blueprint.arguments(PageShape, location="query")
@blueprint.response(200, page_of("LoadsShape", LoadShape))
@needs(Role.STATION)
def get_loads(query: dict[str, Any]) -> dict[str, Any]:
    """All loads, the latest first."""
    after = number_after(query["after"]) or None
    with database().read() as connection:
        loads = list_loads(connection, limit=query["limit"] + 1, after=after)
        page = cut(loads, query["limit"], lambda load: str(load.id))
        staying = staying_of_loads(connection, [load.id for load in page["items"]])
    return {**page, "items": [_shaped(load, staying[load.id]) for load in page["items"]]}


@blueprint.route("/loads/<code>", methods=["GET"])
@blueprint.response(200, LoadShape)
@needs(Role.STATION)
def get_load(code: str) -> dict[str, Any]:
    """One load and its boxes, and those of its jobs that stay behind."""
    return _load(code)


@blueprint.route("/loads/<code>/ship", methods=["POST"])
@blueprint.arguments(ShipShape, required=False)
@blueprint.response(200, LoadShape)
@needs(Role.PACKER)
def post_ship(body: dict[str, Any], code: str) -> dict[str, Any]:
    """Ship a load. 409 with ``missing`` when a planned box is not on it or not whole, and with ``stays_behind``.

    The latter are the boxes of its jobs that stay: a foreman may let just these stay, with a reason.
    """
    load_id, leave_behind = number_of(code, Kind.LOAD), _leave_behind(body["leave_behind"])
    ship_load(database(), load_id, leave_behind=leave_behind, **act())
    return _load(code)


def _leave_behind(word: dict[str, Any] | None) -> LeaveBehind | None:
    if word is None:
        return None
    if not bearer().role.includes(Role.FOREMAN):
        raise NotAllowedError("Only a foreman may let boxes stay behind.")
    return LeaveBehind(reason=word["reason"].strip(), boxes=[number_of(each, Kind.BOX) for each in word["boxes"]])


@blueprint.route("/loads/<code>/take-off", methods=["POST"])
@blueprint.arguments(BoxCodeShape)
@blueprint.response(200, LoadShape)
@needs(Role.FOREMAN)
def post_take_off(body: dict[str, Any], code: str) -> dict[str, Any]:
    """Leave a box out of a load: it stays in the shop."""
    load_id, box_id = number_of(code, Kind.LOAD), number_of(body["box"], Kind.BOX)
    take_off_load(database(), load_id, box_id, **act())
    return _load(code)


def _load(code: str) -> dict[str, Any]:
    with database().read() as connection:
        load = load_view(connection, number_of(code, Kind.LOAD))
        if load is None:
            raise NotFoundError(f"There is no load {code[:40]}.")
        return _shaped(load, staying_of_loads(connection, [load.id])[load.id])


def _shaped(load: LoadView, staying: Sequence[ShippingBox]) -> dict[str, Any]:
    return {
        "code": load.code,
        "ship_on": load.ship_on,
        "state": load.state,
        "shipped_at": load.shipped_at,
        "boxes": [{"box": box.code, "job": box.job.code, "state": box.state} for box in load.boxes],
        "stays_behind": [told_of_staying(box) for box in staying],
        "warnings": [] if load.shipped else load_warnings(load.ship_on, settings().day_of(now())),
    }
