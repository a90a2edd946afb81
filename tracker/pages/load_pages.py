"""Loads: which boxes leave together, what is lacking, when the truck has left."""

from collections.abc import Sequence
from datetime import date
from http import HTTPStatus
from typing import Any, Final

from flask import Blueprint, abort, redirect, render_template, request, url_for
from sqlalchemy import Connection
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.context import act, bearer, database
from tracker.pages.days import day, moment, today
from tracker.pages.measures import units
from tracker.pages.numbers import number_within
from tracker.pages.short_words import Rest, left_behind, rests_of
from tracker.pages.spoken import spoken
from tracker.pages.words import box_state_word
from tracker.pages.words import gettext as _
from tracker.records import look
from tracker.records.follow_ups import follow_ups_of
from tracker.records.look import LoadView
from tracker.records.shipping import READY_STATES, ShippingBox, boxes_on_load, boxes_to_plan
from tracker.shop.codes import Code, Kind, MisreadError, read_code
from tracker.shop.errors import ConflictError, IncompleteError, InvalidInputError, NotFoundError
from tracker.shop.lengths import Units
from tracker.shop.roles import Role
from tracker.shop.verdicts import BoxState
from tracker.shop.written import KG_PER_POUND
from tracker.work.access import needs
from tracker.work.box_numbers import code_read
from tracker.work.loads import add_to_load, plan_load, ship_load, take_off_load

blueprint = Blueprint("load_pages", __name__)

LOADS_A_PAGE: Final = 20
BOXES_SHOWN: Final = 200


@blueprint.get("/loads")
@needs(Role.STATION)
def loads() -> str:
    """All loads, the latest first."""
    after = number_within(request.args.get("after", ""))
    with database().read() as connection:
        found = look.list_loads(connection, limit=LOADS_A_PAGE + 1, after=after)
        shown = found[:LOADS_A_PAGE]
        short = _short_of(connection, [each for each in shown if each.state == "open"])
    return render_template(
        "loads.html",
        loads=[(each, sum(state in READY_STATES for _box, _job, state in each.boxes)) for each in shown],
        short=short,
        more=shown[-1].id if len(found) > LOADS_A_PAGE else None,
        **_tools(),
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
    """Say that a load has left. What leaves short is shipped only after it was shown to whoever says so."""
    number = _number(code)
    seen = set(request.form.getlist("short"))
    if any(rest.box.code not in seen for _box, rest in left_behind(_rests(number))):
        return _page(code, why=_("A box on it is short: see below where the rest is.")), HTTPStatus.CONFLICT
    try:
        ship_load(database(), number, **act())
    except IncompleteError:
        return _page(code, why=_("The load would leave short: see below what is lacking.")), HTTPStatus.CONFLICT
    except ConflictError:
        return _page(code, why=_("That is not possible: the load has left, or nothing is on it.")), HTTPStatus.CONFLICT
    return redirect(url_for("load_pages.load", code=code), HTTPStatus.SEE_OTHER)


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


def _short_of(connection: Connection, loads: Sequence[LoadView]) -> dict[str, int]:
    """Return of how many boxes of each load, by its code, the rest is not on it."""
    numbers = {each.code: [read_code(code).number for code, _job, _state in each.boxes] for each in loads}
    rests = follow_ups_of(connection, [number for some in numbers.values() for number in some])
    return {
        code: sum(any(not rest.leaves_with(code) for rest in rests.get(number, ())) for number in some)
        for code, some in numbers.items()
    }


def _rests(load_id: int) -> dict[str, list[Rest]]:
    """Where the rest of each box on a load is that was sealed short, by the box's name and code."""
    with database().read() as connection:
        boxes = boxes_on_load(connection, load_id)
        found = follow_ups_of(connection, [box.id for box in boxes])
    code = str(Code(Kind.LOAD, load_id))
    return {box.code: rests_of(found[box.id], code) for box in boxes if box.id in found}


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
    jobs: dict[str, list[ShippingBox]] = {}
    for box in found[:BOXES_SHOWN]:
        jobs.setdefault(box.job, []).append(box)
    return render_template(
        "loads_new.html",
        jobs=jobs,
        more=len(found) > BOXES_SHOWN,
        job=job,
        every=every,
        chosen=set(request.values.getlist("box")),
        ship_on=request.form.get("ship_on", ""),
        rests={number: rests_of(some, None) for number, some in rests.items()},
        today=today(),
        why=why,
        factor=1.0 if units() is Units.MM else 1 / KG_PER_POUND,
        **_tools(),
    )


def _page(code: str, *, why: str = "") -> str:
    number = _number(code)
    with database().read() as connection:
        found = look.load_view(connection, number)
        if found is None:
            abort(HTTPStatus.NOT_FOUND)
        boxes = boxes_on_load(connection, number)
    rests = _rests(number)
    lacking = {box.code: said for box in boxes if found.state == "open" and (said := _lacks(box))}
    names = {box.code: box.name for box in boxes}
    return render_template(
        "load.html",
        load=found,
        boxes=boxes,
        lacking=lacking,
        rests=rests,
        left_behind=[(names[key], rest) for key, rest in left_behind(rests)],
        why=why,
        mass_kg=sum(box.weighed_kg or box.mass_kg for box in boxes),
        may_ship=bearer().role.includes(Role.PACKER),
        may_take_off=bearer().role.includes(Role.FOREMAN),
        **_tools(),
    )


def _lacks(box: ShippingBox) -> str:
    """Say why a box keeps its load from leaving; empty when it does not."""
    if box.job_status == "held":
        return _("Its job is on hold.")
    if box.job_status == "cancelled":
        return _("Its job is cancelled: take it off.")
    if box.kept:
        return _("It is on hold: let it go, or take it off.")
    if box.state not in READY_STATES:
        return _("Not sealed.")
    if box.missing:
        return _("A part in it is no longer good: replace it, or take the box off.")
    if box.state != BoxState.LOADED:
        return _("Not scanned onto the load.")
    return ""


def _tools() -> dict[str, Any]:
    return {"day": day, "moment": moment, "box_word": box_state_word}
