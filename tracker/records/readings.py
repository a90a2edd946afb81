"""What a station read last: what an undo there takes back, what its cards are about, and what it has open."""

from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from itertools import chain
from typing import Any, Final
from uuid import UUID, uuid5

from sqlalchemy import Connection, and_, bindparam, or_, select

from tracker.records.boards import parts_on_board
from tracker.records.logged import LOG, LogRow
from tracker.records.past import seqs_of, sightings
from tracker.records.tables import log
from tracker.shop.acts import Act
from tracker.shop.cards import Read, changed_by, meant_at
from tracker.shop.codes import Kind, code_or_none, is_damaged_card, part_code
from tracker.shop.contradictions import OF_ANOTHER
from tracker.shop.outcomes import COUNTING_OUTCOMES, OK_OUTCOMES, Outcome
from tracker.shop.progress import Sighting, stands_first

_ROWS_AT_FIRST: Final = 20
_EVER: Final = datetime.min.replace(tzinfo=UTC)


_undo = log.alias("the_undo")
_settling = log.alias("the_settling")
_NOT_UNDONE = ~select(_undo.c.seq).where(_undo.c.undoes == log.c.seq).exists()
_ALL_READINGS = select(*LOG).where(
    log.c.station_id == bindparam("station_id"),
    log.c.action != Act.UNDO,
    or_(log.c.code != "", log.c.part_id.is_(None)),  # what a desk writes for a station has no code
)
_READINGS = _ALL_READINGS.where(log.c.at <= bindparam("at")).order_by(log.c.at.desc(), log.c.seq.desc())
_READINGS_AFTER = _ALL_READINGS.where(log.c.at > bindparam("at")).order_by(log.c.at, log.c.seq)
_OK_READINGS = _READINGS.where(log.c.outcome.in_(sorted(OK_OUTCOMES)), _NOT_UNDONE)
_LAST_OPENED = _READINGS.where(
    or_(log.c.outcome == Outcome.DONE, log.c.opened_id.is_not(None)), log.c.action == Act.PASS, _NOT_UNDONE
).limit(1)
# What was flagged and refused at a station: it counts for nothing, and an undo that follows it means it.
_LAST_FLAGGED = _READINGS.where(
    log.c.at >= bindparam("since"),
    log.c.flag.is_not(None),
    or_(log.c.kind.is_(None), log.c.kind.not_in(sorted(OF_ANOTHER))),
    log.c.action == Act.PASS,
    log.c.outcome.not_in(sorted(COUNTING_OUTCOMES)),
    _NOT_UNDONE,
    ~select(_settling.c.seq).where(_settling.c.settles == log.c.seq).exists(),
).limit(1)

# The undos at a station after a time that took back what was read before it, or its repeat, or found nothing.
_undone = log.alias("the_undone")
_UNDOS_PAST = (
    select(log.c.undoes, log.c.code)
    .select_from(log)
    .outerjoin(_undone, _undone.c.seq == log.c.undoes)
    .where(
        log.c.station_id == bindparam("station_id"),
        log.c.at > bindparam("at"),
        log.c.action == Act.UNDO,
        or_(
            log.c.outcome == Outcome.NOTHING_TO_UNDO,
            _undone.c.at <= bindparam("at"),
            and_(_undone.c.part_id == bindparam("part_id"), _undone.c.step == bindparam("step")),
        ),
    )
)


def last_standing(connection: Connection, station_id: int, at: datetime) -> LogRow | None:
    """Return the station's last reading up to ``at`` that stands: what an undo takes back.

    One that was answered ``again`` stands where another station had done the step before; the second beep of a double
    scan does not, nor does a mark or a packing that a desk took back.
    """
    happened: dict[int, list[Sighting]] = {}
    for some in _few_at_a_time(connection, _OK_READINGS, station_id, at):
        happened |= sightings(connection, {row.part_id for row in some if row.part_id is not None} - happened.keys())
        if (standing := next((each for each in some if _stands(connection, each, happened)), None)) is not None:
            return standing
    return None


def _few_at_a_time(connection: Connection, query: Any, station_id: int, at: datetime) -> Iterator[list[LogRow]]:
    """Yield readings in lists that grow: the one that is wanted is most often among the first."""
    passed, wanted = 0, _ROWS_AT_FIRST
    while True:
        rows = connection.execute(query.limit(wanted).offset(passed), {"station_id": station_id, "at": at}).all()
        yield [_reading(row) for row in rows]
        if len(rows) < wanted:
            return
        passed, wanted = passed + wanted, 4 * wanted


