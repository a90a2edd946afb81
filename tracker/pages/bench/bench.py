"""The packer's screen: the box on the bench as it is laid, its items, its mass, and the sealing.

Which box lies on a bench follows from the station's own scans, so a reload, a second tablet and the poll all show the
same. Every act answers with the bench as it is afterwards: one round trip.
"""

from collections.abc import Callable, Mapping
from functools import wraps
from http import HTTPStatus
from typing import Any, Final

from flask import Blueprint, Response, abort, jsonify, redirect, render_template, request, url_for
from flask_babel import gettext as _
from sqlalchemy import Connection
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.bench import drawing as bench_drawing
from tracker.pages.bench.scale import read_mass_kg, unit_of
from tracker.pages.bench.shown import Shown, show, shown_at
from tracker.pages.frame.foreman_word import NotTakenError, foreman_at_bench
from tracker.pages.frame.polling import answer_if_changed
from tracker.pages.scanning.answer import in_short, in_words, takes_back, tell
from tracker.pages.scanning.bylines import byline, whose
from tracker.pages.scanning.readings import moment_read, take_scans
from tracker.pages.words.clocks import own_clock
from tracker.pages.words.measures import units
from tracker.pages.words.names import box_name, reasons_at, who_word
from tracker.pages.words.spoken import spoken
from tracker.records import access, packing
from tracker.records.access import StationView
from tracker.records.logged import kept_scan, last_change
from tracker.records.packing import Whereabouts
from tracker.shop.codes import Kind, MisreadError, read_code
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError, OffWeightError
from tracker.shop.outcomes import Outcome
from tracker.shop.reasons import Reason, full_box, meaning
from tracker.shop.roles import Role
from tracker.shop.scans import Action, Answer
from tracker.shop.steps import Step
from tracker.shop.weighing import Weight
from tracker.web.context import act, bearer, database, is_nobody, now
from tracker.work.access import needs
from tracker.work.box_numbers import code_read
from tracker.work.count import Counting, count_item, weigh_box
from tracker.work.open_again import Opening, open_again
from tracker.work.seal import Sealed, Sealing, seal_box

blueprint = Blueprint("pack", __name__)

NEXT_SHOWN: Final = 8
REGIONS: Final = (
    "bench",
    "inside",
    "lacks",
    "todo",
    "undo",
)  # templates whose regions come with every answer
LONGEST_REASON: Final = 200


# Pages


@blueprint.get("/pack")
@needs(Role.STATION)
def choose() -> AnyResponse | str:
    """Choose the bench, once for each device."""
    own = bearer().station
    with database().read() as connection:
        found = packing.benches(connection)
    if own in [each.name for each in found]:
        return redirect(url_for("pack.bench", station=own))
    return render_template("bench/pack_stations.html", benches=found, choosing="choose" in request.args)


@blueprint.get("/pack/<path:station>")
@needs(Role.STATION)
def bench(station: str) -> AnyResponse | str:
    """The screen of one bench."""
    own = bearer().station
    if own is not None and own != station:
        return redirect(url_for("pack.choose"))
    with database().read() as connection:
        place = _bench(connection, station)
        view = _view(connection, place, shown_at(connection, place))
        boxes, more = packing.next_boxes(connection, limit=NEXT_SHOWN)
    return render_template("bench/pack.html", **view, boxes=boxes, more=more, nobody=is_nobody(), by=byline())


@blueprint.get("/pack/<path:station>/bench")
@needs(Role.STATION)
def get_bench(station: str) -> AnyResponse:
    """The bench anew, when anything changed, or who stands at it."""
    return answer_if_changed(database(), lambda: _bench_now(station), of=f"{bearer().role} {bearer().name}")


def _bench_now(station: str) -> dict[str, Any]:
    with database().read() as connection:
        place = _bench(connection, station)
        change = last_change(connection)
        bench = _bench_html(connection, place)
    return {"bench": bench, "change": change, "who": who_word(bearer().name), "by": byline(), "nobody": is_nobody()}


@blueprint.get("/pack/<path:station>/next")
@needs(Role.STATION)
def get_next(station: str) -> AnyResponse:
    """What to pack next, when anything changed."""
    return answer_if_changed(database(), lambda: {"next": _next_html(station)})


def _next_html(station: str) -> str:
    with database().read() as connection:
        place = _bench(connection, station)
        boxes, more = packing.next_boxes(connection, limit=NEXT_SHOWN)
    return render_template("bench/pack_next.html", **_words(place), boxes=boxes, more=more)


# Acts


def _told(view: Callable[[str], Response]) -> Callable[[str], Response]:
    """Answer a refusal in words that the screen can show."""

    @wraps(view)
    def tell_refusal(station: str) -> Response:
        try:
            return view(station)
        except NotTakenError as refused:
            return _refuse(refused.detail, status=refused.status, **refused.more)
        except OffWeightError:
            return _refuse(_("The weight is off: a foreman decides."), off_weight=True)
        except ConflictError as refused:
            return _refuse(spoken(refused.detail))
        except InvalidInputError:
            says = _("That cannot be. Look at the number and try again.")
            return _refuse(says, status=HTTPStatus.UNPROCESSABLE_ENTITY)

    return tell_refusal


