"""A foreman's word at somebody else's bench: by badge, or by name and password, with the packer still signed in."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from flask import request
from flask_babel import gettext as _

from tracker.shop.errors import NotSignedInError, ThrottledError
from tracker.shop.roles import Role
from tracker.web.context import bearer, database, now
from tracker.work import sessions


class NotTakenError(Exception):
    """What a packer did was not taken: ``detail`` says why, ``more`` goes beside it in the answer."""

    def __init__(self, detail: str, *, status: HTTPStatus = HTTPStatus.CONFLICT, **more: Any) -> None:
        super().__init__(detail)
        self.detail = detail
        self.status = status
        self.more = more


def foreman_at_bench(body: Mapping[str, Any]) -> str:
    """Return the name of the foreman who decides; whoever is signed in as one needs no second word.

    Raises NotTakenError when none is given, the badge or the password is not right, or its holder is no foreman.
    """
    if bearer().role.includes(Role.FOREMAN):
        return bearer().name
    given = {key: str(body.get(key) or "") for key in ("badge", "name", "password")}
    if not given["badge"] and not (given["name"] and given["password"]):
        raise NotTakenError(_("Scan the foreman's badge, or write the foreman's name and password."))
    attempt = sessions.Attempt(address=request.remote_addr or "", now=now())
    try:
        if given["badge"]:
            person = sessions.sign_in_by_badge(database(), given["badge"], attempt)
        else:
            person = sessions.check_password(database(), given["name"], given["password"], attempt)
    except ThrottledError as wait:
        told = _("Too many wrong guesses. Wait %(seconds)s seconds, then try again.", seconds=wait.wait_s)
        raise NotTakenError(told, status=HTTPStatus.TOO_MANY_REQUESTS) from wait
    except NotSignedInError as refused:
        told = _("This badge, or this name and password, is not a foreman's.")
        raise NotTakenError(told, status=HTTPStatus.FORBIDDEN) from refused
    if not person.role.includes(Role.FOREMAN):
        raise NotTakenError(_("%(name)s is no foreman.", name=person.name), status=HTTPStatus.FORBIDDEN)
    return person.name
