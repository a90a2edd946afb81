"""Printing: how a printer stands, how a print ended, and why a label is printed again.

A printer's state and its reasons are those of RFC 8011, 5.4.11 and 5.4.12; here they become one word and what to do.

What a print that nobody writes on any more means follows from its age alone, so any number of processes may be killed.
"""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final
from urllib.parse import urlsplit

from tracker.shop.saying import Number, Said, say

IPP_PORT: Final = 631  # RFC 8010, 4: the port of ipp and (RFC 7472) of ipps
LONGEST_ADDRESS: Final = 200
LONGEST_NOTE: Final = 200
SIZE_TOLERANCE_MM: Final = 1.0  # a roll of 4 × 2 in is sold as 102 × 51 mm and as 101.6 × 50.8 mm
# A print that was not begun for so long never will be: its service was stopped.
LONGEST_WAIT: Final = timedelta(minutes=5)
# Longer than a sender may take (work/ipp_printer.py): whoever was sending is gone.
LONGEST_SEND: Final = timedelta(seconds=150)


class PrinterState(StrEnum):
    """How a printer stands, in one word."""

    UNKNOWN = "unknown"
    READY = "ready"
    BUSY = "busy"
    STOPPED = "stopped"
    NO_LABELS = "no labels"
    OPEN = "open"
    JAM = "jam"
    NO_INK = "no ink"
    CLOSED = "closed"
    OFF = "off"
    STRANGE = "strange"

    @property
    def takes_prints(self) -> bool:
        """Whether a print that is sent now comes out without somebody going there first."""
        return self in (PrinterState.READY, PrinterState.BUSY)


# RFC 8011, 5.4.12; the first that applies is what somebody goes there for.
_CAUSES: Final = (
    (PrinterState.OPEN, frozenset({"cover-open", "door-open", "interlock-open"})),
    (PrinterState.JAM, frozenset({"media-jam"})),
    (PrinterState.NO_LABELS, frozenset({"media-empty", "media-needed", "input-tray-missing"})),
    (PrinterState.NO_INK, frozenset({"marker-supply-empty", "toner-empty"})),
    (PrinterState.STOPPED, frozenset({"paused", "moving-to-paused", "shutdown", "spool-area-full"})),
)
_MILD: Final = ("-warning", "-report")
_IDLE, _PROCESSING, _STOPPED = 3, 4, 5


def printer_state(number: int, reasons: Collection[str], *, accepts: bool) -> PrinterState:
    """Return how a printer stands by its ``printer-state``, its ``printer-state-reasons`` and whether it takes jobs.

    A reason that ends in ``-report`` or ``-warning`` does not keep it from printing, unless it has stopped.
    """
    held = _held_by(each for each in reasons if number == _STOPPED or not each.endswith(_MILD))
    if held is not None:
        return held
    if not accepts:
        return PrinterState.CLOSED
    if number == _PROCESSING:
        return PrinterState.BUSY
    return PrinterState.READY if number == _IDLE else PrinterState.STOPPED


def printer_warning(reasons: Iterable[str]) -> PrinterState | None:
    """Return what a printer reports that prints on: one of two trays is empty, or the roll is at its end."""
    return _held_by(each for each in reasons if each.endswith(_MILD))


def _held_by(reasons: Iterable[str]) -> PrinterState | None:
    found = {_bare(reason) for reason in reasons}
    return next((state for state, causes in _CAUSES if found & causes), None)


def _bare(reason: str) -> str:
    for ending in ("-error", *_MILD):
        reason = reason.removesuffix(ending)
    return reason


_STATE_WORDS: Final = {
    PrinterState.UNKNOWN: say("not asked yet"),
    PrinterState.READY: say("ready"),
    PrinterState.BUSY: say("busy: it prints"),
    PrinterState.STOPPED: say("stopped: look at its display"),
    PrinterState.NO_LABELS: say("out of labels: put a roll or paper in"),
    PrinterState.OPEN: say("its door is open: close it"),
    PrinterState.JAM: say("labels are jammed: switch it off before you reach in, and mind the moving label cutter"),
    PrinterState.NO_INK: say("out of ribbon or ink"),
    PrinterState.CLOSED: say("takes no prints now"),
    PrinterState.OFF: say("off, or not on the network"),
    PrinterState.STRANGE: say("answers, but not as a printer should: check its address"),
}


def state_word(state: PrinterState) -> Said:
    """Return a printer's state in plain words."""
    return _STATE_WORDS[state]


