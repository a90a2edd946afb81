"""The shop's printers: added, asked how they are, withdrawn. What a printer last said is kept, with when it was."""

from datetime import datetime, timedelta
from typing import Final

from tracker.labels.stocks import LARGEST_MM, LEAST_MM
from tracker.records import printing as kept
from tracker.records.database import Database
from tracker.records.printing import PrinterRow
from tracker.records.writing import take_numbers
from tracker.shop.errors import ConflictError, Fault, InvalidInputError, NotFoundError, fault_at
from tracker.shop.printing import Cause, PrinterState, read_address
from tracker.shop.saying import Mm, say, words_of
from tracker.work.access import Named, check_name
from tracker.work.ipp_printer import QUICK, Patience, PrinterFault, Reached, Told, ask_printer, certificate_of

RESOLUTIONS: Final = (203, 300, 600)
MOST_PRINTERS: Final = 50
_NAME: Final = Named(inside=say("a printer's name"), first=say("A printer's name"))
ASKED_ANEW: Final = timedelta(seconds=4)  # not more often, however many look


def add_printer(
    database: Database, name: str, address: str, *, dpi: int, stock_mm: tuple[float, float], now: datetime
) -> int:
    """Add a printer and ask it how it is; return its number. It may be off: it is added all the same.

    ``stock_mm`` is the width and the height of a page: of one label on a roll, of a sheet otherwise. Raises
    InvalidInputError naming each field, ConflictError for a name that is taken.
    """
    check_name(name, _NAME)
    text = _checked(address, dpi, stock_mm)
    with database.write() as connection:
        if kept.printer_by_name(connection, name) is not None:
            raise ConflictError(say("There is a printer %(name)s already.", name=name))
        if len(kept.list_printers(connection)) >= MOST_PRINTERS:
            raise ConflictError(
                say("A shop has at most %(most)s printers here. Take one out first.", most=MOST_PRINTERS)
            )
        number = take_numbers(connection, "printer", 1)[0]
        kept.insert_printer(
            connection,
            number,
            name=name,
            address=text,
            dpi=dpi,
            width_mm=stock_mm[0],
            height_mm=stock_mm[1],
            made_at=now,
        )
    refresh_printer(database, number, now=now)
    return number


def _checked(address: str, dpi: int, stock_mm: tuple[float, float]) -> str:
    faults: list[Fault] = []
    text = ""
    try:
        text = str(read_address(address))
    except ValueError as wrong:
        faults.append(fault_at("address", words_of(wrong)))
    if dpi not in RESOLUTIONS:
        what = say("wanted: one of %(known)s", known=", ".join(map(str, RESOLUTIONS)))
        faults.append(fault_at("dpi", what))
    for field, length in zip(("width_mm", "height_mm"), stock_mm, strict=True):
        if not LEAST_MM <= length <= LARGEST_MM:
            what = say("wanted: from %(least)s to %(most)s", least=Mm(LEAST_MM), most=Mm(LARGEST_MM))
            faults.append(fault_at(field, what))
    if faults:
        raise InvalidInputError(say("The printer cannot be added."), faults)
    return text


def withdraw_printer(database: Database, number: int, *, now: datetime) -> None:
    """Take a printer out; its prints stay on record. Raises NotFoundError when there is none."""
    with database.write() as connection:
        _in_use(kept.printer_by_id(connection, number))
        kept.change_printer(connection, number, withdrawn_at=now)


def printers(database: Database) -> list[PrinterRow]:
    """Return the printers in use, by name."""
    with database.read() as connection:
        return kept.list_printers(connection)


def printer_named(database: Database, name: str) -> PrinterRow:
    """Return the printer in use of a name. Raises NotFoundError naming those that there are."""
    with database.read() as connection:
        found = kept.printer_by_name(connection, name)
        known = [each.name for each in kept.list_printers(connection)]
    if found is None:
        raise NotFoundError(
            say("There is no printer %(name)s. There are: %(known)s.", name=name[:80], known=", ".join(known) or "–")
        )
    return found


def printer(database: Database, number: int) -> PrinterRow:
    """Return a printer in use. Raises NotFoundError when there is none."""
    with database.read() as connection:
        return _in_use(kept.printer_by_id(connection, number))


def _in_use(found: PrinterRow | None) -> PrinterRow:
    if found is None:
        raise NotFoundError(say("There is no such printer."))
    return found


def reached(database: Database, row: PrinterRow, patience: Patience) -> Reached:
    """Return how to talk with a printer; one that is reached by TLS is known by the first certificate that it showed.

    Raises PrinterFault when that must be asked for and the printer does not answer.
    """
    address = read_address(row.address)
    certificate = row.certificate
    if address.secure and certificate is None:
        certificate = certificate_of(address)
        with database.write() as connection:
            kept.change_printer(connection, row.id, certificate=certificate)
    return Reached(address=address, certificate=certificate, patience=patience)


def refresh_printer(database: Database, number: int, *, now: datetime) -> PrinterRow:
    """Ask a printer how it is, unless it was just asked; keep and return what it says. Raises NotFoundError."""
    with database.write() as connection:
        row = _in_use(kept.printer_by_id(connection, number))
        if row.asked_at is not None and timedelta(0) <= now - row.asked_at < ASKED_ANEW:
            return row
        kept.change_printer(connection, number, asked_at=now)
    try:
        told: Told | PrinterFault = ask_printer(reached(database, row, QUICK))
    except PrinterFault as fault:
        told = fault
    return note_printer(database, number, told, now=now)


def note_printer(database: Database, number: int, told: Told | PrinterFault, *, now: datetime) -> PrinterRow:
    """Keep what a printer said of itself, or that it said nothing."""
    heard = isinstance(told, Told)
    state = told.state if isinstance(told, Told) else _state_of(told)
    warning = told.warning.value if isinstance(told, Told) and told.warning else None
    answered = {"heard_at": now} if heard else {}
    with database.write() as connection:
        kept.change_printer(connection, number, state=state.value, warning=warning, **answered)
        return _in_use(kept.printer_by_id(connection, number))


def _state_of(fault: PrinterFault) -> PrinterState:
    return PrinterState.OFF if fault.cause in (Cause.OFF, Cause.LOST) else PrinterState.STRANGE
