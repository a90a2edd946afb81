"""Prints: what is asked for is written down before anything is sent, and what became of it afterwards.

A print is sent at most once. What is asked for carries an id, so that pressing twice or loading a page again makes one
print; a sender takes a print by writing that it is being sent, and nobody sends one that is. Where the answer of the
printer was lost it stays in doubt until somebody has looked: it is never sent again by itself.
"""

import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from io import BytesIO
from itertools import islice
from typing import Final
from uuid import UUID

from sqlalchemy import Connection

from tracker.labels.calibration import draw_calibration
from tracker.labels.documents import write_pdf
from tracker.labels.drawn import Drawn
from tracker.labels.stocks import Stock
from tracker.records import printing as kept
from tracker.records.database import Database
from tracker.records.jobs import job_view
from tracker.records.printing import PrinterRow, PrintRow
from tracker.records.writing import take_numbers
from tracker.settings import Settings
from tracker.shop.codes import Kind, read_code
from tracker.shop.errors import ConflictError, Fault, InvalidInputError, NotFoundError, ShopError
from tracker.shop.printing import (
    LONGEST_NOTE,
    Cause,
    PrintState,
    Reason,
    cause_sentence,
    fits_stock,
)
from tracker.shop.saying import Count, say
from tracker.work import ipp_printer
from tracker.work.box_numbers import number_boxes
from tracker.work.ipp_printer import QUICK, USUAL, Patience, PrinterFault, Reached, Ticket, Told, size_words
from tracker.work.label_choice import Choice, What, chosen, labelled, labels_of, printed_parts, read_choice, title_of
from tracker.work.label_setup import label_setup
from tracker.work.printers import RESOLUTIONS, note_printer, printer, reached

Clock = Callable[[], datetime]
MOST_LABELS: Final = 5_000
MOST_COPIES: Final = 20
WAITED_S: Final = 60.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """A wish to print: ``printer`` is its number, None for a PDF. Raises InvalidInputError naming each field.

    ``dpi`` is of a PDF; a printer has its own. ``reason`` is needed where a part's label was printed before.
    """

    request_id: UUID
    choice: Choice
    printer: int | None = None
    dpi: int = 203
    copies: int = 1
    reason: Reason | None = None
    note: str = ""

    def __post_init__(self) -> None:
        faults: list[Fault] = []
        if self.dpi not in RESOLUTIONS:
            known = ", ".join(map(str, RESOLUTIONS))
            faults.append(Fault(where={"field": "dpi"}, what=say("wanted: one of %(known)s", known=known)))
        if not 1 <= self.copies <= MOST_COPIES:
            what = say("wanted: a whole number from 1 to %(most)d", most=MOST_COPIES)
            faults.append(Fault(where={"field": "copies"}, what=what))
        if len(self.note) > LONGEST_NOTE:
            what = say("wanted: at most %(most)s characters", most=LONGEST_NOTE)
            faults.append(Fault(where={"field": "note"}, what=what))
        faults += [
            Fault(where={"field": name}, what=say("wanted: no control characters"))
            for name, text in (*asdict(self.choice).items(), ("note", self.note))
            if isinstance(text, str) and any(letter < " " for letter in text)
        ]
        if self.reason is Reason.OTHER and not self.note.strip():
            faults.append(Fault(where={"field": "note"}, what=say("wanted: the reason in a few words")))
        if faults:
            raise InvalidInputError(say("This cannot be printed."), faults)


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """A PDF, how many labels are in it, and the sizes of its pages in mm."""

    pdf: bytes
    labels: int
    pages_mm: frozenset[tuple[float, float]]


# Asking for a print


