"""The form for the numbers on box labels, on the page of the settings: the shop's GS1 company prefix."""

from dataclasses import dataclass, replace
from typing import Final

from flask import request

from tracker.pages.words.names import gettext as _
from tracker.pages.words.spoken import spoken
from tracker.shop.errors import ConflictError, InvalidInputError, fault_at
from tracker.shop.saying import say
from tracker.shop.sscc import Series
from tracker.web.context import bearer, database, now
from tracker.work.box_numbers import Numbering, numbering, set_numbering, stop_numbering

LONGEST: Final = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Form:
    """What is kept (None when no prefix is set), what stands in the fields, and what became of what was sent.

    ``wrong`` says what is wrong with a field by its name; ``refused`` is what speaks against all of it.
    """

    kept: Numbering | None
    prefix: str
    extension: str
    next: str
    told: str = ""
    refused: str = ""
    wrong: dict[str, str] | None = None


def form_as_kept(*, told: str = "") -> Form:
    """Return the form with what is kept."""
    kept = numbering(database())
    return Form(
        kept=kept,
        prefix=kept.series.prefix if kept else "",
        extension=str(kept.series.extension) if kept else "0",
        next="",
        told=told,
    )


def take_form() -> Form:
    """Keep what was sent, or give no numbers any more where the prefix is left empty; return the form after that."""
    prefix, extension, following = (_typed(name) for name in ("prefix", "extension", "next"))
    if not prefix:
        stop_numbering(database())
        return form_as_kept(told=_("Boxes get no numbers from now on; those that have one keep it."))
    typed = replace(form_as_kept(), prefix=prefix, extension=extension, next=following)
    try:
        series = Series(prefix=prefix, extension=_whole("extension", extension))
        next_serial = _whole("next", following) if following else None
        set_numbering(database(), series, who=bearer().name, now=now(), next_serial=next_serial)
    except InvalidInputError as refused:
        return replace(typed, wrong={str(each.where.get("field", "")): spoken(each.what) for each in refused.faults})
    except ConflictError as refused:
        return replace(typed, refused=spoken(refused.detail))
    return form_as_kept(told=_("Kept. Boxes that have a number keep it."))


def _typed(name: str) -> str:
    return request.form.get(name, "").strip()[:LONGEST]


def _whole(field: str, text: str) -> int:
    if text.isdecimal() and text.isascii():
        return int(text)
    raise InvalidInputError(say("This is no number."), [fault_at(field, say("wanted: a number in digits"))])
