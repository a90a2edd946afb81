"""A box that was sealed short, in the reader's words: where the rest of it is, and whether that leaves with it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tracker.pages.days import day
from tracker.pages.words import box_name
from tracker.pages.words import gettext as _
from tracker.records.follow_ups import FollowUp


@dataclass(frozen=True, slots=True, kw_only=True)
class Rest:
    """Where the rest of a box is: the box that holds it, a sentence, and whether it is left behind."""

    box: FollowUp
    says: str
    left_behind: bool


def rests_of(follow_ups: Sequence[FollowUp], load: str | None) -> list[Rest]:
    """Say where the rest of a box is that is planned for ``load``, or for none."""
    return [Rest(box=each, says=_says(each, load), left_behind=not each.leaves_with(load)) for each in follow_ups]


def left_behind(rests: Mapping[str, Sequence[Rest]]) -> list[tuple[str, Rest]]:
    """Return every rest that does not leave with its box, with that box's key."""
    return [(key, rest) for key, some in rests.items() for rest in some if rest.left_behind]


def _says(each: FollowUp, load: str | None) -> str:
    if each.shipped:
        return _("Sealed short: the rest has left in box %(name)s.", name=box_name(each.name))
    if each.load is None or each.ship_on is None:
        return _("Sealed short: the rest is in box %(name)s, on no load.", name=box_name(each.name))
    if each.load == load:
        return _("Sealed short: the rest is in box %(name)s, on the same load.", name=box_name(each.name))
    return _(
        "Sealed short: the rest is in box %(name)s, on the load of %(day)s.",
        name=box_name(each.name),
        day=day(each.ship_on),
    )
