"""Signing in and out, who may see a page, and what a page says when something went wrong."""

from http import HTTPStatus
from typing import Any

from flask import Blueprint, current_app, g, make_response, redirect, render_template, request, session, url_for
from flask_babel import gettext as _gettext
from sqlalchemy.exc import SQLAlchemyError
from werkzeug.exceptions import HTTPException
from werkzeug.wrappers import Response

from tracker.pages.frame.csrf import SAFE, check_form, is_ours
from tracker.pages.frame.polling import change_tag
from tracker.pages.frame.ways_back import is_own_path
from tracker.pages.words.spoken import spoken
from tracker.records.failures import failure_of
from tracker.shop.errors import (
    BusyError,
    InvalidInputError,
    NotAllowedError,
    NotFoundError,
    NotSignedInError,
    ShopError,
    ThrottledError,
)
from tracker.shop.failures import Failure, told_of
from tracker.shop.roles import Role
from tracker.web.context import database, now
from tracker.work import sessions
from tracker.work.access import Bearer, needs, open_to_all

blueprint = Blueprint("site", __name__)


def _(text: str, **values: Any) -> str:
    """Return a text in the language of whoever looks."""
    return str(_gettext(text, **values))


SECRET = "visit"  # noqa: S105 - the name of a field of the session, no secret


def check_bearer() -> Response | None:
    """Let a visitor through to a page whose view says who may see it; send whoever is not signed in to sign in."""
    view = current_app.view_functions.get(request.endpoint or "")
    needed: Role | None = getattr(view, "needs", None)
    if needed is None:
        raise NotAllowedError(_("This page is open to nobody."))
    try:
        g.bearer = _bearer()
    except NotSignedInError as ended:
        return _to_sign_in(ended)
    if not g.bearer.role.includes(needed):
        raise NotAllowedError(_("This page needs the role %(role)s.", role=needed.value))
    check_form()
    if request.method == "GET" and request.accept_mimetypes.accept_html:
        g.change_tag = change_tag(database())  # before the page is drawn: a change meanwhile is then asked for
    return None


def _to_sign_in(ended: NotSignedInError) -> Response:
    """Send to the sign-in page and back afterwards; a script is told by the status alone."""
    had_one = SECRET in session
    session.pop(SECRET, None)
    if _asks_a_script():
        return make_response({"detail": spoken(ended.detail)}, HTTPStatus.UNAUTHORIZED)
    where = request.full_path.rstrip("?") if request.method == "GET" else "/"
    back = None if where == "/" else where
    return redirect(url_for("site.sign_in", next=back, ended=1 if had_one else None))


def _asks_a_script() -> bool:
    return request.accept_mimetypes.best_match(["text/html", "application/json"]) == "application/json"


def bearer_of_session() -> Bearer | None:
    """Return who is signed in by the session of a page of ours, or None."""
    return bearer_or_none() if is_ours() else None


def bearer_or_none() -> Bearer | None:
    """Return who is signed in, or None; enough to read by, not to change anything."""
    try:
        return _bearer()
    except NotSignedInError:
        return None


def _bearer() -> Bearer:
    acts = request.method not in SAFE
    polls = not acts and _asks_a_script()
    note = current_app.extensions["shop_session_notes"].note
    return sessions.bearer_of(database(), session.get(SECRET, ""), now(), acts=acts, polls=polls, note=note)


@blueprint.get("/sign-in")
@open_to_all
def sign_in() -> str:
    """The three ways in: name and password, a station's pairing code, a token."""
    return _sign_in_page(ended="ended" in request.args)


@blueprint.post("/sign-in")
@open_to_all
def post_sign_in() -> Response:
    """Open a session; the browser holds its secret, never the password or the token."""
    check_form()
    attempt = sessions.Attempt(address=request.remote_addr or "", now=now())
    given = request.form
    try:
        if given.get("pairing", "").strip():
            secret = sessions.pair(database(), given["pairing"], attempt)
        elif given.get("token", "").strip():
            secret = sessions.sign_in_by_token(database(), given["token"], attempt)
        else:
            secret = sessions.sign_in(database(), given.get("name", ""), given.get("password", ""), attempt)
    except ThrottledError as wait:
        response = make_response(_sign_in_page(wrong=spoken(wait.detail)), HTTPStatus.TOO_MANY_REQUESTS)
        response.headers["Retry-After"] = str(wait.wait_s)
        return response
    except NotSignedInError as refused:
        return make_response(_sign_in_page(wrong=spoken(refused.detail)), HTTPStatus.UNAUTHORIZED)
    session.clear()  # nothing of what was there before signing in goes on: a planted session opens nothing
    session.permanent = True
    session[SECRET] = secret
    return redirect(_own_path(given.get("next", "")) or _first_page(secret))