@blueprint.post("/pack/<path:station>/scan")
@needs(Role.STATION)
@_told
def post_scan(station: str) -> Response:
    """Take a scan of this bench, or a list of them: the last answer as it is shown, and the bench after it."""
    with database().read() as connection:
        _bench(connection, station)
    body = _body()
    answers = take_scans(body, station)
    with database().read() as connection:
        at = access.station_by_name(connection, station) or abort(HTTPStatus.NOT_FOUND)
        last = _scanned(connection, answers[-1], at)
        if "scans" not in body:
            return jsonify(last)
        return jsonify(answers=[*(in_short(connection, each, at) for each in answers[:-1]), last])


def _scanned(connection: Connection, answer: Answer, at: StationView) -> dict[str, Any]:
    change = last_change(connection)
    place = _bench(connection, at.name)
    told, shown = tell(connection, answer, at), shown_at(connection, place)
    facts = {"told": told, "answer": answer, "shown": shown, "clock": own_clock(connection, bearer().device, now())}
    html = render_template("bench/pack_answer.html", **_words(place), **facts, **_elsewhere(connection, answer, shown))
    bench = _bench_html(connection, place)
    return {**in_words(answer, told), "answer": html, "bench": bench, "change": change}


def _elsewhere(connection: Connection, answer: Answer, shown: Shown | None) -> dict[str, Whereabouts | None]:
    """Where the box is that a refused part belongs in, or the closed box that was meant."""
    kept = kept_scan(connection, answer.id)
    if kept is None or answer.outcome not in (Outcome.WRONG_BOX, Outcome.BOX_CLOSED):
        return {"belongs": None, "closed": None}
    box_id = None if answer.box is None else read_code(answer.box).number
    if answer.part is not None:
        box_id = packing.box_of_part(connection, read_code(answer.part).number)
    box = None if box_id is None else packing.whereabouts(connection, box_id)
    on_bench = box is not None and shown is not None and box.box.id == shown.box.id
    is_there = answer.reason in (Reason.IN_CLOSED_BOX, Reason.IN_OTHER_BOX)
    if on_bench or is_there or answer.part is None or kept.action == Action.UNDO:
        return {"belongs": None, "closed": box}
    return {"belongs": box, "closed": None}


@blueprint.post("/pack/<path:station>/count")
@needs(Role.STATION)
@_told
def post_count(station: str) -> Response:
    """Keep how many of an item are in the box."""
    body = _body()
    counting = Counting(
        box=_box_number(body),
        item=str(body.get("item", "")),
        count=_whole(body.get("count")),
        was=_whole(body.get("was", 0)),
    )
    count_item(database(), counting, **{**act(), "who": whose(body, moment_read(body))})
    return _answer(station, id=str(body.get("id", ""))[:40])


@blueprint.post("/pack/<path:station>/weigh")
@needs(Role.STATION)
@_told
def post_weigh(station: str) -> Response:
    """Keep what the box weighs, and say what that means."""
    body = _body()
    box_id = _box_number(body)
    mass_kg = read_mass_kg(str(body.get("mass", "")), units(), body.get("unit"))
    weigh_box(database(), box_id, mass_kg, **act())
    with database().read() as connection:
        shown = show(connection, box_id)
    if shown is None or shown.weight is None:
        return _answer(station)
    return _answer(station, answer=render_template("bench/pack_weighing.html", shown=shown), sound=shown.sound.value)


@blueprint.post("/pack/<path:station>/seal")
@needs(Role.PACKER)
@_told
def post_seal(station: str) -> Response:
    """Seal the box with what was counted into it; nothing may be missing, and its mass not off beyond the limit."""
    body = _body()
    box_id = _box_number(body)
    doubt = _doubt(box_id)
    if doubt and body.get("looked") is not True:
        return _refuse(doubt, doubt=True)
    return _sealed(station, _seal(box_id, act()["who"], reason=""))


@blueprint.post("/pack/<path:station>/override")
@needs(Role.STATION)
@_told
def post_override(station: str) -> Response:
    """Seal a box that is short or off weight, by a foreman who stands at the bench; the packer stays signed in."""
    body = _body()
    box_id = _box_number(body)
    reason, foreman = _reason(body, _("Write why the box is sealed so.")), foreman_at_bench(body)
    _count_bagged(box_id, body.get("bagged"), foreman)
    return _sealed(station, _seal(box_id, foreman, reason=reason))


def _count_bagged(box_id: int, bagged: Any, who: str) -> None:
    """Count in full the items of which a foreman says that they are in the bag."""
    with database().read() as connection:
        shown = show(connection, box_id)
    for line in shown.uncounted if shown and isinstance(bagged, list) else ():
        if line.item in bagged:
            counting = Counting(box=box_id, item=line.item, count=line.quantity, was=line.counted or 0)
            count_item(database(), counting, **{**act(), "who": who})