class PrintState(StrEnum):
    """How far a print has come. Only FAILED says for certain that no label came out."""

    WAITING = "waiting"
    SENDING = "sending"
    SENT = "sent"
    PRINTED = "printed"
    FILE = "file"
    FAILED = "failed"
    CANCELLED = "cancelled"
    DOUBTFUL = "doubtful"

    @property
    def moves(self) -> bool:
        """Whether it may still change by itself."""
        return self in (PrintState.WAITING, PrintState.SENDING, PrintState.SENT)


def state_as_of(state: PrintState, since: datetime, now: datetime) -> PrintState:
    """Return what a state that was written at ``since`` means ``now``: who wrote it may have been stopped meanwhile."""
    if state is PrintState.WAITING and now - since > LONGEST_WAIT:
        return PrintState.FAILED
    if state is PrintState.SENDING and now - since > LONGEST_SEND:
        return PrintState.DOUBTFUL
    return state


_PRINT_WORDS: Final = {
    PrintState.WAITING: say("waits to be sent"),
    PrintState.SENDING: say("is being sent"),
    PrintState.SENT: say("the printer has it"),
    PrintState.PRINTED: say("printed"),
    PrintState.FILE: say("made as a PDF"),
    PrintState.FAILED: say("not printed"),
    PrintState.CANCELLED: say("cancelled"),
    PrintState.DOUBTFUL: say("may have been printed: look at the printer"),
}


def print_word(state: PrintState) -> Said:
    """Return how far a print has come, in a few words."""
    return _PRINT_WORDS[state]


class Cause(StrEnum):
    """Why a print stands as it does, where that needs saying."""

    OFF = "off"
    NOT_READY = "not ready"
    STRANGE = "strange"
    OTHER_CERTIFICATE = "certificate"
    PASSWORD = "password"  # noqa: S105 - a word for a cause, no secret
    NO_PDF = "no pdf"
    WRONG_SIZE = "wrong size"
    PRINTER_SIZE = "printer size"
    REFUSED = "refused"
    BUSY = "busy"
    LOST = "lost"
    NEVER_SENT = "never sent"
    STOPPED = "stopped"
    ABORTED = "aborted"
    NONE_LEFT = "none left"
    NOT_DRAWN = "not drawn"
    FORGOTTEN = "forgotten"
    GONE = "gone"
    TAKEN_BACK = "taken back"
    FULL = "full"
    SEEN = "seen"


# What is said of a printer that gives a reason in none of its own words: its status codes (RFC 8011, appendix B).
REFUSAL_WORDS: Final[Mapping[int, Said]] = {
    0x0400: say("bad request"),
    0x0401: say("forbidden"),
    0x0402: say("not authenticated"),
    0x0403: say("not authorized"),
    0x0404: say("not possible"),
    0x0406: say("not found"),
    0x0408: say("too large"),
    0x040A: say("document format not supported"),
    0x040B: say("attributes or values not supported"),
    0x0500: say("internal error"),
    0x0501: say("operation not supported"),
    0x0502: say("service unavailable"),
    0x0504: say("device error"),
    0x0506: say("not accepting jobs"),
    0x0507: say("busy"),
}
SAYS_NOTHING: Final = say("it does not say how it stands")
NO_NUMBER: Final = say("it gave the print no number")
NOT_READ: Final = say("its answer cannot be read")
_OWN_WORDS: Final = {str(each): each for each in (*REFUSAL_WORDS.values(), SAYS_NOTHING, NO_NUMBER, NOT_READ)}


def _as_said(detail: str) -> str:
    """Return what is kept of a printer's answer: a sentence of ours can be said in another language, no other can."""
    return _OWN_WORDS.get(detail, detail)


