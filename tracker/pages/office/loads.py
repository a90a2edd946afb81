"""Loads: which boxes leave together, what is lacking, when the truck has left."""

from collections.abc import Collection, Mapping, Sequence
from datetime import date
from http import HTTPStatus
from types import MappingProxyType
from typing import Any, Final

from flask import Blueprint, abort, redirect, render_template, request, url_for
from flask_babel import lazy_gettext as _l
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.frame.foreman_word import NotTakenError, foreman_at_bench
from tracker.pages.office.orders.words import HANDLING
from tracker.pages.words.days import today
from tracker.pages.words.left_short import rests_of
from tracker.pages.words.measures import units
from tracker.pages.words.names import Lazy
from tracker.pages.words.names import gettext as _
from tracker.pages.words.spoken import spoken
from tracker.records.follow_ups import follow_ups_of
from tracker.records.shipping import (
    ShippingBox,
    boxes_on_load,
    boxes_to_plan,
    left_behind,
    list_loads,
    load_view,
    staying_of_jobs,
    staying_of_loads,
)
from tracker.shop.codes import Kind, MisreadError, read_code
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.given_reasons import LONGEST_REASON
from tracker.shop.leaving import READY_STATES, Keeps, keeps_load, load_warnings
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.shop.written import KG_PER_POUND
from tracker.web.context import act, bearer, database, marks
from tracker.web.numbers import number_within
from tracker.work.access import needs
from tracker.work.box_numbers import code_read
from tracker.work.loads import LeaveBehind, add_to_load, plan_load, ship_load, take_off_load

blueprint = Blueprint("load_pages", __name__)

LOADS_A_PAGE: Final = 20
BOXES_SHOWN: Final = 200


@blueprint.get("/loads")
@needs(Role.STATION)
def loads() -> str:
    """All loads, the latest first."""
    after = number_within(request.args.get("after", ""))
    with database().read() as connection:
        found = list_loads(connection, limit=LOADS_A_PAGE + 1, after=after)
        shown = found[:LOADS_A_PAGE]
        staying = staying_of_loads(connection, [each.id for each in shown if not each.shipped])
    return render_template(
        "office/loads.html",
        loads=[(each, sum(box.state in READY_STATES for box in each.boxes)) for each in shown],
        staying=staying,
        more=shown[-1].id if len(found) > LOADS_A_PAGE else None,
    )


@blueprint.get("/loads/new")
@needs(Role.PACKER)
def new() -> str:
    """The boxes to choose from, and the day."""
    return _choose()


@blueprint.post("/loads/new")
@needs(Role.PACKER)
def plan() -> AnyResponse | tuple[str, int]:
    """Plan the chosen boxes for a load."""
    try:
        numbers = [_box_number(code) for code in dict.fromkeys(request.form.getlist("box"))]
        ship_on = date.fromisoformat(request.form.get("ship_on", ""))
    except (MisreadError, NotFoundError):
        return _choose(_("A box's code was not right. Choose again.")), HTTPStatus.UNPROCESSABLE_ENTITY
    except ValueError:
        return _choose(_("Choose the day on which the load leaves.")), HTTPStatus.UNPROCESSABLE_ENTITY
    if not numbers:
        return _choose(_("Choose at least one box.")), HTTPStatus.UNPROCESSABLE_ENTITY
    try:
        code = plan_load(database(), numbers, ship_on, **act())
    except InvalidInputError as refused:
        why = "; ".join(spoken(fault.what) for fault in refused.faults)
        return _choose(_("Not planned: %(why)s.", why=why)), HTTPStatus.CONFLICT
    return redirect(url_for("load_pages.load", code=code), HTTPStatus.SEE_OTHER)


@blueprint.get("/loads/<code>")
@needs(Role.STATION)
def load(code: str) -> str:
    """One load: its boxes, what they lack, and the way to let it go."""
    return _page(code)


@blueprint.post("/loads/<code>/ship")
@needs(Role.PACKER)
def ship(code: str) -> AnyResponse | tuple[str, int]:
    """Say that a load has left; with boxes that stay behind, by a foreman who stands there and says why."""
    stays = request.form.getlist("stays")
    try:
        word = _leave_behind(stays) if stays else {}
        ship_load(database(), _number(code), **{**act(), **word})
    except NotTakenError as refused:
        return _page(code, why=refused.detail), refused.status
    except InvalidInputError as refused:
        return _page(code, why=spoken(refused.detail)), HTTPStatus.UNPROCESSABLE_ENTITY
    except MisreadError:
        return _page(code, why=_("A box's code was not right. Choose again.")), HTTPStatus.UNPROCESSABLE_ENTITY
    except ConflictError as refused:
        return _page(code, why=spoken(refused.detail)), HTTPStatus.CONFLICT
    return redirect(url_for("load_pages.load", code=code), HTTPStatus.SEE_OTHER)


def _leave_behind(stays: Collection[str]) -> dict[str, Any]:
    """Return a foreman's word on the boxes that stay, and who gave it."""
    reason = " ".join(request.form.get("reason", "").split())
    word = LeaveBehind(reason=reason, boxes=list(map(_box_number, stays)))
    return {"leave_behind": word, "who": foreman_at_bench(request.form)}


