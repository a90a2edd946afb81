"""What makes a box complete: what it lacks, decided here for every list, page, label, seal and load.

A box lacks each living part that is planned for it and not in it, and each item that is not counted into it in full. A
part that was found damaged before it left is in no box (``Progress.counted``); what was replaced or cancelled is wanted
no more. A box that lacks nothing is complete, whether it is sealed or not.

``missing_count`` and ``missing`` of the calls are parts; items to be counted stand beside them. The kept state
``complete`` says of the parts alone that they are in; a box is complete when ``Lacks.complete`` says so.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Generic, Protocol, TypeVar

from tracker.shop.progress import PartStatus
from tracker.shop.saying import Said, join, say_many

LACKING_STATUSES: Final = frozenset({PartStatus.WAITING, PartStatus.WORKING})
PACKED_STATUSES: Final = frozenset({PartStatus.PACKED, PartStatus.SHIPPED})


class PlannedPart(Protocol):
    """A part that is planned for a box, as this rule needs it."""

    @property
    def status(self) -> str: ...


class PlannedItem(Protocol):
    """An item that is planned for a box: how many it needs, and how many were counted, None before counting."""

    @property
    def quantity(self) -> int: ...
    @property
    def counted(self) -> int | None: ...


PartT_co = TypeVar("PartT_co", bound=PlannedPart, covariant=True)
ItemT_co = TypeVar("ItemT_co", bound=PlannedItem, covariant=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Lacks(Generic[PartT_co, ItemT_co]):
    """The parts that a box lacks, and the items that are still to be counted into it, in the order of the box."""

    parts: tuple[PartT_co, ...]
    items: tuple[ItemT_co, ...]

    @property
    def complete(self) -> bool:
        return not self.parts and not self.items


def is_lacking(status: str) -> bool:
    """Say whether a part of this status is still wanted in its box."""
    return status in LACKING_STATUSES


def short_of(item: PlannedItem) -> int:
    """Return how many of an item are still to be counted into the box."""
    return max(0, item.quantity - (item.counted or 0))


def lacks(parts: Iterable[PartT_co], items: Iterable[ItemT_co]) -> Lacks[PartT_co, ItemT_co]:
    """Return what a box lacks of all that is planned for it."""
    return Lacks(parts=tuple(part for part in parts if is_lacking(part.status)), items=tuple(filter(short_of, items)))


def lack_in_words(*, parts: int, items: int) -> Said:
    """Say that a box lacks so many parts, and that so many kinds of items are not counted; empty for a complete box."""
    lack = []
    if parts:
        lack.append(say_many("lacks %(num)d part", "lacks %(num)d parts", parts))
    if items:
        lack.append(say_many("%(num)d kind of item not counted", "%(num)d kinds of items not counted", items))
    return join(lack)
