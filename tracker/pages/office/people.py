"""People: their roles, passwords and badges."""

from http import HTTPStatus

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for

from tracker.pages.office.forms import Answer, done_or_why, role_given, unkept, why_refused
from tracker.pages.words.names import gettext as _
from tracker.pages.words.spoken import spoken
from tracker.records import people as kept
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.roles import Role
from tracker.web.context import bearer, database, now, settings
from tracker.web.numbers import number_within
from tracker.work import badges
from tracker.work import people as work
from tracker.work.access import needs

blueprint = Blueprint("people", __name__)


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
    role = role_given()
    try:
        number = work.add_person(database(), name, role, password=password, now=now())
    except ConflictError as refused:
        return _people_page(wrong=spoken(refused.detail)), HTTPStatus.CONFLICT
    except InvalidInputError as refused:
        return _people_page(wrong=why_refused(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    return redirect(url_for("people.people", added=number), HTTPStatus.SEE_OTHER)


@blueprint.post("/people/<int:number>/role")
@needs(Role.ADMIN)
def change_role(number: int) -> Answer:
    """Change what a person may do."""
    return done_or_why(lambda: work.set_role(database(), number, role_given()), _people_page)


@blueprint.post("/people/<int:number>/password")
@needs(Role.ADMIN)
def change_password(number: int) -> Answer:
    """Give a person a new password; their sessions end."""
    return done_or_why(lambda: work.set_password(database(), number, request.form.get("password", "")), _people_page)


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
    return done_or_why(lambda: badges.withdraw_badges(database(), number, now=now()), _people_page)


@blueprint.get("/people/<int:number>/badge.pdf")
@needs(Role.ADMIN)
def badge(number: int) -> Response:
    """A person's badge, to print at true size."""
    try:
        document = badges.badge_pdf(database(), settings(), number)
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    return unkept(Response(document, mimetype="application/pdf"))


@blueprint.post("/people/<int:number>/withdraw")
@needs(Role.ADMIN)
def withdraw(number: int) -> Answer:
    """Let a person in no more: sessions and badges end."""
    if bearer().person_id == number:
        return _people_page(wrong=_("Nobody takes themselves out. Ask another admin.")), HTTPStatus.CONFLICT
    return done_or_why(lambda: work.withdraw_person(database(), number, now=now()), _people_page)
