"""Whose a reading is that a page sends later.

A page keeps with each reading who was signed in when it was read, signed by the service, and sends it along: the
reading stays theirs when somebody else has signed in before the network came back. It says so of what was read within
half a day after the page had it, and no longer than its person or token stands. A station's own tablet keeps none and
takes none: its badges wait in the same queue and say who came next.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any, Final

from flask import current_app
from itsdangerous import BadData, URLSafeTimedSerializer

from tracker.pages.frame.cookies import PatientSigner
from tracker.web.context import bearer, database, now
from tracker.work.sessions import IDLE, in_force

KEPT: Final = timedelta(days=90)
_GIVE: Final = timedelta(minutes=1)  # a second is cut off the time of signing, and clocks differ a little


def byline() -> str:
    """Return who is signed in, for a page to keep with what is read there."""
    own = bearer()
    return "" if own.station is not None else _signer().dumps([own.name, own.person_id, own.token_id])


def whose(given: Mapping[str, Any], read: datetime) -> str:
    """Return the name that a reading of a moment is logged under: the one it was sent with, or who is signed in now."""
    by = given.get("by")
    if bearer().station is not None or not isinstance(by, str):
        return bearer().name
    try:
        (name, person, token), signed = _signer().loads(by, max_age=int(KEPT.total_seconds()), return_timestamp=True)
    except BadData:
        return bearer().name
    signed = min(signed, now() - IDLE) if signed > now() + _GIVE else signed  # the service's clock was set back
    if not signed - _GIVE <= read <= signed + IDLE:
        return bearer().name
    return str(name) if in_force(database(), person, token) else bearer().name


def _signer() -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(current_app.secret_key or "", salt="byline", signer=PatientSigner)
