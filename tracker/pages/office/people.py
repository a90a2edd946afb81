"""Who and what may sign in: people and their badges, stations and their tablets, tokens; and one's own choices."""

import secrets
from collections.abc import Callable
from http import HTTPStatus
from typing import Any, Final

from flask import Blueprint, Response, abort, flash, make_response, redirect, render_template, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.frame.csrf import check_form
from tracker.pages.frame.sign_in import SECRET, bearer_of_session
from tracker.pages.frame.ways_back import way_back
from tracker.pages.words import languages, measures
from tracker.pages.words.clocks import CLOCKS_OF, clock_says
from tracker.pages.words.names import gettext as _
from tracker.pages.words.spoken import spoken
from tracker.records import people as kept
from tracker.records.access import list_stations
from tracker.records.clocks import wrong_clocks
from tracker.shop.codes import Code, Kind
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError, NotSignedInError, ThrottledError
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.translations.catalogues import LANGUAGES
from tracker.web.context import bearer, database, now, settings
from tracker.web.numbers import number_within
from tracker.work import access, badges, devices, sessions
from tracker.work import people as work
from tracker.work.access import Bearer, needs, open_to_all

blueprint = Blueprint("people", __name__)

Answer = AnyResponse | str | tuple[str, int]
COOKIE_S: Final = 400 * 24 * 3600


# People


@blueprint.get("/people")
@needs(Role.ADMIN)
def people() -> str:
    """All people, and the form for a new one. ``added`` and ``badge`` name whom something was just made for."""
    return _people_page()


def _people_page(*, wrong: str = "") -> str:
    with database().read() as connection:
        found = kept.list_people(connection)
        codes = kept.badges_in_force(connection)
    working = {each.id: each for each in found if not each.withdrawn}
    with_badge = working.get(number_within(request.args.get("badge", "")) or 0)
    return render_template(
        "office/people.html",
        people=found,
        badges=codes,
        roles=list(Role),
        wrong=wrong,
        added=working.get(number_within(request.args.get("added", "")) or 0),
        with_badge=with_badge if with_badge is not None and with_badge.id in codes else None,
        given=request.form if "name" in request.form else {},
    )


