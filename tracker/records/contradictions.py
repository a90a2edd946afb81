"""The scans that contradict what happened meanwhile: which are open, which are settled, and how things stand now.

Bounded: a page of them, and for each the few rows that say what may be chosen.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, Connection, delete, func, or_, select, update

from tracker.records.boxes import Box, boxes_numbered
from tracker.records.loads import loads_numbered
from tracker.records.logged import ALL_LOGGED, LOG, LogRow, LogView, read_logged
from tracker.records.parts import Part, parts_numbered
from tracker.records.past import sightings
from tracker.records.tables import box, item, log, part, sawing, station, tally
from tracker.shop.box_states import BoxState
from tracker.shop.codes import box_code, code_or_none, is_damaged_card, load_code_or_none, part_code
from tracker.shop.contradictions import OF_ANOTHER, Choice, Contradiction, Standing, named_part
from tracker.shop.job_states import STOPPED
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import DEAD_STATUSES, Happening, in_order
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
class Flagged(LogView):
    """A scan that contradicts what happened meanwhile, and how things stand now.

    ``kind`` is None for one that was flagged before kinds were kept: ``flag`` says it in English alone. ``other`` names
    the part of the later reading that this one would have changed; that was read ``other_at`` the ``other_station``.
    """

    other: str
    other_at: datetime | None
    other_station: int | None
    standing: Standing
    settled: Settled | None

    @property
    def load(self) -> str | None:
        return self.standing.load


_settling = log.alias("the_settling")
_undo = log.alias("an_undo")
_changed, _other = log.alias("the_changed"), part.alias("the_other")
_FLAGGED = (
    ALL_LOGGED.add_columns(
        *(_changed.c.seq.label("other_seq"), _changed.c.at.label("other_at"), _changed.c.code.label("other_code")),
        _changed.c.station_id.label("other_station"),
        *(_other.c.id.label("other_id"), _other.c.name.label("other_name"), _other.c.cabinet.label("other_cabinet")),
        *(_settling.c.seq.label("settled_seq"), _settling.c.kind.label("choice"), _settling.c.who.label("settled_by")),
        *(_settling.c.at.label("settled_at"), _settling.c.message.label("settled_message")),
        _settling.c["values"].label("settled_values"),
    )
    .outerjoin(_settling, _settling.c.settles == log.c.seq)
    .outerjoin(_changed, _changed.c.seq == log.c.would_change)
    .outerjoin(_other, _other.c.id == _changed.c.part_id)
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
    boxes = boxes_numbered(connection, {row.box_id for row in rows if row.box_id is not None})
    on_boards = _on_boards(connection, parts)
    return [_flagged(connection, row, parts, boxes, on_boards) for row in rows]


def _parts_now(connection: Connection, ids: Collection[int]) -> dict[int, Part]:
    """Return these parts, what was made in place of them, and so on."""
    found: dict[int, Part] = {}
    wanted = set(ids)
    for _ in range(_MOST_REPLACED):
        if not wanted:
            break
        rows = parts_numbered(connection, wanted)
        found.update(rows)
        wanted = {row.replaced_by_id for row in rows.values() if row.replaced_by_id is not None} - found.keys()
    return found


def _on_boards(connection: Connection, parts: Collection[int]) -> set[int]:
    return set(connection.execute(select(sawing.c.part_id).where(sawing.c.part_id.in_(list(parts)))).scalars())


def _other_part(row: Any) -> str:
    if row.other_id is None:
        return ""
    beside = None if row.part_id is None else part_code(row.part_id)
    return named_part(row.other_name, row.other_cabinet, part_code(row.other_id), beside=beside)


def _flagged(
    connection: Connection, row: Any, parts: dict[int, Part], boxes: dict[int, Box], on_boards: Collection[int]
) -> Flagged:
    settled = None
    if row.settled_seq is not None:
        older = row.settled_values is None
        reason = row.settled_message if older else row.settled_values.get("reason", "")
        settled = Settled(choice=Choice(row.choice), who=row.settled_by, at=row.settled_at, reason=reason, older=older)
    return read_logged(
        Flagged,
        row,
        other=_other_part(row),
        other_at=row.other_at,
        other_station=row.other_station,
        standing=_standing(connection, row, parts, boxes, on_boards),
        settled=settled,
    )


def _standing(
    connection: Connection, row: Any, parts: dict[int, Part], boxes: dict[int, Box], on_boards: Collection[int]
) -> Standing:
    kind = None if row.kind is None else Contradiction(row.kind)
    mine = parts.get(row.part_id)
    where = boxes.get(row.box_id)
    if mine is None:
        return _standing_of_box(connection, kind, row, where)
    new = _newest(mine, parts)
    dead = mine.dead
    packed = Step.PACK in mine.progress.counted
    late = row.settled_seq is None and kind is Contradiction.EARLY
    return Standing(
        kind=kind,
        part=mine.code,
        box=None if row.box_id is None else box_code(row.box_id),
        box_state=None if where is None else where.state,
        part_box=mine.box.code,
        part_free=not (dead or packed or mine.damaged or mine.box.closed),
        part_in_box=packed and mine.box.id == row.box_id,
        part_damaged=mine.damaged,
        part_dead=dead,
        new_part=None if new is None else new.code,
        new_untouched=new is not None and not new.progress.done and new.id not in on_boards,
        **_of_other(connection, row),
        would_count=late and not dead and bool(would_count(mine, refused_early(connection, mine.id, row.at))),
    )


def _standing_of_box(connection: Connection, kind: Contradiction | None, row: Any, where: Box | None) -> Standing:
    """How things stand with a box that was scanned, and with the load that it was scanned onto."""
    onto = None if row.load_id is None else loads_numbered(connection, [row.load_id]).get(row.load_id)
    loadable = where is not None and onto is not None and not onto.shipped and _may_go_onto(where, onto.id)
    return Standing(
        kind=kind,
        box=None if where is None else where.code,
        box_state=None if where is None else where.state,
        load=load_code_or_none(row.load_id),
        box_loadable=loadable,
        **_of_other(connection, row),
    )


def _of_other(connection: Connection, row: Any) -> dict[str, Any]:
    """How things stand with the part of the later reading: whether that was a card that alone holds it for damaged."""
    if row.other_seq is None:
        return {}
    by_card = is_damaged_card(code_or_none(row.other_code))
    marks = _marks(connection, row.other_id) if by_card and row.other_id not in (None, row.part_id) else []
    return {
        "other": None if row.other_id is None else part_code(row.other_id),
        "by_card": by_card,
        "other_marked": marks == [row.other_seq],
    }


def _marks(connection: Connection, part_id: int) -> list[int]:
    """The numbers in the log of the marks that hold a living part for damaged."""
    part_now = parts_numbered(connection, [part_id])[part_id]
    happened = () if part_now.dead else in_order(sightings(connection, [part_id])[part_id])
    return [each.seq for each in happened if each.what is Happening.DAMAGED]


def _may_go_onto(where: Box, load_id: int) -> bool:
    stays = where.own_hold or where.job.status in STOPPED
    return where.state is BoxState.SEALED and where.load_id in (None, load_id) and not stays


def _newest(old: Part, parts: dict[int, Part]) -> Part | None:
    """The living part that stands in place of an old one at last."""
    newest = old
    while newest.replaced_by_id is not None and newest.replaced_by_id in parts:
        newest = parts[newest.replaced_by_id]
    return None if newest is old or newest.dead else newest


# A later scan that was refused because an earlier step was open


def refused_early(connection: Connection, part_id: int, at: datetime) -> list[LogRow]:
    """Return the scans of a part after a moment that were refused as too early, in the order of their times."""
    query = select(*LOG).where(log.c.part_id == part_id, log.c.outcome == Outcome.EARLY, log.c.at > at)
    return [LogRow(**LOG.read(row)) for row in connection.execute(query.order_by(log.c.at, log.c.seq))]


def would_count(mine: Part, refused: Sequence[LogRow]) -> tuple[Step, LogRow] | None:
    """Return the first of the refused scans that a strict station would take now, with its step."""
    return next(((each.step, each) for each in refused if each.step and _counts_now(mine, each.step)), None)


def _counts_now(mine: Part, step: Step) -> bool:
    if step is Step.SHIP or step not in mine.route or step in mine.progress.counted:
        return False
    kept_out = step is Step.PACK and (mine.damaged or mine.box.closed)
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
