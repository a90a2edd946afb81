"""What is planned for a box and what of it is in: read with the box, and changed by the acts that close it."""

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from sqlalchemy import Connection, Select, bindparam, delete, func, insert, select, update

from tracker.records.boxes import ALL_BOXES, Box, read_box
from tracker.records.completeness import item_is_short
from tracker.records.parts import SeenPart, parts_by_box
from tracker.records.tables import box, item, job, laying, log, marked, part
from tracker.records.values import Columns
from tracker.shop.acts import Act
from tracker.shop.box_states import CLOSED_STATES
from tracker.shop.codes import part_code
from tracker.shop.completeness import Lacks, lacks
from tracker.shop.progress import DEAD_STATUSES, PartStatus

_DEAD = sorted(DEAD_STATUSES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """An item of a box: how many it needs and how many were counted into it, or None before counting."""

    item: str
    quantity: int
    counted: int | None


_ITEM: Final = Columns(Item, item)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaceView:
    """Where a part lies in its carton, in mm; ``turned`` when its length lies along the carton's width."""

    layer: int
    x_mm: float
    y_mm: float
    z_mm: float
    turned: bool


_PLACE: Final = Columns(PlaceView, laying)


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxView(Box):
    """A box with its planned content, parts in the order in which they are laid."""

    places: dict[str, PlaceView]
    parts: list[SeenPart]
    items: list[Item]

    @property
    def cabinets(self) -> list[str]:
        return sorted({each.cabinet for each in self.parts})

    @property
    def rooms(self) -> list[str]:
        return sorted({each.room for each in self.parts if each.room})

    @property
    def lacks(self) -> Lacks[SeenPart, Item]:
        return lacks(self.parts, self.items)

    @property
    def missing_count(self) -> int:
        return len(self.lacks.parts)


def box_view(connection: Connection, box_id: int) -> BoxView | None:
    """Return the box of this number with its content, or None."""
    return next(iter(_boxes(connection, ALL_BOXES.where(box.c.id == box_id))), None)


def boxes_of_job(connection: Connection, job_id: int, *, limit: int, after: int = 0) -> list[BoxView]:
    """Return the boxes of a job by number, with their content."""
    query = ALL_BOXES.where(box.c.job_id == job_id, box.c.id > after).order_by(box.c.id).limit(limit)
    return _boxes(connection, query)


def box_views(connection: Connection, numbers: Collection[int]) -> list[BoxView]:
    """Return the boxes of these numbers with their content, in no certain order."""
    return _boxes(connection, ALL_BOXES.where(box.c.id.in_(list(numbers))))


def _boxes(connection: Connection, query: Select[Any]) -> list[BoxView]:
    rows = connection.execute(query).all()
    ids = [row[0] for row in rows]
    parts = parts_by_box(connection, [read_box(Box, row) for row in rows], part.c.status != PartStatus.REPLACED)
    items, places = items_by_box(connection, ids), _places(connection, ids)
    return [read_box(BoxView, row, parts=parts[row[0]], items=items[row[0]], places=places[row[0]]) for row in rows]


def _places(connection: Connection, box_ids: Collection[int]) -> defaultdict[int, dict[str, PlaceView]]:
    query = select(part.c.box_id, part.c.id, *_PLACE).join(part, part.c.id == laying.c.part_id)
    places: defaultdict[int, dict[str, PlaceView]] = defaultdict(dict)
    for row in connection.execute(query.where(part.c.box_id.in_(list(box_ids)))):
        places[row.box_id][part_code(row.id)] = PlaceView(**_PLACE.read(row, 2))
    return places


def items_by_box(
    connection: Connection, box_ids: Collection[int], *, short: bool = False
) -> defaultdict[int, list[Item]]:
    """Return the items of each of these boxes, by name; only those that are ``short``, if asked."""
    query = select(item.c.box_id, *_ITEM).where(item.c.box_id.in_(list(box_ids)), *((item_is_short,) if short else ()))
    found: defaultdict[int, list[Item]] = defaultdict(list)
    for row in connection.execute(query.order_by(item.c.box_id, item.c.item)):
        found[row.box_id].append(Item(**_ITEM.read(row, 1)))
    return found


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
