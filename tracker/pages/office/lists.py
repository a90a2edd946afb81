"""The shop's settings: cartons, boards and construction standards, as a table and as their text; the boxes' numbers."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields, is_dataclass
from http import HTTPStatus
from typing import Any, Final

from flask import Blueprint, abort, render_template, request

from tracker.pages.office.box_numbers import Form, form_as_kept, take_form
from tracker.pages.office.list_faults import Checked, checked
from tracker.pages.office.orders.words import TOGETHER
from tracker.pages.words.names import gettext as _
from tracker.records.settings import setting_names
from tracker.shop.cabinets.standard import Standard
from tracker.shop.cabinets.standard_reading import read_standard, version_of
from tracker.shop.errors import InvalidInputError, NotFoundError
from tracker.shop.roles import Role
from tracker.shop.supplies import read_boards, read_packing, read_weight_limit
from tracker.web.context import bearer, database, now
from tracker.web.context import settings as own_settings
from tracker.work.access import needs
from tracker.work.assembly_sheets import sheet_language
from tracker.work.lists import BOARDS, CARTONS, KINDS, STANDARD, WEIGHING, list_text, set_list, shipped_standard

blueprint = Blueprint("lists_page", __name__)

STANDARDS_SHOWN: Final = 20
_READERS: Final[dict[str, Callable[[str], Any]]] = {
    CARTONS: read_packing,
    BOARDS: read_boards,
    WEIGHING: read_weight_limit,
    STANDARD: read_standard,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """One list as it is kept: what it says (None when there is none yet), its text, and what was just sent."""

    kind: str
    says: Any
    text: str
    sent: Checked | None


@blueprint.get("/settings")
@needs(Role.OFFICE)
def settings() -> str:
    """The lists, and the address at which fitters reach the service."""
    return _page()


@blueprint.post("/settings/<kind>")
@needs(Role.ADMIN)
def post_list(kind: str) -> tuple[str, int] | str:
    """Check a list, and keep it when that is asked for."""
    if kind not in KINDS:
        abort(HTTPStatus.NOT_FOUND)
    text = request.form.get("text", "").replace("\r\n", "\n")
    try:
        if request.form.get("do") == "keep":
            kept = set_list(database(), kind, text, who=bearer().name, now=now())
            return _page(kind, Checked(text=text, kept=kept))
        _READERS[kind](text)
    except InvalidInputError as refused:
        return _page(kind, checked(text, refused)), HTTPStatus.UNPROCESSABLE_ENTITY
    return _page(kind, Checked(text=text))


@blueprint.post("/settings/box-numbers")
@needs(Role.ADMIN)
def post_box_numbers() -> tuple[str, int] | str:
    """Keep the GS1 company prefix from which boxes get their numbers."""
    form = take_form()
    page = _page(box_numbers=form)
    return (page, HTTPStatus.UNPROCESSABLE_ENTITY) if form.wrong or form.refused else page


def _page(kind: str = "", sent: Checked | None = None, *, box_numbers: Form | None = None) -> str:
    shipped = shipped_standard()
    with database().read() as connection:
        names = [name for name in setting_names(connection) if name.startswith(f"{STANDARD}/")]
    standards = [(name, version_of(list_text(database(), name))) for name in names[:STANDARDS_SHOWN]]
    if f"{STANDARD}/{shipped.name}" not in names:
        standards.insert(0, (STANDARD, shipped.version))
    chosen = request.values.get("standard", "")
    shown = next((name for name, _version in standards if name == chosen), standards[0][0])
    return render_template(
        "office/settings.html",
        lists=[_kept(each, sent if each == kind else None) for each in (WEIGHING, CARTONS, BOARDS)],
        standard=_standard(list_text(database(), shown), sent if kind == STANDARD else None),
        standards=[
            (name, shipped.name if name == STANDARD else name.removeprefix(f"{STANDARD}/"), version)
            for name, version in standards
        ],
        chosen=shown,
        together=TOGETHER,
        titles={
            CARTONS: _("Cartons"),
            BOARDS: _("Boards"),
            WEIGHING: _("Weighing"),
            STANDARD: _("Construction standards"),
        },
        may_change=bearer().role.includes(Role.ADMIN),
        site_url=own_settings().site_url,
        sheet_language=sheet_language(database()),
        sheets_kept=request.args.get("kept") == "sheets",
        box_numbers=box_numbers or form_as_kept(),
    )


def _standard(text: str, sent: Checked | None) -> Shown:
    """Return a standard as it is shown: one that was kept before a rule that it breaks is told what to mend."""
    try:
        says = list(said_by(read_standard(text)))
    except InvalidInputError as refused:
        return Shown(kind=STANDARD, says=(), text=text, sent=sent or checked(text, refused))
    return Shown(kind=STANDARD, says=says, text=text, sent=sent)


def _kept(kind: str, sent: Checked | None) -> Shown:
    try:
        text = list_text(database(), kind)
    except NotFoundError:
        return Shown(kind=kind, says=None, text="", sent=sent)
    return Shown(kind=kind, says=_READERS[kind](text), text=text, sent=sent)


def said_by(standard: Standard) -> Iterator[tuple[str, list[tuple[str, str, Any]]]]:
    """Yield each section of a standard with its values: a name, what kind of value it is, the value."""
    for own in fields(standard):
        value = getattr(standard, own.name)
        if is_dataclass(value) and not isinstance(value, type):
            yield _plain(own.name), list(_values(value, ""))


def _values(holder: Any, before: str) -> Iterator[tuple[str, str, Any]]:
    for own in fields(holder):
        value = getattr(holder, own.name)
        if value is None:  # left out
            continue
        name = f"{before}{_plain(own.name)}"
        if is_dataclass(value) and not isinstance(value, type):
            yield from _values(value, f"{name}: ")
        elif isinstance(value, tuple) and value and is_dataclass(value[0]):
            for number, each in enumerate(value, 1):
                yield from _values(each, f"{name} {number}: ")
        else:
            yield name, _kind(own.name, value), value


def _kind(name: str, value: Any) -> str:
    if isinstance(value, bool):
        return "truth"
    if isinstance(value, tuple):
        return "lengths" if name.endswith("_mm") else "list"
    if name.endswith("_mm"):
        return "length"
    return "mass" if name.endswith("_kg") else "plain"


def _plain(name: str) -> str:
    return name.removesuffix("_mm").removesuffix("_kg").replace("_", " ")
