"""Tokens of programs."""

import secrets
from http import HTTPStatus

from flask import Blueprint, abort, make_response, render_template, request

from tracker.pages.office.forms import Answer, done_or_why, role_given, unkept, why_refused
from tracker.records.access import list_stations
from tracker.shop.errors import InvalidInputError, NotFoundError
from tracker.shop.roles import Role
from tracker.web.context import database, now
from tracker.work import access, devices
from tracker.work.access import needs

blueprint = Blueprint("token_pages", __name__)


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
            database(), name, role_given(), station, secret=lambda: secrets.token_urlsafe(32), now=now()
        )
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    except InvalidInputError as refused:
        return _tokens_page(wrong=why_refused(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    return unkept(make_response(_tokens_page(made=(name, plain))))


@blueprint.post("/tokens/<int:number>/withdraw")
@needs(Role.ADMIN)
def withdraw_token(number: int) -> Answer:
    """Withdraw one token: it opens nothing any more."""
    return done_or_why(lambda: devices.withdraw_numbered(database(), number, now=now()), _tokens_page)
