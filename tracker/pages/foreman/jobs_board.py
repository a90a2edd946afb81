"""The jobs board: all open jobs with their five steps, what is late or will be; also for a display on the wall."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from flask import Blueprint, Response, current_app, render_template, request, url_for
from flask_babel import gettext as _
from flask_babel import ngettext
from sqlalchemy import Connection

from tracker.pages.frame.polling import answer_if_changed
from tracker.pages.words.days import day, shop_now
from tracker.pages.words.names import job_status_word
from tracker.records import history
from tracker.records.jobs import JobView, list_jobs
from tracker.shop.forecasting import Forecast, Outlook, Pace, forecast, pace_of
from tracker.shop.job_states import UNFINISHED, JobStatus
from tracker.shop.roles import Role
from tracker.web.context import database
from tracker.work.access import needs

blueprint = Blueprint("jobs_board", __name__)

JOBS_A_PAGE: Final = 25
JOBS_ON_WALL: Final = 36  # six leaves of six
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


@blueprint.get("/")
@needs(Role.STATION)
def board() -> str:
    """All open jobs, soonest due first; with ``wall`` for a display on the wall."""
    wall = _on_wall()
    return render_template(
        "foreman/jobs_board_wall.html" if wall else "foreman/jobs_board.html",
        board=_board(wall=wall),
        live=url_for("jobs_board.rows", after=request.args.get("after") or None, wall=1 if wall else None),
    )


@blueprint.get("/board/rows")
@needs(Role.STATION)
def rows() -> Response:
    """The same page's rows, when something changed."""
    wall = _on_wall()
    template = "foreman/jobs_board_wall_rows.html" if wall else "foreman/jobs_board_rows.html"
    return answer_if_changed(database(), lambda: {"html": render_template(template, board=_board(wall=wall))})


def _on_wall() -> bool:
    return request.args.get("wall", "") not in ("", "0")


def _board(*, wall: bool) -> Board:
    moment_now = shop_now()
    today = moment_now.date()
    size = JOBS_ON_WALL if wall else JOBS_A_PAGE
    after = "" if wall else request.args.get("after", "")
    with database().read() as connection:
        found = list_jobs(connection, limit=size + 1, status=UNFINISHED, after=_place(after))
        pace = pace_kept(connection, moment_now)
        expected = {each.job_id: each for each in forecast(history.open_jobs(connection), pace, today=today)}
    outlooks = [each.outlook for each in expected.values()]
    shown = found[:size]
    return Board(
        rows=[row_of(job, expected.get(job.id)) for job in shown],
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


def pace_kept(connection: Connection, moment_now: datetime) -> Pace | None:
    """Return the shop's pace, counted anew after PACE_KEPT_S or when the day has changed."""
    kept: tuple[datetime, Pace | None] | None = current_app.extensions.get("shop_pace")
    if kept is not None and kept[0].date() == moment_now.date():
        age = (moment_now - kept[0]).total_seconds()
        if 0 <= age < PACE_KEPT_S:
            return kept[1]
    pace = pace_of(history.packed_by_day(connection, now=moment_now), today=moment_now.date())
    current_app.extensions["shop_pace"] = (moment_now, pace)
    return pace


def row_of(job: JobView, expected: Forecast | None) -> Row:
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
            return job_status_word(JobStatus.HELD), "held", "plain"
        case Outlook.READY:
            return _("all packed"), "full", "good"
        case Outlook.IN_TIME:
            return _("in time"), "half", "good"
        case Outlook.NOT_KNOWN:
            return _("not enough known"), "unknown", "plain"
