"""The sheet in the carton as a page and to print, and the language of the shop's sheets."""

from contextlib import AbstractContextManager, nullcontext
from http import HTTPStatus
from io import BytesIO
from typing import Final

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from flask_babel import force_locale, get_locale
from werkzeug.wrappers import Response as AnyResponse

from tracker.labels.assembly_sheet import pictures_of
from tracker.labels.assembly_sheet_pdf import Paper
from tracker.labels.svg import svg_of
from tracker.pages.frame.files import packed
from tracker.pages.words.spoken import tongue_of_reader
from tracker.shop.errors import NotFoundError
from tracker.shop.roles import Role
from tracker.translations.catalogues import LANGUAGES
from tracker.web.context import bearer, database, now, settings
from tracker.work.access import needs
from tracker.work.assembly_sheets import cabinet_sheet, set_sheet_language, write_cabinet_sheet

blueprint = Blueprint("sheets", __name__)


LANGUAGE: Final = "language"


@blueprint.get("/jobs/<job>/cabinets/<name>/sheet")
@needs(Role.STATION)
def sheet(job: str, name: str) -> Response:
    """The sheet of one cabinet, in the reader's language or in the one that the address asks for."""
    with language_asked():
        return packed(Response(_sheet_page(job, name)))


def language_asked() -> AbstractContextManager[None]:
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
        "site/assembly_sheet.html",
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
