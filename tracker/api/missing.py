"""What is missing from the boxes that are not complete."""

from typing import Any

from marshmallow import Schema, fields

from tracker.api.boxes import ItemShape
from tracker.api.paging import box_after
from tracker.api.parts import ListedPartShape
from tracker.api.service import CallBlueprint
from tracker.api.shapes import PageShape, page_of
from tracker.records.missing_lists import Bounds, missing_page
from tracker.shop.roles import Role
from tracker.web.context import database
from tracker.work.access import needs

blueprint = CallBlueprint("missing_boxes", __name__)


class MissingPartShape(ListedPartShape):
    """A part that a box lacks; ``expected_at`` is null while nothing is known to tell it from."""

    urgent = fields.Boolean()
    expected_at = fields.Constant(None)


class MissingBoxShape(Schema):
    """A box that is not complete: it lacks parts, or items are still to be counted into it, or both."""

    box = fields.String(attribute="code")
    name = fields.String()
    state = fields.String()
    job = fields.String(attribute="job.code")
    customer = fields.String(attribute="job.customer")
    due = fields.Date(attribute="job.due")
    on_load = fields.String(attribute="load_code", data_key="load", allow_none=True)
    leaves = fields.Date(
        attribute="listed_on",
        metadata={
            "description": "the day of its load; where none is planned its job's due date, or the day of the load that "
            "left without it, if that was sooner"
        },
    )
    missing = fields.List(fields.Nested(MissingPartShape), attribute="parts")
    counting = fields.List(
        fields.Nested(ItemShape),
        attribute="items",
        data_key="items",
        metadata={"description": "still to be counted into it"},
    )


class MissingQueryShape(PageShape):
    """Which boxes."""

    job = fields.String(load_default="")


@blueprint.route("/missing", methods=["GET"])
@blueprint.arguments(MissingQueryShape, location="query")
@blueprint.response(200, page_of("MissingShape", MissingBoxShape))
@needs(Role.STATION)
def get_missing(query: dict[str, Any]) -> dict[str, Any]:
    """Every box not yet complete, soonest leaving first: the parts that it lacks, and the items to be counted into it.

    A box leaves on the day of its load, or where none is planned when its job is due. Once others of its job have left
    it should have left with them.
    """
    after = None if not query["after"] else box_after(query["after"])
    with database().read() as connection:
        page = missing_page(connection, after=after, job_code=query["job"] or None, bounds=Bounds(boxes=query["limit"]))
    return {"items": page.boxes, "next": None if page.next is None else str(page.next)}
