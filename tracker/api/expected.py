"""What may come to a station, for the station program to keep: whole in pages at first, then what changed."""

from collections.abc import Collection, Sequence
from typing import Any, Final

from flask import Response, jsonify
from marshmallow import Schema, fields, validate
from sqlalchemy import Connection

from tracker.api.paging import cut, number_after
from tracker.api.service import CallBlueprint
from tracker.api.shapes import Shape
from tracker.records.access import StationView, list_stations
from tracker.records.boxes import Box
from tracker.records.expected import Changed, changed_since, expected_boxes, expected_parts
from tracker.records.logged import last_change
from tracker.records.parts import Part
from tracker.records.sscc import last_serials
from tracker.shop.box_states import BoxState
from tracker.shop.codes import Code, Kind, box_code, part_code
from tracker.shop.errors import NotAllowedError, NotFoundError
from tracker.shop.job_states import JobStatus
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.web.context import bearer, database
from tracker.work.access import needs

blueprint = CallBlueprint("expected", __name__)

PAGE: Final = 2_000


class ExpectedQueryShape(Shape):
    """Which station, and what its list holds already."""

    station = fields.String(
        load_default="", metadata={"description": "its name or code; by default the one that the token is made for"}
    )
    since = fields.Integer(
        load_default=0,
        validate=validate.Range(min=0, max=10**15),
        metadata={"description": "`at` of the answer that the list was made of: only what changed is answered"},
    )
    after = fields.String(load_default="", metadata={"description": "`next` of the page before, of a whole list"})
    limit = fields.Integer(load_default=PAGE, validate=validate.Range(min=1, max=PAGE))


class ExpectedRowShape(Schema):
    """A part, or at a ship station a box, that may come."""

    code = fields.String()
    name = fields.String()
    cabinet = fields.String()
    job = fields.String()
    box = fields.String(allow_none=True)
    box_name = fields.String()
    on_load = fields.String(attribute="load", data_key="load", allow_none=True)
    sscc = fields.String(allow_none=True, metadata={"description": "of the box, once it has one"})
    next = fields.String(allow_none=True, metadata={"description": "the step that it is due for now"})
    held = fields.Boolean(metadata={"description": "its job is on hold, or the box is"})


class ExpectedShape(Schema):
    """What may come. ``whole``: this replaces the list; else ``items`` are put into it and ``gone`` taken out."""

    station = fields.String()
    step = fields.String()
    strict = fields.Boolean()
    at = fields.Integer()
    whole = fields.Boolean()
    items = fields.List(fields.Nested(ExpectedRowShape))
    gone = fields.List(fields.String())
    next = fields.String(allow_none=True)


@blueprint.route("/expected", methods=["GET"])
@blueprint.arguments(ExpectedQueryShape, location="query")
@blueprint.response(200, ExpectedShape)
@needs(Role.STATION)
def get_expected(query: dict[str, Any]) -> Response:
    """What may come to a station, so that it can tell with the network gone whether a scan looks right."""
    since = query["since"]
    gone: list[str] = []
    with database().read() as connection:
        station = _station(connection, query["station"])
        last = last_change(connection)
        partly = 0 < since <= last and not query["after"] and not _numbers_boxes(connection, station)
        changed = changed_since(connection, since) if partly else None
        if changed is None:
            found = _expected(connection, station, limit=query["limit"] + 1, after=number_after(query["after"]))
            page = cut(found, query["limit"], lambda row: str(row.id))
        else:
            page, gone = _changes(connection, station, changed)
    return jsonify(
        station=station.name,
        step=station.step.value,
        strict=station.strict,
        at=last,
        whole=changed is None,
        items=[_row(each) for each in page["items"]],
        gone=gone,
        next=page["next"],
    )


def _station(connection: Connection, named: str) -> StationView:
    """Return the station that is asked for. Raises NotFoundError, NotAllowedError."""
    own = bearer().station
    wanted = named or own
    if not wanted:
        raise NotFoundError("Name the station: the token is made for none.")
    for each in list_stations(connection):
        if wanted == each.name or wanted.strip().upper() == str(Code(Kind.STATION, each.id)):
            if own and each.name != own:
                raise NotAllowedError(f"This token is made for station {own}.")
            return each
    raise NotFoundError(f"There is no station {wanted[:80]}.")


def _expected(
    connection: Connection, station: StationView, *, limit: int, after: int = 0, among: Collection[int] | None = None
) -> Sequence[Part | Box]:
    if station.step is Step.SHIP:
        return expected_boxes(connection, limit=limit, after=after, among=among)
    return expected_parts(connection, station.step, limit=limit, after=after, among=among)


def _numbers_boxes(connection: Connection, station: StationView) -> bool:
    """Whether boxes get SSCCs, of which the log says nothing: the dock, where they are read, is told all each time."""
    return station.step is Step.SHIP and bool(last_serials(connection))


def _changes(connection: Connection, station: StationView, changed: Changed) -> tuple[dict[str, Any], list[str]]:
    ids, code = (changed.boxes, box_code) if station.step is Step.SHIP else (changed.parts, part_code)
    found = _expected(connection, station, limit=len(ids), among=ids) if ids else []
    gone = sorted(set(ids) - {each.id for each in found})
    return {"items": found, "next": None}, [code(number) for number in gone]


def _row(each: Part | Box) -> dict[str, Any]:
    told = {"code": each.code, "name": each.name, "job": each.job.code, "held": each.job.status is JobStatus.HELD}
    if isinstance(each, Part):
        about = {"cabinet": each.cabinet, "box": each.box.code, "box_name": each.box.name, "load": None}
        return {**told, **about, "sscc": each.box.sscc, "next": each.step}
    about = {"cabinet": "", "box": None, "box_name": "", "load": each.load_code}
    next_step = Step.SHIP if each.state is BoxState.SEALED else Step.PACK
    return {**told, **about, "held": each.held, "sscc": each.sscc, "next": next_step}
