"""Boards that a job is cut from, and which parts come off each."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, func, select

from tracker.records.orders import insert_rows
from tracker.records.tables import board, job, marked, part, sawing
from tracker.shop.codes import Code, Kind, part_code
from tracker.shop.order_warnings import Material
from tracker.shop.progress import DEAD_STATUSES
from tracker.shop.steps import Step, Supply


@dataclass(frozen=True, slots=True, kw_only=True)
class UncutPart:
    """A part that still comes off a board: its sawn size in mm, and the board that it is planned on, if any."""

    id: int
    name: str
    cabinet: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    grain: bool
    board_id: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SawnPart:
    """A part on its board: ``x_mm`` along the board's length; ``turned`` when its own length lies along the width."""

    code: str
    cabinet: str
    name: str
    x_mm: float
    y_mm: float
    length_mm: float
    width_mm: float
    turned: bool
    cut: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardView:
    """A board with the parts that come off it, in the order of the saw."""

    code: str
    job: str
    number: int
    stock: str
    material: str
    length_mm: float
    width_mm: float
    thickness_mm: float
    yield_share: float
    parts: tuple[SawnPart, ...]


def uncut_parts(connection: Connection, job_id: int) -> list[UncutPart]:
    """Return the living parts of a job that the shop makes and has not cut."""
    query = (
        select(
            *(part.c.id, part.c.name, part.c.cabinet, part.c.material, part.c.thickness_mm, part.c.done),
            func.coalesce(marked.c.blank_length_mm, part.c.length_mm).label("length_mm"),
            func.coalesce(marked.c.blank_width_mm, part.c.width_mm).label("width_mm"),
            func.coalesce(marked.c.grain, False).label("grain"),
            sawing.c.board_id,
        )
        .join(marked, marked.c.part_id == part.c.id, isouter=True)
        .join(sawing, sawing.c.part_id == part.c.id, isouter=True)
        .where(part.c.job_id == job_id, part.c.supply == Supply.MADE, part.c.status.not_in(sorted(DEAD_STATUSES)))
        .order_by(part.c.id)
    )
    rows = [dict(row._mapping) for row in connection.execute(query)]
    return [UncutPart(**row) for row in rows if Step.CUT not in row.pop("done")]


def begun_boards(connection: Connection, job_id: int) -> set[int]:
    """Return the boards of a job of which at least one part is cut."""
    query = (
        select(sawing.c.board_id, part.c.done)
        .join(part, part.c.id == sawing.c.part_id)
        .join(board, board.c.id == sawing.c.board_id)
        .where(board.c.job_id == job_id)
    )
    return {row.board_id for row in connection.execute(query) if Step.CUT in row.done}


def drop_boards(connection: Connection, job_id: int, *, keep: Collection[int]) -> None:
    """Forget the boards of a job that are not to be kept; their numbers are never given again."""
    dropped = select(board.c.id).where(board.c.job_id == job_id, board.c.id.not_in(sorted(keep)))
    connection.execute(delete(sawing).where(sawing.c.board_id.in_(dropped)))
    connection.execute(delete(board).where(board.c.job_id == job_id, board.c.id.not_in(sorted(keep))))


def last_board_number(connection: Connection, job_id: int) -> int:
    """Return the highest number of a board within a job, 0 when it has none."""
    return connection.execute(select(func.max(board.c.number)).where(board.c.job_id == job_id)).scalar() or 0


def insert_boards(
    connection: Connection, boards: Iterable[Mapping[str, Any]], pieces: Iterable[Mapping[str, Any]]
) -> None:
    """Keep boards and what comes off them."""
    insert_rows(connection, board, boards)
    insert_rows(connection, sawing, pieces)


def materials_of_job(connection: Connection, job_id: int) -> set[Material]:
    """Return the materials of what is made for a job, as boards are told apart."""
    query = select(part.c.material, part.c.thickness_mm).where(part.c.job_id == job_id, part.c.supply == Supply.MADE)
    return {(row.material, round(row.thickness_mm, 2)) for row in connection.execute(query.distinct())}


