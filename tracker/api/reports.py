"""What fitters reported from site, for the foreman to answer."""

from typing import Any

from marshmallow import Schema, fields

from tracker.api.paging import cut, number_after
from tracker.api.service import CallBlueprint
from tracker.api.shapes import PageShape, Time, page_of
from tracker.shop.roles import Role
from tracker.web.context import bearer, database, now
from tracker.work.access import needs
from tracker.work.reports import close_report, open_reports

blueprint = CallBlueprint("reports", __name__)


class ReportShape(Schema):
    """One thing that was missing or damaged at the site; ``part`` is null for an item of the bag."""

    id = fields.Integer()
    job = fields.String()
    cabinet = fields.String()
    part = fields.String(allow_none=True)
    name = fields.String()
    what = fields.String()
    told_by = fields.String()
    note = fields.String()
    at = Time()


@blueprint.route("/reports", methods=["GET"])
@blueprint.arguments(PageShape, location="query")
@blueprint.response(200, page_of("ReportsShape", ReportShape))
@needs(Role.FOREMAN)
def get_reports(query: dict[str, Any]) -> dict[str, Any]:
    """What was reported from site and nobody has dealt with, the oldest first."""
    found = open_reports(database(), limit=query["limit"] + 1, after=number_after(query["after"]))
    return cut(found, query["limit"], lambda report: str(report.id))


@blueprint.route("/reports/<int:number>/close", methods=["POST"])
@blueprint.response(204)
@needs(Role.FOREMAN)
def post_close(number: int) -> None:
    """A report was dealt with: the part is replaced, the item sent."""
    close_report(database(), number, who=bearer().name, now=now())
