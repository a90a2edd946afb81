"""What is in a box and on a load, for the acts that close them."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from sqlalchemy import Connection, Integer, bindparam, delete, func, insert, select, type_coerce, update

from tracker.records.tables import Steps, box, item, job, load, log, marked, part
from tracker.shop.acts import Act
from tracker.shop.box_states import CLOSED_STATES
from tracker.shop.progress import DEAD_STATUSES, PartStatus
from tracker.shop.steps import Step

_DEAD = sorted(DEAD_STATUSES)


@dataclass(frozen=True, slots=True, kw_only=True)
class ItemCount:
    """An item of a box: how many it needs and how many were counted into it, or None before counting."""

    item: str
    quantity: int
    counted: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlannedPart:
    """A part that is planned for a box; its planned mass in kg."""

    id: int
    status: str
    name: str
    mass_kg: float
    material: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxIdentity:
    """A box's place in its job."""

    id: int
    job_id: int
    name: str
    number: int
    follows_id: int | None
    load_id: int | None


def box_identity(connection: Connection, box_id: int) -> BoxIdentity:
    """Return a box's place in its job."""
    columns = (box.c.id, box.c.job_id, box.c.name, box.c.number, box.c.follows_id, box.c.load_id)
    row = connection.execute(select(*columns).where(box.c.id == box_id)).one()
    return BoxIdentity(**row._mapping)


def items_of(connection: Connection, box_id: int) -> list[ItemCount]:
    """Return the items of a box, by name."""
    columns = (item.c.item, item.c.quantity, item.c.counted)
    rows = connection.execute(select(*columns).where(item.c.box_id == box_id).order_by(item.c.item))
    return [ItemCount(**row._mapping) for row in rows]


def planned_parts(connection: Connection, box_id: int) -> list[PlannedPart]:
    """Return the parts that a box is planned to hold, dead ones too, in the order of laying."""
    columns = (part.c.id, part.c.status, part.c.name, part.c.mass_kg, part.c.material)
    query = select(*columns).where(part.c.box_id == box_id).order_by(part.c.position, part.c.id)
    return [PlannedPart(**row._mapping) for row in connection.execute(query)]


def count_items(connection: Connection, box_id: int, counted: Mapping[str, int]) -> None:
    """Keep what was counted into a box."""
    for name, count in counted.items():
        connection.execute(
            update(item).where(item.c.box_id == box_id, item.c.item == name).values(counted=count),
        )


def move_items(connection: Connection, from_box: int, to_box: int, short: Mapping[str, int]) -> None:
    """Plan what is short of each item for another box instead."""
    for name, count in short.items():
        mine = (item.c.box_id == from_box, item.c.item == name)
        connection.execute(update(item).where(*mine).values(quantity=item.c.quantity - count))
        theirs = (item.c.box_id == to_box, item.c.item == name)
        if not connection.execute(update(item).where(*theirs).values(quantity=item.c.quantity + count)).rowcount:
            connection.execute(insert(item).values(box_id=to_box, item=name, quantity=count))
    connection.execute(delete(item).where(item.c.box_id == from_box, item.c.quantity == 0))


def move_parts(connection: Connection, part_ids: Sequence[int], to_box: int) -> None:
    """Plan parts for another box, in this order of laying, after all that is planned for it."""
    last = connection.execute(select(func.max(part.c.position)).where(part.c.box_id == to_box)).scalar() or 0
    statement = update(part).where(part.c.id == bindparam("the_id")).values(box_id=to_box, position=bindparam("place"))
    places = [{"the_id": part_id, "place": n} for n, part_id in enumerate(part_ids, start=last + 1)]
    if places:
        connection.execute(statement, places)


def living_sizes(connection: Connection, box_id: int) -> list[tuple[float, float, float, float]]:
    """Return length, width and thickness in mm, and the mass in kg, of the living parts planned for a box."""
    columns = (part.c.length_mm, part.c.width_mm, part.c.thickness_mm, part.c.mass_kg)
    query = select(*columns).where(part.c.box_id == box_id, part.c.status.not_in(_DEAD))
    return [(row.length_mm, row.width_mm, row.thickness_mm, row.mass_kg) for row in connection.execute(query)]


def carton_mass(connection: Connection, box_id: int) -> float | None:
    """Return what the planned carton of a box weighs with its bag, in kg; None where no carton was planned."""
    return connection.execute(select(box.c.empty_kg).where(box.c.id == box_id)).scalar()


def weighed_mass(connection: Connection, box_id: int) -> float | None:
    """Return what a box weighed, in kg, or None."""
    return connection.execute(select(box.c.weighed_kg).where(box.c.id == box_id)).scalar()


