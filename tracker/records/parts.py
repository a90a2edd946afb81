"""A part: its own row with its box, read here for every query that finds parts; and where it was seen last."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, TypeVar

from sqlalchemy import ColumnElement, Connection, Select, bindparam, select

from tracker.records.boxes import BOX, Box, read_box
from tracker.records.jobs import Job
from tracker.records.tables import box, job, load, part, slot, station
from tracker.records.values import Columns
from tracker.shop.codes import part_code
from tracker.shop.completeness import PACKED_STATUSES
from tracker.shop.progress import DEAD_STATUSES, PartStatus, Progress
from tracker.shop.steps import Route, Step, Supply


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A part, its kept progress and the box that it is planned for. Lengths in mm, mass in kg.

    ``latest_at`` is the time of all that was scanned of it, undone or not.
    """

    id: int
    box: Box
    position: int
    cabinet: str
    room: str | None
    drop: str | None
    name: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    mass_kg: float
    edges: Sequence[str]
    machining: str
    supply: Supply
    route: Route
    urgent: bool
    replaces_id: int | None
    replaced_by_id: int | None
    status: PartStatus
    progress: Progress
    latest_at: datetime | None

    @property
    def code(self) -> str:
        return part_code(self.id)

    @property
    def job(self) -> Job:
        return self.box.job

    @property
    def step(self) -> Step | None:
        """The next step due; none of a part that is wanted no more."""
        return None if self.dead else self.progress.next_step(self.route)

    @property
    def dead(self) -> bool:
        return self.status in DEAD_STATUSES

    @property
    def packed(self) -> bool:
        return self.status in PACKED_STATUSES

    @property
    def damaged(self) -> bool:
        return self.progress.damaged

    @property
    def lies_damaged(self) -> bool:
        """Whether it was found damaged in its box, which is closed: it lies there, though it does not count there."""
        return self.damaged and self.box.closed and Step.PACK in self.progress.done

    @property
    def replaces(self) -> str | None:
        """The code of the part in whose place it was made."""
        return None if self.replaces_id is None else part_code(self.replaces_id)

    @property
    def replaced_by(self) -> str | None:
        """The code of the part that was made in its place."""
        return None if self.replaced_by_id is None else part_code(self.replaced_by_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class LastSeen:
    """Where a part was last seen, and when; ``station`` is empty for a desk."""

    station: str
    at: datetime
    slot: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenPart(Part):
    """A part and where it was last seen."""

    last_seen: LastSeen | None


PartT = TypeVar("PartT", bound=Part)
_PART: Final = Columns(Part, part)
_PROGRESS: Final = (
    part.c.done,
    part.c.inferred,
    part.c.damaged,
    part.c.seen_at,
    part.c.seen_station_id,
    part.c.slot_id,
)
_END: Final = len(_PART) + len(_PROGRESS)
_SEEN: Final = (station.c.name.label("seen_station"), slot.c.name.label("seen_slot"), part.c.box_id)
ALL_PARTS: Final[Select[Any]] = (
    select(*_PART, *_PROGRESS, *BOX)
    .select_from(part)
    .join(box, box.c.id == part.c.box_id)
    .join(job, job.c.id == box.c.job_id)
    .outerjoin(load, load.c.id == box.c.load_id)
)
ALL_SEEN: Final[Select[Any]] = (
    ALL_PARTS.add_columns(*_SEEN)
    .outerjoin(station, station.c.id == part.c.seen_station_id)
    .outerjoin(slot, slot.c.id == part.c.slot_id)
)
_INSIDE: Final[Select[Any]] = (
    select(*_PART, *_PROGRESS, *_SEEN)
    .select_from(part)
    .outerjoin(station, station.c.id == part.c.seen_station_id)
    .outerjoin(slot, slot.c.id == part.c.slot_id)
    .order_by(part.c.box_id, part.c.position, part.c.id)
)
_NUMBERED = ALL_PARTS.where(part.c.id.in_(bindparam("ids", expanding=True)))


def _read_part(as_a: type[PartT], row: Any, where: Box, **more: Any) -> PartT:
    done, inferred, damaged, at, station_id, slot_id = row[len(_PART) : _END]
    progress = Progress(done=done, inferred=inferred, damaged=damaged, at=at, station=station_id, slot=slot_id)
    kept = _PART.read(row)
    kept["edges"] = kept["edges"].split()
    return as_a(**kept, box=where, progress=progress, **more)


def read_seen(row: Any, where: Box | None = None) -> SeenPart:
    """Return the part of a row of ALL_SEEN; its box is read with it where it is not given."""
    seen = None
    if row.seen_at is not None:
        seen = LastSeen(station=row.seen_station or "", at=row.seen_at, slot=row.seen_slot)
    return _read_part(SeenPart, row, where or read_box(Box, row, _END), last_seen=seen)


def seen_where(connection: Connection, query: Select[Any]) -> list[SeenPart]:
    """Return the parts of a query that begins with ALL_SEEN."""
    return [read_seen(row, where) for row, where in _with_boxes(connection, query)]


def parts_where(connection: Connection, query: Select[Any]) -> list[Part]:
    """Return the parts of a query that begins with ALL_PARTS."""
    return [_read_part(Part, row, where) for row, where in _with_boxes(connection, query)]


def _with_boxes(connection: Connection, query: Select[Any], **given: Any) -> Iterator[tuple[Any, Box]]:
    """Give each row with its box: parts of one box share it."""
    boxes: dict[int, Box] = {}
    for row in connection.execute(query, given):
        number = row[_END]
        if number not in boxes:
            boxes[number] = read_box(Box, row, _END)
        yield row, boxes[number]


def parts_numbered(connection: Connection, ids: Collection[int]) -> dict[int, Part]:
    """Return the parts with these ids, by id."""
    return {row.id: _read_part(Part, row, where) for row, where in _with_boxes(connection, _NUMBERED, ids=list(ids))}


def parts_of_box(connection: Connection, box_id: int) -> list[Part]:
    """Return the parts that a box is planned to hold, dead ones too, in the order of laying."""
    query = ALL_PARTS.where(part.c.box_id == box_id)
    return parts_where(connection, query.order_by(part.c.position, part.c.id))


def parts_of_job(connection: Connection, job_id: int, *, limit: int, after: int = 0) -> list[SeenPart]:
    """Return the parts of a job by number."""
    query = ALL_SEEN.where(part.c.job_id == job_id, part.c.id > after).order_by(part.c.id).limit(limit)
    return seen_where(connection, query)


def part_view(connection: Connection, part_id: int) -> SeenPart | None:
    """Return the part of this number, or None."""
    return next(iter(seen_parts(connection, [part_id])), None)


def seen_parts(connection: Connection, numbers: Collection[int]) -> list[SeenPart]:
    """Return the parts of these numbers, in no certain order."""
    return seen_where(connection, ALL_SEEN.where(part.c.id.in_(list(numbers))))


def parts_by_box(
    connection: Connection, boxes: Collection[Box], condition: ColumnElement[bool]
) -> defaultdict[int, list[SeenPart]]:
    """Return those parts of each of these boxes that meet a condition, in the order of laying."""
    by_number = {each.id: each for each in boxes}
    found: defaultdict[int, list[SeenPart]] = defaultdict(list)
    for row in connection.execute(_INSIDE.where(part.c.box_id.in_(list(by_number)), condition)):
        found[row.box_id].append(read_seen(row, by_number[row.box_id]))
    return found