def take_print(database: Database, request: Request, *, who: str, now: datetime) -> int:
    """Write down what is to be printed and return its number; the same request again is the same print.

    Raises NotFoundError for no such job or printer and for a choice without labels, InvalidInputError for too many
    labels and for parts that were printed before without a reason, ConflictError for an id that was used otherwise.
    """
    with database.read() as connection:
        found = kept.print_by_request(connection, str(request.request_id), now)
        if found is not None:
            return _same(found, request)
        codes = _codes(connection, request.choice)
        job = job_view(connection, request.choice.job) if request.choice.job else None
    row = None if request.printer is None else printer(database, request.printer)
    number_boxes(database, [read_code(code).number for code in codes if read_code(code).kind is Kind.BOX])
    with database.write() as connection:
        kept.close_lapsed(connection, now)
        found = kept.print_by_request(connection, str(request.request_id), now)
        if found is not None:
            return _same(found, request)
        again = len(printed_parts(connection, codes))
        if again and request.reason is None:
            raise _wants_reason(again)
        number = take_numbers(connection, "print", 1)[0]
        kept.insert_print(
            connection,
            number,
            codes,
            request_id=str(request.request_id),
            at=now,
            who=who,
            job_id=None if job is None else job.id,
            choice=request.choice.as_text(),
            printer_id=request.printer,
            dpi=request.dpi if row is None else row.dpi,
            copies=request.copies,
            labels=len(codes) or 1,
            again=again,
            reason=request.reason.value if request.reason is not None and again else None,
            note=request.note.strip() if again else "",
            state=(PrintState.FILE if row is None else PrintState.WAITING).value,
            since=now,
            detail="",
        )
    return number


def _same(found: PrintRow, request: Request) -> int:
    if (found.printer_id, read_choice(found.choice)) != (request.printer, request.choice):
        raise ConflictError(say("Print %(number)s was asked for under this id. Ask anew.", number=found.id))
    return found.id


def _codes(connection: Connection, choice: Choice) -> list[str]:
    codes = [each.code for each in islice(chosen(connection, choice), MOST_LABELS + 1)]
    if not codes and choice.what is not What.TEST:
        raise NotFoundError(say("No label fits this choice."))
    if len(codes) > MOST_LABELS:
        what = say("more than %(most)s labels: print by board, by cabinet or by box", most=Count(MOST_LABELS))
        raise InvalidInputError(say("This cannot be printed."), [Fault(where={"field": "job"}, what=what)])
    return codes


def _wants_reason(again: int) -> InvalidInputError:
    what = say("%(count)s of these parts were printed before: wanted: why again", count=Count(again))
    told = say("A label is printed again only with a reason.")
    return InvalidInputError(told, [Fault(where={"field": "reason"}, what=what)])


# Looking


def print_view(database: Database, number: int, *, now: datetime) -> PrintRow:
    """Return a print as it stands now. Raises NotFoundError when there is none."""
    with database.read() as connection:
        found = kept.print_by_id(connection, number, now)
    if found is None:
        raise NotFoundError(say("There is no such print."))
    return found


def document_of(database: Database, settings: Settings, row: PrintRow) -> Document:
    """Draw the labels of a print as a PDF, without those that count no more since. Raises what drawing raises."""
    choice = read_choice(row.choice)
    stream = BytesIO()
    pages: set[tuple[float, float]] = set()
    with database.read() as connection:
        if choice.what is What.TEST:
            drawn = iter([_test_page(database, row)])
        else:
            codes = kept.codes_of(connection, row.id)
            setup = label_setup(database, settings)
            labels = labels_of(connection, labelled(connection, codes), setup)
            drawn = (setup.draw_to_print(label, row.dpi) for label in labels)

        def noted() -> Iterator[tuple[Drawn, Stock]]:
            for label, stock in drawn:
                pages.add(stock.sheet)
                yield label, stock

        count = write_pdf(noted(), stream, title=title_of(choice), taken=choice.taken)
    return Document(pdf=stream.getvalue(), labels=count, pages_mm=frozenset(pages))


def _test_page(database: Database, row: PrintRow) -> tuple[Drawn, Stock]:
    if row.printer_id is None:
        raise NotFoundError(say("There is no such printer."))
    its = printer(database, row.printer_id)
    stock = Stock(name=its.name[:60], label=its.stock_mm)
    return draw_calibration(stock, dpi=its.dpi), stock


# Sending