@blueprint.post("/loads/<code>/take-off")
@needs(Role.FOREMAN)
def take_off(code: str) -> AnyResponse | tuple[str, int]:
    """Leave a box out of a load."""
    try:
        box = _box_number(request.form.get("box", ""))
        take_off_load(database(), _number(code), box, **act())
    except (MisreadError, NotFoundError):
        return _page(code, why=_("This box is not planned for the load any more.")), HTTPStatus.CONFLICT
    except ConflictError:
        return _page(code, why=_("The load has left: nothing can be taken off it.")), HTTPStatus.CONFLICT
    return redirect(url_for("load_pages.load", code=code), HTTPStatus.SEE_OTHER)


@blueprint.post("/loads/<code>/add")
@needs(Role.PACKER)
def add(code: str) -> AnyResponse | tuple[str, int]:
    """Plan one more box for a load, as the one that holds the rest of a box on it."""
    try:
        add_to_load(database(), _number(code), _box_number(request.form.get("box", "")), **act())
    except MisreadError:
        return _page(code, why=_("A box's code was not right. Choose again.")), HTTPStatus.CONFLICT
    except InvalidInputError as refused:
        why = "; ".join(spoken(fault.what) for fault in refused.faults)
        return _page(code, why=_("Not planned: %(why)s.", why=why)), HTTPStatus.CONFLICT
    except ConflictError as refused:
        return _page(code, why=spoken(refused.detail)), HTTPStatus.CONFLICT
    return redirect(url_for("load_pages.load", code=code), HTTPStatus.SEE_OTHER)


def _box_number(text: str) -> int:
    """Return the number of the box that a code names. Raises MisreadError for any other code."""
    try:
        code = code_read(database(), text)
    except NotFoundError:
        raise MisreadError from None
    if code.kind is not Kind.BOX:
        raise MisreadError
    return code.number


def _number(code: str) -> int:
    try:
        read = read_code(code)
    except MisreadError:
        abort(HTTPStatus.NOT_FOUND)
    if read.kind is not Kind.LOAD:
        abort(HTTPStatus.NOT_FOUND)
    return read.number


def _choose(why: str = "") -> str:
    job, every = request.values.get("job", "").strip()[:40], request.values.get("every") == "1"
    with database().read() as connection:
        found = boxes_to_plan(connection, limit=BOXES_SHOWN + 1, job_code=job, sealed_only=not every)
        rests = follow_ups_of(connection, [box.id for box in found])
        waiting = staying_of_jobs(connection, {box.job.id for box in found[:BOXES_SHOWN]})
    shown = {box.id for box in found[:BOXES_SHOWN]}
    return render_template(
        "office/loads_new.html",
        jobs=_by_job(found[:BOXES_SHOWN]),
        not_shown=_by_job([box for box in waiting if box.id not in shown]),
        more=len(found) > BOXES_SHOWN,
        job=job,
        every=every,
        chosen=set(request.values.getlist("box")),
        ship_on=request.form.get("ship_on", ""),
        rests={number: rests_of(some, None) for number, some in rests.items()},
        today=today(),
        why=why,
        factor=1.0 if units() is Units.MM else 1 / KG_PER_POUND,
    )


def _by_job(boxes: Sequence[ShippingBox]) -> dict[str, list[ShippingBox]]:
    jobs: dict[str, list[ShippingBox]] = {}
    for box in boxes:
        jobs.setdefault(box.job.code, []).append(box)
    return jobs


def _page(code: str, *, why: str = "") -> str:
    number = _number(code)
    with database().read() as connection:
        found = load_view(connection, number)
        if found is None:
            abort(HTTPStatus.NOT_FOUND)
        boxes = boxes_on_load(connection, number)
        rests = follow_ups_of(connection, [box.id for box in boxes])
        staying = () if found.shipped else staying_of_loads(connection, [number])[number]
        left = left_behind(connection, number) if found.shipped else ()
    return render_template(
        "office/load.html",
        load=found,
        boxes=boxes,
        lacking={box.code: _KEEPS[keeps] for box in boxes if not found.shipped and (keeps := keeps_load(box))},
        rests={box.code: rests_of(rests.get(box.id, ()), code) for box in boxes},
        staying=staying,
        left=[each for each, _row in left],
        told_of_left={each.code: row for each, row in left},
        warnings=() if found.shipped else load_warnings(found.ship_on, today()),
        why=why,
        carried={box.code: HANDLING[marks().handling(box.known_mass_kg)] for box in boxes},
        mass_kg=sum(box.known_mass_kg for box in boxes),
        may_ship=bearer().role.includes(Role.PACKER),
        longest_reason=LONGEST_REASON,
    )


_KEEPS: Final[Mapping[Keeps, Lazy]] = MappingProxyType(
    {
        Keeps.JOB_HELD: _l("Its job is on hold: resume the job, or take the box off."),
        Keeps.JOB_CANCELLED: _l("Its job is cancelled: take it off."),
        Keeps.HELD: _l("It is on hold: let it go, or take it off."),
        Keeps.NOT_SEALED: _l("Not sealed."),
        Keeps.NO_LONGER_WHOLE: _l("A part in it is no longer good: replace it, or take the box off."),
        Keeps.NOT_ON_IT: _l("Not scanned onto the load."),
    }
)
