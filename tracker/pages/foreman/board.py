"""The board: all open jobs with their five steps, what is late or will be; on a wall; and one job opened."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from flask import Blueprint, Response, abort, current_app, flash, redirect, render_template, request, url_for
from flask_babel import gettext as _
from flask_babel import ngettext
from sqlalchemy import Connection
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.frame.polling import answer_if_changed
from tracker.pages.frame.ways_back import way_back
from tracker.pages.words.days import day, moment, shop_now, short_day
from tracker.pages.words.happened import said_of
from tracker.pages.words.left_short import rests_of
from tracker.pages.words.outcomes import box_state_word, job_status_word, part_status_word, step_word
from tracker.pages.words.spoken import spoken
from tracker.records import history, look
from tracker.records.follow_ups import follow_ups_of
from tracker.records.look import JobView, PartView
from tracker.shop.errors import ConflictError, NotFoundError
from tracker.shop.forecasting import Forecast, Outlook, Pace, forecast, pace_of
from tracker.shop.job_states import UNFINISHED
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.web.context import act, bearer, database
from tracker.work.access import needs
from tracker.work.jobs import cancel_job, hold_job, resume_job

blueprint = Blueprint("jobs_board", __name__)

JOBS_A_PAGE: Final = 25
JOBS_ON_WALL: Final = 36  # six leaves of six
PARTS_A_PAGE: Final = 100
BOXES_A_PAGE: Final = 50
BOARDS_SHOWN: Final = 40
HISTORY_SHOWN: Final = 30
PACE_KEPT_S: Final = 300.0  # the pace of two weeks does not change within five minutes


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A job on the board. ``brief`` is the word on the wall, ``mark`` the shape beside it, ``tone`` its colour."""

    job: JobView
    word: str
    brief: str
    mark: str
    tone: str
    ready: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Board:
    """A page of the board and what is said above it."""

    rows: Sequence[Row]
    jobs: int
    late: int
    will_be_late: int
    pace: Pace | None
    after: str
    more: str
    today: date


# The board


@blueprint.get("/")
@needs(Role.STATION)
def board() -> str:
    """All open jobs, soonest due first; with ``wall`` for a display on the wall."""
    wall = _on_wall()
    return render_template(
        "foreman/board_wall.html" if wall else "foreman/board.html",
        board=_board(wall=wall),
        live=url_for("jobs_board.rows", after=request.args.get("after") or None, wall=1 if wall else None),
        **_tools(),
    )


@blueprint.get("/board/rows")
@needs(Role.STATION)
def rows() -> Response:
    """The same page's rows, when something changed."""
    wall = _on_wall()
    template = "foreman/board_wall_rows.html" if wall else "foreman/board_rows.html"
    return answer_if_changed(
        database(), lambda: {"html": render_template(template, board=_board(wall=wall), **_tools())}
    )


def _on_wall() -> bool:
    return request.args.get("wall", "") not in ("", "0")


def _tools() -> dict[str, Any]:
    return {
        "steps": list(Step),
        "day": day,
        "short_day": short_day,
        "moment": moment,
        "step_word": step_word,
        "box_state_word": box_state_word,
        "part_status_word": part_status_word,
        "job_status_word": job_status_word,
        "said_of": said_of,
        "may_act": bearer().role.includes(Role.FOREMAN),
    }


def _board(*, wall: bool) -> Board:
    moment_now = shop_now()
    today = moment_now.date()
    size = JOBS_ON_WALL if wall else JOBS_A_PAGE
    after = "" if wall else request.args.get("after", "")
    with database().read() as connection:
        found = look.list_jobs(connection, limit=size + 1, status=UNFINISHED, after=_place(after))
        pace = _pace(connection, moment_now)
        expected = {each.job_id: each for each in forecast(history.open_jobs(connection), pace, today=today)}
    outlooks = [each.outlook for each in expected.values()]
    shown = found[:size]
    return Board(
        rows=[_row(job, expected.get(job.id)) for job in shown],
        jobs=len(outlooks),
        late=outlooks.count(Outlook.LATE),
        will_be_late=outlooks.count(Outlook.WILL_BE_LATE),
        pace=pace,
        after=after,
        more=f"{shown[-1].due.isoformat()}_{shown[-1].id}" if len(found) > size else "",
        today=today,
    )


def _place(after: str) -> tuple[date, int] | None:
    """Read where a page begins; a link that was cut short leads to the first page."""
    due, _sep, number = after.partition("_")
    try:
        return (date.fromisoformat(due), int(number[:18])) if number.isascii() and number.isdigit() else None
    except ValueError:
        return None


def _pace(connection: Connection, moment_now: datetime) -> Pace | None:
    """Return the shop's pace, counted anew after PACE_KEPT_S or when the day has changed."""
    kept: tuple[datetime, Pace | None] | None = current_app.extensions.get("shop_pace")
    if kept is not None and kept[0].date() == moment_now.date():
        age = (moment_now - kept[0]).total_seconds()
        if 0 <= age < PACE_KEPT_S:
            return kept[1]
    pace = pace_of(history.packed_by_day(connection, now=moment_now), today=moment_now.date())
    current_app.extensions["shop_pace"] = (moment_now, pace)
    return pace


