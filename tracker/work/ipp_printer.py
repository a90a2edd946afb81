"""Talks with one network printer: the Internet Printing Protocol (RFC 8011) over HTTP (RFC 8010, section 4).

What went wrong is said with how sure it is that nothing came out: before the first byte of a document was sent it is
certain, after that it is not until the printer has answered.
"""

import socket
import ssl
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from hashlib import sha256
from http.client import HTTPConnection, HTTPException, HTTPResponse, HTTPSConnection
from typing import Final

from tracker.labels.ipp import (
    Attribute,
    BadMessageError,
    Collection,
    Group,
    Message,
    Range,
    Resolution,
    Tag,
    attribute,
    collection,
    decode,
    encode,
    first_number,
    texts,
)
from tracker.shop.printing import (
    NO_NUMBER,
    NOT_READ,
    REFUSAL_WORDS,
    SAYS_NOTHING,
    Cause,
    PrinterAddress,
    PrinterState,
    printer_state,
    printer_warning,
)

# RFC 8011, 5.4.15 (operations-supported) and appendix B (status codes).
PRINT_JOB, VALIDATE_JOB, CANCEL_JOB, GET_JOB, GET_PRINTER = 0x0002, 0x0004, 0x0008, 0x0009, 0x000B
_NOT_OK: Final = 0x0100  # successful statuses are below
_NOT_FOUND, _NO_FORMAT, _BUSY = 0x0406, 0x040A, 0x0507
_REFUSALS: Final = {_NO_FORMAT: Cause.NO_PDF, _BUSY: Cause.BUSY}
MOST_ANSWERED: Final = 1024 * 1024
_AT_ONCE: Final = 64 * 1024
_PDF: Final = "application/pdf"


@dataclass(frozen=True, slots=True, kw_only=True)
class Patience:
    """How long a printer is waited for, in s: to be reached, between two signs of life, and in all."""

    reach_s: float = 4.0
    silence_s: float = 20.0
    whole_s: float = 100.0


USUAL: Final = Patience()
QUICK: Final = Patience(reach_s=2.0, silence_s=3.0, whole_s=5.0)


class PrinterFault(Exception):  # noqa: N818 - it is said to people, who know no exceptions
    """The printer did not do it: ``cause`` says why, ``sure`` that no label came out."""

    def __init__(self, cause: Cause, detail: str = "", *, sure: bool = True) -> None:
        super().__init__(cause, detail)
        self.cause, self.detail, self.sure = cause, detail[:200], sure


