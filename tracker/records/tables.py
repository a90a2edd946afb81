"""The tables. Order data is written once; the log is the truth; the state columns are kept beside it.

A code's number is the row's id (``P00001234..`` is part 1234), given by ``counter`` and never given twice.

Queries are Core throughout: rows become frozen values in ``records``, and no ORM object is there to leak.
"""

from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, TypeVar

from sqlalchemy import (
    JSON,
    BigInteger,
    Boolean,
    CheckConstraint,
    Column,
    Date,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    text,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator

from tracker.shop.box_states import BoxState
from tracker.shop.clocks import CALENDAR
from tracker.shop.job_states import JobStatus
from tracker.shop.load_states import LoadState
from tracker.shop.outcomes import Outcome
from tracker.shop.printing import PrintState
from tracker.shop.progress import PartStatus
from tracker.shop.roles import Role
from tracker.shop.steps import Route, Step, Supply

WordT = TypeVar("WordT", bound=StrEnum)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_N_name)s",
        "uq": "uq_%(table_name)s_%(column_0_N_name)s",
        "ck": "ck_%(table_name)s_%(constraint_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
    }
)


class Instant(TypeDecorator[datetime]):
    """A moment in UTC to the microsecond, kept as whole microseconds since 1970: the same on every database."""

    impl = BigInteger
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> int | None:
        return None if value is None else to_micros(value)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        return None if value is None else from_micros(value)