def update_box(connection: Connection, box_id: int, /, **values: Any) -> None:
    """Change columns of one box."""
    connection.execute(update(box).where(box.c.id == box_id).values(**values))


def open_follow_up(connection: Connection, box_id: int) -> int | None:
    """Return the follow-up box of a box, or of its follow-ups, that still takes parts."""
    following = select(box.c.id).where(box.c.id == box_id).cte("following", recursive=True)
    following = following.union(select(box.c.id).where(box.c.follows_id == following.c.id))
    query = select(box.c.id).where(
        box.c.id.in_(select(following.c.id)), box.c.id != box_id, box.c.state.not_in(sorted(CLOSED_STATES))
    )
    return connection.execute(query.order_by(box.c.id).limit(1)).scalar()


def follow_ups_that_fill(connection: Connection, box_id: int) -> list[int]:
    """Return the boxes that complete a box and are not closed, by number."""
    query = select(box.c.id).where(box.c.follows_id == box_id, box.c.state.not_in(sorted(CLOSED_STATES)))
    return list(connection.execute(query.order_by(box.c.id)).scalars())


def last_sealing(connection: Connection, box_id: int) -> int | None:
    """Return the number in the log of the sealing of a box that holds."""
    undo = log.alias("the_undo")
    query = select(func.max(log.c.seq)).where(
        *(log.c.part_id.is_(None), log.c.box_id == box_id, log.c.action == Act.SEAL),
        ~select(undo.c.seq).where(undo.c.undoes == log.c.seq).exists(),
    )
    return connection.execute(query).scalar()


def highest_box_number(connection: Connection, job_id: int) -> int:
    """Return the number of a job's last box."""
    return int(connection.execute(select(func.max(box.c.number)).where(box.c.job_id == job_id)).scalar_one())


def plan_on_load(connection: Connection, box_ids: Collection[int], load_id: int | None) -> None:
    """Plan boxes for a load, or for none."""
    connection.execute(update(box).where(box.c.id.in_(list(box_ids))).values(load_id=load_id))


def insert_load(connection: Connection, load_id: int, ship_on: date) -> None:
    """Add a load."""
    connection.execute(insert(load).values(id=load_id, ship_on=ship_on, state="open"))


def ship_load_rows(connection: Connection, load_id: int, box_ids: Collection[int], at: datetime) -> dict[int, int]:
    """Mark a load, its boxes and the parts in them as shipped; return how many parts of each job that is."""
    in_boxes = (part.c.box_id.in_(list(box_ids)), part.c.status == PartStatus.PACKED)
    counts = connection.execute(select(part.c.job_id, func.count()).where(*in_boxes).group_by(part.c.job_id)).all()
    ship_bit = Steps().process_bind_param([Step.SHIP], connection.dialect)
    with_ship = type_coerce(type_coerce(part.c.done, Integer).op("|")(ship_bit), Steps)
    connection.execute(update(part).where(*in_boxes).values(status=PartStatus.SHIPPED, done=with_ship))
    connection.execute(update(box).where(box.c.id.in_(list(box_ids))).values(state="shipped"))
    connection.execute(update(load).where(load.c.id == load_id).values(state="shipped", shipped_at=at))
    return {job_id: count for job_id, count in counts}  # noqa: C416 - rows, not pairs


def boxes_of_cabinet(connection: Connection, job_code: str, name: str) -> list[tuple[int, str]]:
    """Return the number and the name of each box that holds parts of a cabinet, in the order of their numbers."""
    query = (
        select(box.c.id, box.c.name)
        .join(part, part.c.box_id == box.c.id)
        .join(job, job.c.id == box.c.job_id)
        .where(job.c.code == job_code, part.c.cabinet == name, part.c.status.not_in(_DEAD))
        .group_by(box.c.id, box.c.name, box.c.number)
        .order_by(box.c.number)
    )
    return [(row.id, row.name) for row in connection.execute(query)]


def boxes_of_parts(connection: Connection, job_code: str, name: str) -> dict[str, str]:
    """Return the name of the box of each part of a designed cabinet, by the part's name in the design."""
    query = (
        select(marked.c.own, box.c.name)
        .join(part, part.c.id == marked.c.part_id)
        .join(box, box.c.id == part.c.box_id)
        .join(job, job.c.id == box.c.job_id)
        .where(job.c.code == job_code, part.c.cabinet == name, part.c.status.not_in(_DEAD))
    )
    return {row.own: row.name for row in connection.execute(query)}
