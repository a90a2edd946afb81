"""A box: its own row with its job and its load, read here for every query that finds boxes."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final, TypeVar

from sqlalchemy import ColumnElement, Connection, Select, bindparam, func, select, update

from tracker.records.completeness import items_short
from tracker.records.jobs import JOB, Job
from tracker.records.loads import LOAD, Load
from tracker.records.tables import box, job, load
from tracker.records.values import Columns
from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.codes import box_code, load_code_or_none
from tracker.shop.job_states import JobStatus
from tracker.shop.saying import Said
from tracker.shop.words import box_of_job


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box, how full it is, its job and the load that it is planned for. Lengths in mm, masses in kg.

    ``empty_kg`` is the mass of its carton with the bag of items, None where no carton was planned.
    """

    id: int
    job: Job
    name: str
    number: int
    state: BoxState
    parts_total: int
    packed: int
    mass_kg: float
    length_mm: float
    width_mm: float
    height_mm: float
    weighed_kg: float | None
    follows_id: int | None
    load_id: int | None
    load: Load | None
    carton: str | None
    empty_kg: float | None
    bag_above: int | None
    held_at: datetime | None
    sscc: str | None
    drop: str | None

    @property
    def code(self) -> str:
        return box_code(self.id)

    @property
    def in_words(self) -> Said:
        """What a refusal calls it: ``1 of J-7 (B0000000197)``."""
        return box_of_job(self.name, self.job.code, self.code)

    @property
    def closed(self) -> bool:
        return self.state in CLOSED_STATES

    @property
    def shipped(self) -> bool:
        return self.state is BoxState.SHIPPED

    @property
    def parts_lacking(self) -> int:
        return self.parts_total - self.packed

    @property
    def known_mass_kg(self) -> float:
        """Its mass as it was weighed, or as it was planned."""
        return self.mass_kg if self.weighed_kg is None else self.weighed_kg

    @property
    def own_hold(self) -> bool:
        """Whether a foreman put the box itself on hold."""
        return self.held_at is not None

    @property
    def held(self) -> bool:
        """Whether a hold keeps it in the shop, its own or its job's."""
        return self.own_hold or self.job.status is JobStatus.HELD

    @property
    def job_status(self) -> JobStatus:
        return self.job.status

    @property
    def open_load(self) -> int | None:
        """The number of its load that has not left."""
        return None if self.load is None or self.load.shipped else self.load.id

    @property
    def leaves(self) -> date:
        """The day of its load, or where none is planned the day when its job is due."""
        return self.job.due if self.load is None else self.load.ship_on

    @property
    def load_code(self) -> str | None:
        return load_code_or_none(self.load_id)

    @property
    def follows(self) -> str | None:
        """The code of the box of which it holds the rest."""
        return None if self.follows_id is None else box_code(self.follows_id)

    def leaves_with(self, load: str | None) -> bool:
        """Say whether it has left already, or leaves on the load of this code."""
        return self.shipped or (load is not None and self.load_code == load)


BoxT = TypeVar("BoxT", bound=Box)
_BOX: Final = Columns(Box, box)
BOX: Final[Sequence[ColumnElement[Any]]] = (*_BOX, *JOB, *LOAD)
_JOB_AT, _LOAD_AT = len(_BOX), len(_BOX) + len(JOB)
ALL_BOXES: Final[Select[Any]] = (
    select(*BOX)
    .select_from(box)
    .join(job, job.c.id == box.c.job_id)
    .outerjoin(load, load.c.id == box.c.load_id)
)  # fmt: skip
_NUMBERED = ALL_BOXES.where(box.c.id.in_(bindparam("ids", expanding=True)))
_UNCOUNTED = select(items_short()).select_from(box).where(box.c.id == bindparam("id"))


def read_box(as_a: type[BoxT], row: Any, start: int = 0, **more: Any) -> BoxT:
    """Return the box, with ``more`` of it where a view asks, of a row that has the columns BOX from ``start`` on."""
    kept = LOAD.read(row, start + _LOAD_AT)
    its_load = None if kept["id"] is None else Load(**kept)
    its_job = Job(**JOB.read(row, start + _JOB_AT))
    return as_a(**_BOX.read(row, start), job=its_job, load=its_load, **more)


def boxes_where(connection: Connection, query: Select[Any]) -> list[Box]:
    """Return the boxes of a query that begins with the columns BOX."""
    return [read_box(Box, row) for row in connection.execute(query)]


def boxes_numbered(connection: Connection, ids: Collection[int]) -> dict[int, Box]:
    """Return the boxes with these ids, by id."""
    rows = connection.execute(_NUMBERED, {"ids": list(ids)})
    return {each.id: each for each in (read_box(Box, row) for row in rows)}


def uncounted(connection: Connection, box_id: int) -> int:
    """Return how many kinds of a box's items are not counted in full."""
    return int(connection.execute(_UNCOUNTED, {"id": box_id}).scalar_one())


def highest_box_number(connection: Connection, job_id: int) -> int:
    """Return the number of a job's last box."""
    return int(connection.execute(select(func.max(box.c.number)).where(box.c.job_id == job_id)).scalar_one())


def update_box(connection: Connection, box_id: int, /, **values: Any) -> None:
    """Change columns of one box."""
    connection.execute(update(box).where(box.c.id == box_id).values(**values))
