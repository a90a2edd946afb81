"""Printers and prints."""

from typing import Any, Final
from uuid import uuid4

from flask import Response
from marshmallow import Schema, fields, validate

from tracker.api.paging import cut, number_after
from tracker.api.parts import PartPrintShape
from tracker.api.service import CallBlueprint
from tracker.api.shapes import PageShape, Shape, Time, page_of
from tracker.records.printing import PrinterRow, PrintRow, last_prints
from tracker.shop.printing import LONGEST_NOTE, PrintState, Reason, cause_sentence, print_word, state_word
from tracker.shop.roles import Role
from tracker.web.context import bearer, database, now, print_queue, settings
from tracker.work import printers as work
from tracker.work.access import needs
from tracker.work.label_choice import Choice, Only, Order, What
from tracker.work.printers import RESOLUTIONS
from tracker.work.prints import (
    MOST_COPIES,
    Request,
    cancel_print,
    document_of,
    note_what_came_out,
    print_view,
    take_print,
)

blueprint = CallBlueprint("printing", __name__)
_DPI: Final = validate.OneOf(RESOLUTIONS)


class PrinterOrderShape(Shape):
    """A printer to add. The sizes are of a page: of one label on a roll, of the sheet otherwise."""

    name = fields.String(required=True)
    address = fields.String(required=True, metadata={"description": "ipp://HOST/PATH or ipps://HOST/PATH"})
    dpi = fields.Integer(load_default=203, strict=True, validate=_DPI)
    width_mm = fields.Float(required=True, allow_nan=False)
    height_mm = fields.Float(required=True, allow_nan=False)


class PrinterShape(Schema):
    """A printer, how it said that it is, and when it last answered."""

    id = fields.Integer()
    name = fields.String()
    address = fields.String()
    dpi = fields.Integer()
    width_mm = fields.Float()
    height_mm = fields.Float()
    state = fields.String()
    says = fields.String()
    warning = fields.String(allow_none=True)
    heard_at = Time(allow_none=True)


class PrintersShape(Schema):
    """The printers in use."""

    items = fields.List(fields.Nested(PrinterShape))


class PrintOrderShape(Shape):
    """What to print, and where. Sent again with the same ``id`` it is the same print."""

    id = fields.UUID(load_default=None, metadata={"description": "made by the client for this print"})
    printer = fields.String(load_default="", metadata={"description": "its name; without one a PDF is made"})
    job = fields.String(load_default="")
    what = fields.Enum(What, by_value=True, load_default=What.ALL)
    step = fields.String(load_default="")
    cabinet = fields.String(load_default="")
    box = fields.String(load_default="")
    board = fields.String(load_default="")
    part = fields.String(load_default="")
    only_those = fields.Enum(Only, by_value=True, load_default=Only.ALL, data_key="only", attribute="only")
    order = fields.Enum(Order, by_value=True, load_default=Order.BOX)
    taken = fields.Integer(load_default=0, strict=True, validate=validate.Range(0, 1_000))
    dpi = fields.Integer(load_default=203, strict=True, validate=_DPI)
    copies = fields.Integer(load_default=1, strict=True, validate=validate.Range(1, MOST_COPIES))
    reason = fields.Enum(
        Reason, by_value=True, load_default=None, metadata={"description": "needed where a part was printed before"}
    )
    note = fields.String(load_default="", validate=validate.Length(max=LONGEST_NOTE))


class PrintShape(PartPrintShape):
    """A print and how far it has come; ``says`` and ``why`` in words."""

    request_id = fields.String()
    job = fields.String(allow_none=True)
    dpi = fields.Integer()
    copies = fields.Integer()
    labels = fields.Integer()
    again = fields.Integer()
    since = Time()
    says = fields.String()
    why = fields.String(allow_none=True)
    printer_job = fields.Integer(allow_none=True)


class SeenAtPrinterShape(Shape):
    """What somebody saw at the printer."""

    came_out = fields.Boolean(required=True)


@blueprint.route("/printers", methods=["GET"])
@blueprint.response(200, PrintersShape)
@needs(Role.STATION)
def get_printers() -> dict[str, Any]:
    """The shop's printers; each is asked how it is beside this call, for the next one."""
    found = work.printers(database())
    for each in found:
        print_queue().ask(each.id)
    return {"items": [_printer(each) for each in found]}


