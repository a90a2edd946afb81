"""The first screen: jobs with their five steps and the boxes that lack something, signed in by a token."""

from http import HTTPStatus
from typing import Any

from flask import Blueprint, current_app, g, make_response, redirect, render_template, request, session, url_for
from sqlalchemy.exc import SQLAlchemyError
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from tracker.records import look
from tracker.records.database import Database
from tracker.shop.errors import NotAllowedError, NotSignedInError, ShopError
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.work.access import bearer_numbered, bearer_of, needs, open_to_all

blueprint = Blueprint("site", __name__)

JOBS_SHOWN = 100
BOXES_SHOWN = 60


def _database() -> Database:
    found: Database = current_app.extensions["shop_database"]
    return found


def check_visitor() -> Response | None:
    """Let a visitor through to a page whose view says who may see it; send whoever is not signed in to sign in."""
    view = current_app.view_functions.get(request.endpoint or "")
    needed: Role | None = getattr(view, "needs", None)
    if needed is None:
        raise NotAllowedError("This page is open to nobody.")
    try:
        g.bearer = bearer_numbered(_database(), int(session.get("token_id", -1)))
    except NotSignedInError:
        session.clear()
        return redirect(url_for("site.sign_in"))
    if not g.bearer.role.includes(needed):
        raise NotAllowedError(f"This page needs the role {needed}.")
    return None


@blueprint.get("/sign-in")
@open_to_all
def sign_in() -> str:
    """The form for a token."""
    return render_template("sign_in.html", wrong=False)


@blueprint.post("/sign-in")
@open_to_all
def post_sign_in() -> Response:
    """Open a session with a token; the session holds the token's number, never the token."""
    try:
        bearer = bearer_of(_database(), request.form.get("token", "").strip())
    except NotSignedInError:
        return make_response(render_template("sign_in.html", wrong=True), HTTPStatus.UNAUTHORIZED)
    session.clear()
    session["token_id"] = bearer.token_id
    return redirect(url_for("site.overview"))


@blueprint.post("/sign-out")
@open_to_all
def sign_out() -> Response:
    """End the session."""
    session.clear()
    return redirect(url_for("site.sign_in"))


@blueprint.get("/")
@needs(Role.STATION)
def overview() -> str:
    """Jobs with their five steps, and the boxes that lack something, soonest due first."""
    with _database().read() as connection:
        jobs = look.list_jobs(connection, limit=JOBS_SHOWN + 1, status=["open", "held"])
        boxes = look.missing_boxes(connection, limit=BOXES_SHOWN + 1)
    return render_template(
        "overview.html",
        jobs=jobs[:JOBS_SHOWN],
        boxes=boxes[:BOXES_SHOWN],
        more_jobs=len(jobs) > JOBS_SHOWN,
        more_boxes=len(boxes) > BOXES_SHOWN,
        steps=list(Step),
        bearer=g.bearer,
    )


def error_page(error: Exception) -> Any:
    """Say on a page what went wrong and what to do."""
    if isinstance(error, NotAllowedError):
        status, detail = HTTPStatus.FORBIDDEN, error.detail
    elif isinstance(error, ShopError):
        status, detail = HTTPStatus.BAD_REQUEST, error.detail
    elif isinstance(error, HTTPException):
        status = HTTPStatus(error.code or 500)
        detail = "There is no such page." if status is HTTPStatus.NOT_FOUND else (error.description or status.phrase)
        if error.response is not None:
            return error.response
    elif isinstance(error, SQLAlchemyError):
        current_app.logger.error("database error", exc_info=error)
        status, detail = HTTPStatus.SERVICE_UNAVAILABLE, "The database does not answer. Try again in a moment."
    else:
        current_app.logger.error("unexpected error", exc_info=error)
        status = HTTPStatus.INTERNAL_SERVER_ERROR
        detail = f"The service failed. Tell whoever looks after it the request id {g.get('request_id', '')}."
    return render_template("error.html", status=status, detail=detail), status
