"""What leaves short, in the reader's words: where the rest of a box is."""

from collections.abc import Sequence
from dataclasses import dataclass

from tracker.pages.words.days import day
from tracker.pages.words.names import box_name
from tracker.pages.words.names import gettext as _
from tracker.records.boxes import Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Where the rest of a box is: the box that holds it, a sentence, and whether it is left behind."""

    box: Box
    says: str
    left_behind: bool


def rests_of(follow_ups: Sequence[Box], load: str | None) -> list[Rest]:
    """Say where the rest of a box is that is planned for ``load``, or for none."""
    return [Rest(box=each, says=_says(each, load), left_behind=not each.leaves_with(load)) for each in follow_ups]


def _says(each: Box, load: str | None) -> str:
    if each.shipped:
        return _("Sealed short: the rest has left in box %(name)s.", name=box_name(each.name))
    if each.load is None:
        return _("Sealed short: the rest is in box %(name)s, on no load.", name=box_name(each.name))
    if each.load.code == load:
        return _("Sealed short: the rest is in box %(name)s, on the same load.", name=box_name(each.name))
    return _(
        "Sealed short: the rest is in box %(name)s, on the load of %(day)s.",
        name=box_name(each.name),
        day=day(each.load.ship_on),
    )
