"""What a station read last: what an undo there takes back, and what it has open."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import count
from typing import Any, Final
from uuid import UUID, uuid5

from sqlalchemy import Connection, bindparam, or_, select

from tracker.records.boards import parts_on_board
from tracker.records.floor import seqs_of, sightings
from tracker.records.tables import log
from tracker.shop.codes import Kind, MisreadError, part_code, read_code
from tracker.shop.progress import Sighting, stands_first
from tracker.shop.steps import Step
from tracker.shop.verdicts import COUNTING_OUTCOMES, OK_OUTCOMES, Outcome

_ROWS_AT_ONCE: Final = 20
_EVER: Final = datetime.min.replace(tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A row of the log that a station's reading left."""

    seq: int
    at: datetime
    action: str
    outcome: str
    step: Step
    part_id: int | None
    box_id: int | None
    load_id: int | None
    job_id: int | None
    scan_id: bytes
    code: str


_undo = log.alias("the_undo")
_settling = log.alias("the_settling")
_NOT_UNDONE = ~select(_undo.c.seq).where(_undo.c.undoes == log.c.seq).exists()
_READINGS = (
    select(
        *(log.c.seq, log.c.at, log.c.action, log.c.outcome, log.c.step, log.c.part_id, log.c.box_id, log.c.load_id),
        *(log.c.job_id, log.c.scan_id, log.c.code),
    )
    .where(
        log.c.station_id == bindparam("station_id"),
        log.c.at <= bindparam("at"),
        log.c.action != "undo",
        or_(log.c.code != "", log.c.part_id.is_(None)),  # what a desk writes for a station has no code
    )
    .order_by(log.c.at.desc(), log.c.seq.desc())
)
_OK_READINGS = (
    _READINGS.where(log.c.outcome.in_(sorted(OK_OUTCOMES)), _NOT_UNDONE)
    .limit(_ROWS_AT_ONCE)
    .offset(bindparam("passed"))
)
_LAST_OPENED = _READINGS.where(log.c.outcome == Outcome.DONE, log.c.action == "pass", _NOT_UNDONE).limit(1)
# What was flagged and refused at a station: it counts for nothing, and an undo that follows it means it.
_LAST_FLAGGED = _READINGS.where(
    log.c.at >= bindparam("since"),
    log.c.flag.is_not(None),
    log.c.action == "pass",
    log.c.outcome.not_in(sorted(COUNTING_OUTCOMES)),
    _NOT_UNDONE,
    ~select(_settling.c.seq).where(_settling.c.settles == log.c.seq).exists(),
).limit(1)


def last_standing(connection: Connection, station_id: int, at: datetime) -> Reading | None:
    """Return the station's last reading up to ``at`` that stands: what an undo takes back.

    One that was answered ``again`` stands where another station had done the step before; the second beep of a double
    scan does not, nor does a mark or a packing that a desk took back.
    """
    return next((each for each in _ok_readings(connection, station_id, at) if _stands(connection, each)), None)


def _ok_readings(connection: Connection, station_id: int, at: datetime) -> Iterator[Reading]:
    for passed in count(step=_ROWS_AT_ONCE):
        rows = connection.execute(_OK_READINGS, {"station_id": station_id, "at": at, "passed": passed}).all()
        yield from map(_reading, rows)
        if len(rows) < _ROWS_AT_ONCE:
            return


def _stands(connection: Connection, reading: Reading) -> bool:
    if reading.part_id is not None:
        return _first_of(reading.seq, sightings(connection, [reading.part_id])[reading.part_id])
    if reading.outcome == Outcome.DONE:
        return True
    part_ids = _on_board(connection, reading)
    happened = sightings(connection, part_ids)
    rows = board_rows(connection, reading, part_ids)
    return any(_first_of(seq, happened[part_id]) for part_id, seq in rows.items())


def _first_of(seq: int, happened: list[Sighting]) -> bool:
    return any(each.seq == seq and stands_first(each, happened) for each in happened)


def _on_board(connection: Connection, reading: Reading) -> list[int]:
    """The parts of the board that was read, none where it was no board."""
    try:
        code = read_code(reading.code)
    except MisreadError:
        return []
    return parts_on_board(connection, code.number, living=False) if code.kind is Kind.BOARD else []


def board_rows(connection: Connection, board: Reading, part_ids: list[int]) -> dict[int, int]:
    """Return, by part, the number in the log of the row that was written for it with the reading of its board."""
    scan_id = UUID(bytes=board.scan_id)
    return seqs_of(connection, {uuid5(scan_id, part_code(part_id)): part_id for part_id in part_ids})


def last_opened(connection: Connection, station_id: int, at: datetime) -> Reading | None:
    """Return the station's last scan up to ``at`` that was done: its box or load was the open one."""
    row = connection.execute(_LAST_OPENED, {"station_id": station_id, "at": at}).first()
    return None if row is None else _reading(row)


def last_flagged(connection: Connection, station_id: int, at: datetime, last: Reading | None) -> Reading | None:
    """Return the station's last scan up to ``at`` that was refused and flagged, neither taken back nor settled.

    None when ``last``, the last one that stands, came after it.
    """
    since = _EVER if last is None else last.at
    row = connection.execute(_LAST_FLAGGED, {"station_id": station_id, "at": at, "since": since}).first()
    if row is None or (last is not None and (row.at, row.seq) < (last.at, last.seq)):
        return None
    return _reading(row)


def _reading(row: Any) -> Reading:
    return Reading(**{**row._mapping, "step": Step(row.step)})
