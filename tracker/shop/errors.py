"""Everything that can be refused, in the shop's words.

Each error is an answer to a person: what is wrong, where, and what to do. The HTTP edge maps each class to a
status and a problem type; the command line prints the message and exits with 1 or 2.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tracker.shop.saying import join


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing wrong in an input: ``where`` names the place (line and column, or field), ``what`` what is wanted."""

    where: Mapping[str, Any]
    what: str


def fault_at(field: str, what: str) -> Fault:
    """Return what is wrong in a field."""
    return Fault(where={"field": field}, what=what)


class ShopError(Exception):
    """The base of all refusals."""

    title = "The shop refused this"

    def __init__(self, detail: str) -> None:
        super().__init__(detail)
        self.detail = detail


class InvalidInputError(ShopError):
    """What was sent cannot be used; ``faults`` lists every place, not the first alone."""

    title = "The input cannot be used"

    def __init__(self, detail: str, faults: Sequence[Fault] = ()) -> None:
        super().__init__(detail)
        self.faults = tuple(faults)


def refuse_faults(kind: str, name: str, faults: Sequence[tuple[str, str]]) -> None:
    """Raise InvalidInputError for a value of a kind, naming each field and what is wanted; pass without a fault."""
    if not faults:
        return
    first_field, first_what = faults[0]
    owner = {kind: name} if name else {}
    raise InvalidInputError(
        join([f"{kind} {name}".strip(), first_field, first_what], between=": "),
        [Fault(where={"field": field, **owner}, what=what) for field, what in faults],
    )


class TooLargeError(ShopError):
    """A file or request is over a stated limit; ``faults`` name the field and the limit where there is one."""

    title = "Too large"

    def __init__(self, detail: str, faults: Sequence[Fault] = ()) -> None:
        super().__init__(detail)
        self.faults = tuple(faults)


def gathered(faults: Iterable[tuple[Mapping[str, Any], str, str]]) -> list[Fault]:
    """Return one fault for all things of one place and one reason: each is a place, a cabinet, and what is wrong."""
    groups: dict[tuple[tuple[tuple[str, Any], ...], str], list[str]] = {}
    for where, cabinet, what in faults:
        groups.setdefault((tuple(where.items()), what), []).append(cabinet)
    return [
        Fault(where={**dict(where), "cabinets": list(dict.fromkeys(cabinets)), "count": len(cabinets)}, what=what)
        for (where, what), cabinets in groups.items()
    ]


class NotFoundError(ShopError):
    """No such job, part, box, load or station."""

    title = "Not found"


class ConflictError(ShopError):
    """The state of things forbids it now."""

    title = "Not possible now"


class IncompleteError(ConflictError):
    """A box or a load lacks something; ``missing`` lists what, where it is, and since when.

    ``staying`` lists the boxes that a load would leave behind; None where no load is asked about.
    """

    title = "Something is missing"

    def __init__(
        self, detail: str, missing: Sequence[Mapping[str, Any]], *, staying: Sequence[Mapping[str, Any]] | None = None
    ) -> None:
        super().__init__(detail)
        self.missing = tuple(missing)
        self.staying = None if staying is None else tuple(staying)


class OffWeightError(ConflictError):
    """A box weighs more or less than a packer alone may seal, in kg: a foreman decides."""

    title = "The weight is off"

    def __init__(self, detail: str, *, expected_kg: float, weighed_kg: float, limit_kg: float) -> None:
        super().__init__(detail)
        self.expected_kg = expected_kg
        self.weighed_kg = weighed_kg
        self.limit_kg = limit_kg


class NotSignedInError(ShopError):
    """No token, or one that is unknown or withdrawn."""

    title = "Sign in first"


class ThrottledError(NotSignedInError):
    """Too many wrong guesses: ``wait_s`` seconds must pass before the next one."""

    title = "Wait before you try again"

    def __init__(self, detail: str, wait_s: int) -> None:
        super().__init__(detail)
        self.wait_s = wait_s


class BusyError(ShopError):
    """Too much waits for the one writer: ``wait_s`` seconds must pass before it is worth a try again."""

    title = "Busy"

    def __init__(self, detail: str, wait_s: int) -> None:
        super().__init__(detail)
        self.wait_s = wait_s


class NotAllowedError(ShopError):
    """The token is good but its role may not do this."""

    title = "Not allowed for this role"
