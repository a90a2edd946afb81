"""What is kept of printing: the shop's printers, each print, and the labels that were in it.

Whether a part was printed before is one look at the index on ``printed.code``, however old the shop is.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any, Final

from sqlalchemy import Connection, Select, insert, select, update

from tracker.records.orders import insert_rows
from tracker.records.tables import job, print_, printed, printer
from tracker.shop.codes import HIGHEST_NUMBER
from tracker.shop.printing import LONGEST_SEND, LONGEST_WAIT, Cause, PrinterState, PrintState, Reason, state_as_of

CODES_AT_ONCE: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterRow:
    """A printer of the shop. Sizes in mm; ``heard_at``: when it last answered, ``asked_at``: when it was asked."""

    id: int
    name: str
    address: str
    certificate: bytes | None
    dpi: int
    width_mm: float
    height_mm: float
    state: PrinterState
    warning: PrinterState | None
    asked_at: datetime | None
    heard_at: datetime | None

    @property
    def stock_mm(self) -> tuple[float, float]:
        """The labels that are loaded: width and height in mm."""
        return self.width_mm, self.height_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class PrintRow:
    """A print: who printed what, where, why again, and how far it has come by the time of asking."""

    id: int
    request_id: str
    at: datetime
    who: str
    job: str | None
    choice: str
    printer_id: int | None
    printer: str | None
    dpi: int
    copies: int
    labels: int
    again: int
    reason: Reason | None
    note: str
    state: PrintState
    since: datetime
    cause: Cause | None
    detail: str
    printer_job: int | None


# Printers


def insert_printer(connection: Connection, number: int, **values: Any) -> None:
    """Keep a printer."""
    connection.execute(insert(printer).values(id=number, state=PrinterState.UNKNOWN.value, **values))


def change_printer(connection: Connection, number: int, **values: Any) -> None:
    """Change what is known of a printer."""
    connection.execute(update(printer).where(printer.c.id == number).values(**values))


def list_printers(connection: Connection) -> list[PrinterRow]:
    """Return the printers in use, by name."""
    query = select(printer).where(printer.c.withdrawn_at.is_(None)).order_by(printer.c.name)
    return [_printer(row) for row in connection.execute(query)]


def printer_by_id(connection: Connection, number: int) -> PrinterRow | None:
    """Return a printer in use, or None."""
    if number > HIGHEST_NUMBER:
        return None
    row = connection.execute(select(printer).where(printer.c.id == number, printer.c.withdrawn_at.is_(None))).first()
    return None if row is None else _printer(row)


def printer_by_name(connection: Connection, name: str) -> PrinterRow | None:
    """Return the printer in use of a name, or None."""
    row = connection.execute(select(printer).where(printer.c.name == name, printer.c.withdrawn_at.is_(None))).first()
    return None if row is None else _printer(row)


def _printer(row: Any) -> PrinterRow:
    return PrinterRow(
        id=row.id,
        name=row.name,
        address=row.address,
        certificate=row.certificate,
        dpi=row.dpi,
        width_mm=row.width_mm,
        height_mm=row.height_mm,
        state=PrinterState(row.state),
        warning=PrinterState(row.warning) if row.warning else None,
        asked_at=row.asked_at,
        heard_at=row.heard_at,
    )


# Prints


def insert_print(connection: Connection, number: int, codes: Sequence[str], **values: Any) -> None:
    """Keep a print and the codes of its labels, in their order."""
    connection.execute(insert(print_).values(id=number, **values))
    rows = ({"print_id": number, "position": place, "code": code} for place, code in enumerate(codes))
    insert_rows(connection, printed, rows)


def change_print(
    connection: Connection,
    number: int,
    state: PrintState,
    now: datetime,
    *,
    only: Collection[PrintState],
    cause: Cause | None = None,
    detail: str = "",
    **more: Any,
) -> bool:
    """Say how far a print has come, if it stands at one of ``only``; return whether it did."""
    values = {"state": state.value, "since": now, "cause": cause, "detail": detail[:200], **more}
    query = update(print_).where(print_.c.id == number, print_.c.state.in_([each.value for each in only]))
    return bool(connection.execute(query.values(**values)).rowcount)


def print_by_id(connection: Connection, number: int, now: datetime) -> PrintRow | None:
    """Return a print as it stands now, or None."""
    return None if number > HIGHEST_NUMBER else _first(connection, _PRINTS.where(print_.c.id == number), now)


def print_by_request(connection: Connection, request_id: str, now: datetime) -> PrintRow | None:
    """Return the print that a request made, or None."""
    return _first(connection, _PRINTS.where(print_.c.request_id == request_id), now)


def last_prints(connection: Connection, now: datetime, *, limit: int, before: int | None = None) -> list[PrintRow]:
    """Return the latest prints, the latest first; those ``before`` a number to go on."""
    query = _PRINTS.order_by(print_.c.id.desc()).limit(limit)
    if before is not None:
        query = query.where(print_.c.id < before)
    return [_print(row, now) for row in connection.execute(query)]


def prints_of(connection: Connection, code: str, now: datetime, *, limit: int) -> list[PrintRow]:
    """Return the prints that a label was in, the latest first."""
    found = select(printed.c.print_id).where(printed.c.code == code).order_by(printed.c.print_id.desc()).limit(limit)
    query = _PRINTS.where(print_.c.id.in_(found)).order_by(print_.c.id.desc())
    return [_print(row, now) for row in connection.execute(query)]


def codes_of(connection: Connection, number: int) -> list[str]:
    """Return the codes of a print's labels, in their order."""
    query = select(printed.c.code).where(printed.c.print_id == number).order_by(printed.c.position)
    return list(connection.execute(query).scalars())