def _stands(connection: Connection, reading: LogRow, parts_happened: Mapping[int, list[Sighting]]) -> bool:
    if reading.part_id is not None:
        return _first_of(reading.seq, parts_happened[reading.part_id])
    if reading.outcome == Outcome.DONE:
        return True
    part_ids = _on_board(connection, reading)
    happened = sightings(connection, part_ids)
    rows = board_rows(connection, reading, part_ids)
    return any(_first_of(seq, happened[part_id]) for part_id, seq in rows.items())


def _first_of(seq: int, happened: list[Sighting]) -> bool:
    return any(each.seq == seq and stands_first(each, happened) for each in happened)


def _on_board(connection: Connection, reading: LogRow) -> list[int]:
    """The parts of the board that was read, none where it was no board."""
    code = code_or_none(reading.code)
    return parts_on_board(connection, code.number, living=False) if code and code.kind is Kind.BOARD else []


def board_rows(connection: Connection, board: LogRow, part_ids: list[int]) -> dict[int, int]:
    """Return, by part, the number in the log of the row that was written for it with the reading of its board."""
    scan_id = UUID(bytes=board.scan_id)
    return seqs_of(connection, {uuid5(scan_id, part_code(part_id)): part_id for part_id in part_ids})


def meant_by_card(connection: Connection, station_id: int, at: datetime) -> Read | None:
    """Return the reading that the damaged card or a slot's code is about that is read at a station ``at`` a time."""
    return meant_at(at, map(_read, chain.from_iterable(_few_at_a_time(connection, _READINGS, station_id, at))))


def card_changed_by(connection: Connection, station_id: int, late: Read) -> Read | None:
    """Return the card or slot's code that was read after a ``late`` reading and would have been about another part."""
    meant = meant_by_card(connection, station_id, late.at) if late.passing else late
    if meant is None:
        return None
    after = chain.from_iterable(_few_at_a_time(connection, _READINGS_AFTER, station_id, late.at))
    return changed_by(late, meant, map(_read, after))


def _read(row: LogRow) -> Read:
    return Read(
        seq=row.seq,
        at=row.at,
        part=row.part_id,
        passing=row.part_id is None and (row.box_id or row.load_id) is not None,
        card=_is_card(row.code),
        meant=row.meant,
    )


def _is_card(text: str) -> bool:
    """Say whether a text is the code of the damaged card or of a slot."""
    code = code_or_none(text)
    return is_damaged_card(code) or (code is not None and code.kind is Kind.SLOT)


def undo_changed_by(connection: Connection, station_id: int, late: Sighting, part_id: int) -> bool:
    """Say whether an undo at a station after a ``late`` reading there took back another one, or found none."""
    known = {"station_id": station_id, "at": late.at, "part_id": part_id, "step": late.step}
    undos = connection.execute(_UNDOS_PAST, known).all()
    if not any(row.undoes is not None or _may_mean(row.code, part_id) for row in undos):
        return False
    happened = [*sightings(connection, [part_id])[part_id], late]
    return stands_first(late, happened)


def _may_mean(named: str, part_id: int) -> bool:
    """Whether an undo that found nothing would have taken a part's reading: it named that part, or none."""
    code = code_or_none(named)
    return code is None or code.kind is Kind.COMMAND or (code.kind, code.number) == (Kind.PART, part_id)


def last_opened(connection: Connection, station_id: int, at: datetime) -> LogRow | None:
    """Return the station's last scan up to ``at`` that was done or named a box: its box or load was the open one."""
    row = connection.execute(_LAST_OPENED, {"station_id": station_id, "at": at}).first()
    return None if row is None else _reading(row)


def last_flagged(connection: Connection, station_id: int, at: datetime, last: LogRow | None) -> LogRow | None:
    """Return the station's last scan up to ``at`` that was refused and flagged, neither taken back nor settled.

    None when ``last``, the last one that stands, came after it.
    """
    since = _EVER if last is None else last.at
    row = connection.execute(_LAST_FLAGGED, {"station_id": station_id, "at": at, "since": since}).first()
    if row is None or (last is not None and (row.at, row.seq) < (last.at, last.seq)):
        return None
    return _reading(row)


def _reading(row: Any) -> LogRow:
    return LogRow(**LOG.read(row))
