"""The page that the code on a cabinet's sheet opens: a fitter reports what is missing or damaged."""

from contextlib import AbstractContextManager, nullcontext
from http import HTTPStatus

from flask import Blueprint, abort, render_template, request

from tracker.pages.site.assembly_sheet import language_asked
from tracker.pages.words.languages import COOKIE
from tracker.pages.words.names import gettext as _
from tracker.pages.words.spoken import spoken
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.wording import item_words, plain_words
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.translations.catalogues import LANGUAGES
from tracker.web.context import database, now, settings
from tracker.work.access import open_to_all
from tracker.work.designs import cabinet_of_job
from tracker.work.reports import Told, key_is_right, take_report

blueprint = Blueprint("site_report", __name__)


@blueprint.get("/report/<job>/<name>/<key>")
@open_to_all
def report(job: str, name: str, key: str) -> str:
    """What a fitter sees after scanning the code on the sheet: the cabinet's parts and items to choose from."""
    with _of_the_sheet():
        return _report_page(job, name, key)


@blueprint.post("/report/<job>/<name>/<key>")
@open_to_all
def post_report(job: str, name: str, key: str) -> tuple[str, int] | str:
    """Take what the fitter says."""
    with _of_the_sheet():
        return _taken(job, name, key)


def _of_the_sheet() -> AbstractContextManager[None]:
    """Speak the language that the fitter has chosen in this browser, else that of the sheet, else the browser's."""
    return nullcontext() if request.cookies.get(COOKIE) in LANGUAGES else language_asked()


def _taken(job: str, name: str, key: str) -> tuple[str, int] | str:
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
        why = " ".join(_said(str(fault.where.get("field")), fault.what) for fault in faults)
        return _report_page(job, name, key, why=why or spoken(refused.detail)), HTTPStatus.UNPROCESSABLE_ENTITY
    return render_template("site/report.html", job=job, name=name, done=count, here=request.path)


def _said(field: str, what: str) -> str:
    says = {
        "told_by": _("Write your name and how the shop can reach you."),
        "parts": _("Choose at least one thing that is missing or damaged."),
        "note": _("The note is too long."),
    }
    return says.get(field) or spoken(what)


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
    return render_template(
        "site/report.html",
        job=job,
        name=name,
        things=_things(cabinet),
        why=why,
        given=request.form,
        done=0,
        here=request.path,
    )


def _things(cabinet: Cabinet) -> list[tuple[str, str, str]]:
    """What may be missing: under which name it is reported, how it is called, and what that is."""
    parts = [(part.id, part.id, plain_words(part)) for part in cabinet.parts]
    return parts + [(item.item, item_words(item.item), "") for item in cabinet.items if item.in_bag]
