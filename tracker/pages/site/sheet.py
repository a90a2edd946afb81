"""The sheet in the carton as a page, and the page on which a fitter reports what is missing or damaged."""

from contextlib import AbstractContextManager, nullcontext
from http import HTTPStatus
from io import BytesIO
from typing import Final

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from flask_babel import force_locale, get_locale
from werkzeug.wrappers import Response as AnyResponse

from tracker.labels.sheets import Paper, pictures_of
from tracker.labels.svg import svg_of
from tracker.pages.frame.files import packed
from tracker.pages.words.languages import COOKIE
from tracker.pages.words.outcomes import gettext as _
from tracker.pages.words.spoken import spoken, tongue_of_reader
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.wording import item_words, plain_words
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.roles import Role
from tracker.translations.catalogues import LANGUAGES
from tracker.web.context import bearer, database, now, settings
from tracker.work.access import needs, open_to_all
from tracker.work.designs import cabinet_of_job
from tracker.work.reports import Told, key_is_right, take_report
from tracker.work.sheets import cabinet_sheet, set_sheet_language, write_cabinet_sheet

blueprint = Blueprint("sheets", __name__)


LANGUAGE: Final = "language"


@blueprint.get("/jobs/<job>/cabinets/<name>/sheet")
@needs(Role.STATION)
def sheet(job: str, name: str) -> Response:
    """The sheet of one cabinet, in the reader's language or in the one that the address asks for."""
    with _asked():
        return packed(Response(_sheet_page(job, name)))


def _asked() -> AbstractContextManager[None]:
    """Speak the language that the address asks for, if it does."""
    language = request.args.get(LANGUAGE)
    return force_locale(language) if language in LANGUAGES else nullcontext()


def _sheet_page(job: str, name: str) -> str:
    try:
        found = cabinet_sheet(database(), settings(), job, name, site=request.host_url, language=str(get_locale()))
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    tongue = tongue_of_reader()
    return render_template(
        "site/sheet.html",
        sheet=found,
        svgs=[svg_of(picture, tongue) for picture in pictures_of(found)],
        papers=[paper.value for paper in Paper],
        here=request.path,  # whoever then chooses a language of their own is shown that one
    )


@blueprint.get("/jobs/<job>/cabinets/<name>/sheet.pdf")
@needs(Role.STATION)
def sheet_pdf(job: str, name: str) -> Response:
    """The sheet to print, in the language and on the paper asked for, else in the shop's own and on A4."""
    language, paper = request.args.get(LANGUAGE), request.args.get("paper", Paper.A4.value)
    if language not in (None, *LANGUAGES) or paper not in list(Paper):
        abort(HTTPStatus.NOT_FOUND)
    document = BytesIO()
    try:
        write_cabinet_sheet(
            database(), settings(), job, name, document, site=request.host_url, paper=paper, language=language
        )
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    return Response(document.getvalue(), mimetype="application/pdf")


@blueprint.post("/settings/sheets")
@needs(Role.ADMIN)
def post_sheet_language() -> AnyResponse:
    """Choose the language of the shop's sheets."""
    language = request.form.get(LANGUAGE, "")
    if language not in LANGUAGES:
        abort(HTTPStatus.NOT_FOUND)
    set_sheet_language(database(), language, who=bearer().name, now=now())
    return redirect(url_for("lists_page.settings", kept="sheets", _anchor="sheets"))


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
    return nullcontext() if request.cookies.get(COOKIE) in LANGUAGES else _asked()


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
