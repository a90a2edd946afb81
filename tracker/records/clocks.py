"""The clocks of the devices that send scans: how far each is off, as it was measured last."""

import re
from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Final

from sqlalchemy import Connection, bindparam, insert, select, update

from tracker.records.tables import clock, log, person, station, token
from tracker.shop.clocks import LONGEST_WAY, RIGHT_WITHIN, Clock

SHOWN: Final = 50
_MICRO: Final = timedelta(microseconds=1)
_OF = select(clock).where(clock.c.device.in_(bindparam("devices", expanding=True)))


@dataclass(frozen=True, slots=True, kw_only=True)
class WrongClock:
    """A device whose clock is wrong: its name, the station for which it sent last, and by how many seconds it is ahead.

    ``told`` as in ``tracker.shop.clocks``: its scans are placed by the right time.
    """

    device: str
    station: str | None
    ahead_s: float
    told: bool


def clocks_of(connection: Connection, devices: Collection[str]) -> dict[str, Clock]:
    """Return the clocks of these devices, by device; none for one that was never measured."""
    return {row.device: _clock(row) for row in connection.execute(_OF, {"devices": list(devices)})}


def log_began(connection: Connection) -> datetime | None:
    """Return when the first row of the log was written; None while there is none."""
    began: datetime | None = connection.execute(select(log.c.received_at).order_by(log.c.seq).limit(1)).scalar()
    return began


def keep_clock(connection: Connection, device: str, kept: Clock, station_id: int | None) -> None:
    """Keep a device's clock, and the station for which it sent."""
    values = {
        "offset_us": kept.offset // _MICRO,
        "at": kept.at,
        "told": kept.told,
        "said_at": kept.said_at,
        "placed_at": kept.placed_at,
        "station_id": station_id,
    }
    if not connection.execute(update(clock).where(clock.c.device == device).values(values)).rowcount:
        connection.execute(insert(clock).values(device=device, **values))


def wrong_clocks(connection: Connection, *, since: datetime, device: str | None = None) -> list[WrongClock]:
    """Return the devices whose clocks were wrong when they were measured last, not longer ago than ``since``."""
    wrong = (clock.c.offset_us < -(RIGHT_WITHIN // _MICRO)) | (clock.c.offset_us > LONGEST_WAY // _MICRO)
    query = select(clock, station.c.name).outerjoin(station, station.c.id == clock.c.station_id)
    query = query.where(wrong, clock.c.at >= since).order_by(clock.c.device).limit(SHOWN)
    if device is not None:
        query = query.where(clock.c.device == device)
    rows = connection.execute(query).all()
    names = _names(connection, [row.device for row in rows])
    return [
        WrongClock(
            device=names.get(row.device, row.device), station=row.name, ahead_s=_clock(row).ahead_s, told=row.told
        )
        for row in rows
    ]


def _names(connection: Connection, devices: Collection[str]) -> dict[str, str]:
    """The names of the tokens and the people that devices are told apart by."""
    names = {}
    for what, table in (("token", token), ("person", person)):
        ids = [int(each.removeprefix(f"{what} ")) for each in devices if re.fullmatch(rf"{what} [0-9]{{1,9}}", each)]
        rows = connection.execute(select(table.c.id, table.c.name).where(table.c.id.in_(ids)))
        names.update({f"{what} {row.id}": row.name for row in rows})
    return names


def _clock(row: Any) -> Clock:
    return Clock(
        offset=timedelta(microseconds=row.offset_us),
        at=row.at,
        told=row.told,
        said_at=row.said_at,
        placed_at=row.placed_at,
    )
