"""POST /scans: readings in, one answer for each."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from flask import Response, jsonify

from tracker.api.schemas import BatchShape, ResultsShape
from tracker.api.service import CallBlueprint
from tracker.records.clocks import wrong_clocks
from tracker.records.floor import parts_numbered
from tracker.shop.clocks import GOOD_FOR
from tracker.shop.codes import read_code
from tracker.shop.outcomes import Outcome
from tracker.shop.roles import Role
from tracker.shop.scans import Answer
from tracker.web.context import bearer, database, now, scan_counter
from tracker.work.access import needs
from tracker.work.scanning.batch import Sender

blueprint = CallBlueprint("scans", __name__)


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
