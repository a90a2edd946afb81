"""Scans that contradict what happened meanwhile: the open ones with what may be chosen, the settled ones, settling."""

from collections.abc import Sequence
from typing import Any

from marshmallow import Schema, fields, validate

from tracker.api.paging import cut, number_after
from tracker.api.parts import HistoryShape
from tracker.api.service import CallBlueprint
from tracker.api.shapes import PageShape, Shape, Time, page_of
from tracker.records.contradictions import Flagged, contradiction, open_contradictions, settled_contradictions
from tracker.shop.contradictions import WANT_REASON, Choice, Contradiction, choices_of, offered
from tracker.shop.errors import NotFoundError
from tracker.shop.roles import Role
from tracker.web.context import act, database
from tracker.work.access import needs
from tracker.work.settle import LONGEST_REASON, Settling, settle

blueprint = CallBlueprint("flagged", __name__)


class FlaggedQueryShape(PageShape):
    """Which of them."""

    settled = fields.Boolean(load_default=False, metadata={"description": "those that are settled, the latest first"})


class ChoiceShape(Schema):
    """What may be chosen now: ``choice`` is the word to send, ``says`` what it means."""

    choice = fields.Enum(Choice, by_value=True)
    says = fields.String()
    wants_reason = fields.Boolean()


class SettledShape(Schema):
    """How it was settled."""

    choice = fields.Enum(Choice, by_value=True)
    who = fields.String()
    at = Time()
    reason = fields.String()


class ContradictionShape(HistoryShape):
    """A scan that contradicts what happened meanwhile; ``seq`` is its number, ``kind`` what contradicts."""

    seq = fields.Integer()
    code = fields.String()
    kind = fields.Enum(Contradiction, by_value=True, allow_none=True)
    part = fields.String(allow_none=True)
    box = fields.String(allow_none=True)
    on_load = fields.String(attribute="load", data_key="load", allow_none=True)
    choices = fields.List(fields.Nested(ChoiceShape))
    settled = fields.Nested(SettledShape, allow_none=True)


class SettlingShape(Shape):
    """What is chosen, and why."""

    choice = fields.Enum(Choice, by_value=True, required=True)
    reason = fields.String(load_default="", validate=validate.Length(max=LONGEST_REASON))


@blueprint.route("/flagged", methods=["GET"])
@blueprint.arguments(FlaggedQueryShape, location="query")
@blueprint.response(200, page_of("ContradictionsShape", ContradictionShape))
@needs(Role.STATION)
def get_flagged(query: dict[str, Any]) -> dict[str, Any]:
    """Scans that contradict what else happened, with what a foreman may make of each."""
    limit, after = query["limit"], number_after(query["after"])
    found: Sequence[Flagged]
    with database().read() as connection:
        if query["settled"]:
            found = settled_contradictions(connection, limit=limit + 1, before=after or None)
        else:
            found = open_contradictions(connection, limit=limit + 1, after=after)
    return cut([_shown(each) for each in found], limit, lambda each: str(each["seq"]))


@blueprint.route("/flagged/<int:seq>/settle", methods=["POST"])
@blueprint.arguments(SettlingShape)
@blueprint.response(200, ContradictionShape)
@needs(Role.FOREMAN)
def post_settle(body: dict[str, Any], seq: int) -> dict[str, Any]:
    """Settle one: do what is chosen, and keep who chose it and why. 409 when it is settled or things changed."""
    if seq >= 2**63:
        raise NotFoundError("There is no flagged scan of this number.")
    settling = Settling(seq=seq, choice=body["choice"], reason=body["reason"].strip())
    settle(database(), settling, **act())
    with database().read() as connection:
        found = contradiction(connection, seq)
    if found is None:
        raise NotFoundError("There is no flagged scan of this number.")
    return _shown(found)


def _shown(flagged: Flagged) -> dict[str, Any]:
    names = [name for name in ContradictionShape().fields if hasattr(flagged, name)]
    choices = () if flagged.settled else choices_of(flagged.standing)
    return {
        **{name: getattr(flagged, name) for name in names},
        "kind": None if flagged.kind is None else Contradiction(flagged.kind),
        "load": flagged.load,
        "choices": [
            {"choice": each, "says": str(offered(each, flagged.standing)), "wants_reason": each in WANT_REASON}
            for each in choices
        ],
    }
