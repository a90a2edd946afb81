"""The scans that contradict what happened meanwhile: which are open, which are settled, and how things stand now.

Bounded: a page of them, and for each the few rows that say what may be chosen.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, delete, func, or_, select, update

from tracker.records import floor
from tracker.records.floor import BoxRow, PartRow
from tracker.records.tables import box, item, job, log, part, sawing, station, tally
from tracker.shop.box_states import CLOSED_STATES, BoxState
from tracker.shop.codes import box_code, load_code_or_none, part_code
from tracker.shop.contradictions import OF_ANOTHER, Choice, Contradiction, Standing, named_part
from tracker.shop.job_states import STOPPED
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import DEAD_STATUSES
from tracker.shop.steps import Step

MOST_COUNTED: Final = 1_000
_MOST_REPLACED: Final = 20  # how often a part is made anew in a row
_DEAD: Final = sorted(DEAD_STATUSES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """How a contradiction was settled: what was chosen, by whom, when and why.

    ``older`` than the reasons: ``reason`` is all that was written, in English.
    """

    choice: Choice
    who: str
    at: datetime
    reason: str
    older: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Flagged:
    """A scan that contradicts what happened meanwhile, and how things stand now. Numbers are those of the rows.

    ``kind`` is None for one that was flagged before kinds were kept: ``flag`` says it in English alone. ``said_at`` is
    what the device's clock said, where that was wrong; ``other`` names the part of the later reading that this one
    would have changed.
    """

    seq: int
    scan_id: bytes
    at: datetime
    received_at: datetime
    said_at: datetime | None
    action: str
    outcome: str
    station: str | None
    station_id: int | None
    step: Step | None
    who: str
    code: str
    message: str
    inferred: tuple[str, ...]
    kind: Contradiction | None
    flag: str
    other: str
    part_id: int | None
    part_name: str | None
    cabinet: str | None
    job: str | None
    box_id: int | None
    box_name: str | None
    standing: Standing
    settled: Settled | None

    @property
    def part(self) -> str | None:
        return None if self.part_id is None else part_code(self.part_id)

    @property
    def box(self) -> str | None:
        return None if self.box_id is None else box_code(self.box_id)

    @property
    def load(self) -> str | None:
        return self.standing.load


_settling = log.alias("the_settling")
_undo = log.alias("the_undo")
_changed, _other = log.alias("the_changed"), part.alias("the_other")
_FLAGGED = (
    select(
        log,
        *(station.c.name.label("station_name"), part.c.name.label("part_name"), part.c.cabinet.label("part_cabinet")),
        *(job.c.code.label("job_code"), box.c.name.label("box_name")),
        *(_other.c.id.label("other_id"), _other.c.name.label("other_name"), _other.c.cabinet.label("other_cabinet")),
        *(_settling.c.seq.label("settled_seq"), _settling.c.kind.label("choice"), _settling.c.who.label("settled_by")),
        *(_settling.c.at.label("settled_at"), _settling.c.message.label("settled_message")),
        _settling.c["values"].label("settled_values"),
    )
    .select_from(log)
    .outerjoin(_settling, _settling.c.settles == log.c.seq)
    .outerjoin(_changed, _changed.c.seq == log.c.would_change)
    .outerjoin(_other, _other.c.id == _changed.c.part_id)
    .outerjoin(station, station.c.id == log.c.station_id)
    .outerjoin(part, part.c.id == log.c.part_id)
    .outerjoin(job, job.c.id == log.c.job_id)
    .outerjoin(box, box.c.id == log.c.box_id)
    .where(
        log.c.flag.is_not(None),
        or_(log.c.kind.in_(sorted(OF_ANOTHER)), ~select(_undo.c.seq).where(_undo.c.undoes == log.c.seq).exists()),
    )
)


def open_contradictions(connection: Connection, *, limit: int, after: int = 0) -> list[Flagged]:
    """Return what nobody has settled yet, in the order of arrival, from after a number in the log."""
    query = _FLAGGED.where(_settling.c.seq.is_(None), log.c.seq > after).order_by(log.c.seq).limit(limit)
    return _all(connection, query)


def settled_contradictions(connection: Connection, *, limit: int, before: int | None = None) -> list[Flagged]:
    """Return what was settled, the latest arrival first, from before a number in the log."""
    query = _FLAGGED.where(_settling.c.seq.is_not(None)).order_by(log.c.seq.desc()).limit(limit)
    return _all(connection, query if before is None else query.where(log.c.seq < before))


def contradiction(connection: Connection, seq: int) -> Flagged | None:
    """Return the flagged scan of this number in the log, or None."""
    return next(iter(_all(connection, _FLAGGED.where(log.c.seq == seq))), None)


def count_open(connection: Connection) -> int:
    """Return how many nobody has settled yet; at most MOST_COUNTED."""
    some = _FLAGGED.where(_settling.c.seq.is_(None)).with_only_columns(log.c.seq).limit(MOST_COUNTED).subquery()
    return connection.execute(select(func.count()).select_from(some)).scalar_one()


def _all(connection: Connection, query: Any) -> list[Flagged]:
    rows = connection.execute(query).all()
    parts = _parts_now(connection, {row.part_id for row in rows if row.part_id is not None})
    boxes = floor.boxes_numbered(connection, {row.box_id for row in rows if row.box_id is not None})
    on_boards = _on_boards(connection, parts)
    return [_flagged(connection, row, parts, boxes, on_boards) for row in rows]


def _parts_now(connection: Connection, ids: Collection[int]) -> dict[int, PartRow]:
    """Return these parts, what was made in place of them, and so on."""
    found: dict[int, PartRow] = {}
    wanted = set(ids)
    for _ in range(_MOST_REPLACED):
        if not wanted:
            break
        rows = floor.parts_numbered(connection, wanted)
        found.update(rows)
        wanted = {row.replaced_by_id for row in rows.values() if row.replaced_by_id is not None} - found.keys()
    return found


def _on_boards(connection: Connection, parts: Collection[int]) -> set[int]:
    return set(connection.execute(select(sawing.c.part_id).where(sawing.c.part_id.in_(list(parts)))).scalars())


def _flagged(
    connection: Connection, row: Any, parts: dict[int, PartRow], boxes: dict[int, BoxRow], on_boards: Collection[int]
) -> Flagged:
    settled = None
    if row.settled_seq is not None:
        older = row.settled_values is None
        reason = row.settled_message if older else row.settled_values.get("reason", "")
        settled = Settled(choice=Choice(row.choice), who=row.settled_by, at=row.settled_at, reason=reason, older=older)
    return Flagged(
        seq=row.seq,
        scan_id=row.scan_id,
        at=row.at,
        received_at=row.received_at,
        said_at=row.said_at,
        action=row.action,
        outcome=row.outcome,
        station=row.station_name,
        station_id=row.station_id,
        step=None if row.step is None else Step(row.step),
        who=row.who,
        code=row.code,
        message=row.message,
        inferred=tuple(step.value for step in Step if step in row.inferred),
        kind=None if row.kind is None else Contradiction(row.kind),
        flag=row.flag,
        other=named_part(row.other_name, row.other_cabinet, part_code(row.other_id)) if row.other_id else "",
        part_id=row.part_id,
        part_name=row.part_name,
        cabinet=row.part_cabinet,
        job=row.job_code,
        box_id=row.box_id,
        box_name=row.box_name,
        standing=_standing(connection, row, parts, boxes, on_boards),
        settled=settled,
    )


def _standing(
    connection: Connection, row: Any, parts: dict[int, PartRow], boxes: dict[int, BoxRow], on_boards: Collection[int]
) -> Standing:
    kind = None if row.kind is None else Contradiction(row.kind)
    mine = parts.get(row.part_id)
    where = boxes.get(row.box_id)
    if mine is None:
        return _standing_of_box(connection, kind, row.load_id, where)
    new = _newest(mine, parts)
    dead = mine.status in DEAD_STATUSES
    packed = Step.PACK in mine.progress.counted
    late = row.settled_seq is None and kind is Contradiction.EARLY
    return Standing(
        kind=kind,
        part=part_code(mine.id),
        box=None if row.box_id is None else box_code(row.box_id),
        box_state=None if where is None else where.state,
        part_box=box_code(mine.box.id),
        part_free=not (dead or packed or mine.progress.damaged or mine.box.state in CLOSED_STATES),
        part_in_box=packed and mine.box.id == row.box_id,
        part_damaged=mine.progress.damaged,
        part_dead=dead,
        new_part=None if new is None else part_code(new.id),
        new_untouched=new is not None and not new.progress.done and new.id not in on_boards,
        would_count=late and not dead and bool(would_count(mine, refused_early(connection, mine.id, row.at))),
    )


def _standing_of_box(
    connection: Connection, kind: Contradiction | None, load_id: int | None, where: BoxRow | None
) -> Standing:
    """How things stand with a box that was scanned, and with the load that it was scanned onto."""
    onto = None if load_id is None else floor.loads_numbered(connection, [load_id]).get(load_id)
    loadable = where is not None and onto is not None and not onto.shipped and _may_go_onto(where, onto.id)
    return Standing(
        kind=kind,
        box=None if where is None else box_code(where.id),
        box_state=None if where is None else where.state,
        load=load_code_or_none(load_id),
        box_loadable=loadable,
    )


def _may_go_onto(where: BoxRow, load_id: int) -> bool:
    stays = where.held_at is not None or where.job.status in STOPPED
    return where.state is BoxState.SEALED and where.load_id in (None, load_id) and not stays


def _newest(old: PartRow, parts: dict[int, PartRow]) -> PartRow | None:
    """The living part that stands in place of an old one at last."""
    newest = old
    while newest.replaced_by_id is not None and newest.replaced_by_id in parts:
        newest = parts[newest.replaced_by_id]
    return None if newest is old or newest.status in DEAD_STATUSES else newest


# A later scan that was refused because an earlier step was open


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedEarly:
    """A scan that was refused as too early: where and when it was, and whether its station infers."""

    at: datetime
    step: Step
    station_id: int
    infers: bool


def refused_early(connection: Connection, part_id: int, at: datetime) -> list[RefusedEarly]:
    """Return the scans of a part after a moment that were refused as too early, in the order of their times."""
    query = (
        select(log.c.at, log.c.step, log.c.station_id, log.c.infers)
        .where(log.c.part_id == part_id, log.c.outcome == Outcome.EARLY, log.c.at > at, log.c.step.is_not(None))
        .order_by(log.c.at, log.c.seq)
    )
    return [RefusedEarly(**{**row._mapping, "step": Step(row.step)}) for row in connection.execute(query)]


def would_count(mine: PartRow, refused: Sequence[RefusedEarly]) -> RefusedEarly | None:
    """Return the first of the refused scans that a strict station would take now."""
    return next((each for each in refused if _counts_now(mine, each.step)), None)


def _counts_now(mine: PartRow, step: Step) -> bool:
    if step is Step.SHIP or step not in mine.route or step in mine.progress.counted:
        return False
    kept_out = step is Step.PACK and (mine.progress.damaged or mine.box.state in CLOSED_STATES)
    return not kept_out and not mine.progress.open_before(step, mine.route)


# A follow-up box that nothing is planned for any more


def plan_part(connection: Connection, part_id: int, to_box: int) -> None:
    """Plan a part for another box, after all that lies in it."""
    last = select(func.max(part.c.position)).where(part.c.box_id == to_box)
    place = (connection.execute(last).scalar() or 0) + 1
    connection.execute(update(part).where(part.c.id == part_id).values(box_id=to_box, position=place))


def is_void(connection: Connection, box_id: int) -> bool:
    """Say whether neither a living part nor an item is planned for a box."""
    living = select(part.c.id).where(part.c.box_id == box_id, part.c.status.not_in(_DEAD)).limit(1)
    items = select(item.c.item).where(item.c.box_id == box_id).limit(1)
    return connection.execute(living).first() is None and connection.execute(items).first() is None


def holds_labels(connection: Connection, box_id: int) -> bool:
    """Say whether any label, old ones too, names a box."""
    return connection.execute(select(part.c.id).where(part.c.box_id == box_id).limit(1)).first() is not None


def drop_box(connection: Connection, box_id: int, into: int) -> None:
    """Take away a box that nothing is planned for; the old labels that named it name the box ``into``."""
    connection.execute(update(part).where(part.c.box_id == box_id).values(box_id=into))
    connection.execute(update(station).where(station.c.open_box_id == box_id).values(open_box_id=None))
    connection.execute(update(box).where(box.c.follows_id == box_id).values(follows_id=into))
    job_id = select(box.c.job_id).where(box.c.id == box_id).scalar_subquery()
    sums: ColumnElement[bool] = tally.c.what.in_(["sealed", "shipped"])
    connection.execute(update(tally).where(tally.c.job_id == job_id, sums).values(total=tally.c.total - 1))
    connection.execute(delete(box).where(box.c.id == box_id))