def _seal(box_id: int, who: str, *, reason: str) -> Sealed:
    # The counts are read where the box is sealed: another packer may have counted since this page was drawn.
    sealing = Sealing(box=box_id, override_reason=reason)
    return seal_box(database(), sealing, who=who, now=now())


def _doubt(box_id: int) -> str | None:
    """Why the scale doubts a box that is complete: it is sealed when the packer looked once more.

    Beyond the shop's limit the sealing itself refuses it.
    """
    with database().read() as connection:
        shown = show(connection, box_id)
    if shown is None:
        raise InvalidInputError("There is no such box.")
    if not shown.complete or shown.off_weight or shown.weight in (None, Weight.AGREES):
        return None
    if shown.weight is Weight.TOO_LIGHT:
        return str(_("The scale says: too light."))
    return str(_("The scale says: too heavy."))


@blueprint.post("/pack/<path:station>/open-again")
@needs(Role.STATION)
@_told
def post_open_again(station: str) -> Response:
    """Open a sealed box again, by a foreman who stands at the bench; the packer stays signed in."""
    body = _body()
    box_id = _box_number(body)
    opening = Opening(box=box_id, reason=_reason(body, _("Write why the box is opened again.")))
    open_again(database(), opening, **{**act(), "who": foreman_at_bench(body)})
    return _answer(station, says=_("Opened again. Seal it when it is right."))


def _reason(body: Mapping[str, Any], wanted: str) -> str:
    reason = " ".join(str(body.get("reason", "")).split())[:LONGEST_REASON]
    if not reason:
        raise NotTakenError(wanted)
    return reason


def _sealed(station: str, sealed: Sealed) -> Response:
    says = _("Sealed. Now print its label.")
    if sealed.follow_up is not None:
        with database().read() as connection:
            rest = packing.whereabouts(connection, read_code(sealed.follow_up).number)
        name = box_name(rest.box.name) if rest else sealed.follow_up
        says = _("Sealed short. What is missing is planned for box %(box)s.", box=name)
    return _answer(station, says=says)


def _answer(station: str, **more: str) -> Response:
    with database().read() as connection:
        change = last_change(connection)
        place = _bench(connection, station)
        return jsonify(bench=_bench_html(connection, place), change=change, **more)


def _refuse(says: str, *, status: HTTPStatus = HTTPStatus.CONFLICT, **more: Any) -> Response:
    response = jsonify(refused=says, **more)
    response.status_code = status
    return response


def _body() -> Mapping[str, Any]:
    body = request.get_json(silent=True)
    if not isinstance(body, dict):
        raise InvalidInputError("Send an object as JSON.")
    return body


def _box_number(body: Mapping[str, Any]) -> int:
    try:
        code = code_read(database(), str(body.get("box", "")))
    except (MisreadError, NotFoundError):
        raise InvalidInputError("Name the box by its code.") from None
    if code.kind is not Kind.BOX:
        raise InvalidInputError("Name the box by its code.")
    return code.number


def _whole(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise InvalidInputError("A count is a whole number.")
    return value


# What is shown


def _bench(connection: Connection, name: str) -> packing.Bench:
    found = packing.bench(connection, name)
    if found is None:
        abort(HTTPStatus.NOT_FOUND)
    return found


def _bench_html(connection: Connection, place: packing.Bench) -> str:
    view = _view(connection, place, shown_at(connection, place))
    return "".join(render_template(f"bench/pack_{part}.html", **view) for part in REGIONS)


def _view(connection: Connection, place: packing.Bench, shown: Shown | None) -> dict[str, Any]:
    lying = bench_drawing.lie(shown.box) if shown else []
    unnoticed = shown.expected.unnoticed if shown and shown.expected else ()
    return {
        **_words(place),
        "shown": shown,
        "may_seal": bearer().role.includes(Role.PACKER),
        "numbers": {each.part.code: each.number for each in lying},
        "unnoticed": ", ".join(sorted({piece.name for piece in unnoticed})),
        "at_hand": bench_drawing.at_hand,
        "mass_unit": unit_of(units()),
        "inside": [each for each in lying if each.part.packed],
        "reasons": reasons_at(Step.PACK),
        "label_of": _label_of,
        "takes_back": takes_back(connection, place.id),
    }


def _words(place: packing.Bench) -> dict[str, Any]:
    """What every piece of the screen needs to write a sentence."""
    return {
        "place": place,
        "who": act()["who"],
        "parts_in": _parts_in,
    }


def _label_of(code: str) -> str:
    return url_for("label_pages.png", code=code)


def _parts_in(uncounted: int) -> str:
    """Say what to do with a box that lacks no part."""
    return spoken(meaning(full_box(uncounted)).sentence())
