"""The sheet in the carton as a page, and the page on which a fitter reports what is missing or damaged."""

import gzip
from http import HTTPStatus

from flask import Blueprint, Response, abort, render_template, request

from tracker.labels.sheets import pictures_of
from tracker.labels.svg import svg_of
from tracker.pages.context import database, now, settings
from tracker.pages.words import gettext as _
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.roles import Role
from tracker.work.access import needs, open_to_all
from tracker.work.designs import cabinet_of_job
from tracker.work.reports import Told, key_is_right, take_report
from tracker.work.sheets import cabinet_sheet

blueprint = Blueprint("sheets", __name__)


@blueprint.get("/jobs/<job>/cabinets/<name>/sheet")
@needs(Role.STATION)
def sheet(job: str, name: str) -> Response:
    """The sheet of one cabinet."""
    try:
        found = cabinet_sheet(database(), settings(), job, name, site=request.host_url)
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    page = render_template("sheet.html", sheet=found, svgs=[svg_of(picture) for picture in pictures_of(found)])
    return _packed(Response(page))


def _packed(response: Response) -> Response:
    """Send many drawings packed to a browser that unpacks them. This page repeats nothing that a request brings."""
    response.vary.add("Accept-Encoding")
    if request.accept_encodings["gzip"]:
        response.data = gzip.compress(response.data, compresslevel=6)
        response.content_encoding = "gzip"
    return response


@blueprint.get("/report/<job>/<name>/<key>")
@open_to_all
def report(job: str, name: str, key: str) -> str:
    """What a fitter sees after scanning the code on the sheet: the cabinet's parts and items to choose from."""
    return _report_page(job, name, key)


@blueprint.post("/report/<job>/<name>/<key>")
@open_to_all
def post_report(job: str, name: str, key: str) -> tuple[str, int] | str:
    """Take what the fitter says."""
    _check(job, name, key)
    told = [
        Told(name=field.removeprefix("is:"), what=value)
        for field, value in request.form.items()
        if field.startswith("is:") and value
    ]
    try:
        count = take_report(
            database(),
            job,
            name,
            told,
            told_by=request.form.get("told_by", ""),
            note=request.form.get("note", ""),
            now=now(),
        )
    except (InvalidInputError, ConflictError) as refused:
        faults = refused.faults if isinstance(refused, InvalidInputError) else ()
        why = " ".join(_said(str(fault.where.get("field")), fault.what) for fault in faults) or refused.detail
        return _report_page(job, name, key, why=why), HTTPStatus.UNPROCESSABLE_ENTITY
    return render_template("report.html", job=job, name=name, done=count)


def _said(field: str, what: str) -> str:
    says = {
        "told_by": _("Write your name and how the shop can reach you."),
        "parts": _("Choose at least one thing that is missing or damaged."),
        "note": _("The note is too long."),
    }
    return says.get(field, what)


def _check(job: str, name: str, key: str) -> None:
    """Who does not hold the sheet learns nothing, not even whether there is such a cabinet."""
    if not key_is_right(settings().secret_key, job, name, key):
        abort(HTTPStatus.NOT_FOUND)


def _report_page(job: str, name: str, key: str, *, why: str = "") -> str:
    _check(job, name, key)
    try:
        cabinet = cabinet_of_job(database(), job, name)
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    things = [part.id for part in cabinet.parts] + [item.item for item in cabinet.items if item.in_bag]
    return render_template("report.html", job=job, name=name, things=things, why=why, given=request.form, done=0)
