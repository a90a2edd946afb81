"""One box or one board opened: what it holds, where that is, how it lies, its label."""

from contextlib import suppress
from dataclasses import dataclass
from http import HTTPStatus
from typing import Final

from flask import Blueprint, abort, flash, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from tracker.pages.bench.drawing import draw_layers, in_order
from tracker.pages.frame.ways_back import way_back
from tracker.pages.office.orders.words import HANDLING, lifting_advice
from tracker.pages.words.left_short import rests_of
from tracker.pages.words.names import box_name
from tracker.pages.words.names import gettext as _
from tracker.pages.words.spoken import spoken
from tracker.records.boards import BoardView, board_view
from tracker.records.box_contents import box_view
from tracker.records.follow_ups import follow_ups_of
from tracker.records.logged import box_history
from tracker.shop.codes import Kind, MisreadError
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.given_reasons import LONGEST_REASON
from tracker.shop.roles import Role
from tracker.shop.saying import words_of
from tracker.web.context import act, bearer, database, marks
from tracker.work.access import needs
from tracker.work.box_numbers import code_read
from tracker.work.hold_box import hold_box, let_go_box
from tracker.work.open_again import Opening, open_again

blueprint = Blueprint("box_pages", __name__)

HISTORY_SHOWN: Final = 30
PARTS_SHOWN: Final = 200
DRAWN_WIDE: Final = 400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Slab:
    """A panel on its board from above, in the drawing's units; ``number`` is its place in the order of the saw."""

    number: int
    name: str
    packed: bool
    x: float
    y: float
    wide: float
    tall: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SawnBoard:
    """A board with its panels from above."""

    wide: float
    tall: float
    slabs: tuple[Slab, ...]


@blueprint.get("/boxes/<code>")
@needs(Role.STATION)
def box(code: str) -> str:
    """A box with its content."""
    return _page(code)


def _page(code: str, *, wrong: str = "") -> str:
    number = _number(code, Kind.BOX)
    with database().read() as connection:
        found = box_view(connection, number)
        if found is None:
            abort(HTTPStatus.NOT_FOUND)
        happened = box_history(connection, number, limit=HISTORY_SHOWN)
        rests = rests_of(follow_ups_of(connection, [number]).get(number, ()), found.load_code)
    return render_template(
        "office/box.html",
        box=found,
        wrong=wrong,
        rests=rests,
        parts=in_order(found)[:PARTS_SHOWN],
        more=max(0, len(found.parts) - PARTS_SHOWN),
        layers=draw_layers(found),
        handling=HANDLING[marks().handling(found.known_mass_kg)],
        advice=lifting_advice(found.known_mass_kg, found.length_mm, found.width_mm),
        history=happened,
        may_plan=bearer().role.includes(Role.PACKER),
        longest_reason=LONGEST_REASON,
    )


@blueprint.post("/boxes/<code>/<any(hold, resume):deed>")
@needs(Role.FOREMAN)
def do_deed(code: str, deed: str) -> Response:
    """Keep a box in the shop, or let it go; somebody else may have done so meanwhile, which is as good."""
    number = _number(code, Kind.BOX)
    with suppress(ConflictError):
        (hold_box if deed == "hold" else let_go_box)(database(), number, **act())
    with database().read() as connection:
        found = box_view(connection, number)
    name = "" if found is None else box_name(found.name)
    flash(_("Box %(name)s is on hold.", name=name) if deed == "hold" else _("Box %(name)s goes on.", name=name))
    back = way_back("")
    return redirect(f"{back}#box-{number}" if back else url_for("box_pages.box", code=code), HTTPStatus.SEE_OTHER)


@blueprint.post("/boxes/<code>/open-again")
@needs(Role.FOREMAN)
def post_open_again(code: str) -> Response | tuple[str, int]:
    """Open a sealed box again, with the reason."""
    number = _number(code, Kind.BOX)
    reason = " ".join(request.form.get("reason", "").split())
    try:
        open_again(database(), Opening(box=number, reason=reason), **act())
    except InvalidInputError:
        return _page(code, wrong=_("Write why the box is opened again.")), HTTPStatus.UNPROCESSABLE_ENTITY
    except ConflictError as refused:
        return _page(code, wrong=spoken(words_of(refused))), HTTPStatus.CONFLICT
    flash(_("Opened again. Seal it when it is right."))
    return redirect(url_for("box_pages.box", code=code), HTTPStatus.SEE_OTHER)


@blueprint.get("/boards/<code>")
@needs(Role.STATION)
def board(code: str) -> str:
    """A board with the parts that come off it."""
    number = _number(code, Kind.BOARD)
    with database().read() as connection:
        found = board_view(connection, number)
    if found is None:
        abort(HTTPStatus.NOT_FOUND)
    return render_template("office/board_page.html", board=found, drawn=_cut(found))


def _number(code: str, kind: Kind) -> int:
    try:
        read = code_read(database(), code)
    except (MisreadError, NotFoundError):
        abort(HTTPStatus.NOT_FOUND)
    if read.kind is not kind:
        abort(HTTPStatus.NOT_FOUND)
    return read.number


def _cut(board: BoardView) -> SawnBoard:
    scale = DRAWN_WIDE / board.length_mm
    slabs = tuple(
        Slab(
            number=number,
            name=part.name,
            packed=part.cut,
            x=part.x_mm * scale,
            y=part.y_mm * scale,
            wide=(part.width_mm if part.turned else part.length_mm) * scale,
            tall=(part.length_mm if part.turned else part.width_mm) * scale,
        )
        for number, part in enumerate(board.parts, 1)
    )
    return SawnBoard(wide=DRAWN_WIDE, tall=board.width_mm * scale, slabs=slabs)