def printed_before(connection: Connection, codes: Iterable[str]) -> set[str]:
    """Return those of the codes whose label was printed, or may have been: all but the prints that surely failed."""
    query = select(printed.c.code).distinct().join(print_, print_.c.id == printed.c.print_id)
    query = query.where(print_.c.state != PrintState.FAILED.value)
    found: set[str] = set()
    rest = iter(codes)
    while some := list(islice(rest, CODES_AT_ONCE)):
        found.update(connection.execute(query.where(printed.c.code.in_(some))).scalars())
    return found


def close_lapsed(connection: Connection, now: datetime) -> None:
    """Write down what became of the prints whose service was stopped while they waited or were being sent."""
    lapsed = (
        (PrintState.WAITING, LONGEST_WAIT, PrintState.FAILED, Cause.NEVER_SENT),
        (PrintState.SENDING, LONGEST_SEND, PrintState.DOUBTFUL, Cause.STOPPED),
    )
    for was, longest, state, cause in lapsed:
        query = update(print_).where(print_.c.state == was.value, print_.c.since < now - longest)
        connection.execute(query.values(state=state.value, cause=cause.value))


_PRINTS: Select[Any] = (
    select(print_, printer.c.name.label("printer_name"), job.c.code.label("job_code"))
    .outerjoin(printer, printer.c.id == print_.c.printer_id)
    .outerjoin(job, job.c.id == print_.c.job_id)
)
_LAPSED: Final[Mapping[PrintState, Cause]] = {
    PrintState.WAITING: Cause.NEVER_SENT,
    PrintState.SENDING: Cause.STOPPED,
}


def _first(connection: Connection, query: Select[Any], now: datetime) -> PrintRow | None:
    row = connection.execute(query).first()
    return None if row is None else _print(row, now)


def _print(row: Any, now: datetime) -> PrintRow:
    kept = PrintState(row.state)
    state = state_as_of(kept, row.since, now)
    cause = Cause(row.cause) if row.cause else None
    return PrintRow(
        id=row.id,
        request_id=row.request_id,
        at=row.at,
        who=row.who,
        job=row.job_code,
        choice=row.choice,
        printer_id=row.printer_id,
        printer=row.printer_name,
        dpi=row.dpi,
        copies=row.copies,
        labels=row.labels,
        again=row.again,
        reason=Reason(row.reason) if row.reason else None,
        note=row.note,
        state=state,
        since=row.since,
        cause=cause if state is kept else _LAPSED[kept],
        detail=row.detail,
        printer_job=row.printer_job,
    )