def give_up(database: Database, number: int, clock: Clock) -> None:
    """Write down that a print is not sent: too many wait."""
    _fail(database, number, clock, Cause.FULL, "")


def send_print(database: Database, settings: Settings, number: int, clock: Clock, patience: Patience = USUAL) -> None:
    """Send a print that waits to its printer, once. What becomes of it is written down; nothing is raised for it."""
    row = print_view(database, number, now=clock())
    if row.state is not PrintState.WAITING or row.printer_id is None:
        return
    try:
        its = printer(database, row.printer_id)
        document = document_of(database, settings, row)
        talk = reached(database, its, patience)
        ticket, told = _ready(database, row, its, document, talk, clock)
    except PrinterFault as fault:
        _fail(database, number, clock, fault.cause, fault.detail)
    except ShopError as refused:
        _fail(database, number, clock, Cause.NOT_DRAWN, refused.detail)
    else:
        _send(database, number, talk, ticket, told, document.pdf, clock)


def _ready(
    database: Database, row: PrintRow, its: PrinterRow, document: Document, talk: Reached, clock: Clock
) -> tuple[Ticket, Told]:
    """Return how it is printed, when all is well until then. Raises PrinterFault: nothing was sent."""
    if not document.labels:
        raise PrinterFault(Cause.NONE_LEFT)
    wrong = sorted(size for size in document.pages_mm if not fits_stock(size, its.stock_mm))
    if wrong:
        raise PrinterFault(Cause.WRONG_SIZE, f"{size_words(wrong[0])}, {size_words(its.stock_mm)}")
    try:
        told = ipp_printer.ask_printer(talk)
    except PrinterFault as fault:
        note_printer(database, its.id, fault, now=clock())
        raise
    note_printer(database, its.id, told, now=clock())
    if not told.state.takes_prints:
        raise PrinterFault(Cause.NOT_READY, told.state.value)
    if not told.takes_pdf:
        raise PrinterFault(Cause.NO_PDF)
    if not told.takes_size(its.stock_mm):
        raise PrinterFault(Cause.PRINTER_SIZE, size_words(its.stock_mm))
    ticket = Ticket(name=_job_name(row), who=row.who, size_mm=its.stock_mm, dpi=its.dpi, copies=row.copies)
    ipp_printer.check_job(talk, ticket, told)
    return ticket, told


def _job_name(row: PrintRow) -> str:
    """Return what a print is called at the printer: by it we know our own again."""
    return f"{title_of(read_choice(row.choice))}, {row.id}"


def _send(database: Database, number: int, talk: Reached, ticket: Ticket, told: Told, pdf: bytes, clock: Clock) -> None:
    if not _change(database, number, PrintState.SENDING, clock, only=(PrintState.WAITING,)):
        return  # somebody took it back meanwhile
    try:
        job = ipp_printer.print_document(talk, ticket, told, pdf)
    except PrinterFault as fault:
        state = PrintState.FAILED if fault.sure else PrintState.DOUBTFUL
        _change(database, number, state, clock, only=(PrintState.SENDING,), cause=fault.cause, detail=fault.detail)
    else:
        _change(database, number, PrintState.SENT, clock, only=(PrintState.SENDING,), printer_job=job)


def _fail(database: Database, number: int, clock: Clock, cause: Cause, detail: str) -> None:
    _change(database, number, PrintState.FAILED, clock, only=(PrintState.WAITING,), cause=cause, detail=detail)


def _change(
    database: Database,
    number: int,
    state: PrintState,
    clock: Clock,
    *,
    only: Sequence[PrintState],
    cause: Cause | None = None,
    detail: str = "",
    printer_job: int | None = None,
) -> bool:
    more = {} if printer_job is None else {"printer_job": printer_job}
    with database.write() as connection:
        return kept.change_print(connection, number, state, clock(), only=only, cause=cause, detail=detail, **more)


# What became of it


