"""Take an order at a desk: from a file or typed, looked at first, stored only when all of it is good.

The table of the order is kept as a file between the steps; typed cabinets become such a table too, so that there is
one way through: table, faults on its cells or preview, taking.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from http import HTTPStatus
from io import BytesIO
from typing import IO, Any, Final

from flask import Blueprint, Response, redirect, render_template, request, url_for
from flask_babel import format_decimal
from werkzeug.wrappers import Response as AnyResponse

from tracker.pages.frame.files import packed
from tracker.pages.office.orders.drawing import cabinet_svg
from tracker.pages.office.orders.preview import Preview, preview
from tracker.pages.office.orders.tables import (
    MOST_TYPED,
    Faulty,
    TypedRow,
    cells_of_form,
    faulty_rows,
    in_words,
    mended,
    rows_of_table,
    typed_rows,
    typed_table,
)
from tracker.pages.office.orders.uploads import Uploads
from tracker.pages.office.orders.words import COLUMNS, FAMILIES, FRONTS, HANDLING, HINGES, TOGETHER, lifting_advice
from tracker.pages.words.days import today
from tracker.pages.words.measures import speak_in, units
from tracker.pages.words.names import gettext as _
from tracker.records.boards import boards_of_job, materials_of_job
from tracker.records.designs import cabinets_of
from tracker.records.jobs import job_view
from tracker.records.settings import setting_names
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.orders import CHOICES, CabinetOrder, order_from_cells
from tracker.shop.errors import (
    ConflictError,
    Fault,
    InvalidInputError,
    NotFoundError,
    ShopError,
    TooLargeError,
    fault_at,
)
from tracker.shop.lengths import Units
from tracker.shop.order_warnings import order_warnings
from tracker.shop.orders import Order
from tracker.shop.roles import Role
from tracker.shop.saying import join
from tracker.web.context import act, database, now, settings
from tracker.work.access import needs
from tracker.work.boards import plan_job_boards
from tracker.work.intake import read_order_table
from tracker.work.jobs import job_coded
from tracker.work.lists import STANDARD, boards_of, packing_of, shipped_standard, standard_named
from tracker.work.orders import preview_order, take_order

blueprint = Blueprint("orders", __name__)

EMPTY_ROWS: Final = 3
MOST_DRAWN: Final = 30
FIELDS: Final = ("code", "customer", "due", "units", "standard", "ignore")
_DRAWN: Final = ("family", "width", "height", "depth", "fronts", "hinge")


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """What was sent of an order: the head of the form, how it comes, the kept file, the typed rows."""

    head: Mapping[str, str]
    typed: bool
    upload: str = ""
    file_name: str = ""
    rows: Sequence[TypedRow] = ()

    @property
    def units(self) -> Units:
        return Units.INCH if self.head.get("units") == Units.INCH else Units.MM


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """Why an order is not good: on the fields of the head, in its table, and in a word."""

    detail: str = ""
    head: Mapping[str, str]
    table: Faulty = field(default_factory=Faulty)


# The pages


@blueprint.get("/orders/new")
@needs(Role.OFFICE)
def new() -> str:
    """The empty form: from a file, or typed."""
    head = {"units": units().value, "due": ""}
    return _form(Draft(head=head, typed=request.args.get("by") == "typing"))


@blueprint.post("/orders/edit")
@needs(Role.OFFICE)
def edit() -> str:
    """The form again with what was sent: back from the preview, or with more rows to type into."""
    draft = _draft()
    if draft.upload and not draft.rows:
        try:
            with _uploads().open(draft.upload, "table") as file:
                rows = rows_of_table(file)
        except NotFoundError as gone:
            return _form(replace(draft, upload=""), refused=_in_a_word(gone))
        if rows is not None and not _uploads().has(draft.upload, "items"):
            draft = replace(draft, rows=rows, typed=True)
    return _form(draft, more=request.form.get("more") == "1")


@blueprint.post("/orders/preview")
@needs(Role.OFFICE)
def look_at() -> tuple[str, int] | str:
    """What would be made of the order, or its faults on rows and cells."""
    draft = _draft()
    try:
        draft = _kept(draft)
        order = _read(draft)
        shown = preview(order, packing_of(database()), boards_of(database()))
    except InvalidInputError as refused:
        return _form(draft, refused=_refused(draft, refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    except TooLargeError as refused:
        return _form(draft, refused=_in_a_word(refused)), HTTPStatus.REQUEST_ENTITY_TOO_LARGE
    except (NotFoundError, ConflictError) as refused:
        return _form(replace(draft, upload=""), refused=_in_a_word(refused)), HTTPStatus.CONFLICT
    return _preview_page(draft, order, shown)


@blueprint.post("/orders/take")
@needs(Role.OFFICE)
def take() -> AnyResponse | tuple[str, int]:
    """Take the order that was looked at."""
    draft = _draft()
    try:
        draft = _kept_still(draft)
        taken = take_order(database(), _read(draft), packing=packing_of(database()), **act())
    except InvalidInputError as refused:
        return _form(draft, refused=_refused(draft, refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    except NotFoundError as gone:
        return _form(replace(draft, upload=""), refused=_in_a_word(gone)), HTTPStatus.CONFLICT
    except (ConflictError, TooLargeError) as refused:
        return _form(draft, refused=_in_a_word(refused)), HTTPStatus.CONFLICT
    _uploads().drop(draft.upload)
    return redirect(url_for("orders.taken", code=taken.code), HTTPStatus.SEE_OTHER)


@blueprint.get("/orders/<code>/taken")
@needs(Role.OFFICE)
def taken(code: str) -> str:
    """What was made of an order, and what to do next: boards, labels, sheets."""
    return _taken_page(code)


@blueprint.post("/orders/<code>/boards")
@needs(Role.FOREMAN)
def plan_boards(code: str) -> AnyResponse | tuple[str, int]:
    """Plan the boards that a job is cut from."""
    try:
        plan_job_boards(database(), code, **act())
    except (InvalidInputError, ConflictError) as refused:
        return _taken_page(code, refused=refused), HTTPStatus.CONFLICT
    return redirect(url_for("orders.taken", code=code), HTTPStatus.SEE_OTHER)


@blueprint.get("/orders/drawing.svg")
@needs(Role.OFFICE)
def drawing() -> tuple[str, int] | Response:
    """A small drawing of one cabinet as it would be built; its sizes in the units that are given."""
    cells = {name: request.args.get(name, "") for name in _DRAWN}
    given = Units.INCH if request.args.get("units") == Units.INCH else Units.MM
    try:
        order = order_from_cells({"cabinet": "1", **cells}, given)
        cabinet = design_cabinet(order, standard_named(database(), request.args.get("standard") or None))
    except InvalidInputError:
        return "", HTTPStatus.NO_CONTENT  # it is asked for while somebody types: not yet a cabinet is no error
    return _drawing(cabinet_svg(cabinet, _("the cabinet as it would be built")))


def _drawing(svg: str) -> Response:
    response = Response(svg, mimetype="image/svg+xml")
    response.headers["Cache-Control"] = "private, max-age=60"
    return packed(response)


# What was sent


def _uploads() -> Uploads:
    return Uploads(settings().data_dir / "uploads")


def _draft() -> Draft:
    form = request.form
    head = {name: form.get(name, "").strip()[:200] for name in FIELDS}
    draft = Draft(
        head=head,
        typed=form.get("by") == "typing",
        upload=form.get("upload", ""),
        file_name=form.get("file_name", "")[:100],
        rows=typed_rows(form.items(multi=True)),
    )
    speak_in(draft.units)
    return draft


def _kept(draft: Draft) -> Draft:
    """Keep what was sent beside the head, and return the draft with the name of the kept file."""
    file, items = _sent("file"), _sent("items")
    if file is not None:
        name = _uploads().keep(file.stream, items.stream if items else None, now=now())
        return replace(draft, upload=name, file_name=(file.filename or "")[:100], typed=False, rows=())
    if draft.typed:
        if not draft.rows:
            raise InvalidInputError(_("Type at least one cabinet."))
        return replace(draft, upload=_uploads().keep(BytesIO(typed_table(draft.rows)), None, now=now()))
    if not draft.upload:
        raise InvalidInputError(_("Choose the file with the cut list or the cabinets."))
    _mend(draft.upload)
    if items is not None:
        _uploads().put(draft.upload, "items", items.stream)
    return draft


def _kept_still(draft: Draft) -> Draft:
    """Keep typed cabinets anew whose file went while they were looked at: they stand in the preview's form, too."""
    if not draft.rows or _uploads().has(draft.upload, "table"):
        return draft
    return replace(draft, upload=_uploads().keep(BytesIO(typed_table(draft.rows)), None, now=now()))


