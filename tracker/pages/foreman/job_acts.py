"""A job is put on hold, resumed or cancelled: asked first, then done."""

from typing import Final

from flask import Blueprint, abort, flash, redirect, render_template, url_for
from flask_babel import gettext as _
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.frame.ways_back import way_back
from tracker.pages.words.spoken import spoken
from tracker.records.jobs import job_view
from tracker.shop.errors import ConflictError, NotFoundError
from tracker.shop.roles import Role
from tracker.web.context import act, database
from tracker.work.access import needs
from tracker.work.jobs import cancel_job, hold_job, resume_job

blueprint = Blueprint("job_acts", __name__)

_DEEDS: Final = {"hold": hold_job, "resume": resume_job, "cancel": cancel_job}


@blueprint.get("/jobs/<code>/<any(hold, resume, cancel):deed>")
@needs(Role.FOREMAN)
def ask_deed(code: str, deed: str) -> str:
    """Ask whether a job is to be held, resumed or cancelled, and say what that does."""
    return _deed_page(code, deed)


@blueprint.post("/jobs/<code>/<any(hold, resume, cancel):deed>")
@needs(Role.FOREMAN)
def do_deed(code: str, deed: str) -> AnyResponse | tuple[str, int]:
    """Hold, resume or cancel a job."""
    try:
        _DEEDS[deed](database(), code, **act())
    except NotFoundError:
        abort(404)
    except ConflictError as refused:
        return _deed_page(code, deed, why=spoken(refused.detail)), 409
    flash(_done_words(code, deed))
    return redirect(way_back(url_for("job.job_page", code=code)), 303)


def _done_words(code: str, deed: str) -> str:
    match deed:
        case "hold":
            return str(_("Job %(job)s is on hold.", job=code))
        case "resume":
            return str(_("Job %(job)s goes on.", job=code))
        case _:
            return str(_("Job %(job)s is cancelled.", job=code))


def _deed_page(code: str, deed: str, *, why: str = "") -> str:
    with database().read() as connection:
        job = job_view(connection, code)
    if job is None:
        abort(404)
    back = way_back(url_for("job.job_page", code=code))
    return render_template("foreman/job_act.html", job=job, deed=deed, why=why, back=back)
