"""Tokens, stations and slots."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, bindparam, insert, select, update

from tracker.records.tables import slot, station, token
from tracker.shop.roles import Role
from tracker.shop.steps import Step


@dataclass(frozen=True, slots=True, kw_only=True)
class TokenRow:
    """A bearer token as it is kept: never the token itself."""

    id: int
    name: str
    role: Role
    station: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class StationView:
    """A station's name, its step, and whether it refuses a part of which an earlier step is open."""

    id: int
    name: str
    step: Step
    strict: bool


_TOKEN = (
    select(token.c.id, token.c.name, token.c.role, station.c.name.label("station"))
    .outerjoin(station, station.c.id == token.c.station_id)
    .where(token.c.withdrawn_at.is_(None))
)
_BY_HASH = _TOKEN.where(token.c.hash == bindparam("hash"))
_BY_ID = _TOKEN.where(token.c.id == bindparam("id"))
_STATIONS = select(station.c.id, station.c.name, station.c.step, station.c.strict).order_by(station.c.id)


def token_by_hash(connection: Connection, digest: bytes) -> TokenRow | None:
    """Return the token that is in force with this hash, or None."""
    return _token(connection.execute(_BY_HASH, {"hash": digest}).first())


def token_by_id(connection: Connection, token_id: int) -> TokenRow | None:
    """Return the token of this number if it is in force, or None."""
    return _token(connection.execute(_BY_ID, {"id": token_id}).first())


def _token(row: object) -> TokenRow | None:
    if row is None:
        return None
    fields = dict(row._mapping)  # type: ignore[attr-defined]  # a SQLAlchemy row
    return TokenRow(**{**fields, "role": Role(fields["role"])})


def insert_token(
    connection: Connection, token_id: int, *, name: str, role: Role, station_id: int | None, digest: bytes, at: datetime
) -> None:
    """Keep a new token's hash."""
    row = {"id": token_id, "name": name, "role": role, "station_id": station_id, "hash": digest, "made_at": at}
    connection.execute(insert(token).values(row))


def withdraw_tokens(connection: Connection, name: str, at: datetime) -> int:
    """Withdraw every token of this name; return how many were in force."""
    mine = update(token).where(token.c.name == name, token.c.withdrawn_at.is_(None))
    return connection.execute(mine.values(withdrawn_at=at)).rowcount


def station_by_name(connection: Connection, name: str) -> StationView | None:
    """Return the station of this name, or None."""
    return next((each for each in list_stations(connection) if each.name == name), None)


def list_stations(connection: Connection) -> list[StationView]:
    """Return all stations by number."""
    rows = connection.execute(_STATIONS)
    return [StationView(id=row.id, name=row.name, step=Step(row.step), strict=row.strict) for row in rows]


def insert_station(connection: Connection, station_id: int, *, name: str, step: Step, strict: bool) -> None:
    """Add a station."""
    connection.execute(insert(station).values(id=station_id, name=name, step=step, strict=strict))


def slot_by_name(connection: Connection, name: str) -> int | None:
    """Return the number of the slot of this name, or None."""
    return connection.execute(select(slot.c.id).where(slot.c.name == name)).scalar()


def list_slots(connection: Connection) -> dict[int, str]:
    """Return the names of all slots by number."""
    rows = connection.execute(select(slot.c.id, slot.c.name).order_by(slot.c.id))
    return {row.id: row.name for row in rows}


def insert_slot(connection: Connection, slot_id: int, name: str) -> None:
    """Add a slot."""
    connection.execute(insert(slot).values(id=slot_id, name=name))
