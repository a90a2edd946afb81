"""Answers to screens that ask again and again: nothing is built and nothing sent while nothing has changed."""

from collections.abc import Callable
from typing import Any
from zlib import crc32

from flask import Response, g, jsonify, request
from flask_babel import get_locale

from tracker.pages.words.days import today
from tracker.pages.words.measures import units
from tracker.records.database import Database
from tracker.records.logged import last_change


def change_tag(database: Database, *, of: str = "") -> str:
    """Return what stays the same while nothing that a screen shows has changed; what is late changes at midnight."""
    with database.read() as connection:
        last = last_change(connection)
    return f"{last}-{get_locale()}-{units().value}-{today()}-{crc32(of.encode())}"


def answer_if_changed(database: Database, build: Callable[[], dict[str, Any] | str], *, of: str = "") -> Response:
    """Return what ``build`` makes, or 304 while the shop's change number and day, language and units are the same.

    ``of`` names whatever else the page depends on, as who stands at the station.
    """
    g.follows_from_the_database = True
    tag = change_tag(database, of=of)
    if request.if_none_match.contains(tag):
        response = Response(status=304)
    else:
        built = build()
        response = Response(built, mimetype="text/html") if isinstance(built, str) else jsonify(built)
    response.set_etag(tag)
    response.headers["Cache-Control"] = "no-cache"
    return response
