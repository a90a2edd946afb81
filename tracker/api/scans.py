"""POST /scans: readings in, one answer for each."""

from typing import Any

from flask import Response, jsonify

from tracker.api.context import caller, now, scan_counter
from tracker.api.schemas import BatchShape, ResultsShape
from tracker.api.service import CallBlueprint
from tracker.shop.roles import Role
from tracker.shop.scans import Answer
from tracker.work.access import needs
from tracker.work.scan import Sender

blueprint = CallBlueprint("scans", __name__)


@blueprint.route("/scans", methods=["POST"])
@blueprint.arguments(BatchShape())
@blueprint.response(200, ResultsShape)
@needs(Role.STATION)
def post_scans(batch: dict[str, Any]) -> Response:
    """Judge scans, one by one. A 200 means that they are on disk."""
    who = caller()
    answers = scan_counter().take(batch["scans"], Sender(name=who.name, station=who.station), now())
    return jsonify(results=[_result(answer) for answer in answers])


def _result(answer: Answer) -> dict[str, Any]:
    result: dict[str, Any] = {
        "id": str(answer.id),
        "outcome": answer.outcome.value,
        "ok": answer.ok,
        "message": answer.message,
    }
    if answer.part is not None:
        result["part"] = answer.part
        result["next"] = answer.next
        result["inferred"] = list(answer.inferred)
    if answer.box is not None:
        result["box"] = answer.box
    return result
