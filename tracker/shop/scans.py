"""A reading as it arrives, and the answer to it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any, Final
from uuid import UUID

from tracker.shop.outcomes import OK_OUTCOMES, Outcome

NO_PART: Final = "none"  # of a device that shows none: after what was not understood, for example


class Action(StrEnum):
    """What a reading asks for."""

    PASS = "pass"  # noqa: S105 - the scan passes the part through a step, no password
    UNDO = "undo"
    DAMAGED = "damaged"
    PLACE = "place"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One reading of a code at a station. ``at`` is the client's time, with an offset.

    Where the client's clock is known to be wrong, ``at`` is the right time and ``said_at`` the client's.

    ``station`` is a name or a code; ``box``, ``load`` and ``slot`` name what the worker has in mind, or are empty.
    ``part`` goes with the damaged card or a slot's code: the code of the part that the device showed, or NO_PART.
    ``reason`` says why a part is damaged, in a word or two for the foreman.
    ``fault`` says why the reading as sent makes no sense: it is kept and answered like a misread.
    """

    id: UUID
    code: str
    at: datetime
    station: str = ""
    action: Action = Action.PASS
    box: str = ""
    load: str = ""
    slot: str = ""
    part: str = ""
    reason: str = ""
    fault: str = ""
    said_at: datetime | None = None

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("a scan's time has an offset")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What the worker is told about one scan, and what is kept with it for ever."""

    id: UUID
    outcome: Outcome
    message: str
    reason: str | None = None  # of a row that is older than the reasons
    values: Mapping[str, Any] = field(default_factory=dict)
    part: str | None = None
    box: str | None = None
    next: str | None = None
    inferred: tuple[str, ...] = ()

    @property
    def ok(self) -> bool:
        return self.outcome in OK_OUTCOMES
