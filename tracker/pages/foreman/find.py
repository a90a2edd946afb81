"""One part found: where it is, what it passed, what lies beside it; and a new one made in its place, or it mended."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

from flask import Blueprint, abort, redirect, render_template, request, url_for
from flask_babel import gettext as _
from sqlalchemy import Connection
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.frame.ways_back import way_back
from tracker.pages.scanning.answer import outline_of
from tracker.pages.words.happened import contradicts
from tracker.pages.words.names import reason_word
from tracker.pages.words.signals import OUTCOMES
from tracker.pages.words.spoken import spoken
from tracker.records import history, missing_lists
from tracker.records.boards import board_of
from tracker.records.designs import marks_of
from tracker.records.logged import LogView, part_history, scanned_after, scanned_before
from tracker.records.parts import SeenPart, part_view
from tracker.records.printing import prints_of
from tracker.shop.acts import Act
from tracker.shop.codes import Kind, MisreadError, code_or_none, part_code
from tracker.shop.errors import ConflictError, NotFoundError
from tracker.shop.outcomes import Outcome
from tracker.shop.printing import print_word, reprint_reason
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.shop.words import DAMAGE_WORDS, LOST
from tracker.web.context import act, database, now
from tracker.web.numbers import number_within
from tracker.work.access import needs
from tracker.work.box_numbers import code_read
from tracker.work.replace import repair_part, replace_part
from tracker.work.reports import close_report

blueprint = Blueprint("find", __name__)

HISTORY_SHOWN: Final = 50
PRINTS_SHOWN: Final = 20
NEAR_SHOWN: Final = 3
MATES_SHOWN: Final = 40
LONGEST_REASON: Final = 200
# What the log keeps of a reason is English, as all of its messages; the page says it in the reader's language.
REASONS_TO_REPLACE: Final = (LOST, *(name.replace("_", " ") for name in DAMAGE_WORDS))


@blueprint.get("/find")
@needs(Role.STATION)
def find() -> str | AnyResponse | tuple[str, int]:
    """Everything about a part: where it is, what it passed, what lies beside it. Other codes lead to their own page."""
    text = request.args.get("code", "").strip()
    if not text:
        return render_template("foreman/find_ask.html", text="", why="")
    try:
        code = code_read(database(), text)
    except MisreadError:
        return _not_found(text, _("This is none of the shop's codes, or it was read wrong."))
    except NotFoundError as unknown:
        return _not_found(text, spoken(unknown.detail))
    if code.kind is Kind.PART:
        return _part_page(code.number) or _not_found(text, _("No part of this shop has this code."))
    if code.kind is Kind.BOX:
        return redirect(f"/boxes/{code}")
    if code.kind is Kind.LOAD:
        return redirect(f"/loads/{code}")
    return _not_found(text, _("This is not the code of a part, a box or a load."))


def _not_found(text: str, why: str) -> tuple[str, int]:
    return render_template("foreman/find_ask.html", text=text[:80], why=why), 404


def _part_page(number: int, *, why: str = "") -> str | None:
    with database().read() as connection:
        part = part_view(connection, number)
        if part is None:
            return None
        facts = _part_facts(connection, part)
        prints = prints_of(connection, part.code, now(), limit=PRINTS_SHOWN)
    return render_template(
        "foreman/find.html",
        part=part,
        **facts,
        prints=prints,
        print_word=print_word,
        reason_word=reprint_reason,
        may_be_labelled=not part.dead,
        why=why,
        done=request.args.get("done", ""),
        contradicts=contradicts,
        outcomes=OUTCOMES,
        Outcome=Outcome,
        may_be_replaced=not part.dead,
    )


def _part_facts(connection: Connection, part: SeenPart) -> dict[str, Any]:
    box_id, seen, station_id = part.box.id, part.last_seen, part.progress.station
    near: tuple[list[LogView], list[LogView]] = ([], [])
    if seen is not None and station_id is not None:
        near = (
            scanned_before(connection, station_id, seen.at, beside=part.id, limit=NEAR_SHOWN)[::-1],
            scanned_after(connection, station_id, seen.at, beside=part.id, limit=NEAR_SHOWN),
        )
    marks = marks_of(connection, [part.id]).get(part.id)
    happened = part_history(connection, part.id, box_id, limit=HISTORY_SHOWN)
    return {
        "who": missing_lists.last_scanned_by(connection, [part.id]).get(part.id, ""),
        "stations": missing_lists.stations_by_step(connection),
        "before": near[0],
        "after": near[1],
        "mates": [
            each for each in history.box_mates(connection, box_id, limit=MATES_SHOWN + 1) if each.code != part.code
        ],
        "board": board_of(connection, part.id),
        "board_mates": history.board_mates(connection, part.id, limit=MATES_SHOWN),
        "outline": outline_of(part, marks),
        "happened": happened,
        "passed": _passed(part, happened),
    }


@dataclass(frozen=True, slots=True, kw_only=True)
class Leg:
    """One step on a part's way: ``state`` is done, taken (as done, without a scan), next or open."""

    step: Step
    state: str
    seen: LogView | None


