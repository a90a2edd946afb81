"""The kinds of work and the route of a part through them."""

from collections.abc import Collection
from enum import StrEnum


class Step(StrEnum):
    """A kind of work, in the order in which a part meets them."""

    CUT = "cut"
    MACHINE = "machine"
    BAND = "band"
    PACK = "pack"
    SHIP = "ship"


class Supply(StrEnum):
    """Whether the shop makes the part or buys it finished."""

    MADE = "made"
    BOUGHT = "bought"


Route = tuple[Step, ...]


def route_of(*, supply: Supply, machining: str, edges: Collection[str]) -> Route:
    """Return the steps that a part needs, in order.

    A bought part starts at ``pack``; no machining programme skips ``machine``; no banded edge skips ``band``.
    """
    if supply is Supply.BOUGHT:
        return (Step.PACK, Step.SHIP)
    return (
        Step.CUT,
        *((Step.MACHINE,) if machining else ()),
        *((Step.BAND,) if edges else ()),
        Step.PACK,
        Step.SHIP,
    )
