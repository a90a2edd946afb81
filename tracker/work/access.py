"""Tokens and who holds them; stations and slots, set up once."""

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import Final, TypeVar

from sqlalchemy import Connection

from tracker.records import access
from tracker.records.access import TokenRow
from tracker.records.database import Database
from tracker.records.writing import take_numbers
from tracker.shop.codes import Code, Kind
from tracker.shop.errors import ConflictError, Fault, InvalidInputError, NotFoundError, NotSignedInError
from tracker.shop.roles import Role
from tracker.shop.saying import Said, say
from tracker.shop.steps import Step

KNOWN_FOR_S = 1.0
MOST_KNOWN = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearer:
    """Who calls or looks: by a token (its number), or a person at a screen; what they may do, and at which station.

    ``language`` and ``units`` are those that a person chose to read in; ``worker_id`` is whose badge was scanned last
    at a paired tablet.
    """

    token_id: int
    name: str
    role: Role
    station: str | None
    person_id: int | None = None
    worker_id: int | None = None
    language: str | None = None
    units: str | None = None

    @property
    def device(self) -> str:
        """Tells one sender of scans from another, whoever works at it: its clock may be wrong."""
        return f"token {self.token_id}" if self.token_id else f"person {self.person_id}"


def make_token(
    database: Database,
    name: str,
    role: Role,
    station: str | None = None,
    *,
    secret: Callable[[], str],
    now: datetime,
) -> str:
    """Make a token of 256 random bits and return it: it is shown once and only its hash is kept."""
    check_name(name, _TOKEN)
    plain = secret()
    with database.write() as connection:
        make_token_in(connection, name, role, station, plain, now)
    return plain


def make_token_in(connection: Connection, name: str, role: Role, station: str | None, plain: str, now: datetime) -> int:
    """Keep a token's hash in a transaction that is open; return its number."""
    station_id = None if station is None else check_station(connection, station)
    token_id = take_numbers(connection, "token", 1)[0]
    access.insert_token(
        connection, token_id, name=name, role=role, station_id=station_id, digest=digest_of(plain), at=now
    )
    return token_id


def check_station(connection: Connection, name: str) -> int:
    """Return the number of a station. Raises NotFoundError when there is none of this name."""
    found = access.station_by_name(connection, name)
    if found is None:
        raise NotFoundError(
            say("There is no station %(name)s. Add it first: tracker station NAME --step STEP", name=name)
        )
    return found.id


def withdraw_token(database: Database, name: str, *, now: datetime) -> int:
    """Withdraw all tokens of a name; return how many. Raises NotFoundError when there is none."""
    with database.write() as connection:
        count = access.withdraw_tokens(connection, name, now)
    if not count:
        raise NotFoundError(say("No token in force has the name %(name)s.", name=name))
    return count


def bearer_of(database: Database, plain: str) -> Bearer:
    """Return who holds this token. Raises NotSignedInError for one that is unknown or withdrawn."""
    with database.read() as connection:
        row = access.token_by_hash(connection, digest_of(plain))
    return _bearer(row)


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """What a name is given to, within a sentence and as its beginning."""

    inside: Said
    first: Said


_TOKEN: Final = Named(inside=say("a token's name"), first=say("A token's name"))
_STATION: Final = Named(inside=say("a station's name"), first=say("A station's name"))
_SLOT: Final = Named(inside=say("a slot's name"), first=say("A slot's name"))


class Gate:
    """Knows for a moment who holds a token, so that not every scan asks the database.

    A token that is withdrawn opens nothing any more after KNOWN_FOR_S.
    """

    def __init__(self, database: Database, clock: Callable[[], float] = time.monotonic) -> None:
        self._database = database
        self._clock = clock
        self._known: dict[str, tuple[float, Bearer]] = {}

    def bearer_of(self, plain: str) -> Bearer:
        """Return who holds this token. Raises NotSignedInError for one that is unknown or withdrawn."""
        asked = self._clock()
        until, bearer = self._known.get(plain, (asked, None))
        if bearer is None or until <= asked:
            self._known.pop(plain, None)
            bearer = bearer_of(self._database, plain)
            if len(self._known) >= MOST_KNOWN:
                self._known.clear()
            self._known[plain] = (asked + KNOWN_FOR_S, bearer)
        return bearer


def _bearer(row: TokenRow | None) -> Bearer:
    if row is None:
        raise NotSignedInError(say("This token is not known or was withdrawn. Ask the office for a new one."))
    return Bearer(token_id=row.id, name=row.name, role=row.role, station=row.station)


def digest_of(plain: str) -> bytes:
    """Return what is kept of a token."""
    # A token is 256 random bits, so a plain hash is enough: there is nothing to guess.
    return hashlib.sha256(plain.encode()).digest()


def add_station(database: Database, name: str, step: Step, *, strict: bool = False) -> str:
    """Add a station; return its code. A strict station refuses a part of which an earlier step is open."""
    check_name(name, _STATION)
    with database.write() as connection:
        if access.station_by_name(connection, name) is not None:
            raise ConflictError(say("There is a station %(name)s already.", name=name))
        number = take_numbers(connection, "station", 1)[0]
        access.insert_station(connection, number, name=name, step=step, strict=strict)
    return str(Code(Kind.STATION, number))


def add_slot(database: Database, name: str) -> str:
    """Add a slot where parts wait; return its code."""
    check_name(name, _SLOT)
    with database.write() as connection:
        if access.slot_by_name(connection, name) is not None:
            raise ConflictError(say("There is a slot %(name)s already.", name=name))
        number = take_numbers(connection, "slot", 1)[0]
        access.insert_slot(connection, number, name)
    return str(Code(Kind.SLOT, number))


def check_name(name: str, what: Named) -> None:
    """Refuse a name that a label or a list could not show; ``what`` is whose it is."""
    if not 1 <= len(name) <= 80 or not name.isprintable() or name != name.strip():
        wanted = say("%(what)s has 1 to 80 characters, no spaces around it", what=what.inside)
        told = say("%(what)s cannot be used: %(name)s.", what=what.first, name=repr(name))
        raise InvalidInputError(told, [Fault(where={"field": "name"}, what=wanted)])


View = TypeVar("View", bound=Callable[..., object])


def needs(role: Role) -> Callable[[View], View]:
    """Say on a view which role may call it; a view that says nothing is open to nobody."""

    def mark(view: View) -> View:
        view.needs = role  # type: ignore[attr-defined]  # a function takes attributes
        return view

    return mark


def open_to_all(view: View) -> View:
    """Say on a view that anybody may call it, signed in or not."""
    view.open_to_all = True  # type: ignore[attr-defined]  # a function takes attributes
    return view
