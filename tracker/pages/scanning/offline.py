"""What a device keeps so that a station's or a bench's page opens and scans while the server is gone."""

import json
from functools import lru_cache
from hashlib import sha256
from pathlib import Path
from typing import Final

from flask import Blueprint, Response

from tracker.pages.frame.files import KINDS, PAGES
from tracker.translations.catalogues import CATALOGUES
from tracker.work.access import open_to_all

blueprint = Blueprint("offline", __name__)

_PROGRAM: Final = Path(__file__).with_name("service-worker.js")
_MADE_OF: Final = ((PAGES, (".html", *KINDS)), (CATALOGUES, (".mo",)))
_ROOMS: Final = ("frame", "scanning", "station", "bench")  # of the two pages: each file that they load lies in one


@blueprint.get("/service-worker.js")
@open_to_all
def service_worker() -> Response:
    """The program that serves the kept pages. It stands at the top, so that it may serve all that lies below.

    It is open to all, as the other scripts are: a device that is signed out still gets the next version.
    """
    given = f"const VERSION = {json.dumps(version())};\nconst FILES = {json.dumps(files())};\n"
    response = Response(given + _PROGRAM.read_text(), mimetype="text/javascript")
    response.headers["Cache-Control"] = "no-cache"
    return response


@lru_cache(maxsize=1)
def version() -> str:
    """Return what changes with anything that the pages are made of; the program is read once, when it starts."""
    digest = sha256()
    for folder, kinds in _MADE_OF:
        for path in sorted(folder.rglob("*")):
            if path.suffix in kinds:
                digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def files() -> list[str]:
    """Return the addresses of all files of which a station's and a bench's page may be made."""
    found = (path for room in _ROOMS for path in sorted((PAGES / room).iterdir()) if path.suffix in KINDS)
    return [f"/static/{path.relative_to(PAGES).as_posix()}" for path in found if path != _PROGRAM]
