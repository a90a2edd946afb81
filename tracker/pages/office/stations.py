"""Stations, and the tablets that are paired with them."""

from http import HTTPStatus

from flask import Blueprint, Response, abort, make_response, render_template, request

from tracker.pages.office.forms import Answer, done_or_why, unkept
from tracker.pages.words.clocks import CLOCKS_OF, clock_says
from tracker.records.access import list_stations
from tracker.records.clocks import wrong_clocks
from tracker.shop.codes import Code, Kind
from tracker.shop.errors import NotFoundError
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.web.context import bearer, database, now
from tracker.work import access, devices, sessions
from tracker.work.access import needs

blueprint = Blueprint("station_pages", __name__)


@blueprint.get("/stations")
@needs(Role.FOREMAN)
def stations() -> str:
    """The stations with their tablets, and the form for a new station."""
    return _stations_page()


def _stations_page(*, wrong: str = "", pairing: tuple[str, str] | None = None) -> str:
    with database().read() as connection:
        found = list_stations(connection)
        clocks = wrong_clocks(connection, since=now() - CLOCKS_OF)
    inside = devices.in_force(devices.tokens(database()))
    return render_template(
        "office/stations.html",
        clocks=[(each.station, clock_says(each)) for each in clocks],
        stations=[
            (str(Code(Kind.STATION, each.id)), each, [token for token in inside if token.station == each.name])
            for each in found
        ],
        may_add=bearer().role.includes(Role.ADMIN),
        pairing=pairing,
        wrong=wrong,
        given=request.form,
    )


@blueprint.post("/stations")
@needs(Role.ADMIN)
def new_station() -> Answer:
    """Add a station."""
    name, strict = request.form.get("name", "").strip(), "strict" in request.form
    return done_or_why(lambda: access.add_station(database(), name, _step(), strict=strict), _stations_page)


@blueprint.post("/stations/pair")
@needs(Role.FOREMAN)
def pair() -> Response:
    """Show the code by which one tablet signs in as a station: once, and in no cookie."""
    name = request.form.get("station", "")
    try:
        code = sessions.make_pairing(database(), name, now=now())
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    return unkept(make_response(_stations_page(pairing=(name, f"{code[:4]} {code[4:]}"))))


@blueprint.post("/stations/tablets/<int:number>/withdraw")
@needs(Role.FOREMAN)
def withdraw_tablet(number: int) -> Answer:
    """Sign out one of a station's tablets."""
    if not any(each.id == number and each.station for each in devices.tokens(database())):
        abort(HTTPStatus.NOT_FOUND)
    return done_or_why(lambda: devices.withdraw_numbered(database(), number, now=now()), _stations_page)


def _step() -> Step:
    try:
        return Step(request.form.get("step", ""))
    except ValueError:
        abort(HTTPStatus.UNPROCESSABLE_ENTITY)
