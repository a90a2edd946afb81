"""Labels: choose them, look at them as they will be printed, print them as a PDF at true size."""

from dataclasses import dataclass
from http import HTTPStatus
from io import BytesIO
from typing import Any, Final

from flask import Blueprint, Response, abort, render_template, request, url_for

from tracker.pages.context import database
from tracker.pages.words import step_word
from tracker.records import look
from tracker.records.search import box_names, cabinet_names, open_job_codes
from tracker.shop.codes import Kind, MisreadError, read_code
from tracker.shop.errors import NotFoundError
from tracker.shop.roles import Role
from tracker.shop.steps import Step
from tracker.work.access import needs
from tracker.work.label_choice import Choice, Preview, What, card_codes, card_png, preview_labels, print_labels
from tracker.work.labels import board_label_png, box_label_png, part_label_png, write_card_labels

blueprint = Blueprint("label_pages", __name__)

A_PAGE: Final = 8
RESOLUTIONS: Final = (203, 300)
NAMES_OFFERED: Final = 300
JOBS_OFFERED: Final = 100
CARDS: Final = "cards"
_STEPS: Final = (Step.CUT, Step.MACHINE, Step.BAND, Step.PACK)


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What was chosen: of a job, or the cards on the walls."""

    choice: Choice
    cards: bool
    dpi: int
    page: int

    def address(self, **changed: Any) -> dict[str, Any]:
        """The parts of the address that say so again."""
        choice = self.choice
        given = {
            "job": choice.job,
            "what": CARDS if self.cards else choice.what.value,
            "step": choice.step,
            "cabinet": choice.cabinet,
            "box": choice.box,
            "dpi": self.dpi,
            **changed,
        }
        return {name: value for name, value in given.items() if value not in ("", None)}


@blueprint.get("/labels")
@needs(Role.STATION)
def labels() -> tuple[str, int] | str:
    """Choose labels and look at them."""
    asked = _asked()
    if asked.cards:
        codes = card_codes(database())
        first = asked.page * A_PAGE
        return _page(asked, Preview(codes=codes[first : first + A_PAGE], count=len(codes), over=False))
    if not asked.choice.job:
        return _page(asked, None)
    try:
        shown = preview_labels(database(), asked.choice, after=asked.page * A_PAGE, limit=A_PAGE)
    except NotFoundError:
        return _page(asked, None, unknown=asked.choice.job), HTTPStatus.NOT_FOUND
    return _page(asked, shown)


@blueprint.get("/jobs/<code>/labels.pdf")
@needs(Role.STATION)
def job_pdf(code: str) -> Response:
    """The chosen labels of a job, one a page at true size."""
    asked = _asked(code)
    try:
        document, count = print_labels(database(), asked.choice, dpi=asked.dpi)
    except NotFoundError:
        abort(HTTPStatus.NOT_FOUND)
    if not count:
        abort(HTTPStatus.NOT_FOUND)
    return _pdf(document, f"labels-{asked.choice.what.value}.pdf")


@blueprint.get("/labels/cards.pdf")
@needs(Role.STATION)
def cards_pdf() -> Response:
    """What hangs on the walls: stations, slots, command cards."""
    document = BytesIO()
    write_card_labels(database(), document, dpi=_dpi())
    return _pdf(document.getvalue(), "cards.pdf")


@blueprint.get("/labels/<code>.png")
@needs(Role.STATION)
def png(code: str) -> Response:
    """One label as a picture."""
    draw = {Kind.PART: part_label_png, Kind.BOX: box_label_png, Kind.BOARD: board_label_png}
    try:
        read = read_code(code)
        picture = draw.get(read.kind, card_png)(database(), read, dpi=_dpi())
    except (MisreadError, NotFoundError):
        abort(HTTPStatus.NOT_FOUND)
    response = Response(picture, mimetype="image/png")
    response.headers["Cache-Control"] = "private, max-age=60"
    return response


def _pdf(document: bytes, name: str) -> Response:
    response = Response(document, mimetype="application/pdf")
    response.headers["Content-Disposition"] = f'inline; filename="{name}"'
    return response


def _dpi() -> int:
    given = request.args.get("dpi", "")
    return next((dpi for dpi in RESOLUTIONS if str(dpi) == given), RESOLUTIONS[0])


def _asked(job: str = "") -> Asked:
    args = request.args
    what = args.get("what", "")
    page = args.get("page", "")
    return Asked(
        choice=Choice(
            job=job or args.get("job", "").strip()[:40],
            what=What(what) if what in {each.value for each in What} else What.ALL,
            step=args.get("step", "") if args.get("step", "") in {step.value for step in _STEPS} else "",
            cabinet=args.get("cabinet", "").strip()[:200],
            box=args.get("box", "").strip()[:20],
        ),
        cards=what == CARDS,
        dpi=_dpi(),
        page=int(page) if page.isdecimal() and len(page) <= 4 else 0,
    )


def _page(asked: Asked, shown: Preview | None, *, unknown: str = "") -> str:
    with database().read() as connection:
        jobs = open_job_codes(connection, limit=JOBS_OFFERED)
        job = look.job_view(connection, asked.choice.job) if asked.choice.job else None
        cabinets = cabinet_names(connection, job.id, limit=NAMES_OFFERED) if job else []
        boxes = box_names(connection, job.id, limit=NAMES_OFFERED) if job else []
    last = max(0, (shown.count - 1) // A_PAGE) if shown else 0
    return render_template(
        "labels.html",
        asked=asked,
        choice=asked.choice,
        shown=shown,
        unknown=unknown,
        jobs=jobs,
        cabinets=cabinets,
        boxes=boxes,
        steps=_STEPS,
        resolutions=RESOLUTIONS,
        first=asked.page * A_PAGE + 1,
        last_page=last,
        printed=_printed(asked),
        step_word=step_word,
    )


def _printed(asked: Asked) -> str:
    if asked.cards:
        return url_for("label_pages.cards_pdf", dpi=asked.dpi)
    if not asked.choice.job:
        return ""
    address = asked.address()
    return url_for("label_pages.job_pdf", code=address.pop("job"), **address)
