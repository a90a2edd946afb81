"""Loads: planned, looked at, shipped."""

from typing import Any

from tracker.api.context import caller, database, new_id, now, number_of
from tracker.api.paging import cut, number_after
from tracker.api.schemas import BoxCodeShape, LoadOrderShape, LoadShape, LoadsShape, PageShape, ShipShape
from tracker.api.service import CallBlueprint
from tracker.records import look
from tracker.records.look import LoadView
from tracker.shop.codes import Kind
from tracker.shop.errors import NotFoundError
from tracker.shop.roles import Role
from tracker.work.access import needs
from tracker.work.loads import plan_load, ship_load, take_off_load

blueprint = CallBlueprint("loads", __name__)


@blueprint.route("/loads", methods=["POST"])
@blueprint.arguments(LoadOrderShape)
@blueprint.response(201, LoadShape)
@needs(Role.PACKER)
def post_load(body: dict[str, Any]) -> dict[str, Any]:
    """Plan boxes for a load."""
    numbers = list(dict.fromkeys(number_of(code, Kind.BOX) for code in body["boxes"]))
    code = plan_load(database(), numbers, body["ship_on"], who=caller().name, now=now(), act_id=new_id())
    return _shaped(_load(code))


@blueprint.route("/loads", methods=["GET"])
@blueprint.arguments(PageShape, location="query")
@blueprint.response(200, LoadsShape)
@needs(Role.STATION)
def get_loads(query: dict[str, Any]) -> dict[str, Any]:
    """All loads, the latest first."""
    after = number_after(query["after"]) or None
    with database().read() as connection:
        loads = look.list_loads(connection, limit=query["limit"] + 1, after=after)
    page = cut(loads, query["limit"], lambda load: str(load.id))
    return {**page, "items": [_shaped(load) for load in page["items"]]}


@blueprint.route("/loads/<code>", methods=["GET"])
@blueprint.response(200, LoadShape)
@needs(Role.STATION)
def get_load(code: str) -> dict[str, Any]:
    """One load and its boxes."""
    return _shaped(_load(code))


@blueprint.route("/loads/<code>/ship", methods=["POST"])
@blueprint.arguments(ShipShape, required=False)
@blueprint.response(200, LoadShape)
@needs(Role.PACKER)
def post_ship(_body: dict[str, Any], code: str) -> dict[str, Any]:
    """Ship a load. 409 with ``missing`` when a planned box is not on it, or not sealed."""
    ship_load(database(), number_of(code, Kind.LOAD), who=caller().name, now=now(), act_id=new_id())
    return _shaped(_load(code))


@blueprint.route("/loads/<code>/take-off", methods=["POST"])
@blueprint.arguments(BoxCodeShape)
@blueprint.response(200, LoadShape)
@needs(Role.FOREMAN)
def post_take_off(body: dict[str, Any], code: str) -> dict[str, Any]:
    """Leave a box out of a load: it stays in the shop."""
    load_id, box_id = number_of(code, Kind.LOAD), number_of(body["box"], Kind.BOX)
    take_off_load(database(), load_id, box_id, who=caller().name, now=now(), act_id=new_id())
    return _shaped(_load(code))


def _load(code: str) -> LoadView:
    with database().read() as connection:
        load = look.load_view(connection, number_of(code, Kind.LOAD))
    if load is None:
        raise NotFoundError(f"There is no load {code[:40]}.")
    return load


def _shaped(load: LoadView) -> dict[str, Any]:
    return {
        "code": load.code,
        "ship_on": load.ship_on,
        "state": load.state,
        "shipped_at": load.shipped_at,
        "boxes": [{"box": box, "job": job, "state": state} for box, job, state in load.boxes],
    }
