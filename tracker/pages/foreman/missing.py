"""What is missing, before the truck: the boxes that are not complete; by job, by load or by station."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Final

from flask import Blueprint, Response, abort, render_template, request, url_for
from sqlalchemy import Connection

from tracker.pages.frame.polling import answer_if_changed
from tracker.records import missing_lists
from tracker.records.missing_lists import After, MissingPage, ShortBox
from tracker.records.parts import SeenPart
from tracker.shop.codes import Kind, code_or_none
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.web.context import database, now
from tracker.work.access import needs

blueprint = Blueprint("missing", __name__)

VIEWS: Final = ("", "job", "load", "station")
LOADS_SHOWN: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Boxes under one heading: of a job, of a load, or all of them under none."""

    key: str
    boxes: Sequence[ShortBox]


@dataclass(frozen=True, slots=True, kw_only=True)
class Queue:
    """The missing parts that wait at one step, with the box that each is for; and the stations that do the step.

    ``step`` is None of those that are damaged: they wait for a foreman.
    """

    step: Step | None
    stations: Sequence[str]
    parts: Sequence[tuple[SeenPart, ShortBox]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What the address asks for: a view, one job or one load, and where the page begins."""

    by: str
    job: str
    load: str
    after: str


@blueprint.get("/missing")
@needs(Role.STATION)
def missing() -> str:
    """The boxes that are not complete, what leaves soonest first; by job, by load or by station."""
    asked = _asked()
    return render_template(
        "foreman/missing.html",
        **_shown(asked),
        live=url_for("missing.rows", **_address(asked)),
        at=now(),
    )


@blueprint.get("/missing/rows")
@needs(Role.STATION)
def rows() -> Response:
    """The same page's list, when something changed."""
    asked = _asked()
    return answer_if_changed(
        database(), lambda: {"html": render_template("foreman/missing_rows.html", **_shown(asked))}
    )


def _asked() -> Asked:
    given = {name: request.args.get(name, "")[:80] for name in ("by", "job", "load", "after")}
    return Asked(**{**given, "by": given["by"] if given["by"] in VIEWS else ""})


def _address(asked: Asked, *, after: str | None = None) -> dict[str, Any]:
    found = {"by": asked.by, "job": asked.job, "load": asked.load, "after": asked.after if after is None else after}
    return {name: value for name, value in found.items() if value}


def _shown(asked: Asked) -> dict[str, Any]:
    with database().read() as connection:
        page = _page(connection, asked)
        loads = missing_lists.open_loads(connection, limit=LOADS_SHOWN) if asked.by == "load" or asked.load else []
        stations = missing_lists.stations_by_step(connection) if asked.by == "station" else {}
    after = "" if page.next is None else str(page.next)
    return {
        "asked": asked,
        "groups": _groups(page.boxes, asked.by),
        "queues": _queues(page.boxes, stations) if asked.by == "station" else [],
        "loads": {each.code: each for each in loads},
        "count": len(page.boxes),
        "who": page.who,
        "parts_lacking": sum(box.parts_lacking for box in page.boxes),
        "uncounted": sum(box.uncounted for box in page.boxes),
        "more": url_for("missing.missing", **_address(asked, after=after)) if after else "",
        "here": url_for("missing.missing", **_address(asked)),
    }


def _page(connection: Connection, asked: Asked) -> MissingPage:
    after = _after(asked.after)
    if asked.load:
        code = code_or_none(asked.load)
        if code is None or code.kind is not Kind.LOAD:
            abort(404)
        return missing_lists.missing_on_loads(connection, after=after, load_id=code.number)
    if asked.by == "load" and not asked.job:
        return missing_lists.missing_on_loads(connection, after=after)
    return missing_lists.missing_page(connection, after=after, job_code=asked.job or None)


def _after(text: str) -> After | None:
    """Read where a page begins; a link that was cut short leads to the first page."""
    try:
        return missing_lists.read_after(text)
    except ValueError:
        return None


def _groups(boxes: Sequence[ShortBox], by: str) -> list[Group]:
    key: Callable[[ShortBox], str] = lambda _box: ""  # noqa: E731 - one of three short rules
    if by == "job":
        key = _job_of
    elif by == "load":
        key = _load_of
    found: dict[str, list[ShortBox]] = {}
    for each in boxes:
        found.setdefault(key(each), []).append(each)
    return [Group(key=name, boxes=some) for name, some in found.items()]


def _job_of(each: ShortBox) -> str:
    return each.job.code


def _load_of(each: ShortBox) -> str:
    return each.load_code or each.behind or ""


def _queues(boxes: Sequence[ShortBox], stations: dict[str, list[str]]) -> list[Queue]:
    waiting: dict[Step | None, list[tuple[SeenPart, ShortBox]]] = {step: [] for step in (None, *Step)}
    for each in boxes:
        for part in each.parts:
            waiting[None if part.damaged else part.step or Step.PACK].append((part, each))
    return [
        Queue(step=step, stations=stations.get(step or "", []), parts=parts) for step, parts in waiting.items() if parts
    ]
