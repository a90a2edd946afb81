"""Put the times of scans right that come from a device whose clock is wrong."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy import Connection

from tracker.records.clocks import clocks_of, keep_clock, log_began
from tracker.shop.clocks import (
    MARGIN,
    RIGHT_WITHIN,
    Clock,
    after_placing,
    in_calendar,
    measured,
    noticed,
    placed,
    put_right,
)
from tracker.shop.scans import Scan


def place_scans(
    connection: Connection,
    scans: Sequence[Scan],
    *,
    device: str,
    station_id: int | None,
    sent: datetime | None,
    received: datetime,
) -> list[Scan]:
    """Return the scans in the order of the device's own times, each with the time by which it takes its place.

    A scan whose time cannot be comes when it arrived. ``sent`` is when the device says that it sent them. The database
    is asked only where it can matter.
    """
    ordered = sorted(scans, key=lambda scan: scan.at)
    latest = max((scan.at for scan in ordered if not scan.fault), default=None)
    before = after = None
    if sent is not None or (latest is not None and latest > received + RIGHT_WITHIN):
        before = after = clocks_of(connection, [device]).get(device)
        after = _measured(before, sent=sent, latest=latest, received=received)
    began = _began(connection, after, ordered, received)
    found, cannot_be = [], None
    for scan in ordered:
        at = placed(after, scan.at, received=received, began=began)
        if at is None and not scan.fault:
            cannot_be = scan.at
        elif at is not None and at != scan.at and after is not None and not scan.fault:
            after = after_placing(after, scan.at, at)
        found.append(_at(scan, received if at is None else at))
    if cannot_be is not None and (after is None or not after.wrong):
        after = Clock(offset=received - cannot_be, at=received, told=False)
    if after is not None and after != before:
        keep_clock(connection, device, after, station_id)
    return sorted(found, key=lambda scan: scan.at)


def _at(scan: Scan, at: datetime) -> Scan:
    return scan if at == scan.at else replace(scan, at=at, said_at=in_calendar(scan.at))


def _began(connection: Connection, clock: Clock | None, ordered: Sequence[Scan], received: datetime) -> datetime:
    """Return when the log began, as far as it decides whether the earliest of the scans can be."""
    if not ordered or put_right(clock, ordered[0].at) > received - MARGIN:
        return received
    return log_began(connection) or received


def _measured(
    before: Clock | None, *, sent: datetime | None, latest: datetime | None, received: datetime
) -> Clock | None:
    if sent is not None:
        return measured(before, sent=sent, received=received)
    return before if latest is None else noticed(before, latest=latest, received=received)