@dataclass(frozen=True, slots=True, kw_only=True)
class Reached:
    """A printer to talk with: its address, and the digest of the certificate that it must show, if one is known."""

    address: PrinterAddress
    certificate: bytes | None = None
    patience: Patience = USUAL


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What a printer says of itself. ``sizes_mm`` are the labels that it takes, as two ranges each, none if unsaid."""

    state: PrinterState
    warning: PrinterState | None
    takes_pdf: bool
    sizes_mm: tuple[tuple[tuple[float, float], tuple[float, float]], ...]
    resolutions: frozenset[int]
    options: frozenset[str]

    def takes_size(self, size_mm: tuple[float, float]) -> bool:
        """Say whether labels of a size (mm) can be printed, as far as the printer says what it takes."""
        if not self.sizes_mm:
            return True
        return any(_within(size_mm, across, along) for across, along in self.sizes_mm)


def _within(size_mm: tuple[float, float], across: tuple[float, float], along: tuple[float, float]) -> bool:
    half = 0.5  # a printer may list 4 × 2 in as 101.6 × 50.8 mm and be given 102 × 51 mm
    return across[0] - half <= size_mm[0] <= across[1] + half and along[0] - half <= size_mm[1] <= along[1] + half


@dataclass(frozen=True, slots=True, kw_only=True)
class Ticket:
    """What is printed and how: ``size_mm`` of each page, ``dpi`` of the printer."""

    name: str
    who: str
    size_mm: tuple[float, float]
    dpi: int
    copies: int = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class JobTold:
    """How a job stands at the printer: ``state`` as in RFC 8011, 5.3.7; None when the printer does not know it."""

    state: int | None
    reasons: tuple[str, ...]
    message: str


JOB_CANCELLED, JOB_ABORTED, JOB_COMPLETED = 7, 8, 9


# The calls


def ask_printer(reached: Reached) -> Told:
    """Return what a printer says of itself. Raises PrinterFault."""
    wanted = (
        *("printer-state", "printer-state-reasons", "printer-is-accepting-jobs", "document-format-supported"),
        *("media-size-supported", "printer-resolution-supported", "job-creation-attributes-supported"),
        *("print-scaling-supported", "sides-supported", "media-col-supported"),
    )
    asked = attribute("requested-attributes", Tag.KEYWORD, *wanted)
    answer = _refuse(_exchange(reached, GET_PRINTER, [asked]))

    def told(name: str) -> tuple[object, ...]:
        return answer.values(Tag.PRINTER, name)

    state = first_number(told("printer-state"), 0)
    if not state:
        raise PrinterFault(Cause.STRANGE, SAYS_NOTHING)
    reasons = tuple(texts(told("printer-state-reasons")))
    named = {each.removesuffix("-supported") for each in answer.names(Tag.PRINTER)}
    formats = texts(told("document-format-supported"))
    return Told(
        state=printer_state(state, reasons, accepts=told("printer-is-accepting-jobs") != (False,)),
        warning=printer_warning(reasons),
        takes_pdf=not formats or _PDF in formats,
        sizes_mm=_sizes(told("media-size-supported")),
        resolutions=_resolutions(told("printer-resolution-supported")),
        options=frozenset(texts(told("job-creation-attributes-supported"))) | named,
    )


def _sizes(values: Sequence[object]) -> tuple[tuple[tuple[float, float], tuple[float, float]], ...]:
    """Return sizes in mm: PWG 5100.3 gives them in hundredths of a mm, a roll's as ranges."""
    found = ([_range(each.get(name)) for name in ("x-dimension", "y-dimension")] for each in values
             if isinstance(each, Collection))  # fmt: skip
    return tuple((across, along) for across, along in found if across and along)


def _range(values: Sequence[object]) -> tuple[float, float] | None:
    match values:
        case (Range(low=low, high=high),):
            return low / 100, high / 100
        case (int(exactly),):
            return exactly / 100, exactly / 100
        case _:
            return None


def _resolutions(values: Sequence[object]) -> frozenset[int]:
    return frozenset(each.across for each in values if isinstance(each, Resolution) and not each.per_cm)


def check_job(reached: Reached, ticket: Ticket, told: Told) -> None:
    """Let the printer say whether it would print this, without a document. Raises PrinterFault."""
    answer = _exchange(reached, VALIDATE_JOB, _operation(ticket), _job(ticket, told))
    ignored = set(answer.names(Tag.UNSUPPORTED))
    if answer.code == _NO_FORMAT or "document-format" in ignored:
        raise PrinterFault(Cause.NO_PDF)
    if {"media", "media-col", "media-size"} & ignored:
        raise PrinterFault(Cause.PRINTER_SIZE, size_words(ticket.size_mm))
    _refuse(answer)


def print_document(reached: Reached, ticket: Ticket, told: Told, document: bytes) -> int:
    """Send a document to be printed; return the printer's number for the job. Raises PrinterFault."""
    answer = _exchange(reached, PRINT_JOB, _operation(ticket), _job(ticket, told), document=document)
    number = first_number(_refuse(answer).values(Tag.JOB, "job-id"), 0)
    if number < 1:
        raise PrinterFault(Cause.STRANGE, NO_NUMBER, sure=False)
    return number