class Steps(TypeDecorator[frozenset[Step]]):
    """A set of steps, kept as one bit each in the order of Step."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: Iterable[Step] | None, dialect: Dialect) -> int | None:
        return None if value is None else sum(_BITS[step] for step in value)

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], Any]:
        return _SETS.__getitem__


class InOrder(TypeDecorator[Route]):
    """Steps as a part passes them, kept as ``Steps`` are."""

    impl = Integer
    cache_ok = True

    def process_bind_param(self, value: Iterable[Step] | None, dialect: Dialect) -> int | None:
        return None if value is None else sum(_BITS[step] for step in value)

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], Any]:
        return _ROUTES.__getitem__


class Word(TypeDecorator[WordT]):
    """A word of a closed set, kept as text."""

    impl = String
    cache_ok = True

    def __init__(self, words: type[WordT], length: int) -> None:
        super().__init__(length)
        self.words = words

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        return None if value is None else str(value)

    def result_processor(self, dialect: Dialect, coltype: object) -> Callable[[Any], Any]:
        words: dict[str | None, WordT | None] = {str(word): word for word in self.words}
        return (words | {None: None}).__getitem__


_BITS = {step: 1 << place for place, step in enumerate(Step)}
_SETS: dict[int | None, frozenset[Step] | None] = {
    None: None,
    **{mask: frozenset(step for step, bit in _BITS.items() if mask & bit) for mask in range(1 << len(Step))},
}
_ROUTES = {
    mask: None if steps is None else tuple(step for step in Step if step in steps) for mask, steps in _SETS.items()
}

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def to_micros(moment: datetime) -> int:
    """Return the microseconds since 1970 of a time with an offset; a naive time is refused."""
    if moment.tzinfo is None:
        raise ValueError("a time without an offset")
    since = moment - _EPOCH
    return (since.days * 86_400 + since.seconds) * 1_000_000 + since.microseconds


def from_micros(micros: int) -> datetime:
    """Return the UTC time of a number of microseconds since 1970; the nearest that can be told in every time zone."""
    seconds, rest = divmod(min(max(micros, _EARLIEST), _LATEST), 1_000_000)
    return datetime.fromtimestamp(seconds, UTC).replace(microsecond=rest)


# Before version 0.6 a device's time was kept as it was said, even from outside the calendar.
_EARLIEST, _LATEST = map(to_micros, CALENDAR)


def _among(table: str, column: str, *words: str) -> CheckConstraint:
    # The database knows it by a name with the table's twice: the migrations gave the whole name, to which that of the
    # convention was put.
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=f"ck_{table}_{column}_known")


counter = Table(
    "counter",
    metadata,
    Column("name", String(16), primary_key=True),
    Column("last", BigInteger, nullable=False),
)

station = Table(
    "station",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("name", String(80), nullable=False, unique=True),
    Column("step", Word(Step, 8), nullable=False),
    Column("strict", Boolean, nullable=False, server_default=text("false")),
    Column("open_box_id", Integer, ForeignKey("box.id")),
    Column("open_load_id", Integer, ForeignKey("load.id")),
    Column("opened_at", Instant),
    _among("station", "step", *Step),
)

slot = Table(
    "slot",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("name", String(80), nullable=False, unique=True),
)

token = Table(
    "token",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("name", String(80), nullable=False),
    Column("role", String(8), nullable=False),
    Column("station_id", Integer, ForeignKey("station.id")),
    Column("hash", LargeBinary(32), nullable=False, unique=True),
    Column("made_at", Instant, nullable=False),
    Column("withdrawn_at", Instant),
    _among("token", "role", *Role),
)

person = Table(
    "person",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("name", String(80), nullable=False, unique=True),
    Column("role", String(8), nullable=False),
    Column("password", String(200)),  # an argon2 hash; without one the person works by badge alone
    Column("language", String(8)),
    Column("units", String(2)),
    Column("made_at", Instant, nullable=False),
    Column("withdrawn_at", Instant),
    _among("person", "role", *Role),
)

badge = Table(
    "badge",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("person_id", Integer, ForeignKey("person.id"), nullable=False, index=True),
    Column("made_at", Instant, nullable=False),
    Column("withdrawn_at", Instant),
)

clock = Table(
    "clock",
    metadata,
    Column("device", String(80), primary_key=True),  # the name under which it sends
    Column("station_id", Integer, ForeignKey("station.id")),  # for which it sent last
    Column("offset_us", BigInteger, nullable=False),  # what is added to its times
    Column("at", Instant, nullable=False),  # when that was measured
    Column("told", Boolean, nullable=False),  # it says when it sends
    Column("said_at", Instant),  # its latest scan that was placed by another time, and that time
    Column("placed_at", Instant),
)

pairing = Table(
    "pairing",
    metadata,
    Column("hash", LargeBinary(32), primary_key=True),
    Column("station_id", Integer, ForeignKey("station.id"), nullable=False),
    Column("made_at", Instant, nullable=False),
)

session = Table(
    "visit",
    metadata,
    Column("hash", LargeBinary(32), primary_key=True),  # of the secret in the browser's session
    Column("person_id", Integer, ForeignKey("person.id")),
    Column("token_id", Integer, ForeignKey("token.id")),
    Column("worker_id", Integer, ForeignKey("person.id")),  # whose badge was scanned last at a paired station
    Column("worker_at", Instant),
    Column("made_at", Instant, nullable=False),
    Column("seen_at", Instant, nullable=False),
    Index("ix_visit_seen_at", "seen_at"),
)

failed_sign_in = Table(
    "guess",
    metadata,
    Column("about", String(120), primary_key=True),  # a name or an address
    Column("failed", Integer, nullable=False),
    Column("last_at", Instant, nullable=False),
)

job = Table(
    "job",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("code", String(40), nullable=False, unique=True),
    Column("customer", String(200), nullable=False),
    Column("due", Date, nullable=False),
    Column("status", Word(JobStatus, 10), nullable=False),
    Column("status_at", Instant, nullable=False),
    Column("taken_at", Instant, nullable=False),
    Column("parts_total", Integer, nullable=False),
    _among("job", "status", *JobStatus),
    Index(None, "status", "due", "id"),
)

tally = Table(
    "tally",
    metadata,
    Column("job_id", Integer, ForeignKey("job.id"), primary_key=True, autoincrement=False),
    Column("what", String(8), primary_key=True),
    Column("total", Integer, nullable=False),
    Column("done", Integer, nullable=False),
    _among("tally", "what", *Step, "sealed", "shipped"),
    CheckConstraint("done BETWEEN 0 AND total", name="ck_tally_done_within_total"),
)

load = Table(
    "load",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("ship_on", Date, nullable=False),
    Column("state", Word(LoadState, 8), nullable=False),
    Column("shipped_at", Instant),
    _among("load", "state", *LoadState),
)

box = Table(
    "box",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("job_id", Integer, ForeignKey("job.id"), nullable=False),
    Column("name", String(200), nullable=False),
    Column("number", Integer, nullable=False),
    Column("state", Word(BoxState, 8), nullable=False),
    Column("parts_total", Integer, nullable=False),
    Column("packed", Integer, nullable=False),
    Column("mass_kg", Float, nullable=False),
    Column("length_mm", Float, nullable=False),
    Column("width_mm", Float, nullable=False),
    Column("height_mm", Float, nullable=False),
    Column("weighed_kg", Float),
    Column("sealed_at", Instant),
    Column("follows_id", Integer, ForeignKey("box.id")),
    Column("load_id", Integer, ForeignKey("load.id"), index=True),
    Column("carton", String(200)),
    Column("empty_kg", Float),  # the carton and its bag of items
    Column("bag_above", Integer),  # the layer above which the bag of items lies
    Column("held_at", Instant),  # since when a foreman keeps it in the shop
    Column("sscc", String(18)),  # given when its label is first drawn, and never changed
    Column("drop", String(200)),  # where it is unloaded
    _among("box", "state", *BoxState),
    CheckConstraint("packed BETWEEN 0 AND parts_total", name="ck_box_packed_within_total"),
    Index(None, "job_id", "state"),
    Index("uq_box_sscc", "sscc", unique=True),
)

sscc_series = Table(
    "sscc_series",
    metadata,
    Column("series", String(13), primary_key=True),  # the extension digit and the company prefix
    Column("last", BigInteger, nullable=False),
)

item = Table(
    "item",
    metadata,
    Column("box_id", Integer, ForeignKey("box.id"), primary_key=True, autoincrement=False),
    Column("item", String(200), primary_key=True),
    Column("quantity", Integer, nullable=False),
    Column("counted", Integer),
)

part = Table(
    "part",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("job_id", Integer, ForeignKey("job.id"), nullable=False),
    Column("box_id", Integer, ForeignKey("box.id"), nullable=False, index=True),
    Column("position", Integer, nullable=False),
    Column("cabinet", String(200), nullable=False),
    Column("room", String(200)),  # that its cabinet is for
    Column("drop", String(200)),  # where its cabinet is unloaded
    Column("name", String(200), nullable=False),
    Column("material", String(200), nullable=False),
    Column("length_mm", Float, nullable=False),
    Column("width_mm", Float, nullable=False),
    Column("thickness_mm", Float, nullable=False),
    Column("mass_kg", Float, nullable=False),
    Column("edges", String(16), nullable=False),
    Column("machining", String(200), nullable=False),
    Column("supply", Word(Supply, 6), nullable=False),
    Column("route", InOrder, nullable=False),
    Column("urgent", Boolean, nullable=False),
    Column("replaces_id", Integer, ForeignKey("part.id")),
    Column("replaced_by_id", Integer, ForeignKey("part.id")),
    Column("status", Word(PartStatus, 10), nullable=False),
    Column("done", Steps, nullable=False),
    Column("inferred", Steps, nullable=False),
    Column("damaged", Boolean, nullable=False),
    Column("seen_at", Instant),
    Column("seen_station_id", Integer, ForeignKey("station.id")),
    Column("slot_id", Integer, ForeignKey("slot.id")),
    Column("latest_at", Instant),  # of all that was scanned of it, undone or not: an earlier scan is late
    _among("part", "status", *PartStatus),
    _among("part", "supply", *Supply),
    Index(None, "job_id", "id"),
)

design = Table(
    "design",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("job_id", Integer, ForeignKey("job.id"), nullable=False, index=True),
    Column("body", Text, nullable=False),  # the designed cabinet as JSON: what was made stays as it was ordered
)

cabinet = Table(
    "cabinet",
    metadata,
    Column("job_id", Integer, ForeignKey("job.id"), primary_key=True, autoincrement=False),
    Column("name", String(200), primary_key=True),
    Column("design_id", Integer, ForeignKey("design.id"), nullable=False),
)

marked = Table(
    "marked",
    metadata,
    Column("part_id", Integer, ForeignKey("part.id"), primary_key=True, autoincrement=False),
    Column("own", String(80), nullable=False),
    Column("front", String(2), nullable=False),
    Column("marks", Text, nullable=False),
    Column("blank_length_mm", Float, nullable=False),
    Column("blank_width_mm", Float, nullable=False),
    Column("grain", Boolean, nullable=False),
)

laying = Table(
    "laying",
    metadata,
    Column("part_id", Integer, ForeignKey("part.id"), primary_key=True, autoincrement=False),
    Column("layer", Integer, nullable=False),
    Column("x_mm", Float, nullable=False),
    Column("y_mm", Float, nullable=False),
    Column("z_mm", Float, nullable=False),
    Column("turned", Boolean, nullable=False),
)

board = Table(
    "board",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("job_id", Integer, ForeignKey("job.id"), nullable=False, index=True),
    Column("number", Integer, nullable=False),
    Column("stock", String(200), nullable=False),
    Column("material", String(200), nullable=False),
    Column("length_mm", Float, nullable=False),
    Column("width_mm", Float, nullable=False),
    Column("thickness_mm", Float, nullable=False),
    Column("yield_share", Float, nullable=False),
)

sawing = Table(
    "sawing",
    metadata,
    Column("part_id", Integer, ForeignKey("part.id"), primary_key=True, autoincrement=False),
    Column("board_id", Integer, ForeignKey("board.id"), nullable=False, index=True),
    Column("position", Integer, nullable=False),
    Column("x_mm", Float, nullable=False),
    Column("y_mm", Float, nullable=False),
    Column("turned", Boolean, nullable=False),
)

report = Table(
    "report",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("job_id", Integer, ForeignKey("job.id"), nullable=False),
    Column("cabinet", String(200), nullable=False),
    Column("part_id", Integer, ForeignKey("part.id")),
    Column("item", String(200), nullable=False),
    Column("what", String(8), nullable=False),
    Column("told_by", String(200), nullable=False),
    Column("note", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("closed_at", Instant),
    Column("closed_by", String(80)),
    _among("report", "what", "missing", "damaged"),
    Index("ix_report_open", "id", sqlite_where=text("closed_at IS NULL"), postgresql_where=text("closed_at IS NULL")),
)

printer = Table(
    "printer",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("name", String(80), nullable=False),  # a printer that was withdrawn leaves its name to the next
    Column("address", String(200), nullable=False),
    Column("certificate", LargeBinary(32)),  # the digest of the one that it showed first, where it is ipps
    Column("dpi", Integer, nullable=False),
    Column("width_mm", Float, nullable=False),  # of the labels that are loaded
    Column("height_mm", Float, nullable=False),
    Column("made_at", Instant, nullable=False),
    Column("withdrawn_at", Instant),
    Column("state", String(12), nullable=False),
    Column("warning", String(12)),
    Column("asked_at", Instant),
    Column("heard_at", Instant),
)

print_ = Table(
    "print",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("request_id", String(36), nullable=False, unique=True),  # pressed twice, it is one print
    Column("at", Instant, nullable=False),
    Column("who", String(80), nullable=False),
    Column("job_id", Integer, ForeignKey("job.id")),
    Column("choice", Text, nullable=False),  # what was asked for, as JSON
    Column("printer_id", Integer, ForeignKey("printer.id")),
    Column("dpi", Integer, nullable=False),
    Column("copies", Integer, nullable=False),
    Column("labels", Integer, nullable=False),
    Column("again", Integer, nullable=False),  # how many of them are parts that were printed before
    Column("reason", String(8)),
    Column("note", String(200), nullable=False),
    Column("state", String(9), nullable=False),
    Column("since", Instant, nullable=False),
    Column("cause", String(12)),
    Column("detail", String(200), nullable=False),
    Column("printer_job", Integer),
    _among("print", "state", *PrintState),
)

printed = Table(
    "printed",
    metadata,
    Column("print_id", Integer, ForeignKey("print.id"), primary_key=True, autoincrement=False),
    Column("position", Integer, primary_key=True, autoincrement=False),
    Column("code", String(11), nullable=False),
    Index(None, "code", "print_id"),
)

setting = Table(
    "setting",
    metadata,
    Column("name", String(80), primary_key=True),
    Column("text", Text, nullable=False),
    Column("at", Instant, nullable=False),
    Column("who", String(80), nullable=False),
)

log = Table(
    "log",
    metadata,
    Column("seq", BigInteger, primary_key=True, autoincrement=False),
    Column("scan_id", LargeBinary(16), nullable=False),
    Column("action", String(8), nullable=False),
    Column("outcome", Word(Outcome, 16), nullable=False),
    Column("at", Instant, nullable=False),
    Column("received_at", Instant, nullable=False),
    Column("who", String(80), nullable=False),
    Column("code", String(80), nullable=False),
    Column("station_id", Integer),
    Column("step", Word(Step, 8)),
    Column("infers", Boolean, nullable=False),
    Column("job_id", Integer),
    Column("part_id", Integer),
    Column("box_id", Integer),
    Column("load_id", Integer),
    Column("slot_id", Integer),
    Column("next_step", String(8)),
    Column("inferred", InOrder, nullable=False),
    Column("undoes", BigInteger),
    Column("message", Text, nullable=False),  # the English of the moment
    Column("reason", String(32)),  # what the message says, as shop.reasons names it, and its values
    Column("values", JSON(none_as_null=True)),
    Column("flag", Text),  # what a foreman must look at
    Column("said_at", Instant),  # what the device's clock said, where the scan was placed by another time
    Column("kind", String(12)),  # of a flag: what contradicts; of a settling: what was chosen
    Column("settles", BigInteger),  # the number of the flagged row that this one settles
    Column("meant", BigInteger),  # of a card or a slot's code: the number of the reading here that it was about
    Column("would_change", BigInteger),  # of a flag: the number of the later reading that was answered without it
    Column("opened_id", Integer),  # the box that a scan named, which is open from then on
    Index("uq_log_scan_id", "scan_id", unique=True),
    Index("ix_log_part_id", "part_id", sqlite_where=text("part_id IS NOT NULL"),
          postgresql_where=text("part_id IS NOT NULL")),
    Index("ix_log_box_id", "box_id", sqlite_where=text("part_id IS NULL AND box_id IS NOT NULL"),
          postgresql_where=text("part_id IS NULL AND box_id IS NOT NULL")),
    Index("ix_log_station_id_at", "station_id", "at", sqlite_where=text("station_id IS NOT NULL"),
          postgresql_where=text("station_id IS NOT NULL")),
    Index("ix_log_job_id", "job_id", sqlite_where=text("part_id IS NULL AND box_id IS NULL AND job_id IS NOT NULL"),
          postgresql_where=text("part_id IS NULL AND box_id IS NULL AND job_id IS NOT NULL")),
    Index("ix_log_undoes", "undoes", unique=True, sqlite_where=text("undoes IS NOT NULL"),
          postgresql_where=text("undoes IS NOT NULL")),
    Index("ix_log_settles", "settles", unique=True, sqlite_where=text("settles IS NOT NULL"),
          postgresql_where=text("settles IS NOT NULL")),
    Index("ix_log_flagged", "seq", sqlite_where=text("flag IS NOT NULL"), postgresql_where=text("flag IS NOT NULL")),
)  # fmt: skip
