"""A row of the log, read here for every query that finds rows; with the names of what it is about, for people.

Every list has an end, but that of one part or box: the log grows with the shop's age.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, TypeVar
from uuid import UUID

from sqlalchemy import Connection, Select, and_, func, or_, select, union_all

from tracker.records.tables import box, job, log, part, slot, station
from tracker.records.values import Columns
from tracker.shop.acts import Act
from tracker.shop.clocks import waited
from tracker.shop.codes import box_code, load_code, load_code_or_none, part_code
from tracker.shop.outcomes import Outcome
from tracker.shop.reasons import Meaning, meaning_kept
from tracker.shop.scans import Action
from tracker.shop.steps import Route, Step

_ROWS_READ: Final = 120  # a board leaves a row for each of its parts beside its own
_LAST = select(func.max(log.c.seq))  # asked with each request of each screen, so it is built once


@dataclass(frozen=True, slots=True, kw_only=True)
class LogRow:
    """A scan or an act as it was written to the log. ``tables.log`` says what its columns hold."""

    seq: int
    scan_id: bytes
    action: str
    outcome: Outcome
    at: datetime
    received_at: datetime
    who: str
    code: str
    station_id: int | None
    step: Step | None
    infers: bool
    job_id: int | None
    part_id: int | None
    box_id: int | None
    load_id: int | None
    inferred: Route
    message: str
    reason: str | None
    values: dict[str, Any] | None
    flag: str | None
    said_at: datetime | None
    kind: str | None
    meant: int | None
    opened_id: int | None

    @property
    def id(self) -> UUID:
        """The id of the scan or act."""
        return UUID(bytes=self.scan_id)

    @property
    def came_late(self) -> bool:
        """Whether it was made so long before it was written here that nobody knew of it meanwhile."""
        return waited(self.at, self.received_at)

    @property
    def told(self) -> Meaning | None:
        """What it tells; None of a row that is older than the reasons: its ``message`` says it in English alone."""
        return meaning_kept(self.reason, self.values)

    @property
    def part(self) -> str | None:
        return None if self.part_id is None else part_code(self.part_id)

    @property
    def box(self) -> str | None:
        return None if self.box_id is None else box_code(self.box_id)

    @property
    def load(self) -> str | None:
        return load_code_or_none(self.load_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class LogView(LogRow):
    """A row of the log as a screen shows it: the names of what it is about; ``undone`` when it was taken back since."""

    station: str | None
    slot: str | None
    job: str | None
    part_name: str | None
    cabinet: str | None
    box_name: str | None
    undone: bool


ViewT = TypeVar("ViewT", bound=LogView)
LOG: Final = Columns(LogRow, log)
_undo = log.alias("the_undo")
ALL_LOGGED: Final[Select[Any]] = (
    select(
        *LOG,
        *(station.c.name.label("of_station"), slot.c.name.label("of_slot"), job.c.code.label("of_job")),
        *(part.c.name.label("of_part"), part.c.cabinet, box.c.name.label("of_box"), _undo.c.seq.label("undo_seq")),
    )
    .select_from(log)
    .outerjoin(station, station.c.id == log.c.station_id)
    .outerjoin(slot, slot.c.id == log.c.slot_id)
    .outerjoin(job, job.c.id == log.c.job_id)
    .outerjoin(part, part.c.id == log.c.part_id)
    .outerjoin(box, box.c.id == log.c.box_id)
    .outerjoin(_undo, _undo.c.undoes == log.c.seq)
)
_LATEST_FIRST: Final = (log.c.at.desc(), log.c.seq.desc())


def read_logged(as_a: type[ViewT], row: Any, **more: Any) -> ViewT:
    """Return the row of the log, with ``more`` of it where a view asks, of a row that begins with ALL_LOGGED."""
    return as_a(
        **LOG.read(row),
        station=row.of_station,
        slot=row.of_slot,
        job=row.of_job,
        part_name=row.of_part,
        cabinet=row.cabinet,
        box_name=row.of_box,
        undone=row.undo_seq is not None,
        **more,
    )


def _logged(connection: Connection, query: Select[Any]) -> list[LogView]:
    return [read_logged(LogView, row) for row in connection.execute(query)]


# What happened to a thing


def part_history(connection: Connection, part_id: int, box_id: int, *, limit: int | None = None) -> list[LogView]:
    """Return every scan and act that concerns a part, the latest first; the sealing and shipping of its box, too."""
    of_box = and_(log.c.part_id.is_(None), log.c.box_id == box_id, log.c.action.in_([Act.SEAL, Act.SHIP]))
    query = ALL_LOGGED.where(or_(log.c.part_id == part_id, of_box))
    return _logged(connection, query.order_by(*_LATEST_FIRST).limit(limit))


def box_history(connection: Connection, box_id: int, *, limit: int) -> list[LogView]:
    """Return the scans and acts that concern a box itself, the latest first."""
    query = ALL_LOGGED.where(log.c.part_id.is_(None), log.c.box_id == box_id)
    return _logged(connection, query.order_by(*_LATEST_FIRST).limit(limit))


def job_history(connection: Connection, job_id: int, *, limit: int) -> list[LogView]:
    """Return what was decided about a job and what happened to its boxes, the latest first."""
    of_job = select(log.c.seq).where(log.c.part_id.is_(None), log.c.box_id.is_(None), log.c.job_id == job_id)
    of_boxes = select(log.c.seq).where(
        log.c.part_id.is_(None), log.c.box_id.in_(select(box.c.id).where(box.c.job_id == job_id))
    )
    found = union_all(of_job, of_boxes).subquery()
    latest = select(found.c.seq).order_by(found.c.seq.desc()).limit(limit)
    return _logged(connection, ALL_LOGGED.where(log.c.seq.in_(latest)).order_by(log.c.seq.desc()))


def rows_of_left_behind(connection: Connection, load_id: int) -> list[LogView]:
    """Return with which words boxes were left behind by a load; by its jobs' boxes, for which there is an index."""
    jobs = select(box.c.job_id).where(box.c.load_id == load_id)
    of_jobs = log.c.box_id.in_(select(box.c.id).where(box.c.job_id.in_(jobs)))
    query = ALL_LOGGED.where(log.c.part_id.is_(None), of_jobs, log.c.action == Act.LEAVE, log.c.load_id == load_id)
    return _logged(connection, query.order_by(log.c.seq))


