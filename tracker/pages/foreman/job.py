"""One job: its cabinets with their parts, its boxes, its boards, and what happened."""

from collections.abc import Sequence
from typing import Any, Final

from flask import Blueprint, Response, abort, render_template, request, url_for

from tracker.pages.foreman.jobs_board import pace_kept, row_of
from tracker.pages.frame.polling import answer_if_changed
from tracker.pages.words.days import shop_now
from tracker.pages.words.left_short import rests_of
from tracker.records import history
from tracker.records.follow_ups import follow_ups_of
from tracker.records.jobs import job_view
from tracker.records.logged import job_history
from tracker.records.parts import SeenPart, parts_of_job
from tracker.records.shipping import boxes_before_leaving
from tracker.shop.forecasting import forecast
from tracker.shop.job_states import UNFINISHED
from tracker.shop.roles import Role
from tracker.web.context import database
from tracker.work.access import needs

blueprint = Blueprint("job", __name__)

PARTS_A_PAGE: Final = 100
BOXES_A_PAGE: Final = 50
BOARDS_SHOWN: Final = 40
HISTORY_SHOWN: Final = 30


@blueprint.get("/jobs/<code>")
@needs(Role.STATION)
def job_page(code: str) -> str:
    """One job: its cabinets with their parts, boxes, boards and what happened."""
    return render_template(
        "foreman/job.html",
        **_job_parts(code),
        live=url_for("job.job_now", code=code, **_job_places()),
    )


@blueprint.get("/jobs/<code>/now")
@needs(Role.STATION)
def job_now(code: str) -> Response:
    """The same page's content, when something changed."""
    return answer_if_changed(database(), lambda: {"html": render_template("foreman/job_now.html", **_job_parts(code))})


def _job_places() -> dict[str, Any]:
    given = {name: request.args.get(name, 0, type=int) for name in ("parts_after", "boxes_after")}
    return {name: number for name, number in given.items() if 0 < number < 2**31}


def _job_parts(code: str) -> dict[str, Any]:
    places = _job_places()
    moment_now = shop_now()
    with database().read() as connection:
        job = job_view(connection, code)
        if job is None:
            abort(404)
        pace = pace_kept(connection, moment_now)
        expected = forecast(history.open_jobs(connection), pace, today=moment_now.date())
        parts = parts_of_job(connection, job.id, limit=PARTS_A_PAGE + 1, after=places.get("parts_after", 0))
        boxes = boxes_before_leaving(connection, job.id, limit=BOXES_A_PAGE + 1, after=places.get("boxes_after", 0))
        rests = follow_ups_of(connection, [each.id for each in boxes])
        cabinets = _by_cabinet(parts[:PARTS_A_PAGE])
        return {
            "job": job,
            "row": row_of(job, next((each for each in expected if each.job_id == job.id), None)),
            "is_open": job.status in UNFINISHED,
            "cabinets": cabinets,
            "sheets": history.designed_cabinets(connection, job.id, [name for name, _parts in cabinets]),
            "parts_more": parts[PARTS_A_PAGE - 1].id if len(parts) > PARTS_A_PAGE else 0,
            "boxes": boxes[:BOXES_A_PAGE],
            "rests": {each.id: rests_of(rests.get(each.id, ()), each.load_code) for each in boxes},
            "boxes_more": boxes[BOXES_A_PAGE - 1].id if len(boxes) > BOXES_A_PAGE else 0,
            "boards": history.board_lines(connection, job.id, limit=BOARDS_SHOWN + 1),
            "boards_shown": BOARDS_SHOWN,
            "happened": job_history(connection, job.id, limit=HISTORY_SHOWN),
        }


def _by_cabinet(parts: Sequence[SeenPart]) -> list[tuple[str, list[SeenPart]]]:
    found: dict[str, list[SeenPart]] = {}
    for each in parts:
        found.setdefault(each.cabinet, []).append(each)
    return list(found.items())
