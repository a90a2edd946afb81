"""A load's own row: read, added, marked as shipped."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime

from sqlalchemy import Connection, Integer, bindparam, func, insert, select, type_coerce, update

from tracker.records.tables import Steps, box, load, part
from tracker.records.values import Columns
from tracker.shop.box_states import BoxState
from tracker.shop.codes import load_code
from tracker.shop.load_states import LoadState
from tracker.shop.progress import PartStatus
from tracker.shop.steps import Step


@dataclass(frozen=True, slots=True, kw_only=True)
class Load:
    """A load: the day on which it leaves, and when it has left."""

    id: int
    ship_on: date
    state: LoadState
    shipped_at: datetime | None

    @property
    def code(self) -> str:
        return load_code(self.id)

    @property
    def shipped(self) -> bool:
        return self.state is LoadState.SHIPPED


LOAD = Columns(Load, load)
_LOADS = select(*LOAD).where(load.c.id.in_(bindparam("ids", expanding=True)))


def loads_numbered(connection: Connection, ids: Collection[int]) -> dict[int, Load]:
    """Return the loads with these ids, by id."""
    return {row.id: Load(**LOAD.read(row)) for row in connection.execute(_LOADS, {"ids": list(ids)})}


def insert_load(connection: Connection, load_id: int, ship_on: date) -> None:
    """Add a load."""
    connection.execute(insert(load).values(id=load_id, ship_on=ship_on, state=LoadState.OPEN))


def plan_on_load(connection: Connection, box_ids: Collection[int], load_id: int | None) -> None:
    """Plan boxes for a load, or for none."""
    connection.execute(update(box).where(box.c.id.in_(list(box_ids))).values(load_id=load_id))


def ship_load_rows(connection: Connection, load_id: int, box_ids: Collection[int], at: datetime) -> dict[int, int]:
    """Mark a load, its boxes and the parts in them as shipped; return how many parts of each job that is."""
    in_boxes = (part.c.box_id.in_(list(box_ids)), part.c.status == PartStatus.PACKED)
    counts = connection.execute(select(part.c.job_id, func.count()).where(*in_boxes).group_by(part.c.job_id)).all()
    ship_bit = Steps().process_bind_param([Step.SHIP], connection.dialect)
    with_ship = type_coerce(type_coerce(part.c.done, Integer).op("|")(ship_bit), Steps)
    connection.execute(update(part).where(*in_boxes).values(status=PartStatus.SHIPPED, done=with_ship))
    connection.execute(update(box).where(box.c.id.in_(list(box_ids))).values(state=BoxState.SHIPPED))
    connection.execute(update(load).where(load.c.id == load_id).values(state=LoadState.SHIPPED, shipped_at=at))
    return {job_id: count for job_id, count in counts}  # noqa: C416 - rows, not pairs