# What was scanned at a station


def scanned_before(connection: Connection, station_id: int, at: datetime, *, beside: int, limit: int) -> list[LogView]:
    """Return the scans of parts other than ``beside`` at a station before a moment, the latest first."""
    query = ALL_LOGGED.where(log.c.station_id == station_id, log.c.at < at, log.c.part_id != beside)
    return _logged(connection, query.order_by(*_LATEST_FIRST).limit(limit))


def scanned_after(connection: Connection, station_id: int, at: datetime, *, beside: int, limit: int) -> list[LogView]:
    """Return the scans of parts other than ``beside`` at a station after a moment, the earliest first."""
    query = ALL_LOGGED.where(log.c.station_id == station_id, log.c.at > at, log.c.part_id != beside)
    return _logged(connection, query.order_by(log.c.at, log.c.seq).limit(limit))


def last_scans(connection: Connection, station_id: int, *, limit: int) -> list[LogView]:
    """Return a station's last scans by their own times, the latest first; a board stands for all of its parts."""
    mine = ALL_LOGGED.where(log.c.station_id == station_id, log.c.action.in_(list(Action)))
    found: list[LogView] = []
    whole_at: datetime | None = None
    for row in connection.execute(mine.order_by(*_LATEST_FIRST).limit(_ROWS_READ)):
        if row.at == whole_at and row.part_id is not None:
            continue  # written with the row of its board, which has the same time and stands after it
        whole_at = row.at if row.part_id is None else None
        found.append(read_logged(LogView, row))
        if len(found) == limit:
            break
    return found


def kept_scan(connection: Connection, scan_id: UUID) -> LogView | None:
    """Return what the log keeps of a scan, or None."""
    return next(iter(_logged(connection, ALL_LOGGED.where(log.c.scan_id == scan_id.bytes))), None)


# What changed


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangesView:
    """What changed after a number of the log; ``more`` says that the list was cut and must be asked on."""

    now: int
    more: bool
    jobs: list[str]
    boxes: list[str]
    parts: list[str]
    loads: list[str]


def last_change(connection: Connection) -> int:
    """Return the number of the last row of the log."""
    return connection.execute(_LAST).scalar() or 0


def changes_since(connection: Connection, since: int, *, limit: int) -> ChangesView:
    """Return which jobs, boxes, parts and loads the log names after ``since``."""
    columns = (log.c.seq, log.c.job_id, log.c.box_id, log.c.part_id, log.c.load_id)
    rows = connection.execute(
        select(*columns, job.c.code)
        .outerjoin(job, job.c.id == log.c.job_id)
        .where(log.c.seq > since)
        .order_by(log.c.seq)
        .limit(limit)
    ).all()
    return ChangesView(
        now=rows[-1].seq if rows else since,
        more=len(rows) == limit,
        jobs=sorted({row.code for row in rows if row.code is not None}),
        boxes=[box_code(number) for number in sorted({row.box_id for row in rows if row.box_id is not None})],
        parts=[part_code(number) for number in sorted({row.part_id for row in rows if row.part_id is not None})],
        loads=[load_code(number) for number in sorted({row.load_id for row in rows if row.load_id is not None})],
    )
