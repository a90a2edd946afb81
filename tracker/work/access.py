"""Tokens and who holds them; stations and slots, set up once."""

import hashlib
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from typing import TypeVar

from tracker.records import access
from tracker.records.access import TokenRow
from tracker.records.database import Database
from tracker.records.floor import take_numbers
from tracker.shop.codes import Code, Kind
from tracker.shop.errors import ConflictError, Fault, InvalidInputError, NotFoundError, NotSignedInError
from tracker.shop.roles import Role
from tracker.shop.steps import Step

KNOWN_FOR_S = 1.0
MOST_KNOWN = 1_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearer:
    """Whoever holds a token: its number and name, what it may do, and the station that it is made for."""

    token_id: int
    name: str
    role: Role
    station: str | None


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
    _check_name(name, "a token's name")
    plain = secret()
    with database.write() as connection:
        station_id = None
        if station is not None:
            found = access.station_by_name(connection, station)
            if found is None:
                raise NotFoundError(f"There is no station {station}. Add it first: tracker station NAME --step STEP")
            station_id = found.id
        token_id = take_numbers(connection, "token", 1)[0]
        access.insert_token(
            connection, token_id, name=name, role=role, station_id=station_id, digest=_digest(plain), at=now
        )
    return plain


def withdraw_token(database: Database, name: str, *, now: datetime) -> int:
    """Withdraw all tokens of a name; return how many. Raises NotFoundError when there is none."""
    with database.write() as connection:
        count = access.withdraw_tokens(connection, name, now)
    if not count:
        raise NotFoundError(f"No token in force has the name {name}.")
    return count


def bearer_of(database: Database, plain: str) -> Bearer:
    """Return who holds this token. Raises NotSignedInError for one that is unknown or withdrawn."""
    with database.read() as connection:
        row = access.token_by_hash(connection, _digest(plain))
    return _bearer(row)


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


def bearer_numbered(database: Database, token_id: int) -> Bearer:
    """Return who holds the token of this number: a session that was opened with it. Raises NotSignedInError."""
    with database.read() as connection:
        row = access.token_by_id(connection, token_id)
    return _bearer(row)


def _bearer(row: TokenRow | None) -> Bearer:
    if row is None:
        raise NotSignedInError("This token is not known or was withdrawn. Ask the office for a new one.")
    return Bearer(token_id=row.id, name=row.name, role=row.role, station=row.station)


def _digest(plain: str) -> bytes:
    # A token is 256 random bits, so a plain hash is enough: there is nothing to guess.
    return hashlib.sha256(plain.encode()).digest()


def add_station(database: Database, name: str, step: Step, *, strict: bool = False) -> str:
    """Add a station; return its code. A strict station refuses a part of which an earlier step is open."""
    _check_name(name, "a station's name")
    with database.write() as connection:
        if access.station_by_name(connection, name) is not None:
            raise ConflictError(f"There is a station {name} already.")
        number = take_numbers(connection, "station", 1)[0]
        access.insert_station(connection, number, name=name, step=step, strict=strict)
    return str(Code(Kind.STATION, number))


def add_slot(database: Database, name: str) -> str:
    """Add a slot where parts wait; return its code."""
    _check_name(name, "a slot's name")
    with database.write() as connection:
        if access.slot_by_name(connection, name) is not None:
            raise ConflictError(f"There is a slot {name} already.")
        number = take_numbers(connection, "slot", 1)[0]
        access.insert_slot(connection, number, name)
    return str(Code(Kind.SLOT, number))


def _check_name(name: str, what: str) -> None:
    if not 1 <= len(name) <= 80 or not name.isprintable() or name != name.strip():
        fault = Fault(where={"field": "name"}, what=f"{what} has 1 to 80 characters, no spaces around it")
        raise InvalidInputError(f"{what.capitalize()} cannot be used: {name!r}.", [fault])


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