def cause_sentence(cause: Cause, detail: str) -> Said:  # noqa: C901 - one sentence a cause
    """Return why, and what to do, in a sentence. ``detail`` is what the cause names: a size, a state, a name."""
    match cause:
        case Cause.OFF:
            return say("The printer did not answer. Is it on, and is its cable in? Nothing was printed.")
        case Cause.NOT_READY:
            state = PrinterState(detail) if detail in set(PrinterState) else PrinterState.STOPPED
            return say("The printer is not ready: %(state)s.", state=state_word(state))
        case Cause.STRANGE:
            return say("What answers at this address is no IPP printer: %(detail)s.", detail=_as_said(detail))
        case Cause.OTHER_CERTIFICATE:
            return say("The printer shows another certificate than when it was added. An admin adds it anew if it is.")
        case Cause.PASSWORD:
            return say("The printer asks for a password. Let it take prints from this service without one.")
        case Cause.NO_PDF:
            return say("This printer takes no PDF. Choose another, or print the PDF from a computer.")
        case Cause.WRONG_SIZE:
            own, _, loaded = detail.partition(", ")
            return say(
                "These labels are %(own)s, and labels of %(loaded)s are loaded. Load those of %(own)s, or choose a "
                "printer that has them. Nothing was printed.",
                own=Number(own),
                loaded=Number(loaded),
            )
        case Cause.PRINTER_SIZE:
            return say("The printer says that it cannot print labels of this size: %(detail)s.", detail=Number(detail))
        case Cause.REFUSED:
            return say("The printer refused it. It says: “%(words)s”.", words=_as_said(detail.rstrip(".")))
        case Cause.BUSY:
            return say("The printer is busy with another print. Nothing was printed: try again when it is done.")
        case Cause.LOST:
            return say("The printer went away while it was being sent. Look at the printer before you print again.")
        case Cause.NEVER_SENT:
            return say("The service stopped before this was sent. Nothing was printed.")
        case Cause.STOPPED:
            return say("The service stopped while this was being sent. Look at the printer before you print again.")
        case Cause.ABORTED:
            return say("The printer gave up. It says: “%(words)s”. Look at what came out.", words=detail.rstrip("."))
        case Cause.NONE_LEFT:
            return say("None of these labels counts any more.")
        case Cause.NOT_DRAWN:
            return say("A label cannot be drawn: %(detail)s", detail=detail)
        case Cause.GONE:
            return say("The printer took it and does not answer now. Look at the printer before you print again.")
        case Cause.TAKEN_BACK:
            return say("%(who)s took it back before it was sent. Nothing was printed.", who=detail)
        case Cause.FULL:
            return say("Too many prints wait. Nothing was printed: try again in a minute.")
        case Cause.FORGOTTEN:
            return say("The printer took it and does not remember it any more.")
        case Cause.SEEN:
            return say("%(who)s looked at the printer and said so.", who=detail)


class Reason(StrEnum):
    """Why a part's label is printed again. The part and its code stay the same."""

    DAMAGED = "damaged"
    LOST = "lost"
    MISPRINT = "misprint"
    OTHER = "other"


_REASON_WORDS: Final = {
    Reason.DAMAGED: say("the label is damaged"),
    Reason.LOST: say("the label is lost"),
    Reason.MISPRINT: say("it was printed badly"),
    Reason.OTHER: say("another reason"),
}


def reprint_reason(reason: Reason) -> Said:
    """Return why a label is printed again, in a few words."""
    return _REASON_WORDS[reason]


@dataclass(frozen=True, slots=True, kw_only=True)
class PrinterAddress:
    """Where a printer is: ``ipp`` or, ``secure``, ``ipps``."""

    secure: bool
    host: str
    port: int
    path: str

    def __str__(self) -> str:
        host = f"[{self.host}]" if ":" in self.host else self.host
        port = "" if self.port == IPP_PORT else f":{self.port}"
        return f"{'ipps' if self.secure else 'ipp'}://{host}{port}{self.path}"


def read_address(text: str) -> PrinterAddress:
    """Return the address that ``text`` spells. Without a path it is ``/ipp/print`` (PWG 5100.14, 4.2, from memory).

    Raises ValueError saying what is wanted.
    """
    wanted = say("wanted: ipp://HOST/PATH or ipps://HOST/PATH, such as ipp://192.0.2.7/ipp/print")
    given = text.strip()
    if len(given) > LONGEST_ADDRESS or not given.isascii() or any(letter <= " " for letter in given):
        raise ValueError(wanted)
    try:
        parts = urlsplit(given)
        port = parts.port
    except ValueError:
        raise ValueError(wanted) from None
    named = parts.scheme in ("ipp", "ipps") and parts.hostname and port != 0
    if not named or parts.username is not None or parts.query or parts.fragment:
        raise ValueError(wanted)
    path = parts.path if parts.path not in ("", "/") else "/ipp/print"
    return PrinterAddress(secure=parts.scheme == "ipps", host=parts.hostname or "", port=port or IPP_PORT, path=path)


def fits_stock(size_mm: tuple[float, float], stock_mm: tuple[float, float]) -> bool:
    """Say whether a label of a size (width, height in mm) is printed on a stock without being cut or scaled."""
    return all(abs(own - loaded) <= SIZE_TOLERANCE_MM for own, loaded in zip(size_mm, stock_mm, strict=True))
