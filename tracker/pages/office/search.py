"""Search by anything that is written on a label; a whole code leads straight to what it names."""

import re
from http import HTTPStatus
from typing import Final

from flask import Blueprint, abort, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.words.names import gettext as _
from tracker.records import search as records
from tracker.records.access import list_slots, list_stations
from tracker.shop.codes import Code, Kind, MisreadError, read_code
from tracker.shop.errors import NotFoundError
from tracker.shop.roles import Role
from tracker.shop.sscc import find_sscc
from tracker.web.context import database
from tracker.work.access import needs
from tracker.work.box_numbers import code_read

blueprint = Blueprint("search", __name__)

IN_A_SLOT: Final = 100
_LIKE_A_CODE: Final = re.compile(r"[A-Za-z][0-9]{10}", re.ASCII)


@blueprint.get("/search")
@needs(Role.STATION)
def search() -> AnyResponse | str:
    """What a text names. A code leads on to its page; one that was read wrong is said so, never guessed at."""
    asked = request.args.get("q", "").strip()[: records.LONGEST_TEXT]
    misread = False
    try:
        return redirect(_way_to(code_read(database(), asked)))
    except MisreadError:
        misread = bool(_LIKE_A_CODE.fullmatch(asked)) or _is_wrong_sscc(asked)
    except NotFoundError:
        pass  # the SSCC of a box of somebody else: nothing is found by it
    with database().read() as connection:
        found = records.find(connection, "" if misread else asked)
    return render_template(
        "office/search.html",
        asked=asked,
        misread=misread,
        found=found,
    )


def _is_wrong_sscc(text: str) -> bool:
    try:
        find_sscc(text)
    except MisreadError:
        return True
    return False


def _way_to(code: Code) -> str:
    match code.kind:
        case Kind.PART:
            return url_for("find.find", code=str(code))
        case Kind.BOX:
            return url_for("box_pages.box", code=str(code))
        case Kind.BOARD:
            return url_for("box_pages.board", code=str(code))
        case Kind.LOAD:
            return url_for("load_pages.load", code=str(code))
        case Kind.STATION | Kind.SLOT | Kind.WORKER | Kind.COMMAND:
            return url_for("search.place", code=str(code))


@blueprint.get("/places/<code>")
@needs(Role.STATION)
def place(code: str) -> str:
    """What a code on a wall or a card is: a station, a slot with what lies in it, a badge, a command card."""
    try:
        read = read_code(code)
    except MisreadError:
        abort(HTTPStatus.NOT_FOUND)
    with database().read() as connection:
        stations = {each.id: each for each in list_stations(connection)}
        slots = list_slots(connection)
        station = stations.get(read.number) if read.kind is Kind.STATION else None
        slot = slots.get(read.number) if read.kind is Kind.SLOT else None
        parts = records.parts_in_slot(connection, read.number, limit=IN_A_SLOT + 1) if slot else []
    if not station and not slot and read.kind not in (Kind.WORKER, Kind.COMMAND):
        abort(HTTPStatus.NOT_FOUND)
    title = station.name if station else slot or (_("A badge") if read.kind is Kind.WORKER else _("A command card"))
    return render_template(
        "office/place.html",
        code=str(read),
        kind=read.kind.name.lower(),
        title=title,
        station=station,
        parts=parts[:IN_A_SLOT],
        more=len(parts) > IN_A_SLOT,
    )