def _sent(name: str) -> Any:
    file = request.files.get(name)
    return file if file is not None and file.filename else None


def _mend(upload: str) -> None:
    cells = cells_of_form(request.form.items(multi=True))
    if cells:
        with _uploads().open(upload, "table") as file:
            table = mended(file, cells)
        _uploads().put(upload, "table", BytesIO(table))


def _read(draft: Draft) -> Order:
    """Return the order; raises InvalidInputError with the faults of head and table together."""
    faults = _head_faults(draft)
    try:
        order = _read_table(draft)
    except InvalidInputError as refused:
        raise InvalidInputError(refused.detail, [*faults, *refused.faults]) from refused
    if faults:
        raise InvalidInputError(_("The order cannot be taken yet."), faults)
    return order


def _read_table(draft: Draft) -> Order:
    uploads = _uploads()
    items: IO[bytes] | None = uploads.open(draft.upload, "items") if uploads.has(draft.upload, "items") else None
    try:
        with uploads.open(draft.upload, "table") as table:
            return read_order_table(
                table,
                items,
                job=draft.head["code"],
                customer=draft.head["customer"],
                due=_due(draft) or today(),
                units=draft.units,
                standard=standard_named(database(), draft.head["standard"] or None),
                ignore=draft.head["ignore"].split(","),
            )
    finally:
        if items is not None:
            items.close()