@blueprint.route("/printers", methods=["POST"])
@blueprint.arguments(PrinterOrderShape)
@blueprint.response(201, PrinterShape)
@needs(Role.ADMIN)
def post_printer(body: dict[str, Any]) -> dict[str, Any]:
    """Add a network printer that speaks IPP. It may be off."""
    stock = (body["width_mm"], body["height_mm"])
    number = work.add_printer(database(), body["name"], body["address"], dpi=body["dpi"], stock_mm=stock, now=now())
    return _printer(work.printer(database(), number))


@blueprint.route("/printers/<int:number>/withdraw", methods=["POST"])
@blueprint.response(204)
@needs(Role.ADMIN)
def post_withdraw_printer(number: int) -> None:
    """Take a printer out; its prints stay on record."""
    work.withdraw_printer(database(), number, now=now())


@blueprint.route("/prints", methods=["POST"])
@blueprint.arguments(PrintOrderShape)
@blueprint.response(202, PrintShape)
@needs(Role.STATION)
def post_print(body: dict[str, Any]) -> dict[str, Any]:
    """Print labels, or make a PDF of them. They are sent beside this call: ask for the print to see how far it is."""
    name, request_id = body.pop("printer"), body.pop("id")
    row = work.printer_named(database(), name) if name else None
    own = {key: body.pop(key) for key in ("dpi", "copies", "reason", "note")}
    wish = Request(
        request_id=request_id or uuid4(), choice=Choice(**body), printer=None if row is None else row.id, **own
    )
    number = take_print(database(), wish, who=bearer().name, now=now())
    if row is not None:
        print_queue().send(number)
    return _shaped(print_view(database(), number, now=now()))


@blueprint.route("/prints", methods=["GET"])
@blueprint.arguments(PageShape, location="query")
@blueprint.response(200, page_of("PrintsShape", PrintShape))
@needs(Role.STATION)
def get_prints(query: dict[str, Any]) -> dict[str, Any]:
    """All prints, the latest first."""
    before = number_after(query["after"]) or None
    with database().read() as connection:
        found = last_prints(connection, now(), limit=query["limit"] + 1, before=before)
    page = cut(found, query["limit"], lambda each: str(each.id))
    return {**page, "items": [_shaped(each) for each in page["items"]]}


@blueprint.route("/prints/<int:number>", methods=["GET"])
@blueprint.response(200, PrintShape)
@needs(Role.STATION)
def get_print(number: int) -> dict[str, Any]:
    """One print; while the printer has it, the printer is asked beside this call, for the next one."""
    row = print_view(database(), number, now=now())
    if row.state is PrintState.SENT:
        print_queue().follow(number)
    return _shaped(row)


@blueprint.route("/prints/<int:number>.pdf", methods=["GET"])
@blueprint.response(200, {"format": "binary", "type": "string"}, content_type="application/pdf")
@needs(Role.STATION)
def get_print_document(number: int) -> Response:
    """The labels of a print as a PDF, without those that count no more. Print at 100 %, not fitted."""
    document = document_of(database(), settings(), print_view(database(), number, now=now()))
    return Response(document.pdf, mimetype="application/pdf")


@blueprint.route("/prints/<int:number>/cancel", methods=["POST"])
@blueprint.response(200, PrintShape)
@needs(Role.STATION)
def post_cancel(number: int) -> dict[str, Any]:
    """Take a print back: it is not sent, or cancelled at the printer."""
    cancel_print(database(), number, who=bearer().name, now=now())
    return _shaped(print_view(database(), number, now=now()))


@blueprint.route("/prints/<int:number>/settle", methods=["POST"])
@blueprint.arguments(SeenAtPrinterShape)
@blueprint.response(200, PrintShape)
@needs(Role.STATION)
def post_came_out(body: dict[str, Any], number: int) -> dict[str, Any]:
    """Say what was seen at the printer: whether the labels came out."""
    note_what_came_out(database(), number, came_out=body["came_out"], who=bearer().name, now=now())
    return _shaped(print_view(database(), number, now=now()))


def _printer(row: PrinterRow) -> dict[str, Any]:
    shown = {name: getattr(row, name) for name in ("id", "name", "address", "dpi", "width_mm", "height_mm", "heard_at")}
    warning = None if row.warning is None else str(state_word(row.warning))
    return {**shown, "state": row.state.value, "says": str(state_word(row.state)), "warning": warning}


def _shaped(row: PrintRow) -> dict[str, Any]:
    shown = {name: getattr(row, name) for name in PrintShape().fields if hasattr(row, name)}
    why = None if row.cause is None else str(cause_sentence(row.cause, row.detail))
    return {**shown, "says": str(print_word(row.state)), "why": why}
