"""Whose a reading is that a page sends later.

A page keeps with each reading the name that was signed in when it was read, signed by the service, and sends it along:
the reading stays theirs when somebody else has signed in before the network came back. A station's own tablet keeps
none: its badges wait in the same queue and say who came next.
"""

from collections.abc import Mapping
from datetime import timedelta
from typing import Any, Final

from flask import current_app
from itsdangerous import BadData, URLSafeTimedSerializer

from tracker.pages.context import bearer

KEPT: Final = timedelta(days=90)


def byline() -> str:
    """Return who is signed in, for a page to keep with what is read there."""
    return "" if bearer().station is not None else _signer().dumps(bearer().name)


def whose(given: Mapping[str, Any]) -> str:
    """Return the name that a reading is logged under: the one it was sent with, or who is signed in now."""
    try:
        return str(_signer().loads(str(given.get("by") or ""), max_age=int(KEPT.total_seconds())))
    except BadData:
        return bearer().name


def _signer() -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(current_app.secret_key or "", salt="byline")
