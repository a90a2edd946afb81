"""Printers and prints: how each printer is, what was printed, how far it is, and what to do where that is in doubt."""

from collections.abc import Callable
from datetime import datetime
from http import HTTPStatus
from typing import Any, Final
from uuid import uuid4

from flask import Blueprint, Response, abort, flash, jsonify, redirect, render_template, request, url_for
from flask_babel import format_timedelta
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.office.labels.labels import choice_address
from tracker.pages.words.measures import units
from tracker.pages.words.names import gettext as _
from tracker.pages.words.names import step_word
from tracker.pages.words.spoken import spoken
from tracker.records.printing import PrinterRow, last_prints
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.lengths import Units, read_length
from tracker.shop.printing import (
    Cause,
    PrinterState,
    PrintState,
    cause_sentence,
    print_word,
    reprint_reason,
    state_word,
)
from tracker.shop.roles import Role
from tracker.web.context import bearer, database, now, print_queue, settings
from tracker.work import printers as work
from tracker.work.access import needs
from tracker.work.label_choice import Choice, Only, Order, What, read_choice
from tracker.work.printers import RESOLUTIONS
from tracker.work.prints import Request, cancel_print, document_of, note_what_came_out, print_view, take_print

blueprint = Blueprint("print_pages", __name__)

SHOWN: Final = 30
_GOOD: Final = (PrintState.PRINTED, PrintState.FILE)
_BAD: Final = (PrintState.FAILED, PrintState.DOUBTFUL, PrintState.CANCELLED)
Answer = AnyResponse | str | tuple[str, int]


# Printers


@blueprint.get("/printers")
@needs(Role.STATION)
def printers() -> str:
    """The printers, how each said that it is, and the form for a new one."""
    return _printers_page()


def _printers_page(*, wrong: str = "") -> str:
    return render_template(
        "office/labels/printers.html",
        **_printers(),
        wrong=wrong,
        given=request.form,
        resolutions=RESOLUTIONS,
        units=units().value,
        live=url_for("print_pages.printers_now"),
    )


@blueprint.get("/printers/now")
@needs(Role.STATION)
def printers_now() -> Response:
    """The same list as it is now; each printer is asked beside this for the next look."""
    for each in work.printers(database()):
        print_queue().ask(each.id)
    return jsonify({"html": render_template("office/labels/printers_now.html", **_printers()), "moves": True})


def _printers() -> dict[str, Any]:
    return {
        "printers": work.printers(database()),
        "state_word": state_word,
        "shape": printer_shape,
        "ago": ago,
        "may_change": bearer().role.includes(Role.ADMIN),
    }


def printer_shape(each: PrinterRow) -> str:
    """Return the shape that stands before a printer's state: colour never speaks alone."""
    if each.state in (PrinterState.READY, PrinterState.BUSY):
        return "warned" if each.warning else "good"
    return "moving" if each.state is PrinterState.UNKNOWN else "bad"


def ago(when: datetime) -> str:
    """Say how long ago something was."""
    return str(format_timedelta(max(now() - when, now() - now()), granularity="second", threshold=2))


