"""Put the times of scans right that come from a device whose clock is wrong."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlalchemy import Connection

from tracker.records.clocks import clocks_of, keep_clock
from tracker.shop.clocks import RIGHT_WITHIN, Clock, after_placing, measured, noticed, placed
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

    ``sent`` is when the device says that it sent them. The database is asked only where it can matter.
    """
    ordered = sorted(scans, key=lambda scan: scan.at)
    latest = max((scan.at for scan in ordered if not scan.fault), default=None)
    before = after = None
    if sent is not None or (latest is not None and latest > received + RIGHT_WITHIN):
        before = after = clocks_of(connection, [device]).get(device)
        after = _measured(before, sent=sent, latest=latest, received=received)
    found = []
    for scan in ordered:
        at = placed(after, scan.at, received)
        if at != scan.at:
            after = after_placing(after, scan.at, at) if after is not None and not scan.fault else after
            scan = replace(scan, at=at, said_at=scan.at)  # noqa: PLW2901
        found.append(scan)
    if after is not None and after != before:
        keep_clock(connection, device, after, station_id)
    return found


def _measured(
    before: Clock | None, *, sent: datetime | None, latest: datetime | None, received: datetime
) -> Clock | None:
    if sent is not None:
        return measured(before, sent=sent, received=received)
    return before if latest is None else noticed(before, latest=latest, received=received)