def ask_job(reached: Reached, number: int, name: str) -> JobTold:
    """Return how the job with a number and a name stands at the printer. Raises PrinterFault.

    A printer may start its numbers anew: one of another name is another's job, and ours is not known there.
    """
    answer = _exchange(reached, GET_JOB, [attribute("job-id", Tag.INTEGER, number)])
    if answer.code == _NOT_FOUND or texts(_refuse(answer).values(Tag.JOB, "job-name")) != [_short(name)]:
        return JobTold(state=None, reasons=(), message="")
    told = texts(answer.values(Tag.JOB, "job-state-message"))
    return JobTold(
        state=first_number(answer.values(Tag.JOB, "job-state"), 0),
        reasons=tuple(texts(answer.values(Tag.JOB, "job-state-reasons"))),
        message=(told[0] if told else "")[:200],
    )


def cancel_job(reached: Reached, number: int, name: str, who: str) -> None:
    """Ask the printer to drop a job. Raises PrinterFault, as when it is printed already or not known any more."""
    if ask_job(reached, number, name).state is None:
        raise PrinterFault(Cause.FORGOTTEN)
    asks = attribute("requesting-user-name", Tag.NAME, _short(who))
    _refuse(_exchange(reached, CANCEL_JOB, [attribute("job-id", Tag.INTEGER, number), asks]))


def size_words(size_mm: tuple[float, float]) -> str:
    """Return a size as it stands on a roll's wrapper."""
    return f"{size_mm[0]:.4g} × {size_mm[1]:.4g} mm"


def _operation(ticket: Ticket) -> list[Attribute]:
    return [
        attribute("requesting-user-name", Tag.NAME, _short(ticket.who)),
        attribute("job-name", Tag.NAME, _short(ticket.name)),
        attribute("document-format", Tag.MIME_TYPE, _PDF),
    ]


def _short(text: str) -> str:
    """Return a text within the 255 bytes that a name may have: RFC 8011, 5.1.3."""
    return text.encode()[:255].decode(errors="ignore")


def _job(ticket: Ticket, told: Told) -> list[Attribute]:
    """Return how it is to be printed. What a printer ignores it says; the size alone is worth refusing for."""
    across, along = (round(each * 100) for each in ticket.size_mm)
    size = collection(
        "media-size", attribute("x-dimension", Tag.INTEGER, across), attribute("y-dimension", Tag.INTEGER, along)
    )
    job = [collection("media-col", size), attribute("print-scaling", Tag.KEYWORD, "none")]
    if "sides" in told.options:
        job.append(attribute("sides", Tag.KEYWORD, "one-sided"))
    if ticket.dpi in told.resolutions:
        job.append(attribute("printer-resolution", Tag.RESOLUTION, Resolution(across=ticket.dpi, along=ticket.dpi)))
    if ticket.copies > 1:
        job.append(attribute("copies", Tag.INTEGER, ticket.copies))
    return job


def _refuse(answer: Message) -> Message:
    """Return an answer that says yes. Raises PrinterFault for one that says no: then nothing was printed."""
    if answer.code < _NOT_OK:
        return answer
    own = texts(answer.values(Tag.OPERATION, "status-message"))
    words = own[0] if own else REFUSAL_WORDS.get(answer.code, f"status 0x{answer.code:04x}")
    raise PrinterFault(_REFUSALS.get(answer.code, Cause.REFUSED), words)


# Over the network


def certificate_of(address: PrinterAddress, patience: Patience = QUICK) -> bytes:
    """Return the digest of the certificate that a printer shows. Raises PrinterFault."""
    connection = HTTPSConnection(address.host, address.port, timeout=patience.reach_s, context=_any_certificate())
    try:
        connection.connect()
        return _digest(connection)
    except OSError as error:
        raise PrinterFault(Cause.OFF, str(error)) from error
    finally:
        connection.close()


def _any_certificate() -> ssl.SSLContext:
    """A printer's certificate is its own: nobody vouches for it. It is known again by its digest."""
    context = ssl.create_default_context()
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    return context