@blueprint.post("/printers")
@needs(Role.ADMIN)
def add_printer() -> Answer:
    """Add a printer."""
    given = request.form
    try:
        stock = (_length("width"), _length("height"))
        work.add_printer(
            database(),
            given.get("name", "").strip(),
            given.get("address", ""),
            dpi=int(given["dpi"]) if given.get("dpi") in {str(dpi) for dpi in RESOLUTIONS} else 0,
            stock_mm=stock,
            now=now(),
        )
    except ConflictError as refused:
        return _printers_page(wrong=spoken(refused.detail)), HTTPStatus.CONFLICT
    except InvalidInputError as refused:
        return _printers_page(wrong=_faults(refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    flash(_("Added. Print its test page and measure it."))
    return redirect(url_for("print_pages.printers"), HTTPStatus.SEE_OTHER)


def _length(field: str) -> float:
    """Read a length in the units that the form was shown in; 0 for what is none, which no stock is."""
    given = Units.INCH if request.form.get("units") == Units.INCH.value else Units.MM
    try:
        return read_length(request.form.get(field, ""), given)
    except ValueError:
        return 0.0


def _faults(refused: InvalidInputError) -> str:
    names = {"address": _("Address"), "dpi": _("Dots an inch"), "width_mm": _("Width"), "height_mm": _("Height")}
    told = [spoken(refused.detail)]
    for fault in refused.faults:
        name = names.get(str(fault.where.get("field")), _("Name"))
        told.append(f"{name}: {spoken(fault.what)}.")
    return " ".join(told)


@blueprint.post("/printers/<int:number>/withdraw")
@needs(Role.ADMIN)
def withdraw_printer(number: int) -> Answer:
    """Take a printer out."""
    _or_404(lambda: work.withdraw_printer(database(), number, now=now()))
    flash(_("Taken out."))
    return redirect(url_for("print_pages.printers"), HTTPStatus.SEE_OTHER)


@blueprint.post("/printers/<int:number>/test")
@needs(Role.STATION)
def test_page(number: int) -> AnyResponse:
    """Print a test page: a frame, a ruler and bars."""
    wish = Request(request_id=uuid4(), choice=Choice(what=What.TEST), printer=number)
    made: list[int] = []
    _or_404(lambda: made.append(take_print(database(), wish, who=bearer().name, now=now())))
    print_queue().send(made[0])
    return redirect(url_for("print_pages.print_page", number=made[0]), HTTPStatus.SEE_OTHER)


# Prints


@blueprint.get("/prints")
@needs(Role.STATION)
def prints() -> str:
    """What was printed, the latest first."""
    before = request.args.get("before", "")
    start = int(before) if before.isascii() and before.isdigit() and len(before) <= 9 else None
    with database().read() as connection:
        found = last_prints(connection, now(), limit=SHOWN + 1, before=start)
    more = url_for("print_pages.prints", before=found[SHOWN - 1].id) if len(found) > SHOWN else ""
    return render_template("office/labels/prints.html", prints=found[:SHOWN], more=more, **_words())


def _words() -> dict[str, Any]:
    return {
        "print_word": print_word,
        "cause_sentence": cause_sentence,
        "reprint_reason": reprint_reason,
        "choice_words": choice_words,
        "shape": print_shape,
    }


def print_shape(state: PrintState) -> str:
    """Return the shape that stands before how far a print is."""
    if state in _GOOD:
        return "good"
    return "bad" if state in _BAD else "moving"


def choice_words(text: str) -> str:
    """Say which labels a print is of."""
    choice = read_choice(text)
    what = {
        What.ALL: _("boxes, each with its parts"),
        What.PARTS: _("parts only"),
        What.BOXES: _("boxes only"),
        What.BOARDS: _("boards"),
        What.CARDS: _("cards: stations, slots, commands"),
        What.TEST: _("test page"),
    }[choice.what]
    bits = [
        what,
        _("part %(code)s", code=choice.part) if choice.part else "",
        _("cabinet %(name)s", name=choice.cabinet) if choice.cabinet else "",
        _("box %(code)s", code=choice.box) if choice.box else "",
        _("board %(code)s", code=choice.board) if choice.board else "",
        _("waiting for: %(step)s", step=step_word(choice.step)) if choice.step else "",
        {Only.ALL: "", Only.UNPRINTED: _("not printed yet"), Only.MISSING: _("missing in their boxes")}[choice.only],
        _("in the order of the saw") if choice.order is Order.SAW else "",
    ]
    return ", ".join(bit for bit in bits if bit)


@blueprint.get("/prints/<int:number>")
@needs(Role.STATION)
def print_page(number: int) -> str:
    """One print: how far it is, and what to do."""
    return _print_page(number)


def _print_page(number: int, *, wrong: str = "") -> str:
    live = url_for("print_pages.print_now", number=number)
    return render_template("office/labels/print.html", **_shown(number), live=live, wrong=wrong)


@blueprint.get("/prints/<int:number>/now")
@needs(Role.STATION)
def print_now(number: int) -> Response:
    """The same print as it is now; the printer is asked beside this for the next look."""
    shown = _shown(number)
    return jsonify({"html": render_template("office/labels/print_now.html", **shown), "moves": shown["moves"]})


def _shown(number: int) -> dict[str, Any]:
    try:
        row = print_view(database(), number, now=now())
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    if row.state is PrintState.SENT:
        print_queue().follow(number)
    lost = row.state is PrintState.SENT and row.cause in (Cause.GONE, Cause.FORGOTTEN)
    choice = read_choice(row.choice)
    return {
        "row": row,
        "moves": row.state.moves and row.cause is not Cause.FORGOTTEN,
        "may_cancel": row.state in (PrintState.WAITING, PrintState.SENT) and not lost,
        "asks_what_came_out": row.state in (PrintState.DOUBTFUL, PrintState.CANCELLED) or lost,
        "is_test": choice.what is What.TEST,
        "anew": url_for("label_pages.labels", **choice_address(choice)),
        **_words(),
    }


@blueprint.get("/prints/<int:number>/labels.pdf")
@needs(Role.STATION)
def print_pdf(number: int) -> Response:
    """The labels of a print as a PDF, one a page at true size, without those that count no more."""
    try:
        document = document_of(database(), settings(), print_view(database(), number, now=now()))
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    if not document.labels:
        abort(HTTPStatus.NOT_FOUND)
    response = Response(document.pdf, mimetype="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="labels-{number}.pdf"'
    return response


@blueprint.post("/prints/<int:number>/cancel")
@needs(Role.STATION)
def do_cancel(number: int) -> Answer:
    """Take a print back."""
    return _do(number, lambda: cancel_print(database(), number, who=bearer().name, now=now()))


@blueprint.post("/prints/<int:number>/settle")
@needs(Role.STATION)
def do_came_out(number: int) -> Answer:
    """Write down what somebody saw at the printer."""
    came_out = request.form.get("seen") == "labels"
    return _do(number, lambda: note_what_came_out(database(), number, came_out=came_out, who=bearer().name, now=now()))


def _do(number: int, act: Callable[[], None]) -> Answer:
    try:
        _or_404(act)
    except ConflictError as refused:
        return _print_page(number, wrong=spoken(refused.detail)), HTTPStatus.CONFLICT
    return redirect(url_for("print_pages.print_page", number=number), HTTPStatus.SEE_OTHER)


def _or_404(act: Callable[[], object]) -> None:
    try:
        act()
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
