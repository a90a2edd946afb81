"""What one transaction leaves behind: numbers given, rows of the log, and the state that follows, set by set."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from sqlalchemy import Connection, bindparam, insert, update

from tracker.records.tables import box, counter, log, part, station, tally


@dataclass(slots=True)
class Changes:
    """What a batch of scans leaves behind, written together by ``write_changes``."""

    log: list[dict[str, Any]] = field(default_factory=list)
    parts: dict[int, dict[str, Any]] = field(default_factory=dict)
    boxes: dict[int, dict[str, Any]] = field(default_factory=dict)
    stations: dict[int, dict[str, Any]] = field(default_factory=dict)
    tallies: dict[tuple[int, str], int] = field(default_factory=dict)


_TAKE_NUMBERS = (
    update(counter)
    .where(counter.c.name == bindparam("what"))
    .values(last=counter.c.last + bindparam("count"))
    .returning(counter.c.last)
)
_INSERT_LOG = insert(log)
_BUMP_TALLY = (
    update(tally)
    .where(tally.c.job_id == bindparam("the_job"), tally.c.what == bindparam("the_what"))
    .values(done=tally.c.done + bindparam("more"))
)
_UPDATE_PART = (
    update(part)
    .where(part.c.id == bindparam("the_id"))
    .values({name: bindparam(name) for name in (
        "status", "done", "inferred", "damaged", "seen_at", "seen_station_id", "slot_id", "latest_at")})
)  # fmt: skip
_UPDATE_BOX = (
    update(box)
    .where(box.c.id == bindparam("the_id"))
    .values({name: bindparam(name) for name in ("packed", "parts_total", "state")})
)
_UPDATE_STATION = (
    update(station)
    .where(station.c.id == bindparam("the_id"))
    .values({name: bindparam(name) for name in ("open_box_id", "open_load_id", "opened_at")})
)


def take_numbers(connection: Connection, what: str, count: int) -> range:
    """Give ``count`` new numbers of a kind (log, part, box, …); a number is never given twice."""
    last = connection.execute(_TAKE_NUMBERS, {"what": what, "count": count}).scalar_one()
    return range(last - count + 1, last + 1)


def write_changes(connection: Connection, changes: Changes) -> None:
    """Write the log rows and the state that follows from them."""
    _many(connection, _INSERT_LOG, changes.log)
    _many(connection, _UPDATE_PART, changes.parts.values())
    _many(connection, _UPDATE_BOX, changes.boxes.values())
    _many(connection, _UPDATE_STATION, changes.stations.values())
    tallies = [
        {"the_job": job_id, "the_what": what, "more": more} for (job_id, what), more in changes.tallies.items() if more
    ]
    _many(connection, _BUMP_TALLY, tallies)


def _many(connection: Connection, statement: Any, rows: Iterable[Mapping[str, Any]]) -> None:
    listed: Sequence[Mapping[str, Any]] = list(rows)
    if listed:
        connection.execute(statement, listed)
