"""Parts: looked at, replaced, repaired."""

from typing import Any, Final

from tracker.api.context import number_of
from tracker.api.schemas import PartShape, PartWithHistoryShape, ReasonShape
from tracker.api.service import CallBlueprint
from tracker.records import look
from tracker.records.boards import board_of
from tracker.records.designs import marks_of
from tracker.records.look import PartView
from tracker.records.printing import prints_of
from tracker.shop.codes import Kind
from tracker.shop.errors import NotFoundError
from tracker.shop.roles import Role
from tracker.web.context import act, database, now
from tracker.work.access import needs
from tracker.work.replace import repair_part, replace_part

blueprint = CallBlueprint("parts", __name__)

MOST_PRINTS: Final = 100


@blueprint.route("/parts/<code>", methods=["GET"])
@blueprint.response(200, PartWithHistoryShape)
@needs(Role.STATION)
def get_part(code: str) -> dict[str, Any]:
    """One part with every scan of it, its joints, and the board that it comes off."""
    part_id = number_of(code, Kind.PART)
    with database().read() as connection:
        part = _part(look.part_view(connection, part_id), code)
        history = look.part_history(connection, part_id, number_of(part.box, Kind.BOX))
        marks = marks_of(connection, [part_id]).get(part_id)
        board = board_of(connection, part_id)
        prints = prints_of(connection, part.code, now(), limit=MOST_PRINTS)
    shaped: dict[str, Any] = PartShape().dump(part)
    return {
        **{name: getattr(part, name) for name in shaped},
        "board": board,
        "marks": marks.marks if marks else (),
        "front_side": marks.front if marks else None,
        "history": history,
        "prints": prints,
    }


@blueprint.route("/parts/<code>/replace", methods=["POST"])
@blueprint.arguments(ReasonShape)
@blueprint.response(201, PartShape)
@needs(Role.FOREMAN)
def post_replace(body: dict[str, Any], code: str) -> PartView:
    """Order a new part in place of this one. The old label is dead."""
    new_id_of_part = replace_part(
        database(),
        number_of(code, Kind.PART),
        body["reason"],
        **act(),
    )
    with database().read() as connection:
        return _part(look.part_view(connection, new_id_of_part), code)


@blueprint.route("/parts/<code>/repair", methods=["POST"])
@blueprint.arguments(ReasonShape)
@blueprint.response(200, PartShape)
@needs(Role.FOREMAN)
def post_repair(body: dict[str, Any], code: str) -> PartView:
    """Record that a damaged part is good again."""
    part_id = number_of(code, Kind.PART)
    repair_part(database(), part_id, body["reason"], **act())
    with database().read() as connection:
        return _part(look.part_view(connection, part_id), code)


def _part(found: PartView | None, code: str) -> PartView:
    if found is None:
        raise NotFoundError(f"There is no part {code[:40]}.")
    return found
