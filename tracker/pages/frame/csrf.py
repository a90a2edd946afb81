"""Proof that a request with a session comes from a page of ours: a secret of the session, sent back with it."""

import hmac
import secrets

from flask import Flask, request, session
from flask_babel import gettext as _

from tracker.shop.errors import NotAllowedError

FIELD = "csrf_token"
HEADER = "X-CSRF-Token"
SAFE = frozenset({"GET", "HEAD", "OPTIONS"})


def csrf_token() -> str:
    """Return this session's secret for forms and scripts; made when it is first asked for."""
    if FIELD not in session:
        session[FIELD] = secrets.token_urlsafe(24)
    found: str = session[FIELD]
    return found


def is_ours() -> bool:
    """Whether the request carries its session's secret, in the header or in the form."""
    known = session.get(FIELD, "")
    given = request.headers.get(HEADER) or request.form.get(FIELD, "")
    return bool(known) and hmac.compare_digest(known.encode(), given.encode())


def check_form() -> None:
    """Refuse a request that changes something and does not come from a page of ours."""
    if request.method not in SAFE and not is_ours():
        raise NotAllowedError(str(_("This page is too old to be sent. Load it again and repeat what you did.")))


def add_csrf(app: Flask) -> None:
    """Give the templates ``csrf_token()``."""
    app.jinja_env.globals["csrf_token"] = csrf_token
