"""What a verification reads: the kept state, and what the log says of it. In pieces, so that memory stays small."""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

from sqlalchemy import Connection, and_, func, select

from tracker.records.boxes import ALL_BOXES, Box, read_box
from tracker.records.clocks import log_began
from tracker.records.logged import LOG, LogRow
from tracker.records.parts import ALL_PARTS, Part, parts_where
from tracker.records.tables import box, job, log, part, tally
from tracker.shop.acts import Act
from tracker.shop.clocks import CALENDAR, MARGIN
from tracker.shop.job_states import STATUS_AFTER
from tracker.shop.outcomes import Outcome
from tracker.shop.steps import Step

PARTS_AT_ONCE = 5_000


@dataclass(frozen=True, slots=True, kw_only=True)
class BoxActs:
    """The log's last word on a box: the numbers of its sealing, loading and shipping, or None."""

    sealed: int | None = None
    loaded: int | None = None
    shipped: int | None = None


def kept_parts(connection: Connection) -> Iterator[list[Part]]:
    """Give all parts by number, some thousand at a time."""
    after = 0
    while some := parts_where(connection, ALL_PARTS.where(part.c.id > after).order_by(part.c.id).limit(PARTS_AT_ONCE)):
        yield some
        after = some[-1].id


def replacements(connection: Connection) -> dict[int, int]:
    """Return the number in the log of each part's replacement."""
    rows = connection.execute(select(log.c.part_id, log.c.seq).where(log.c.action == Act.REPLACE))
    return {row.part_id: row.seq for row in rows}


def box_acts(connection: Connection) -> dict[int, BoxActs]:
    """Return what the log says of each box's sealing, loading and shipping."""
    undo = log.alias("the_undo")
    loaded = and_(log.c.action == Act.PASS, log.c.step == Step.SHIP, log.c.outcome == Outcome.DONE)
    rows = connection.execute(
        select(log.c.seq, log.c.box_id, log.c.action, log.c.load_id)
        .where(
            log.c.part_id.is_(None),
            log.c.box_id.is_not(None),
            log.c.action.in_([Act.SEAL, Act.SHIP, Act.PLAN]) | loaded,
            ~select(undo.c.seq).where(undo.c.undoes == log.c.seq).exists(),
        )
        .order_by(log.c.seq)
    )
    found: defaultdict[int, dict[str, int | None]] = defaultdict(dict)
    for row in rows:
        match row.action:
            case Act.SEAL:
                found[row.box_id]["sealed"] = row.seq
            case Act.SHIP:
                found[row.box_id]["shipped"] = row.seq
            case Act.PLAN:  # a new plan, or none: whatever was loaded before is off the load
                found[row.box_id]["loaded"] = None
            case _:
                found[row.box_id]["loaded"] = row.seq
    return {box_id: BoxActs(**acts) for box_id, acts in found.items()}


def job_acts(connection: Connection) -> dict[int, Act]:
    """Return each job's last act of holding, resuming or cancelling."""
    rows = connection.execute(
        select(log.c.job_id, log.c.action)
        .where(log.c.part_id.is_(None), log.c.box_id.is_(None), log.c.action.in_(STATUS_AFTER))
        .order_by(log.c.seq)
    )
    return {row.job_id: Act(row.action) for row in rows}


def kept_boxes(connection: Connection) -> Iterator[Box]:
    """Give all boxes by number."""
    for row in connection.execute(ALL_BOXES.order_by(box.c.id)):
        yield read_box(Box, row)


def kept_tallies(connection: Connection) -> dict[tuple[int, str], tuple[int, int]]:
    """Return done and total of each job's tallies."""
    return {(row.job_id, row.what): (row.done, row.total) for row in connection.execute(select(tally))}


def kept_jobs(connection: Connection) -> dict[int, tuple[str, str]]:
    """Return each job's code and status."""
    rows = connection.execute(select(job.c.id, job.c.code, job.c.status))
    return {row.id: (row.code, row.status) for row in rows}


def impossible_rows(connection: Connection) -> list[LogRow]:
    """Return the rows of the log that took their place by a time that cannot be, or keep one that no calendar holds."""
    began = log_began(connection)
    if began is None:
        return []
    first, last = CALENDAR
    never = (log.c.at <= began - MARGIN) | (log.c.said_at < first) | (log.c.said_at > last)
    return [LogRow(**LOG.read(row)) for row in connection.execute(select(*LOG).where(never))]


def counts(connection: Connection) -> tuple[int, int]:
    """Return how many parts and how many rows of the log there are."""
    parts = connection.execute(select(func.count()).select_from(part)).scalar_one()
    rows = connection.execute(select(func.count()).select_from(log)).scalar_one()
    return parts, rows