def boards_of_job(connection: Connection, job_id: int) -> list[BoardView]:
    """Return the boards of a job in the order of their numbers."""
    return _boards(connection, board.c.job_id == job_id)


def board_view(connection: Connection, board_id: int) -> BoardView | None:
    """Return one board, or None."""
    return next(iter(_boards(connection, board.c.id == board_id)), None)


def _boards(connection: Connection, wanted: Any) -> list[BoardView]:
    heads = connection.execute(
        select(board, job.c.code.label("job")).join(job).where(wanted).order_by(board.c.number, board.c.id)
    ).all()
    sawn = _sawn_parts(connection, [head.id for head in heads])
    return [
        BoardView(
            code=str(Code(Kind.BOARD, head.id)),
            job=head.job,
            number=head.number,
            stock=head.stock,
            material=head.material,
            length_mm=head.length_mm,
            width_mm=head.width_mm,
            thickness_mm=head.thickness_mm,
            yield_share=head.yield_share,
            parts=tuple(sawn.get(head.id, ())),
        )
        for head in heads
    ]


def _sawn_parts(connection: Connection, board_ids: Collection[int]) -> dict[int, list[SawnPart]]:
    query = (
        select(
            *(sawing.c.board_id, part.c.id, part.c.cabinet, part.c.name, part.c.done),
            *(sawing.c.x_mm, sawing.c.y_mm, sawing.c.turned),
            func.coalesce(marked.c.blank_length_mm, part.c.length_mm).label("length_mm"),
            func.coalesce(marked.c.blank_width_mm, part.c.width_mm).label("width_mm"),
        )
        .join(part, part.c.id == sawing.c.part_id)
        .join(marked, marked.c.part_id == part.c.id, isouter=True)
        .where(sawing.c.board_id.in_(sorted(board_ids)))
        .order_by(sawing.c.board_id, sawing.c.position)
    )
    found: dict[int, list[SawnPart]] = {}
    for row in connection.execute(query):
        values = dict(row._mapping)
        board_id, number, done = values.pop("board_id"), values.pop("id"), values.pop("done")
        found.setdefault(board_id, []).append(SawnPart(code=part_code(number), cut=Step.CUT in done, **values))
    return found


def board_of(connection: Connection, part_id: int) -> str | None:
    """Return the code of the board that a part comes off, or None where none is planned."""
    board_id = connection.execute(select(sawing.c.board_id).where(sawing.c.part_id == part_id)).scalar()
    return None if board_id is None else str(Code(Kind.BOARD, board_id))


def board_ids_of_job(connection: Connection, job_id: int) -> list[int]:
    """Return the boards of a job in the order in which they are cut: that of their numbers."""
    query = select(board.c.id).where(board.c.job_id == job_id).order_by(board.c.number, board.c.id)
    return list(connection.execute(query).scalars())


def parts_without_board(connection: Connection, job_id: int) -> list[int]:
    """Return the living parts of a job that come off no board, by number."""
    query = (
        select(part.c.id)
        .outerjoin(sawing, sawing.c.part_id == part.c.id)
        .where(part.c.job_id == job_id, sawing.c.part_id.is_(None), part.c.status.not_in(sorted(DEAD_STATUSES)))
        .order_by(part.c.id)
    )
    return list(connection.execute(query).scalars())


def parts_on_board(connection: Connection, board_id: int, *, living: bool) -> list[int]:
    """Return the numbers of the parts that come off a board, in the saw's order; without ``living`` the dead too."""
    query = (
        select(part.c.id)
        .join(sawing, sawing.c.part_id == part.c.id)
        .where(sawing.c.board_id == board_id)
        .order_by(sawing.c.position)
    )
    if living:
        query = query.where(part.c.status.not_in(sorted(DEAD_STATUSES)))
    return list(connection.execute(query).scalars())
