"""What the forms share by which people, stations and tokens are kept: done, or why not."""

from collections.abc import Callable
from http import HTTPStatus

from flask import Response, abort, flash, redirect, request
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.words.names import gettext as _
from tracker.pages.words.spoken import spoken
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.roles import Role
from tracker.work import people as work

Answer = AnyResponse | str | tuple[str, int]


def done_or_why(act: Callable[[], object], page: Callable[..., str]) -> Answer:
    """Do it and show the page anew, or show it with what keeps it from being done."""
    try:
        act()
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    except ConflictError as refused:
        return page(wrong=spoken(refused.detail)), HTTPStatus.CONFLICT
    except InvalidInputError as refused:
        return page(wrong=why_refused(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    flash(_("Done."))
    return redirect(f"/{request.path.split('/')[1]}")  # each form lies under its page


def why_refused(refused: InvalidInputError) -> str:
    """Say in the reader's language which field cannot be used."""
    if any(fault.where.get("field") == "password" for fault in refused.faults):
        return _("A password has %(shortest)s to 200 characters.", shortest=work.SHORTEST_PASSWORD)
    return _("A name has 1 to 80 characters, no spaces around it.")


def unkept(response: Response) -> Response:
    """A page with a secret on it, which no cache keeps."""
    response.headers["Cache-Control"] = "no-store"
    return response


def role_given() -> Role:
    """Return the role that a form sends."""
    try:
        return Role(request.form.get("role", ""))
    except ValueError:
        abort(HTTPStatus.UNPROCESSABLE_ENTITY)
