"""Where the QR code of a label leads: who works here to the thing itself, a fitter to the report of the cabinet."""

from http import HTTPStatus

from flask import Blueprint, abort, redirect, render_template, url_for
from flask.typing import ResponseReturnValue

from tracker.pages.frame.sign_in import bearer_or_none
from tracker.records.box_contents import box_view
from tracker.records.parts import part_view
from tracker.shop.codes import Code, Kind, MisreadError, read_code
from tracker.shop.errors import NotFoundError
from tracker.web.context import database, settings
from tracker.work.access import open_to_all
from tracker.work.designs import cabinets_of_job
from tracker.work.label_setup import label_key_is_right
from tracker.work.reports import report_key

blueprint = Blueprint("label_links", __name__)


@blueprint.get("/q/<code>/<key>")
@blueprint.get("/Q/<code>/<key>")
@open_to_all
def follow(code: str, key: str) -> ResponseReturnValue:
    """What a phone opens. Whoever does not hold the label learns nothing, not even whether there is such a thing."""
    try:
        read = read_code(code)
    except MisreadError:
        abort(HTTPStatus.NOT_FOUND)
    if not label_key_is_right(settings().secret_key, str(read), key):
        abort(HTTPStatus.NOT_FOUND)
    if bearer_or_none() is not None:
        return redirect(url_for("find.find", code=str(read)), HTTPStatus.SEE_OTHER)
    job, cabinets = _of(read)
    told = [(name, _report(job, name)) for name in cabinets]
    if len(told) == 1:
        return redirect(told[0][1], HTTPStatus.SEE_OTHER)
    return render_template("site/label_link.html", code=str(read), job=job, told=told)


def _report(job: str, cabinet: str) -> str:
    key = report_key(settings().secret_key, job, cabinet)
    return url_for("site_report.report", job=job, name=cabinet, key=key)


def _of(code: Code) -> tuple[str, list[str]]:
    """The job of a part or a box, and those of its cabinets that a fitter can report of."""
    with database().read() as connection:
        match code.kind:
            case Kind.PART:
                part = part_view(connection, code.number)
                job, cabinets = ("", []) if part is None else (part.job.code, [part.cabinet])
            case Kind.BOX:
                box = box_view(connection, code.number)
                job, cabinets = ("", []) if box is None else (box.job.code, box.cabinets)
            case _:
                job, cabinets = "", []
    if not job:
        return "", []
    try:
        designed = set(cabinets_of_job(database(), job))
    except NotFoundError:
        designed = set()
    return job, [name for name in cabinets if name in designed]
