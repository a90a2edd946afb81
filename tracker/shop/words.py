"""The words for the closed sets that sentences name: steps, how a box stands, why a part is put aside."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Final

from tracker.shop.box_states import BoxState
from tracker.shop.saying import Said, join, say
from tracker.shop.steps import Step

STEP_WORDS: Final[Mapping[Step, Said]] = MappingProxyType(
    {
        Step.CUT: say("cut"),
        Step.MACHINE: say("machine"),
        Step.BAND: say("band"),
        Step.PACK: say("pack"),
        Step.SHIP: say("ship"),
    }
)

BOX_STATE_WORDS: Final[Mapping[BoxState, Said]] = MappingProxyType(
    {
        BoxState.OPEN: say("open"),
        BoxState.PACKING: say("being packed"),
        BoxState.PARTS_IN: say("all parts in"),
        BoxState.SEALED: say("sealed"),
        BoxState.LOADED: say("loaded"),
        BoxState.SHIPPED: say("shipped"),
    }
)

# Why a part is marked damaged, as a station's buttons name it.
DAMAGE_WORDS: Final[Mapping[str, Said]] = MappingProxyType(
    {
        "chipped": say("Chipped"),
        "scratched": say("Scratched"),
        "wrong_size": say("Wrong size"),
        "wrong_holes": say("Wrong holes"),
    }
)
LOST: Final = "lost"


def reason_words(reason: str) -> str:
    """Return why a part is put aside or made anew: one of the shop's reasons in words, else as somebody wrote it."""
    if reason == LOST:
        return say("Lost")
    return DAMAGE_WORDS.get(reason.replace(" ", "_"), reason)


def listed(steps: Iterable[str]) -> Said:
    """Return steps as one phrase: ``cut, machine``."""
    return join([STEP_WORDS[Step(step)] for step in steps])


FOLLOW_UP: Final = " follow-up"  # a box that completes another is named so in the database


def box_words(name: str) -> str:
    """Return a box's name, or its code: what completes another is called so in words."""
    base = name.removesuffix(FOLLOW_UP)
    return name if base == name or not base else say("%(name)s follow-up", name=box_words(base))


def box_of_job(name: str, job: str, code: str) -> Said:
    """Return what a refusal calls a box: as screens name it, and its code."""
    return say("%(name)s of %(job)s (%(code)s)", name=box_words(name), job=job, code=code)