def follow_print(database: Database, number: int, clock: Clock) -> PrintRow:
    """Ask the printer how far a print is that it has, write it down and return it. Raises NotFoundError for none."""
    row = print_view(database, number, now=clock())
    if row.state is not PrintState.SENT or row.printer_job is None or row.cause is Cause.FORGOTTEN:
        return row
    try:
        its = printer(database, row.printer_id or 0)
        state, cause, detail = _became(database, its, row.printer_job, _job_name(row), clock)
    except PrinterFault:
        state, cause, detail = PrintState.SENT, Cause.GONE, ""
    except NotFoundError:
        return row  # the printer was taken out of the shop's list
    if (state, cause, detail) != (row.state, row.cause, row.detail):
        _change(database, number, state, clock, only=(PrintState.SENT,), cause=cause, detail=detail)
    return print_view(database, number, now=clock())


def _became(
    database: Database, its: PrinterRow, job: int, name: str, clock: Clock
) -> tuple[PrintState, Cause | None, str]:
    talk = reached(database, its, QUICK)
    told = ipp_printer.ask_job(talk, job, name)
    match told.state:
        case None:
            return PrintState.SENT, Cause.FORGOTTEN, ""
        case ipp_printer.JOB_COMPLETED:
            return PrintState.PRINTED, None, ""
        case ipp_printer.JOB_CANCELLED:
            return PrintState.CANCELLED, None, ""
        case ipp_printer.JOB_ABORTED:
            return PrintState.DOUBTFUL, Cause.ABORTED, told.message or ", ".join(told.reasons)
        case _:
            how = ipp_printer.ask_printer(talk)
            note_printer(database, its.id, how, now=clock())
            held = how.warning if how.state.takes_prints else how.state
            return PrintState.SENT, Cause.NOT_READY if held else None, held.value if held else ""


def print_and_wait(
    database: Database, settings: Settings, request: Request, *, who: str, clock: Clock, seconds: float = WAITED_S
) -> PrintRow:
    """Print here and now, and wait some seconds for it to come out; return how far it is then.

    Raises what ``take_print`` raises.
    """
    number = take_print(database, request, who=who, now=clock())
    send_print(database, settings, number, clock)
    until = time.monotonic() + seconds
    row = follow_print(database, number, clock)
    while row.state is PrintState.SENT and row.cause is None and time.monotonic() < until:
        time.sleep(0.5)
        row = follow_print(database, number, clock)
    return row


def cancel_print(database: Database, number: int, *, who: str, now: datetime) -> None:
    """Take a print back: one that waits is never sent, one that the printer has is cancelled there.

    Raises ConflictError when it is too late for that, saying why.
    """
    row = print_view(database, number, now=now)
    clock: Clock = lambda: now  # noqa: E731
    if row.state is PrintState.WAITING:
        waited = (PrintState.WAITING,)
        if _change(database, number, PrintState.FAILED, clock, only=waited, cause=Cause.TAKEN_BACK, detail=who):
            return
        row = print_view(database, number, now=now)
    if row.state is not PrintState.SENT or row.printer_job is None or row.printer_id is None:
        raise ConflictError(say("It is too late to cancel this print."))
    try:
        its = printer(database, row.printer_id)
        ipp_printer.cancel_job(reached(database, its, QUICK), row.printer_job, _job_name(row), row.who)
    except PrinterFault as fault:
        why = cause_sentence(fault.cause, fault.detail)
        raise ConflictError(say("The printer did not cancel it. %(why)s", why=why)) from fault
    _change(database, number, PrintState.CANCELLED, clock, only=(PrintState.SENT,))


def note_what_came_out(database: Database, number: int, *, came_out: bool, who: str, now: datetime) -> None:
    """Write down what somebody saw at the printer: that the labels came out, or that none did.

    Raises ConflictError for a print that is not in doubt.
    """
    state = PrintState.PRINTED if came_out else PrintState.FAILED
    in_doubt = (PrintState.DOUBTFUL, PrintState.CANCELLED, PrintState.SENT)
    print_view(database, number, now=now)
    with database.write() as connection:
        kept.close_lapsed(connection, now)
        changed = kept.change_print(connection, number, state, now, only=in_doubt, cause=Cause.SEEN, detail=who)
    if not changed:
        raise ConflictError(say("Nothing is open about this print."))