def _head_faults(draft: Draft) -> list[Fault]:
    faults = []
    due = _due(draft)
    if due is None:
        faults.append(fault_at("due", _("choose a day")))
    try:
        # An order without parts is never good; what it says of the rest holds for any.
        preview_order(Order(job=draft.head["code"], customer=draft.head["customer"], due=due or today(), parts=()))
    except InvalidInputError as refused:
        faults += [fault for fault in refused.faults if fault.where.get("field") in FIELDS]
    with database().read() as connection:
        if job_view(connection, draft.head["code"]) is not None:
            faults.append(fault_at("code", _("a job of this code was taken before: give this one another")))
    return faults


def _due(draft: Draft) -> date | None:
    try:
        return date.fromisoformat(draft.head["due"])
    except ValueError:
        return None


# What is shown


def _refused(draft: Draft, refused: InvalidInputError) -> Refused:
    of_head = {str(each.where["field"]): each.what for each in refused.faults if each.where.get("field") in FIELDS}
    others = [each for each in refused.faults if each.where.get("field") not in FIELDS]
    table = Faulty()
    if others:
        try:
            with _uploads().open(draft.upload, "table") as file:
                table = faulty_rows(file, others)
        except NotFoundError:
            table = Faulty(others=tuple(each.what for each in others))
    return Refused(detail=refused.detail, head=of_head, table=table)


def _in_a_word(refused: ShopError) -> Refused:
    return Refused(detail=refused.detail, head={})


def _form(draft: Draft, *, refused: Refused | None = None, more: bool = False) -> str:
    refused = refused or Refused(head={})
    rows: list[TypedRow] = [dict(row) for row in draft.rows]
    if draft.typed:
        rows += [{}] * (EMPTY_ROWS if more or not rows else 0)
    return render_template(
        "office/orders/orders_new.html",
        draft=draft,
        rows=rows[:MOST_TYPED],
        refused=refused,
        row_faults=_row_faults(refused.table) if draft.typed else {},
        standards=_standards(),
        choices=_choices(),
        **_words(),
    )


def _row_faults(table: Faulty) -> dict[int, dict[str, str]]:
    """The faults of typed rows, by row from 0 and column; those of the whole row under no column."""
    found: dict[int, dict[str, str]] = {}
    for row in table.rows:
        faults: dict[str, str] = {cell.column: join(cell.wrong, between="; ") for cell in row.cells if cell.wrong}
        if row.wrong:
            faults[""] = join(row.wrong, between="; ")
        found[row.line - 2] = faults
    return found


def _words() -> dict[str, Any]:
    return {
        "columns": COLUMNS,
        "families": FAMILIES,
        "fronts": FRONTS,
        "hinges": HINGES,
        "handling": HANDLING,
        "together": TOGETHER,
        "advice": lifting_advice,
    }


def _choices() -> dict[str, dict[str, list[str]]]:
    """What may be ordered, for the script that offers only what fits."""
    return {
        family.value: {front.value: [hinge.value for hinge in hinges] for front, hinges in fronts.items()}
        for family, fronts in CHOICES.items()
    }


def _standards() -> list[str]:
    with database().read() as connection:
        kept = [name.removeprefix(f"{STANDARD}/") for name in setting_names(connection) if name.startswith(STANDARD)]
    shipped = shipped_standard().name
    return [shipped, *(name for name in kept if name != shipped)]


def _preview_page(draft: Draft, order: Order, shown: Preview) -> str:
    drawings = {
        row.name: _drawing_address(row.order, draft.head["standard"])
        for row in shown.cabinet_rows[:MOST_DRAWN]
        if row.order
    }
    return render_template(
        "office/orders/orders_preview.html",
        draft=draft,
        order=order,
        shown=shown,
        drawings=drawings,
        past=order.due < today(),
        number=lambda value: format_decimal(round(value, 1)),
        **_words(),
    )


def _drawing_address(order: CabinetOrder, standard: str) -> str:
    return url_for(
        "orders.drawing",
        family=order.family.value,
        width=f"{order.width_mm:.9g}",
        height=f"{order.height_mm:.9g}",
        depth=f"{order.depth_mm:.9g}",
        fronts=order.fronts.value,
        hinge=order.hinge.value,
        standard=standard or None,
    )


def _taken_page(code: str, *, refused: ShopError | None = None) -> str:
    with database().read() as connection:
        job = job_coded(connection, code)
        boards = boards_of_job(connection, job.id)
        cabinets = cabinets_of(connection, job.id)
        materials = materials_of_job(connection, job.id)
    faults = refused.faults if isinstance(refused, InvalidInputError) else ()
    return render_template(
        "office/orders/orders_taken.html",
        job=job,
        boards=boards,
        cabinets=cabinets,
        warnings=order_warnings(job.due, materials, boards_of(database()), today()),
        refused=refused,
        faults=[in_words(fault) for fault in faults],
    )