def _row(job: JobView, expected: Forecast | None) -> Row:
    expected = expected or Forecast(job_id=job.id, outlook=Outlook.NOT_KNOWN)
    word, mark, tone = _outlook(expected)
    ready = ""
    if expected.ready_on is not None and expected.outlook is not Outlook.NOT_KNOWN:
        ready = _("packed about %(day)s", day=day(expected.ready_on))
    brief = _("will be late") if expected.outlook is Outlook.WILL_BE_LATE else word
    brief = _("late") if expected.outlook is Outlook.LATE else brief
    brief = _("pace not known") if expected.outlook is Outlook.NOT_KNOWN else brief
    return Row(job=job, word=word, brief=brief, mark=mark, tone=tone, ready=ready)


def _outlook(expected: Forecast) -> tuple[str, str, str]:
    """The word, the shape and the tone of an outlook."""
    days = expected.days_late
    match expected.outlook:
        case Outlook.LATE:
            return ngettext("%(num)d day late", "%(num)d days late", days), "late", "warn"
        case Outlook.WILL_BE_LATE:
            return ngettext("will be %(num)d day late", "will be %(num)d days late", days), "soon", "warn"
        case Outlook.HELD:
            return _("on hold"), "held", "plain"
        case Outlook.READY:
            return _("all packed"), "full", "good"
        case Outlook.IN_TIME:
            return _("in time"), "half", "good"
        case Outlook.NOT_KNOWN:
            return _("not enough known"), "unknown", "plain"


# One job


@blueprint.get("/jobs/<code>")
@needs(Role.STATION)
def job_page(code: str) -> str:
    """One job: its cabinets with their parts, boxes, boards and what happened."""
    return render_template(
        "foreman/job.html",
        **_job_parts(code),
        live=url_for("jobs_board.job_now", code=code, **_job_places()),
        **_tools(),
    )


@blueprint.get("/jobs/<code>/now")
@needs(Role.STATION)
def job_now(code: str) -> Response:
    """The same page's content, when something changed."""
    return answer_if_changed(
        database(), lambda: {"html": render_template("foreman/job_now.html", **_job_parts(code), **_tools())}
    )


def _job_places() -> dict[str, Any]:
    given = {name: request.args.get(name, 0, type=int) for name in ("parts_after", "boxes_after")}
    return {name: number for name, number in given.items() if 0 < number < 2**31}


def _job_parts(code: str) -> dict[str, Any]:
    places = _job_places()
    moment_now = shop_now()
    with database().read() as connection:
        job = look.job_view(connection, code)
        if job is None:
            abort(404)
        pace = _pace(connection, moment_now)
        expected = forecast(history.open_jobs(connection), pace, today=moment_now.date())
        parts = look.parts_of_job(connection, job.id, limit=PARTS_A_PAGE + 1, after=places.get("parts_after", 0))
        boxes = history.box_lines(connection, job.id, limit=BOXES_A_PAGE + 1, after=places.get("boxes_after", 0))
        rests = follow_ups_of(connection, [each.id for each in boxes])
        cabinets = _by_cabinet(parts[:PARTS_A_PAGE])
        return {
            "job": job,
            "row": _row(job, next((each for each in expected if each.job_id == job.id), None)),
            "is_open": job.status in UNFINISHED,
            "cabinets": cabinets,
            "sheets": history.designed_cabinets(connection, job.id, [name for name, _parts in cabinets]),
            "parts_more": parts[PARTS_A_PAGE - 1].id if len(parts) > PARTS_A_PAGE else 0,
            "boxes": boxes[:BOXES_A_PAGE],
            "rests": {each.id: rests_of(rests.get(each.id, ()), each.load) for each in boxes},
            "boxes_more": boxes[BOXES_A_PAGE - 1].id if len(boxes) > BOXES_A_PAGE else 0,
            "boards": history.board_lines(connection, job.id, limit=BOARDS_SHOWN + 1),
            "boards_shown": BOARDS_SHOWN,
            "happened": history.last_of_job(connection, job.id, limit=HISTORY_SHOWN),
        }


def _by_cabinet(parts: Sequence[PartView]) -> list[tuple[str, list[PartView]]]:
    found: dict[str, list[PartView]] = {}
    for each in parts:
        found.setdefault(each.cabinet, []).append(each)
    return list(found.items())


# Hold, resume, cancel

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
    return redirect(way_back(url_for("jobs_board.job_page", code=code)), 303)


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
        job = look.job_view(connection, code)
    if job is None:
        abort(404)
    back = way_back(url_for("jobs_board.job_page", code=code))
    return render_template("foreman/job_act.html", job=job, deed=deed, why=why, back=back, **_tools())
