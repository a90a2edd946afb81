"""One's own language, units and password."""

from http import HTTPStatus
from typing import Any, Final

from flask import Blueprint, flash, make_response, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.frame.csrf import check_form
from tracker.pages.frame.sign_in import SECRET, bearer_of_session
from tracker.pages.frame.ways_back import way_back
from tracker.pages.office.forms import Answer, why_refused
from tracker.pages.words import languages, measures
from tracker.pages.words.names import gettext as _
from tracker.shop.errors import InvalidInputError, NotSignedInError, ThrottledError
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.translations.catalogues import LANGUAGES
from tracker.web.context import bearer, database, now
from tracker.work import people as work
from tracker.work import sessions
from tracker.work.access import Bearer, needs, open_to_all

blueprint = Blueprint("me", __name__)
COOKIE_S: Final = 400 * 24 * 3600


@blueprint.get("/me")
@needs(Role.STATION)
def me() -> str:
    """What whoever is signed in has chosen."""
    return _own_page()


def _own_page(*, wrong: str = "") -> str:
    has_own = bearer().person_id is not None or bearer().worker_id is not None
    own = bearer().language if has_own else request.cookies.get(languages.COOKIE)
    return render_template(
        "office/me.html",
        choices=LANGUAGES,
        own_language=own,
        units=list(Units),
        wrong=wrong,
    )


@blueprint.post("/me")
@needs(Role.STATION)
def post_choices() -> AnyResponse:
    """Keep the language and the units: with the person, and in this browser."""
    given = request.form
    language = given.get("language") if given.get("language") in LANGUAGES else None
    units = Units(given["units"]) if given.get("units") in set(Units) else None
    response = redirect(url_for("me.me"))
    return _keep(response, bearer(), language, units)


@blueprint.post("/language")
@open_to_all
def post_language() -> AnyResponse:
    """Change the language and come back to the same page; before signing in, too."""
    check_form()
    language = request.form.get("language", "")
    response = redirect(way_back(url_for("site.sign_in")))
    if language not in LANGUAGES:
        return response
    who = bearer_of_session()
    return _keep(response, who, language, Units(who.units) if who is not None and who.units else None)


def _keep(response: AnyResponse, who: Bearer | None, language: str | None, units: Units | None) -> AnyResponse:
    # At a tablet the choice is that of the worker whose badge was scanned: theirs goes before the browser's.
    number = None if who is None else who.person_id or who.worker_id
    if number is not None:
        work.set_choices(database(), number, language=language, units=units)
    more: dict[str, Any] = {"httponly": True, "samesite": "Strict", "secure": request.is_secure}
    if language is None:
        response.delete_cookie(languages.COOKIE, **more)
    else:
        response.set_cookie(languages.COOKIE, language, max_age=COOKIE_S, **more)
    if units is not None:
        response.set_cookie(measures.COOKIE, units.value, max_age=COOKIE_S, **more)
    return response


@blueprint.post("/me/password")
@needs(Role.STATION)
def post_password() -> Answer:
    """Change one's own password, knowing the old one; one's other sessions end."""
    who, given = bearer(), request.form
    if who.person_id is None:
        return _own_page(wrong=_("Only a person has a password.")), HTTPStatus.CONFLICT
    attempt = sessions.Attempt(address=request.remote_addr or "", now=now())
    try:
        sessions.check_password(database(), who.name, given.get("old", ""), attempt)
        keep = sessions.digest_of_session(session[SECRET])
        work.set_password(database(), who.person_id, given.get("new", ""), keep=keep)
    except ThrottledError as wait:
        wrong = _("Too many wrong guesses. Wait %(seconds)s seconds, then try again.", seconds=wait.wait_s)
        response = make_response(_own_page(wrong=wrong), HTTPStatus.TOO_MANY_REQUESTS)
        response.headers["Retry-After"] = str(wait.wait_s)
        return response
    except NotSignedInError:
        return _own_page(wrong=_("The password until now is not right.")), HTTPStatus.UNPROCESSABLE_ENTITY
    except InvalidInputError as refused:
        return _own_page(wrong=why_refused(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    flash(_("The password is changed. Other devices sign in again."))
    return redirect(url_for("me.me"))