def _first_page(secret: str) -> str:
    """Return where somebody starts: a paired tablet at its station, packers at the bench, others at the jobs."""
    bearer = sessions.bearer_of(database(), secret, now())
    if bearer.station is not None or bearer.role is Role.STATION:
        return url_for("station.choose")
    return url_for("pack.choose" if bearer.role is Role.PACKER else "jobs_board.board")


def _sign_in_page(*, wrong: str = "", ended: bool = False) -> str:
    back = _own_path(request.values.get("next", ""))
    return render_template(
        "frame/sign_in.html", wrong=wrong, ended=ended, next=back, name=request.form.get("name", ""), given=request.form
    )


def _own_path(given: str) -> str:
    """Return a path of this service, or nothing: nobody is led to another host."""
    return given if is_own_path(given) else ""


@blueprint.post("/sign-out")
@open_to_all
def sign_out() -> Response:
    """End the session, here and in the shop's records."""
    check_form()
    sessions.sign_out(database(), session.get(SECRET, ""))
    session.clear()
    return redirect(url_for("site.sign_in"))


@blueprint.post("/station/badge")
@needs(Role.STATION)
def badge() -> Any:
    """Take a worker's badge at a station's tablet: the following scans are theirs."""
    given = request.get_json(silent=True)
    given = given if isinstance(given, dict) else {}
    code, told = given.get("code"), {"id": str(given["id"])[:40]} if "id" in given else {}
    if g.bearer.person_id is None and g.bearer.station is None:
        return {"detail": _("A badge is scanned at a station's own tablet.")}, HTTPStatus.CONFLICT
    attempt = sessions.Attempt(address=request.remote_addr or "", now=now())
    try:
        name = _badge_read(str(code or "")[:80], attempt)
    except ThrottledError as wait:
        # Not 429: the station screen would send the badge again and hold up every scan that waits behind it.
        return {"detail": spoken(wait.detail)}, HTTPStatus.FORBIDDEN, {"Retry-After": str(wait.wait_s)}
    except NotSignedInError:
        return {"detail": _("Nobody is known by this badge. Ask the office for a new one.")}, HTTPStatus.NOT_FOUND
    if g.bearer.person_id is not None and name != g.bearer.name:
        signed_in = _(
            "This screen is signed in as %(name)s: what is scanned here is theirs. Sign out first.", name=g.bearer.name
        )
        return {"detail": signed_in}, HTTPStatus.CONFLICT
    return {**told, "name": name}


def _badge_read(code: str, attempt: sessions.Attempt) -> str:
    """Return whose badge it is; what follows at a paired tablet is theirs, but not where somebody signed in by name."""
    if g.bearer.person_id is not None:
        return sessions.sign_in_by_badge(database(), code, attempt).name
    return sessions.note_badge(database(), session.get(SECRET, ""), code, attempt)


def _of_status(status: HTTPStatus) -> str:
    if status is HTTPStatus.NOT_FOUND:
        return _("There is no such page.")
    if status is HTTPStatus.REQUEST_ENTITY_TOO_LARGE:
        return _("What was sent is too large.")
    return _("The service cannot answer what was sent here.")


def error_page(error: Exception) -> Any:
    """Say what went wrong and what to do: on a page, or to a script that asks for JSON."""
    if isinstance(error, NotAllowedError):
        status, detail = HTTPStatus.FORBIDDEN, error.detail
    elif isinstance(error, NotFoundError):
        status, detail = HTTPStatus.NOT_FOUND, error.detail
    elif isinstance(error, InvalidInputError):
        status, detail = HTTPStatus.UNPROCESSABLE_ENTITY, error.detail
    elif isinstance(error, BusyError):
        status, detail = HTTPStatus.SERVICE_UNAVAILABLE, error.detail
    elif isinstance(error, ShopError):
        status, detail = HTTPStatus.BAD_REQUEST, error.detail
    elif isinstance(error, HTTPException):
        status = HTTPStatus(error.code or 500)
        detail = _of_status(status)
        if error.response is not None:
            return error.response
    elif isinstance(error, SQLAlchemyError):
        current_app.logger.error("database error", exc_info=error)
        status, detail = HTTPStatus.SERVICE_UNAVAILABLE, told_of(failure_of(error) or Failure.AWAY)
    else:
        current_app.logger.error("unexpected error", exc_info=error)
        status = HTTPStatus.INTERNAL_SERVER_ERROR
        number = g.get("request_id", "")
        detail = _("The service failed. Tell whoever looks after it the request id %(number)s.", number=number)
    if _asks_a_script():
        return {"detail": spoken(detail)}, status
    return render_template("frame/error.html", status=status, detail=spoken(detail)), status
