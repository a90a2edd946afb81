"""POST /scans: readings in, one answer for each."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any, cast
from uuid import NAMESPACE_OID, UUID, uuid5

from flask import Response, json, jsonify
from marshmallow import Schema, ValidationError, fields, validate

from tracker.api.service import CallBlueprint
from tracker.api.shapes import Rows, Shape, Time
from tracker.records.clocks import wrong_clocks
from tracker.records.parts import parts_numbered
from tracker.shop.clocks import GOOD_FOR
from tracker.shop.codes import read_code
from tracker.shop.outcomes import Outcome
from tracker.shop.roles import Role
from tracker.shop.scans import Action, Answer, Scan
from tracker.shop.times import read_time
from tracker.web.context import bearer, database, now, scan_counter
from tracker.work.access import needs
from tracker.work.scanning.batch import Sender

blueprint = CallBlueprint("scans", __name__)


class ScanShape(Shape):
    """One reading."""

    id = fields.UUID(required=True, metadata={"description": "made by the client when the trigger is pulled"})
    code = fields.String(load_default="", metadata={"description": "what was read, as it was read"})
    station = fields.String(
        load_default="", metadata={"description": "name or code; a station's token may leave it out"}
    )
    at = Time(required=True, metadata={"description": "the client's time, RFC 3339 with an offset"})
    action = fields.Enum(Action, by_value=True, load_default=Action.PASS)
    box = fields.String(load_default="", allow_none=True, metadata={"description": "the box that is being packed"})
    onto_load = fields.String(
        data_key="load", load_default="", allow_none=True, metadata={"description": "the load that is being loaded"}
    )
    slot = fields.String(
        load_default="", allow_none=True, metadata={"description": "with place: the slot's code or name"}
    )
    part = fields.String(
        load_default="",
        allow_none=True,
        metadata={"description": "with the damaged card or a slot's code: the part that the device showed, or `none`"},
    )


class ScanRow(fields.Nested):
    """One row of a batch, judged alone: a row that makes no sense becomes a scan with a fault, not a refused batch."""

    def _deserialize(self, value: Any, *args: Any, **kwargs: Any) -> Scan:
        return read_scan(value)


_SCAN = ScanShape()


def read_scan(row: Any) -> Scan:
    """Return the scan that a row of a batch spells, with a fault when it does not spell one.

    A row without a usable id or time is kept all the same: its id is made from its content, so that it too has one
    effect however often it is sent.
    """
    try:
        loaded: dict[str, Any] = _SCAN.load(row)
    except ValidationError as error:
        return _faulty(row, error)
    return Scan(
        id=loaded["id"],
        code=loaded["code"],
        at=loaded["at"],
        station=loaded["station"],
        action=loaded["action"],
        box=loaded["box"] or "",
        load=loaded["onto_load"] or "",
        slot=loaded["slot"] or "",
        part=loaded["part"] or "",
    )


def _faulty(row: Any, error: ValidationError) -> Scan:
    given = row if isinstance(row, dict) else {}
    messages = cast("dict[str, list[Any]]", error.messages if isinstance(error.messages, dict) else {})
    wrong = "; ".join(f"{name}: {' '.join(map(str, said))}" for name, said in messages.items())
    return Scan(
        id=_usable_id(given) or uuid5(NAMESPACE_OID, json.dumps(row, sort_keys=True)),
        code=str(given.get("code", "")),
        at=_usable_time(given) or datetime.fromisoformat("1970-01-01T00:00:00+00:00"),
        station=str(given.get("station") or ""),
        fault=wrong[:400],
    )


def _usable_id(given: dict[str, Any]) -> UUID | None:
    try:
        return UUID(given["id"])
    except (KeyError, TypeError, ValueError, AttributeError):
        return None


def _usable_time(given: dict[str, Any]) -> datetime | None:
    try:
        return read_time(given["at"])
    except (KeyError, TypeError, ValueError):
        return None


class BatchShape(Shape):
    """Readings to judge, 1 to 500."""

    scans = Rows(ScanRow(ScanShape), required=True, validate=validate.Length(min=1, max=500))
    sent_at = Time(
        load_default=None,
        allow_none=True,
        metadata={"description": "the client's time of sending this request: a clock that is wrong is corrected for"},
    )


class ResultShape(Schema):
    """The answer to one scan."""

    id = fields.String()
    outcome = fields.String()
    ok = fields.Boolean()
    message = fields.String()
    reason = fields.String(allow_none=True, metadata={"description": "what the message says, of a closed set"})
    values = fields.Dict(metadata={"description": "what the reason's sentence names"})
    part = fields.String()
    part_name = fields.String(metadata={"description": "with a noted part: its name and its cabinet"})
    box = fields.String()
    next = fields.String(allow_none=True)
    inferred = fields.List(fields.String())


class ResultsShape(Schema):
    """One answer for each scan, in order."""

    results = fields.List(fields.Nested(ResultShape))
    clock_ahead_s = fields.Float(
        metadata={"description": "only where the client's clock is wrong: by how many s it is ahead, negative: behind"}
    )


@blueprint.route("/scans", methods=["POST"])
@blueprint.arguments(BatchShape())
@blueprint.response(200, ResultsShape)
@needs(Role.STATION)
def post_scans(batch: dict[str, Any]) -> Response:
    """Judge scans, one by one. A 200 means that they are on disk."""
    who, received = bearer(), now()
    sender = Sender(name=who.name, station=who.station, device=who.device)
    answers = scan_counter().take(batch["scans"], sender, received, sent=batch["sent_at"])
    names = _names(answers)
    results = [_result(answer) | names.get(answer.id, {}) for answer in answers]
    return jsonify(results=results, **_clock(who.device, received) if batch["sent_at"] else {})


def _clock(device: str, received: datetime) -> dict[str, float]:
    with database().read() as connection:
        wrong = wrong_clocks(connection, since=received - GOOD_FOR, device=device)
    return {"clock_ahead_s": wrong[0].ahead_s} if wrong else {}


def _names(answers: Sequence[Answer]) -> dict[UUID, dict[str, str]]:
    """Name the parts that cards and slots marked: a worker who scanned a card has no label in hand that says it."""
    marked = {each.id: read_code(each.part).number for each in answers if each.outcome is Outcome.NOTED and each.part}
    if not marked:
        return {}
    with database().read() as connection:
        parts = parts_numbered(connection, list(marked.values()))
    return {id_: {"part_name": f"{parts[number].name} {parts[number].cabinet}"} for id_, number in marked.items()}


def _result(answer: Answer) -> dict[str, Any]:
    result: dict[str, Any] = {
        "id": str(answer.id),
        "outcome": answer.outcome.value,
        "ok": answer.ok,
        "message": answer.message,
        "reason": answer.reason,
        "values": answer.values,
    }
    if answer.part is not None:
        result["part"] = answer.part
        result["next"] = answer.next
        result["inferred"] = list(answer.inferred)
    if answer.box is not None:
        result["box"] = answer.box
    return result
