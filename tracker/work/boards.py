"""Plan which boards a job is cut from, so that one scan at the saw passes all that comes off a board.

A plan is made before the one writer is asked for, and checked against what changed meanwhile. A board is planned anew
only while none of its parts is cut; its code is never given again.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from tracker.records import boards as kept
from tracker.records.boards import BoardView, UncutPart
from tracker.records.database import Database
from tracker.shop.acts import BoardsPlanned
from tracker.shop.cutting.runs import plan_all_boards
from tracker.shop.cutting.values import Blank, CuttingPlan, Stock
from tracker.shop.errors import ConflictError, InvalidInputError, gathered
from tracker.shop.job_states import UNFINISHED
from tracker.shop.left_over import told_with_first
from tracker.shop.saying import say
from tracker.shop.standing import job_is
from tracker.shop.supplies import UNNAMED, Boards
from tracker.work.jobs import job_coded
from tracker.work.ledger import open_ledger
from tracker.work.lists import boards_of

MOST_FAULTS_TOLD = 100


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """What a plan of boards came to: how many of each stock, how much of them is used, and the least possible."""

    boards: int
    lower_bound: int
    proved_least: bool
    yield_share: float
    need: dict[str, int]


def plan_job_boards(database: Database, job_code: str, *, who: str, now: datetime) -> Planned:
    """Plan the boards for all parts of a job that are not cut and lie on no board that was begun.

    A board that was begun stays as it is; the others are planned anew and get new codes. Raises NotFoundError for no
    such job, ConflictError when it is not open or nothing is left to cut or the job changed meanwhile,
    InvalidInputError naming each part that no board holds.
    """
    stocks = boards_of(database)
    with database.read() as connection:
        job = job_coded(connection, job_code)
        parts = _to_plan(kept.uncut_parts(connection, job.id), kept.begun_boards(connection, job.id))
    if job.status not in UNFINISHED:
        raise ConflictError(
            say("Job %(job)s %(is_so)s: there is nothing to cut.", job=job.code, is_so=job_is(job.status))
        )
    if not parts:
        raise ConflictError(say("Every part of job %(job)s is cut or lies on a board that was begun.", job=job.code))
    # Planning takes seconds for a large job, so it happens before the one writer is asked for.
    known = _stocks_for(parts, stocks)
    plan = plan_all_boards([_blank(each) for each in parts], known, stocks.rules)
    _refuse_left(parts, plan)
    with open_ledger(database, who, now) as ledger:
        connection = ledger.connection
        begun = kept.begun_boards(connection, job.id)
        if _to_plan(kept.uncut_parts(connection, job.id), begun) != parts:
            raise ConflictError(say("Parts of this job were scanned while the boards were planned. Plan them again."))
        ledger.change(kept.drop_boards, job.id, keep=begun)
        numbers = ledger.take_numbers("board", len(plan.boards))
        first = kept.last_board_number(connection, job.id) + 1
        by_id = {stock.id: stock for stock in known}
        rows = _board_rows(plan, numbers, job.id, first, by_id)
        ledger.change(kept.insert_boards, rows, _piece_rows(plan, numbers))
        ledger.tell(BoardsPlanned(job_id=job.id, job=job.code, boards=len(plan.boards), parts=len(parts)))
    return Planned(
        boards=len(plan.boards),
        lower_bound=plan.lower_bound,
        proved_least=plan.proved_least,
        yield_share=plan.yield_share,
        need={need.stock: need.boards for need in plan.need},
    )


def job_boards(database: Database, job_code: str) -> list[BoardView]:
    """Return the boards of a job. Raises NotFoundError when there is no such job."""
    with database.read() as connection:
        job = job_coded(connection, job_code)
        return kept.boards_of_job(connection, job.id)


def needed(boards: Sequence[BoardView]) -> dict[str, int]:
    """Return how many of each stock these boards are."""
    return dict(Counter(board.stock for board in boards))


def _to_plan(parts: Sequence[UncutPart], begun: set[int]) -> list[UncutPart]:
    return [part for part in parts if part.board_id not in begun]


def _blank(part: UncutPart) -> Blank:
    return Blank(
        id=str(part.id),
        material=part.material or UNNAMED,
        length_mm=part.length_mm,
        width_mm=part.width_mm,
        thickness_mm=part.thickness_mm,
        grain=part.grain,
    )


def _stocks_for(parts: Sequence[UncutPart], boards: Boards) -> tuple[Stock, ...]:
    """Return the shop's boards, and the usual size of each material and thickness that it has not listed."""
    for part in parts:
        material = part.material or UNNAMED
        if not boards.lists(material, part.thickness_mm):
            length, width = boards.usual_mm
            usual = Stock(
                id=f"{material} {part.thickness_mm:g} mm",
                material=material,
                length_mm=length,
                width_mm=width,
                thickness_mm=part.thickness_mm,
                grain=part.grain,
            )
            boards = replace(boards, stocks=(*boards.stocks, usual))
    return boards.stocks


def _refuse_left(parts: Sequence[UncutPart], plan: CuttingPlan) -> None:
    known = {str(part.id): part for part in parts}
    left = [(known[each.id], each.why) for each in plan.unplaceable]
    if left:
        faults = gathered(({"part": part.name, "field": "boards"}, part.cabinet, why) for part, why in left)
        told = say("Not every part comes off a board of the shop")
        detail = told_with_first(told, faults, say("Nothing was planned."))
        raise InvalidInputError(detail, faults[:MOST_FAULTS_TOLD])


def _board_rows(
    plan: CuttingPlan, numbers: Sequence[int], job_id: int, first: int, stocks: dict[str, Stock]
) -> Iterator[dict[str, Any]]:
    for count, (number, drawn) in enumerate(zip(numbers, plan.boards, strict=True), first):
        stock = stocks[drawn.stock]
        yield {
            "id": number,
            "job_id": job_id,
            "number": count,
            "stock": stock.id,
            "material": stock.material,
            "length_mm": stock.length_mm,
            "width_mm": stock.width_mm,
            "thickness_mm": stock.thickness_mm,
            "yield_share": drawn.yield_share,
        }


def _piece_rows(plan: CuttingPlan, numbers: Sequence[int]) -> Iterator[dict[str, Any]]:
    for number, drawn in zip(numbers, plan.boards, strict=True):
        for position, piece in enumerate(drawn.pieces, 1):
            yield {
                "part_id": int(piece.id),
                "board_id": number,
                "position": position,
                "x_mm": piece.x_mm,
                "y_mm": piece.y_mm,
                "turned": piece.rotated,
            }
