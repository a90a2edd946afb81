"""Styles, scripts and pictures of the pages, each from the room of its screen; and how large answers are packed."""

import gzip
from http import HTTPStatus
from pathlib import Path
from typing import Final

from flask import Flask, Response, abort, request, send_from_directory

from tracker.work.access import open_to_all

PAGES: Final = Path(__file__).parents[1]
KINDS: Final = (".css", ".js", ".svg", ".png")


def add_files(app: Flask) -> None:
    """Let pages name their files: ``url_for('static', filename='bench/pack.js')``."""
    app.add_url_rule("/static/<path:filename>", endpoint="static", view_func=_file)


@open_to_all
def _file(filename: str) -> Response:
    """One file. Programs and templates lie in the same rooms and are not given out."""
    if not filename.endswith(KINDS):
        abort(404)
    return packed(send_from_directory(PAGES, filename))


def packed(response: Response) -> Response:
    """Pack an answer for a browser that unpacks it: text packs to a fifth.

    Not for a page with a form: beside what a request brings, the length of the packed page would tell its secret
    (the attack is known as BREACH, 2013).
    """
    response.vary.add("Accept-Encoding")
    if response.status_code == HTTPStatus.OK and request.accept_encodings["gzip"]:
        response.direct_passthrough = False
        response.data = gzip.compress(response.data, compresslevel=6)
        response.content_encoding = "gzip"
    return response
