"""Parts: looked at, replaced, repaired."""

from datetime import datetime
from typing import Any, Final

from marshmallow import Schema, fields, validate
from sqlalchemy import Connection

from tracker.api.context import number_of
from tracker.api.service import CallBlueprint
from tracker.api.shapes import Shape, Time
from tracker.records.boards import board_of
from tracker.records.designs import marks_of
from tracker.records.logged import part_history
from tracker.records.parts import SeenPart, part_view
from tracker.records.printing import prints_of
from tracker.shop.codes import Kind
from tracker.shop.errors import NotFoundError
from tracker.shop.printing import PrintState, Reason
from tracker.shop.roles import Role
from tracker.web.context import act, database, now
from tracker.work.access import needs
from tracker.work.replace import repair_part, replace_part

blueprint = CallBlueprint("parts", __name__)

MOST_PRINTS: Final = 100


class SeenShape(Schema):
    """Where a part was last seen."""

    station = fields.String()
    at = Time()
    slot = fields.String(allow_none=True)


class ListedPartShape(Schema):
    """What every list says of a part; ``step`` is the next step due, or null."""

    code = fields.String()
    name = fields.String()
    cabinet = fields.String()
    step = fields.String(allow_none=True)
    damaged = fields.Boolean()
    last_seen = fields.Nested(SeenShape, allow_none=True)


class PartShape(ListedPartShape):
    """A part with where it stands."""

    job = fields.String(attribute="job.code")
    room = fields.String(allow_none=True)
    drop = fields.String(allow_none=True)
    material = fields.String()
    length_mm = fields.Float()
    width_mm = fields.Float()
    thickness_mm = fields.Float()
    mass_kg = fields.Float()
    edges = fields.List(fields.String())
    machining = fields.String()
    supply = fields.String()
    route = fields.List(fields.String())
    box = fields.String(attribute="box.code")
    status = fields.String()
    urgent = fields.Boolean()
    replaces = fields.String(allow_none=True)
    replaced_by = fields.String(allow_none=True)


class HistoryShape(Schema):
    """One scan or act."""

    id = fields.String()
    at = Time()
    received_at = Time()
    action = fields.String()
    outcome = fields.String()
    station = fields.String(allow_none=True)
    step = fields.String(allow_none=True)
    who = fields.String()
    inferred = fields.List(fields.String())
    message = fields.String()
    flag = fields.String(allow_none=True)
    said_at = Time(
        allow_none=True,
        metadata={"description": "what the client's clock said, where `at` was put right"},
    )


class MarkShape(Schema):
    """A joint's number where it stands on a part."""

    number = fields.Integer()
    side = fields.String()
    along_mm = fields.Float()
    across_mm = fields.Float()


class PartPrintShape(Schema):
    """A print that a part's label was in; ``reason`` where it had a label before."""

    id = fields.Integer()
    at = Time()
    who = fields.String()
    printer = fields.String(allow_none=True)
    state = fields.Enum(PrintState, by_value=True)
    reason = fields.Enum(Reason, by_value=True, allow_none=True)
    note = fields.String()


class PartWithHistoryShape(PartShape):
    """A part with every scan of it, the last prints of its label, its board, its joints and the side in front."""

    prints = fields.List(fields.Nested(PartPrintShape))
    board = fields.String(allow_none=True)
    marks = fields.List(fields.Nested(MarkShape))
    front_side = fields.String(allow_none=True)
    history = fields.List(fields.Nested(HistoryShape))


class ReasonShape(Shape):
    """Why."""

    reason = fields.String(required=True, validate=validate.Length(min=1, max=500))


@blueprint.route("/parts/<code>", methods=["GET"])
@blueprint.response(200, PartWithHistoryShape)
@needs(Role.STATION)
def get_part(code: str) -> dict[str, Any]:
    """One part with every scan of it, its joints, and the board that it comes off."""
    part_id = number_of(code, Kind.PART)
    with database().read() as connection:
        return whole_part(connection, _part(part_view(connection, part_id), code), now())


def whole_part(connection: Connection, part: SeenPart, at: datetime) -> dict[str, Any]:
    """Return all that is told of one part."""
    marks = marks_of(connection, [part.id]).get(part.id)
    return {
        **{name: getattr(part, name) for name in PartShape().dump(part)},
        "board": board_of(connection, part.id),
        "marks": marks.marks if marks else (),
        "front_side": marks.front if marks else None,
        "history": part_history(connection, part.id, part.box.id)[::-1],
        "prints": prints_of(connection, part.code, at, limit=MOST_PRINTS),
    }


@blueprint.route("/parts/<code>/replace", methods=["POST"])
@blueprint.arguments(ReasonShape)
@blueprint.response(201, PartShape)
@needs(Role.FOREMAN)
def post_replace(body: dict[str, Any], code: str) -> SeenPart:
    """Order a new part in place of this one. The old label is dead."""
    new_id_of_part = replace_part(
        database(),
        number_of(code, Kind.PART),
        body["reason"],
        **act(),
    )
    with database().read() as connection:
        return _part(part_view(connection, new_id_of_part), code)


@blueprint.route("/parts/<code>/repair", methods=["POST"])
@blueprint.arguments(ReasonShape)
@blueprint.response(200, PartShape)
@needs(Role.FOREMAN)
def post_repair(body: dict[str, Any], code: str) -> SeenPart:
    """Record that a damaged part is good again."""
    part_id = number_of(code, Kind.PART)
    repair_part(database(), part_id, body["reason"], **act())
    with database().read() as connection:
        return _part(part_view(connection, part_id), code)


def _part(found: SeenPart | None, code: str) -> SeenPart:
    if found is None:
        raise NotFoundError(f"There is no part {code[:40]}.")
    return found