@blueprint.post("/people")
@needs(Role.ADMIN)
def add_person() -> Answer:
    """Add a person; without a password they work by badge alone."""
    given = request.form
    name, password = given.get("name", "").strip(), given.get("password", "") or None
    role = _role()
    try:
        number = work.add_person(database(), name, role, password=password, now=now())
    except ConflictError as refused:
        return _people_page(wrong=spoken(refused.detail)), HTTPStatus.CONFLICT
    except InvalidInputError as refused:
        return _people_page(wrong=_why(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    return redirect(url_for("people.people", added=number), HTTPStatus.SEE_OTHER)


@blueprint.post("/people/<int:number>/role")
@needs(Role.ADMIN)
def change_role(number: int) -> Answer:
    """Change what a person may do."""
    return _do(lambda: work.set_role(database(), number, _role()), _people_page)


@blueprint.post("/people/<int:number>/password")
@needs(Role.ADMIN)
def change_password(number: int) -> Answer:
    """Give a person a new password; their sessions end."""
    return _do(lambda: work.set_password(database(), number, request.form.get("password", "")), _people_page)


@blueprint.post("/people/<int:number>/badge")
@needs(Role.ADMIN)
def new_badge(number: int) -> Answer:
    """Give a person a new badge, and show it; the one before counts no more."""
    try:
        work.make_badge(database(), number, now=now())
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    return redirect(url_for("people.people", badge=number), HTTPStatus.SEE_OTHER)


@blueprint.post("/people/<int:number>/badge/withdraw")
@needs(Role.ADMIN)
def withdraw_badge(number: int) -> Answer:
    """Let a person's badge count no more, as when it was lost."""
    return _do(lambda: badges.withdraw_badges(database(), number, now=now()), _people_page)


@blueprint.get("/people/<int:number>/badge.pdf")
@needs(Role.ADMIN)
def badge(number: int) -> Response:
    """A person's badge, to print at true size."""
    try:
        document = badges.badge_pdf(database(), settings(), number)
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    return _unkept(Response(document, mimetype="application/pdf"))


@blueprint.post("/people/<int:number>/withdraw")
@needs(Role.ADMIN)
def withdraw(number: int) -> Answer:
    """Let a person in no more: sessions and badges end."""
    if bearer().person_id == number:
        return _people_page(wrong=_("Nobody takes themselves out. Ask another admin.")), HTTPStatus.CONFLICT
    return _do(lambda: work.withdraw_person(database(), number, now=now()), _people_page)


# Stations and their tablets


@blueprint.get("/stations")
@needs(Role.FOREMAN)
def stations() -> str:
    """The stations with their tablets, and the form for a new station."""
    return _stations_page()


def _stations_page(*, wrong: str = "", pairing: tuple[str, str] | None = None) -> str:
    with database().read() as connection:
        found = list_stations(connection)
        clocks = wrong_clocks(connection, since=now() - CLOCKS_OF)
    inside = devices.in_force(devices.tokens(database()))
    return render_template(
        "office/stations.html",
        clocks=[(each.station, clock_says(each)) for each in clocks],
        stations=[
            (str(Code(Kind.STATION, each.id)), each, [token for token in inside if token.station == each.name])
            for each in found
        ],
        may_add=bearer().role.includes(Role.ADMIN),
        pairing=pairing,
        wrong=wrong,
        given=request.form,
    )


@blueprint.post("/stations")
@needs(Role.ADMIN)
def new_station() -> Answer:
    """Add a station."""
    name, strict = request.form.get("name", "").strip(), "strict" in request.form
    return _do(lambda: access.add_station(database(), name, _step(), strict=strict), _stations_page)


@blueprint.post("/stations/pair")
@needs(Role.FOREMAN)
def pair() -> Response:
    """Show the code by which one tablet signs in as a station: once, and in no cookie."""
    name = request.form.get("station", "")
    try:
        code = sessions.make_pairing(database(), name, now=now())
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    return _unkept(make_response(_stations_page(pairing=(name, f"{code[:4]} {code[4:]}"))))


@blueprint.post("/stations/tablets/<int:number>/withdraw")
@needs(Role.FOREMAN)
def withdraw_tablet(number: int) -> Answer:
    """Sign out one of a station's tablets."""
    if not any(each.id == number and each.station for each in devices.tokens(database())):
        abort(HTTPStatus.NOT_FOUND)
    return _do(lambda: devices.withdraw_numbered(database(), number, now=now()), _stations_page)


# Tokens


@blueprint.get("/tokens")
@needs(Role.ADMIN)
def tokens() -> str:
    """The tokens of programs and tablets, and the form for a new one."""
    return _tokens_page()


def _tokens_page(*, wrong: str = "", made: tuple[str, str] | None = None) -> str:
    with database().read() as connection:
        found = list_stations(connection)
    return render_template(
        "office/tokens.html",
        tokens=devices.tokens(database()),
        stations=found,
        roles=list(Role),
        made=made,
        wrong=wrong,
        given=request.form,
    )


@blueprint.post("/tokens")
@needs(Role.ADMIN)
def new_token() -> Answer:
    """Make a token and show it, once."""
    name, station = request.form.get("name", "").strip(), request.form.get("station", "") or None
    try:
        plain = access.make_token(
            database(), name, _role(), station, secret=lambda: secrets.token_urlsafe(32), now=now()
        )
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    except InvalidInputError as refused:
        return _tokens_page(wrong=_why(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    return _unkept(make_response(_tokens_page(made=(name, plain))))


@blueprint.post("/tokens/<int:number>/withdraw")
@needs(Role.ADMIN)
def withdraw_token(number: int) -> Answer:
    """Withdraw one token: it opens nothing any more."""
    return _do(lambda: devices.withdraw_numbered(database(), number, now=now()), _tokens_page)


# One's own choices


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
        chosen_units=measures.units(),
        wrong=wrong,
    )


@blueprint.post("/me")
@needs(Role.STATION)
def post_choices() -> AnyResponse:
    """Keep the language and the units: with the person, and in this browser."""
    given = request.form
    language = given.get("language") if given.get("language") in LANGUAGES else None
    units = Units(given["units"]) if given.get("units") in set(Units) else None
    response = redirect(url_for("people.me"))
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
        return _own_page(wrong=_why(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    flash(_("The password is changed. Other devices sign in again."))
    return redirect(url_for("people.me"))


# What they share


def _do(act: Callable[[], object], page: Callable[..., str]) -> Answer:
    """Do it and show the page anew, or show it with what keeps it from being done."""
    try:
        act()
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    except ConflictError as refused:
        return page(wrong=spoken(refused.detail)), HTTPStatus.CONFLICT
    except InvalidInputError as refused:
        return page(wrong=_why(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    flash(_("Done."))
    return redirect(url_for(f"people.{_PAGES[page]}"))


_PAGES: Final[dict[Callable[..., str], str]] = {
    _people_page: "people",
    _stations_page: "stations",
    _tokens_page: "tokens",
}


def _why(refused: InvalidInputError) -> str:
    """Say in the reader's language which field cannot be used."""
    if any(fault.where.get("field") == "password" for fault in refused.faults):
        return _("A password has %(shortest)s to 200 characters.", shortest=work.SHORTEST_PASSWORD)
    return _("A name has 1 to 80 characters, no spaces around it.")


def _role() -> Role:
    try:
        return Role(request.form.get("role", ""))
    except ValueError:
        abort(HTTPStatus.UNPROCESSABLE_ENTITY)


def _step() -> Step:
    try:
        return Step(request.form.get("step", ""))
    except ValueError:
        abort(HTTPStatus.UNPROCESSABLE_ENTITY)


def _unkept(response: Response) -> Response:
    """A page with a secret on it, which no cache keeps."""
    response.headers["Cache-Control"] = "no-store"
    return response