def _passed(part: SeenPart, happened: Sequence[LogView]) -> list[Leg]:
    """The map of the stations: each step of the route, and the latest scan that passed the part through it."""
    seen = {
        each.step: each
        for each in reversed(happened)
        if each.action == Act.PASS and each.outcome in (Outcome.DONE, Outcome.AGAIN) and not each.undone
    }
    legs = []
    for step in part.route:
        state = "open"
        if part.step == step:
            state = "next"
        elif step in part.progress.done:
            state = "taken" if step in part.progress.inferred else "done"
        legs.append(Leg(step=step, state=state, seen=seen.get(step) if state == "done" else None))
    return legs


# Replace and repair


@blueprint.get("/parts/<code>/replace")
@needs(Role.FOREMAN)
def ask_replace(code: str) -> str:
    """Ask why a part is to be made anew, and say what that does."""
    return _replace_page(_part_of(code))


@blueprint.post("/parts/<code>/replace")
@needs(Role.FOREMAN)
def do_replace(code: str) -> AnyResponse | tuple[str, int]:
    """Order a new part in place of one; its old label is dead. A report from site that asked for it is closed."""
    part = _part_of(code)
    reason = _reason()
    if reason is None:
        return _replace_page(part, why=_("Choose a reason, or write one of up to 200 characters.")), 422
    made = act()
    try:
        new = replace_part(database(), part.id, reason, **made)
    except ConflictError as refused:
        return _replace_page(part, why=spoken(refused.detail)), 409
    report = number_within(request.form.get("report", ""))
    if report:
        _close_quietly(report, made)
    return redirect(url_for("find.find", code=part_code(new), done="replaced"), 303)


@blueprint.post("/parts/<code>/repair")
@needs(Role.FOREMAN)
def do_repair(code: str) -> AnyResponse | tuple[str, int]:
    """Record that a damaged part is good again."""
    part = _part_of(code)
    reason = _reason()
    if reason is None:
        return _part_page(part.id, why=_("Say in up to 200 characters what was done.")) or "", 422
    try:
        repair_part(database(), part.id, reason, **act())
    except ConflictError as refused:
        return _part_page(part.id, why=spoken(refused.detail)) or "", 409
    return redirect(url_for("find.find", code=part.code, done="repaired"), 303)


def _close_quietly(report: int, made: dict[str, Any]) -> None:
    """Close the report that led here; somebody else may have closed it meanwhile."""
    try:
        close_report(database(), report, who=made["who"], now=made["now"])
    except NotFoundError:
        return


def _part_of(code: str) -> SeenPart:
    read = code_or_none(code)
    if read is None or read.kind is not Kind.PART:
        abort(404)
    with database().read() as connection:
        part = part_view(connection, read.number)
    if part is None:
        abort(404)
    return part


def _reason() -> str | None:
    """The reason as written, else as chosen; None for none."""
    reason = request.form.get("other", "").strip() or request.form.get("reason", "").strip()
    return reason if 1 <= len(reason) <= LONGEST_REASON and reason.isprintable() else None


def _replace_page(part: SeenPart, *, why: str = "") -> str:
    return render_template(
        "foreman/find_replace.html",
        part=part,
        why=why,
        reasons=[(each, reason_word(each)) for each in REASONS_TO_REPLACE],
        report=number_within(request.values.get("report", "")) or 0,
        back=way_back(url_for("find.find", code=part.code)),
    )