def _digest(connection: HTTPSConnection) -> bytes:
    shown = connection.sock.getpeercert(binary_form=True) if isinstance(connection.sock, ssl.SSLSocket) else None
    return sha256(shown or b"").digest()


def _exchange(
    reached: Reached, code: int, operation: Sequence[Attribute], job: Sequence[Attribute] = (), *, document: bytes = b""
) -> Message:
    head = [
        attribute("attributes-charset", Tag.CHARSET, "utf-8"),
        attribute("attributes-natural-language", Tag.LANGUAGE, "en"),
        attribute("printer-uri", Tag.URI, str(reached.address)),
    ]
    groups = [Group(Tag.OPERATION, (*head, *operation))]
    if job:
        groups.append(Group(Tag.JOB, tuple(job)))
    request = encode(Message(code=code, request_id=1, groups=tuple(groups)))
    connection = _connected(reached)
    try:
        with _at_most(connection, reached.patience.whole_s):
            body = _answer_to(connection, reached, request, document)
        answer = decode(body)
    except BadMessageError as error:
        raise PrinterFault(Cause.STRANGE, NOT_READ, sure=not document) from error
    except (OSError, HTTPException) as error:
        raise PrinterFault(Cause.LOST if document else Cause.OFF, str(error), sure=not document) from error
    finally:
        connection.close()
    return answer


def _connected(reached: Reached) -> HTTPConnection:
    address, reach_s = reached.address, reached.patience.reach_s
    if address.secure:
        secure = HTTPSConnection(address.host, address.port, timeout=reach_s, context=_any_certificate())
        _connect(secure)
        if reached.certificate is not None and _digest(secure) != reached.certificate:
            secure.close()
            raise PrinterFault(Cause.OTHER_CERTIFICATE)
        return secure
    connection = HTTPConnection(address.host, address.port, timeout=reach_s)
    _connect(connection)
    return connection


def _connect(connection: HTTPConnection) -> None:
    try:
        connection.connect()
    except OSError as error:
        connection.close()
        raise PrinterFault(Cause.OFF, str(error)) from error


@contextmanager
def _at_most(connection: HTTPConnection, seconds: float) -> Iterator[None]:
    """Cut the connection after so many seconds, however slowly bytes come or go meanwhile."""
    timer = threading.Timer(seconds, _cut, [connection.sock])
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _cut(line: socket.socket) -> None:
    try:
        line.shutdown(socket.SHUT_RDWR)
    except OSError:
        return  # it is cut already


def _answer_to(connection: HTTPConnection, reached: Reached, request: bytes, document: bytes) -> bytes:
    connection.sock.settimeout(reached.patience.silence_s)
    connection.putrequest("POST", reached.address.path, skip_accept_encoding=True)
    connection.putheader("Content-Type", "application/ipp")
    connection.putheader("Content-Length", str(len(request) + len(document)))
    connection.endheaders()
    try:
        for piece in _pieces(request, document):
            connection.send(piece)
    except (BrokenPipeError, ConnectionResetError):
        pass  # a printer that refuses a document answers before it has all of it
    with connection.getresponse() as response:
        return _body(response)


def _pieces(*texts_: bytes) -> Iterator[memoryview]:
    for text in texts_:
        view = memoryview(text)
        for start in range(0, len(view), _AT_ONCE):
            yield view[start : start + _AT_ONCE]


def _body(response: HTTPResponse) -> bytes:
    """Return the body of an answer. An answer of HTTP that is no answer of IPP means that nothing was taken."""
    if response.status == 401:
        raise PrinterFault(Cause.PASSWORD)
    if response.status != 200:
        raise PrinterFault(Cause.STRANGE, f"HTTP {response.status} {response.reason}"[:100])
    body = response.read(MOST_ANSWERED + 1)
    if len(body) > MOST_ANSWERED:
        raise BadMessageError(f"an answer of more than {MOST_ANSWERED} bytes")
    return body
