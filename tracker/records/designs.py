"""Designed cabinets as they are kept: the whole design as JSON, and each part's marks beside the part.

A design stays with its job: a later program or another construction standard changes nothing that was ordered.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Final

from cattrs.preconf.json import make_converter
from sqlalchemy import Connection, insert, select, update

from tracker.records.orders import FRESH, insert_rows
from tracker.records.tables import cabinet, design, job, laying, marked, part
from tracker.records.writing import take_numbers
from tracker.shop.cabinets.design import Cabinet, Mark
from tracker.shop.orders import Designed, OrderedDesign
from tracker.shop.progress import DEAD_STATUSES, PartStatus

_CONVERTER: Final = make_converter()


@dataclass(frozen=True, slots=True, kw_only=True)
class Marks:
    """What a designed part's label says: its name in the cabinet, the joint numbers, which side is in front, grain."""

    own: str
    front: str
    marks: tuple[Mark, ...]
    grain: bool


def store_designs(connection: Connection, job_id: int, designs: Sequence[OrderedDesign]) -> None:
    """Keep the designs of a job, and which of its cabinets is built by which."""
    if not designs:
        return
    numbers = take_numbers(connection, "design", len(designs))
    insert_rows(
        connection,
        design,
        (
            {"id": number, "job_id": job_id, "body": _CONVERTER.dumps(each.cabinet)}
            for number, each in zip(numbers, designs, strict=True)
        ),
    )
    insert_rows(
        connection,
        cabinet,
        (
            {"job_id": job_id, "name": name, "design_id": number}
            for number, each in zip(numbers, designs, strict=True)
            for name in each.names
        ),
    )


def cabinet_design(connection: Connection, job_code: str, name: str) -> Cabinet | None:
    """Return the design of a job's cabinet as it was ordered; None when there is none (it came as a cut list)."""
    query = (
        select(design.c.body)
        .join(cabinet, cabinet.c.design_id == design.c.id)
        .join(job, job.c.id == cabinet.c.job_id)
        .where(job.c.code == job_code, cabinet.c.name == name)
    )
    body = connection.execute(query).scalar()
    return None if body is None else _CONVERTER.loads(body, Cabinet)


def cabinets_of(connection: Connection, job_id: int) -> list[str]:
    """Return the numbers of a job's designed cabinets."""
    query = select(cabinet.c.name).where(cabinet.c.job_id == job_id).order_by(cabinet.c.design_id, cabinet.c.name)
    return list(connection.execute(query).scalars())


def marked_row(part_id: int, designed: Designed) -> dict[str, Any]:
    """Return the row that keeps what a part's label shows of its joints."""
    return {
        "part_id": part_id,
        "own": designed.own,
        "front": designed.front,
        "marks": json.dumps([asdict(mark) for mark in designed.marks]),
        "blank_length_mm": designed.blank_mm[0],
        "blank_width_mm": designed.blank_mm[1],
        "grain": designed.grain,
    }


def marks_of(connection: Connection, part_ids: Sequence[int]) -> dict[int, Marks]:
    """Return the marks of those of the parts that have any."""
    rows = connection.execute(select(marked).where(marked.c.part_id.in_(part_ids)))
    return {row.part_id: _marks(row) for row in rows}


def _marks(row: Any) -> Marks:
    marks = _CONVERTER.loads(row.marks, tuple[Mark, ...])
    return Marks(own=row.own, front=row.front, marks=marks, grain=row.grain)


def copy_part(connection: Connection, old_id: int, new_id: int, *, box_id: int) -> None:
    """Add a part like an old one, to be made in place of it: urgent, planned for a box, nothing done to it."""
    row: dict[str, Any] = dict(connection.execute(select(part).where(part.c.id == old_id)).one()._mapping)
    row.update(FRESH, id=new_id, box_id=box_id, replaces_id=old_id, urgent=True)
    connection.execute(insert(part).values(row))


def retire_part(connection: Connection, old_id: int, *, by: int) -> None:
    """Take a part out of use for ever: part ``by`` is made in place of it."""
    retired = update(part).where(part.c.id == old_id)
    connection.execute(retired.values(status=PartStatus.REPLACED, replaced_by_id=by))


def copy_marks(connection: Connection, old_id: int, new_id: int) -> None:
    """Give a replacement the marks of the part that it replaces."""
    row = connection.execute(select(marked).where(marked.c.part_id == old_id)).mappings().first()
    if row is not None:
        connection.execute(insert(marked).values({**row, "part_id": new_id}))


def copy_place(connection: Connection, old_id: int, new_id: int) -> None:
    """Lay a replacement where the part that it replaces lies; in a follow-up box there is no plan to keep to."""
    row = connection.execute(select(laying).where(laying.c.part_id == old_id)).mappings().first()
    if row is not None:
        connection.execute(insert(laying).values({**row, "part_id": new_id}))


def part_numbers(connection: Connection, job_code: str, name: str) -> Mapping[str, int]:
    """Return the number of the living piece of each part of a cabinet, by the part's id in it."""
    query = (
        select(marked.c.own, part.c.id)
        .join(part, part.c.id == marked.c.part_id)
        .join(job, job.c.id == part.c.job_id)
        .where(job.c.code == job_code, part.c.cabinet == name, part.c.status.not_in(sorted(DEAD_STATUSES)))
    )
    return {row.own: row.id for row in connection.execute(query)}
