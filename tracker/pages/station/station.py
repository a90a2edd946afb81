"""The station's screen: choose the station once, then only scan.

A scan makes one round trip: it is taken as ``POST /api/v1/scans`` takes it, and the answer brings what to show and what
to sound. What waits for the station and what it scanned last are polled beside it.
"""

from http import HTTPStatus
from typing import Any, Final

from flask import Blueprint, Response, abort, jsonify, redirect, render_template, request, url_for
from sqlalchemy import Connection
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.frame.polling import answer_if_changed
from tracker.pages.scanning.answer import in_short, in_words, takes_back, tell
from tracker.pages.scanning.bylines import byline
from tracker.pages.scanning.pictures import MAX_IMAGE_BYTES, codes_in_picture
from tracker.pages.scanning.readings import take_scans
from tracker.pages.words.clocks import own_clock
from tracker.pages.words.days import time_of_day
from tracker.pages.words.names import first_of, gettext, reasons_at, step_word, who_word
from tracker.pages.words.signals import OUTCOMES, Said, said_as
from tracker.pages.words.spoken import spoken
from tracker.records.access import StationView, list_stations, station_by_name
from tracker.records.logged import LogView, last_change, last_scans
from tracker.records.stations import waiting_for
from tracker.shop.errors import InvalidInputError, ShopError, TooLargeError
from tracker.shop.roles import Role
from tracker.shop.scans import Answer
from tracker.shop.steps import Step
from tracker.web.context import bearer, database, is_nobody, now
from tracker.work.access import needs

blueprint = Blueprint("station", __name__)

WAITING_SHOWN: Final = 50
SCANS_SHOWN: Final = 10


@blueprint.get("/station")
@needs(Role.STATION)
def choose() -> str | AnyResponse:
    """The stations to choose from; a paired tablet goes straight to its own, that of a bench to the packer's screen."""
    own = bearer().station
    if own is not None:
        packs = _station(own).step is Step.PACK
        return redirect(url_for("pack.bench", station=own) if packs else url_for("station.screen", name=own))
    with database().read() as connection:
        stations = list_stations(connection)
    return render_template("station/station_choose.html", stations=stations, Step=Step)


@blueprint.get("/station/<path:name>")
@needs(Role.STATION)
def screen(name: str) -> str | AnyResponse:
    """The screen of one station."""
    own = bearer().station
    if own is not None and own != name:
        return redirect(url_for("station.screen", name=own))
    station = _station(name)
    return render_template(
        "station/station.html",
        station=station,
        step=step_word(station.step),
        packs=station.step is Step.PACK,
        paired=own is not None,
        first=first_of(station.step),
        reasons=reasons_at(station.step),
        **_worker(),
        **_lists(station),
    )


@blueprint.post("/station/<path:name>/scan")
@needs(Role.STATION)
def scan(name: str) -> Response | tuple[Response, int]:
    """Take a scan, or a list of them, and answer what to show and what to sound. A 200 means that all is on disk."""
    station = _station(name)
    body: Any = request.get_json(silent=True)
    try:
        answers = take_scans(body, station.name)
    except InvalidInputError as refused:
        return _refusal(refused)
    with database().read() as connection:
        last = _body(connection, answers[-1], station)
        if "scans" not in body:
            return jsonify(last)
        return jsonify(answers=[*(in_short(connection, each, station) for each in answers[:-1]), last])


def _body(connection: Connection, answer: Answer, station: StationView) -> dict[str, Any]:
    told = tell(connection, answer, station)
    said = OUTCOMES[answer.outcome] if told is None else told.said
    clock = own_clock(connection, bearer().device, now())
    html = render_template("scanning/station_answer.html", told=told, said=said, clock=clock)
    return {**in_words(answer, told), **_counts_last(connection, station), "shade": said.shade.value, "html": html}


@blueprint.get("/station/<path:name>/now")
@needs(Role.STATION)
def state(name: str) -> AnyResponse:
    """What this station scanned last, what waits for it and who works there, as the screen shows them."""
    station = _station(name)
    return answer_if_changed(database(), lambda: _fragments(station), of=bearer().name)


def _fragments(station: StationView) -> dict[str, Any]:
    lists = _lists(station)
    return {
        **_worker(),
        "undoes": lists["undoes"],
        "change": lists["change"],
        "recent": render_template("station/station_recent.html", **lists),
        "waiting": render_template("station/station_waiting.html", **lists),
    }


def _worker() -> dict[str, Any]:
    """Who works here, and whether a badge should be scanned first: a tablet by itself tells nobody who did it."""
    return {"who": who_word(bearer().name), "by": byline(), "nobody": is_nobody()}


def _lists(station: StationView) -> dict[str, Any]:
    with database().read() as connection:
        scans = last_scans(connection, station.id, limit=SCANS_SHOWN)
        waiting = waiting_for(connection, station.step, limit=WAITING_SHOWN)
        counts = _counts_last(connection, station)
    words = {"said": _said, "time_of_day": time_of_day}
    return {"scans": scans, "waiting": waiting, "ships": station.step is Step.SHIP, **counts, **words}


def _counts_last(connection: Connection, station: StationView) -> dict[str, Any]:
    """What would be taken back now, and the shop's change number at which that is so."""
    return {"undoes": takes_back(connection, station.id), "change": last_change(connection)}


def _said(scan: LogView) -> Said:
    return said_as(scan.outcome, scan.told)


@blueprint.post("/station/picture")
@needs(Role.STATION)
def picture() -> Response | tuple[Response, int]:
    """Read the code in a photo or in a frame of the camera: a JPEG or PNG as the body."""
    try:
        if (request.content_length or 0) > MAX_IMAGE_BYTES:
            raise TooLargeError(gettext("The picture is too large."))
        codes = codes_in_picture(request.get_data())
    except ShopError as refused:
        return _refusal(refused)
    if len(codes) > 1:
        return jsonify(code=None, says=gettext("There is more than one label in the picture. Go nearer to one."))
    if not codes:
        return jsonify(code=None, says=gettext("No label was found in the picture. Go nearer, with more light."))
    return jsonify(code=codes[0], says="")


def _station(name: str) -> StationView:
    with database().read() as connection:
        found = station_by_name(connection, name)
    if found is None:
        abort(HTTPStatus.NOT_FOUND)
    return found


def _refusal(refused: ShopError) -> tuple[Response, int]:
    status = (
        HTTPStatus.REQUEST_ENTITY_TOO_LARGE if isinstance(refused, TooLargeError) else HTTPStatus.UNPROCESSABLE_ENTITY
    )
    faults = refused.faults if isinstance(refused, InvalidInputError) else ()
    errors = [{**fault.where, "what": spoken(fault.what)} for fault in faults]
    return jsonify(detail=spoken(refused.detail), errors=errors), status
