"""What fitters reported from site: each report asks for a decision."""

from typing import Final

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from tracker.shop.errors import NotFoundError
from tracker.shop.roles import Role
from tracker.web.context import bearer, database, now
from tracker.work.access import needs
from tracker.work.reports import close_report, open_reports

blueprint = Blueprint("site_reports", __name__)

REPORTS_A_PAGE: Final = 50


@blueprint.get("/reports")
@needs(Role.FOREMAN)
def reports() -> str:
    """What was reported from site and nobody has dealt with, the oldest first."""
    after = request.args.get("after", 0, type=int)
    found = open_reports(database(), limit=REPORTS_A_PAGE + 1, after=max(0, min(after, 2**31 - 1)))
    shown = found[:REPORTS_A_PAGE]
    more = shown[-1].id if len(found) > REPORTS_A_PAGE else 0
    return render_template("foreman/reports.html", reports=shown, more=more)


@blueprint.post("/reports/<int:number>/close")
@needs(Role.FOREMAN)
def close(number: int) -> AnyResponse:
    """A report was dealt with: the part is replaced, the item sent."""
    if number >= 2**31:
        abort(404)
    try:
        close_report(database(), number, who=bearer().name, now=now())
    except NotFoundError:
        abort(404)
    return redirect(url_for("site_reports.reports"), 303)
