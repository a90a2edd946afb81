"""How labels look and what they are printed on: the layouts with a live preview, and the choice for each kind."""

from http import HTTPStatus
from json import dumps
from typing import Final

from flask import Blueprint, Response, abort, jsonify, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from tracker.labels.calibration import calibration_pdf
from tracker.labels.contents import SAMPLES, LabelKind
from tracker.labels.documents import png_bytes
from tracker.labels.layout import draw_label
from tracker.labels.layout_reading import read_layout
from tracker.pages.office.list_faults import Checked, checked
from tracker.pages.words.names import LABEL_KINDS
from tracker.pages.words.names import gettext as _
from tracker.pages.words.spoken import spoken
from tracker.shop.errors import InvalidInputError, NotFoundError
from tracker.shop.roles import Role
from tracker.web.context import bearer, database, now, settings
from tracker.work.access import needs
from tracker.work.label_setup import (
    choice_text,
    label_setup,
    layout_text,
    layouts,
    own_layouts,
    own_stocks_text,
    set_labels,
    set_layout,
    shop_faces,
    stock_named,
    stocks,
)

blueprint = Blueprint("label_layouts", __name__)

PREVIEW_DPI: Final = 203


@blueprint.get("/labels/layouts")
@needs(Role.OFFICE)
def choose() -> str:
    """Which layout and stock each kind of label has."""
    return _choice_page()


@blueprint.post("/labels/layouts")
@needs(Role.ADMIN)
def post_choice() -> ResponseReturnValue:
    """Keep which layout and stock each kind of label has, and the shop's own stocks."""
    chosen = {
        kind: (request.form.get(f"{kind}.layout", ""), request.form.get(f"{kind}.stock", "")) for kind in LabelKind
    }
    own = request.form.get("stocks", "").replace("\r\n", "\n")
    try:
        set_labels(database(), settings(), choice_text(chosen, own), who=bearer().name, now=now())
    except InvalidInputError as refused:
        return _choice_page(refused=refused, own=own), HTTPStatus.UNPROCESSABLE_ENTITY
    return redirect(url_for("label_layouts.choose", kept=1), HTTPStatus.SEE_OTHER)


@blueprint.get("/labels/layouts/<name>")
@needs(Role.OFFICE)
def layout(name: str) -> str:
    """A layout's text beside what it draws."""
    try:
        text = layout_text(database(), name)
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    return _layout_page(Checked(text=text, kept=name if request.args.get("kept") else ""), name)


@blueprint.post("/labels/layouts/keep")
@needs(Role.ADMIN)
def post_layout() -> ResponseReturnValue:
    """Keep a layout under the name that its text says."""
    text = _sent_text()
    try:
        name = set_layout(database(), settings(), text, who=bearer().name, now=now())
    except InvalidInputError as refused:
        return _layout_page(checked(text, refused), ""), HTTPStatus.UNPROCESSABLE_ENTITY
    return redirect(url_for("label_layouts.layout", name=name, kept=1), HTTPStatus.SEE_OTHER)


@blueprint.post("/labels/layouts/preview.png")
@needs(Role.OFFICE)
def preview() -> ResponseReturnValue:
    """What a layout's text draws of an invented thing, as it is typed; or what is wrong with it."""
    text = _sent_text()
    try:
        read = read_layout(text, shop_faces(settings()))
    except InvalidInputError as refused:
        told = checked(text, refused)
        wrong = [{"line": each.line, "field": each.field, "what": spoken(each.what)} for each in told.wrong]
        return jsonify(detail=spoken(told.detail), wrong=wrong)  # half-typed is no error
    drawn = draw_label(read, SAMPLES[read.kind], PREVIEW_DPI)
    response = Response(png_bytes(drawn.image, dpi=PREVIEW_DPI), mimetype="image/png")
    response.headers["X-Lacking"] = dumps(drawn.lacking)
    return response


@blueprint.get("/labels/layouts/<name>/sample.png")
@needs(Role.OFFICE)
def sample(name: str) -> Response:
    """What a layout draws of an invented thing."""
    try:
        read = read_layout(layout_text(database(), name), shop_faces(settings()))
    except (NotFoundError, InvalidInputError):
        abort(HTTPStatus.NOT_FOUND)
    drawn = draw_label(read, SAMPLES[read.kind], PREVIEW_DPI)
    return Response(png_bytes(drawn.image, dpi=PREVIEW_DPI), mimetype="image/png")


@blueprint.get("/labels/calibration.pdf")
@needs(Role.STATION)
def calibration() -> Response:
    """A page with a ruler and bars: measured and scanned, it says whether the printer scales and how fine it prints."""
    try:
        stock = stock_named(database(), request.args.get("stock", ""))
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    dpi = request.args.get("dpi", "203")
    document = calibration_pdf(stock, dpi=int(dpi) if dpi in ("203", "300", "600") else 203)
    return Response(document, mimetype="application/pdf")


def _sent_text() -> str:
    return request.form.get("text", "").replace("\r\n", "\n")


def _choice_page(*, refused: InvalidInputError | None = None, own: str | None = None) -> str:
    known = layouts(database())
    kinds = {name: read_layout(text, shop_faces(settings())).kind for name, text in known.items()}
    return render_template(
        "office/labels/label_layouts.html",
        kinds=LABEL_KINDS,
        of_kind={kind: [name for name, own_kind in kinds.items() if own_kind is kind] for kind in LabelKind},
        own_layouts=own_layouts(database()),
        chosen=_chosen_names(),
        stocks=stocks(database()),
        own_stocks=own_stocks_text(database()) if own is None else own,
        refused=refused,
        kept=bool(request.args.get("kept")),
        may_change=bearer().role.includes(Role.ADMIN),
        resolutions=(203, 300, 600),
    )


def _chosen_names() -> dict[LabelKind, tuple[str, str]]:
    """What is chosen, or was just sent."""
    setup = label_setup(database(), settings())
    return {
        kind: (
            request.form.get(f"{kind}.layout", chosen.layout.name),
            request.form.get(f"{kind}.stock", chosen.stock.name),
        )
        for kind, chosen in setup.chosen.items()
    }


def _layout_page(sent: Checked, name: str) -> str:
    return render_template(
        "office/labels/label_layout.html",
        sent=sent,
        name=name,
        may_change=bearer().role.includes(Role.ADMIN),
        texts={"lacks": _("The font lacks these letters: {letters}"), "fine": _("Nothing is wrong with it.")},
    )
