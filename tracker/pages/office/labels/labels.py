"""Labels: choose them, look at them as they will be printed, print them on a printer or as a PDF."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from datetime import timedelta
from enum import StrEnum
from http import HTTPStatus
from typing import Any, Final, TypeVar
from uuid import UUID, uuid4

from flask import Blueprint, Response, abort, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response as AnyResponse

from tracker.labels.contents import LabelKind
from tracker.pages.words.spoken import spoken
from tracker.records.boards import board_ids_of_job
from tracker.records.jobs import job_view
from tracker.records.printing import PrinterRow
from tracker.records.search import box_names, cabinet_names, open_job_codes
from tracker.shop.codes import Code, Kind, MisreadError
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.printing import Reason, fits_stock, reprint_reason, state_word
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.web.context import bearer, database, now, print_queue, settings
from tracker.work.access import needs
from tracker.work.box_numbers import code_read, numbering
from tracker.work.label_choice import Choice, Only, Order, Preview, What, lacking_letters, preview_labels
from tracker.work.label_setup import LabelSetup, label_setup
from tracker.work.labels import label_png
from tracker.work.printers import printers
from tracker.work.prints import Request, take_print

blueprint = Blueprint("label_pages", __name__)

A_PAGE: Final = 8
RESOLUTIONS: Final = (203, 300)
NAMES_OFFERED: Final = 300
JOBS_OFFERED: Final = 100
MOST_TAKEN: Final = 999
KNOWN_FOR: Final = timedelta(minutes=1)
_STEPS: Final = (Step.CUT, Step.MACHINE, Step.BAND, Step.PACK)
_KINDS: Final = {
    Kind.PART: (What.PARTS, LabelKind.PART),
    Kind.BOX: (What.BOXES, LabelKind.BOX),
    Kind.BOARD: (What.BOARDS, LabelKind.BOARD),
    Kind.STATION: (What.CARDS, LabelKind.STATION),
    Kind.SLOT: (What.CARDS, LabelKind.SLOT),
    Kind.COMMAND: (What.CARDS, LabelKind.CARD),
}
Word = TypeVar("Word", bound=StrEnum)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was chosen, how fine it is drawn, and which page of the preview is looked at."""

    choice: Choice
    dpi: int
    page: int

    def address(self, **changed: Any) -> dict[str, Any]:
        """The parts of the address that say so again."""
        given = {**choice_address(self.choice), "dpi": self.dpi, **changed}
        return {name: value for name, value in given.items() if value not in ("", None)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Pile:
    """Labels of one kind that come out together: how many, their pages' sizes in mm, the printers that have it."""

    what: What
    count: int
    pages_mm: Sequence[tuple[float, float]]
    printers: Sequence[PrinterRow]


def choice_address(choice: Choice) -> dict[str, Any]:
    """Return what asks for a choice on the page of the labels."""
    given = {**asdict(choice), "order": "" if choice.order is Order.BOX else choice.order.value}
    return {name: str(value) for name, value in given.items() if value}


@blueprint.get("/labels")
@needs(Role.STATION)
def labels() -> Response:
    """Choose labels and look at them."""
    return _answer(_asked(request.args))


def _answer(asked: Asked, *, wrong: str = "", status: HTTPStatus = HTTPStatus.OK) -> Response:
    shown, unknown = None, ""
    if asked.choice.job or asked.choice.what is What.CARDS:
        try:
            shown = preview_labels(database(), asked.choice, after=asked.page * A_PAGE, limit=A_PAGE)
        except NotFoundError:
            unknown, status = asked.choice.job, HTTPStatus.NOT_FOUND
    response = make_response(_page(asked, shown, unknown=unknown, wrong=wrong), status)
    # Going back shows the page anew: what was printed counts as printed, and the next print has an id of its own.
    response.headers["Cache-Control"] = "no-store"
    return response


@blueprint.post("/labels")
@needs(Role.STATION)
def do_print() -> AnyResponse:
    """Write down what is to be printed, let it be sent, and show how far it is."""
    given = request.form
    asked = _asked(given)
    try:
        wish = _wish(asked)
        number = take_print(database(), wish, who=bearer().name, now=now())
    except NotFoundError as refused:
        return _answer(asked, wrong=spoken(refused.detail), status=HTTPStatus.NOT_FOUND)
    except ConflictError as refused:
        return _answer(asked, wrong=spoken(refused.detail), status=HTTPStatus.CONFLICT)
    except InvalidInputError as refused:
        wrong = " ".join(spoken(each) for each in (refused.detail, *(fault.what for fault in refused.faults)))
        return _answer(asked, wrong=wrong, status=HTTPStatus.UNPROCESSABLE_ENTITY)
    if wish.printer is not None:
        print_queue().send(number)
    return redirect(url_for("print_pages.print_page", number=number), HTTPStatus.SEE_OTHER)


def _wish(asked: Asked) -> Request:
    """Read what the form asks for: ``where`` is a PDF of all, or a printer and which of the labels it gets."""
    given = request.form
    printer, _sep, what = given.get("where", "").partition("-")
    reason = given.get("reason", "")
    try:
        request_id = UUID(given.get("request_id", ""))
    except ValueError:
        abort(HTTPStatus.UNPROCESSABLE_ENTITY)
    on_printer = printer.isascii() and printer.isdigit() and len(printer) <= 9
    return Request(
        request_id=request_id,
        choice=replace(asked.choice, what=_word(What, what, asked.choice.what)) if on_printer else asked.choice,
        printer=int(printer) if on_printer else None,
        dpi=asked.dpi,
        reason=Reason(reason) if reason in set(Reason) else None,
        note=" ".join(given.get("note", "").split()),
    )


@blueprint.get("/labels/<code>.png")
@needs(Role.STATION)
def png(code: str) -> Response:
    """One label as a picture."""
    try:
        read = code_read(database(), code)
        picture = label_png(database(), settings(), read, dpi=_dpi(request.args))
    except (MisreadError, NotFoundError):
        abort(HTTPStatus.NOT_FOUND)
    response = Response(picture, mimetype="image/png")
    response.headers["Cache-Control"] = "private, max-age=60"
    return response


def _dpi(given: Any) -> int:
    return next((dpi for dpi in RESOLUTIONS if str(dpi) == given.get("dpi", "")), RESOLUTIONS[0])


def _word(words: type[Word], given: str, otherwise: Word) -> Word:
    return words(given) if given in set(words) else otherwise


def _number(given: str, most: int) -> int:
    return min(int(given), most) if given.isascii() and given.isdigit() and len(given) <= 4 else 0


def _asked(given: Any) -> Asked:
    step = given.get("step", "")
    what = _word(What, given.get("what", ""), What.ALL)
    choice = Choice(
        job=given.get("job", "").strip()[:40],
        what=What.ALL if what is What.TEST else what,
        step=step if step in set(_STEPS) else "",
        cabinet=given.get("cabinet", "").strip()[:200],
        box=given.get("box", "").strip()[:20],
        board=given.get("board", "").strip()[:20],
        part=given.get("part", "").strip()[:20],
        only=_word(Only, given.get("only", ""), Only.ALL),
        order=_word(Order, given.get("order", ""), Order.BOX),
        taken=_number(given.get("taken", ""), MOST_TAKEN),
    )
    if choice.what is What.CARDS:
        choice = Choice(what=What.CARDS, taken=choice.taken)
    return Asked(choice=choice, dpi=_dpi(given), page=_number(given.get("page", ""), 9_999))


def _page(asked: Asked, shown: Preview | None, *, unknown: str = "", wrong: str = "") -> str:
    with database().read() as connection:
        jobs = open_job_codes(connection, limit=JOBS_OFFERED)
        job = job_view(connection, asked.choice.job) if asked.choice.job else None
        cabinets = cabinet_names(connection, job.id, limit=NAMES_OFFERED) if job else []
        boxes = box_names(connection, job.id, limit=NAMES_OFFERED) if job else []
        boards = board_ids_of_job(connection, job.id)[:NAMES_OFFERED] if job else []
    setup = label_setup(database(), settings())
    kinds = () if shown is None else shown.kinds
    return render_template(
        "office/labels/labels.html",
        asked=asked,
        choice=asked.choice,
        shown=shown,
        lacking=lacking_letters(database(), settings(), shown.codes) if shown else "",
        unknown=unknown,
        wrong=wrong,
        given=request.form,
        jobs=jobs,
        cabinets=cabinets,
        boxes=boxes,
        boards=[str(Code(Kind.BOARD, number)) for number in boards],
        steps=_STEPS,
        resolutions=RESOLUTIONS,
        first=asked.page * A_PAGE + 1,
        last_page=max(0, (shown.count - 1) // A_PAGE) if shown else 0,
        piles=_piles(shown, setup),
        on_sheets=any(setup.chosen[_KINDS[kind][1]].stock.count > 1 for kind in kinds),
        request_id=uuid4(),
        reasons=[(reason.value, reprint_reason(reason)) for reason in Reason],
        state_of=_state_of,
        box_numbers=numbering(database()),
        may_layout=bearer().role.includes(Role.OFFICE),
        may_add=bearer().role.includes(Role.ADMIN),
    )


def _state_of(each: PrinterRow) -> str:
    """Say how a printer is, if that was heard just now; an old answer says nothing."""
    fresh = each.asked_at is not None and now() - each.asked_at < KNOWN_FOR
    return spoken(state_word(each.warning or each.state)) if fresh else ""


def _piles(shown: Preview | None, setup: LabelSetup) -> list[Pile]:
    """Sort what is shown by what comes out together, each with the printers that have its labels loaded."""
    there = printers(database())
    for each in there if shown is not None else ():
        print_queue().ask(each.id)  # beside this: whoever looks again sees it
    counts: dict[What, int] = {}
    sizes: dict[What, set[tuple[float, float]]] = {}
    for kind, count in () if shown is None else shown.kinds.items():
        what, label = _KINDS[kind]
        counts[what] = counts.get(what, 0) + count
        sizes.setdefault(what, set()).add(setup.chosen[label].stock.sheet)
    return [
        Pile(
            what=what,
            count=count,
            pages_mm=sorted(sizes[what]),
            printers=[each for each in there if all(fits_stock(size, each.stock_mm) for size in sizes[what])],
        )
        for what, count in counts.items()
    ]
