"""Printing on a network printer, judged by Debian's ippeveprinter: what it got, and what is said when it goes wrong."""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from io import BytesIO
from pathlib import Path
from random import Random
from uuid import UUID, uuid4

import pytest
from pypdf import PdfReader

from tests.floor import Floor
from tests.network_printer import LostAnswer, NetworkPrinter, message_bus, network_printer
from tests.waiting import until
from tracker.records.database import Database
from tracker.records.printing import PrintRow, prints_of
from tracker.settings import Settings
from tracker.shop.codes import Code, Kind
from tracker.shop.errors import ConflictError, InvalidInputError, NotFoundError
from tracker.shop.printing import LONGEST_SEND, LONGEST_WAIT, Cause, PrinterState, PrintState, Reason, read_address
from tracker.work import printers
from tracker.work.boards import plan_job_boards
from tracker.work.ipp_printer import JOB_COMPLETED, Patience, Reached, Ticket, ask_job, ask_printer, print_document
from tracker.work.label_choice import Choice, Only, Order, What, preview_labels
from tracker.work.print_queue import PrintQueue
from tracker.work.prints import (
    Request,
    cancel_print,
    document_of,
    follow_print,
    give_up,
    note_what_came_out,
    print_view,
    send_print,
    take_print,
)
from tracker.work.replace import replace_part

QUICKLY = Patience(reach_s=2, silence_s=1, whole_s=5)
PARTS = Choice(job="J-1", what=What.PARTS)


def now() -> datetime:
    return datetime.now(UTC)


@pytest.fixture(scope="module")
def bus(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    with message_bus(tmp_path_factory.mktemp("bus")) as path:
        yield path


@pytest.fixture
def device(tmp_path: Path, bus: Path) -> Iterator[NetworkPrinter]:
    made = NetworkPrinter(tmp_path / "device", bus)
    yield made
    made.switch_off()


class Desk:
    """Somebody who prints: a shop of its own with one printer of part labels, LABEL-1."""

    def __init__(self, database: Database, folder: Path, address: str) -> None:
        self.database = database
        self.floor = Floor(database)
        self.settings = Settings(data_dir=folder, database_url=str(database.url), secret_key="for tests")  # noqa: S106
        self.printer = printers.add_printer(
            database, "LABEL-1", address, dpi=203, stock_mm=(100, 50), now=now() - timedelta(minutes=1)
        )

    def take(self, choice: Choice = PARTS, **more: object) -> int:
        given = {"request_id": uuid4(), "printer": self.printer, **more}
        return take_print(self.database, Request(choice=choice, **given), who="Ida", now=now())  # type: ignore[arg-type]

    def send(self, number: int) -> PrintRow:
        send_print(self.database, self.settings, number, now, QUICKLY)
        return self.view(number)

    def view(self, number: int, *, later: timedelta = timedelta(0)) -> PrintRow:
        return print_view(self.database, number, now=now() + later)

    def follow(self, number: int, wanted: Callable[[PrintRow], bool]) -> PrintRow:
        def seen() -> PrintRow | None:
            row = follow_print(self.database, number, now)
            return row if wanted(row) else None

        return until(seen)

    def ended(self, number: int) -> PrintRow:
        return self.follow(number, lambda row: row.state is not PrintState.SENT)

    def print(self, choice: Choice = PARTS, **more: object) -> PrintRow:
        number = self.take(choice, **more)
        assert self.send(number).state is PrintState.SENT
        return self.ended(number)


@pytest.fixture
def desk(sqlite: Database, tmp_path: Path, device: NetworkPrinter) -> Desk:
    return Desk(sqlite, tmp_path, device.address)


# What the printer gets


def test_the_printer_gets_the_very_document_at_true_size_on_labels_of_its_size(
    desk: Desk, device: NetworkPrinter
) -> None:
    row = desk.print(copies=2)
    assert (row.state, row.cause, row.labels) == (PrintState.PRINTED, None, 3)
    pages = PdfReader(BytesIO(device.got()[0])).pages
    assert len(pages) == 3
    assert float(pages[0].mediabox.width) == pytest.approx(100 / 25.4 * 72, abs=0.1)
    told = device.attributes(row.printer_job or 0)
    assert told["MEDIA_COL"] == "{media-size={x-dimension=10000 y-dimension=5000}}"  # hundredths of a mm: PWG 5100.3
    assert told["PRINT_SCALING"] == "none"
    assert told["PRINTER_RESOLUTION"] == "203dpi"
    assert told["DOCUMENT_FORMAT_SUPPLIED"] == "application/pdf"
    assert told["COPIES"] == "2"
    assert told["JOB_ORIGINATING_USER_NAME"] == "Ida"
    assert told["JOB_NAME"].startswith("Labels of job J-1")


@pytest.mark.parametrize("secure", [False, True])
def test_a_large_document_arrives_byte_by_byte(device: NetworkPrinter, *, secure: bool) -> None:
    document = b"%PDF-1.7 " + Random(5).randbytes(5_000_000)
    talk = Reached(address=read_address(device.secure_address if secure else device.address))
    ticket = Ticket(name="ä" * 300, who="Ida", size_mm=(100, 50), dpi=203)  # a name has at most 255 bytes
    number = print_document(talk, ticket, ask_printer(talk), document)
    until(lambda: ask_job(talk, number, ticket.name).state == JOB_COMPLETED)
    assert device.got() == [document]
    assert device.attributes(number)["JOB_NAME"] == "ä" * 127


def test_a_printer_that_is_reached_by_tls_is_known_again_by_its_certificate(
    sqlite: Database, tmp_path: Path, device: NetworkPrinter
) -> None:
    desk = Desk(sqlite, tmp_path, device.secure_address)
    known = printers.printer(sqlite, desk.printer)
    assert (known.state, len(known.certificate or b"")) == (PrinterState.READY, 32)
    assert desk.print().state is PrintState.PRINTED
    for file in (device.folder / "keys").iterdir():
        file.unlink()
    device.switch_off()
    device.switch_on()
    other = desk.send(desk.take(reason=Reason.LOST))
    assert (other.state, other.cause) == (PrintState.FAILED, Cause.OTHER_CERTIFICATE)


def test_a_test_page_is_printed_at_the_size_that_is_loaded(desk: Desk, device: NetworkPrinter) -> None:
    assert desk.print(Choice(what=What.TEST)).state is PrintState.PRINTED
    assert len(PdfReader(BytesIO(device.got()[0])).pages) == 1


# What goes wrong


def test_a_printer_that_is_off_is_said_to_be_and_nothing_is_in_doubt(desk: Desk, device: NetworkPrinter) -> None:
    device.switch_off()
    row = desk.send(desk.take())
    assert (row.state, row.cause) == (PrintState.FAILED, Cause.OFF)
    off = printers.refresh_printer(desk.database, desk.printer, now=now() + timedelta(minutes=1))
    assert off.state is PrinterState.OFF
    assert off.heard_at is not None
    device.switch_on()
    assert desk.print().state is PrintState.PRINTED  # what failed needs no reason


def test_a_print_whose_answer_is_lost_may_have_been_printed_and_is_never_sent_again_by_itself(
    sqlite: Database, tmp_path: Path, device: NetworkPrinter
) -> None:
    with LostAnswer(device) as middle:
        desk = Desk(sqlite, tmp_path, middle.address)
        number = desk.take()
        row = desk.send(number)
        assert (row.state, row.cause) == (PrintState.DOUBTFUL, Cause.LOST)
        assert desk.send(number).state is PrintState.DOUBTFUL
        assert len(device.got()) == 1
    with pytest.raises(InvalidInputError):
        desk.take()  # it may be there: a second label needs a reason
    note_what_came_out(desk.database, number, came_out=False, who="Ola", now=now())
    assert (desk.view(number).state, desk.view(number).detail) == (PrintState.FAILED, "Ola")
    desk.take()


def test_a_printer_that_hangs_before_anything_was_sent_has_printed_nothing(desk: Desk, device: NetworkPrinter) -> None:
    device.freeze()
    row = desk.send(desk.take())
    assert (row.state, row.cause) == (PrintState.FAILED, Cause.OFF)


def test_an_empty_roll_keeps_the_print_at_the_printer_where_it_can_be_cancelled(
    desk: Desk, device: NetworkPrinter
) -> None:
    device.mood("echo 'STATE: +media-empty' >&2")
    assert desk.print().state is PrintState.PRINTED
    number = desk.take(reason=Reason.MISPRINT)
    assert desk.send(number).state is PrintState.SENT
    row = desk.follow(number, lambda row: row.cause is not None)
    assert (row.state, row.cause, row.detail) == (PrintState.SENT, Cause.NOT_READY, PrinterState.NO_LABELS.value)
    assert printers.printer(desk.database, desk.printer).warning is PrinterState.NO_LABELS
    cancel_print(desk.database, number, who="Ida", now=now())
    assert desk.view(number).state is PrintState.CANCELLED
    assert len(device.got()) == 1


def test_another_job_under_the_same_number_says_nothing_of_a_print_and_is_not_cancelled_for_it(
    desk: Desk, device: NetworkPrinter
) -> None:
    device.mood("sleep 60")
    number = desk.take()
    job = desk.send(number).printer_job or 0
    device.switch_off()
    device.mood("exit 0")
    device.switch_on()  # its numbers start anew
    talk = Reached(address=read_address(device.address), patience=QUICKLY)
    ticket = Ticket(name="another's letter", who="Una", size_mm=(100, 50), dpi=203)
    assert print_document(talk, ticket, ask_printer(talk), b"%PDF-1.4") == job
    row = desk.follow(number, lambda row: row.cause is not None)
    assert (row.state, row.cause) == (PrintState.SENT, Cause.FORGOTTEN)
    with pytest.raises(ConflictError, match="does not remember"):
        cancel_print(desk.database, number, who="Ida", now=now())
    assert ask_job(talk, job, ticket.name).state in (3, 5, JOB_COMPLETED)
    note_what_came_out(desk.database, number, came_out=False, who="Ida", now=now())


def test_a_printer_that_gives_up_in_the_middle_leaves_the_print_in_doubt(desk: Desk, device: NetworkPrinter) -> None:
    device.mood("exit 1")
    row = desk.print()
    assert (row.state, row.cause) == (PrintState.DOUBTFUL, Cause.ABORTED)
    note_what_came_out(desk.database, row.id, came_out=True, who="Ida", now=now())
    assert desk.view(row.id).state is PrintState.PRINTED
    with pytest.raises(ConflictError):
        note_what_came_out(desk.database, row.id, came_out=False, who="Ida", now=now())


def test_a_printer_that_takes_no_pdf_is_not_sent_one(sqlite: Database, tmp_path: Path) -> None:
    with network_printer(tmp_path / "raster", takes_pdf=False) as device:
        desk = Desk(sqlite, tmp_path, device.address)
        row = desk.send(desk.take())
        assert (row.state, row.cause) == (PrintState.FAILED, Cause.NO_PDF)
        assert device.got() == []


def test_labels_that_are_not_loaded_and_sizes_that_the_printer_does_not_take_are_refused_before_anything_is_sent(
    desk: Desk, device: NetworkPrinter
) -> None:
    row = desk.send(desk.take(Choice(job="J-1", what=What.BOXES)))
    assert (row.state, row.cause, row.detail) == (PrintState.FAILED, Cause.WRONG_SIZE, "100 × 150 mm, 100 × 50 mm")
    wide = printers.add_printer(
        desk.database, "WIDE", device.address, dpi=203, stock_mm=(200, 50), now=now() + timedelta(minutes=1)
    )
    row = desk.send(desk.take(Choice(what=What.TEST), printer=wide))
    assert (row.state, row.cause) == (PrintState.FAILED, Cause.PRINTER_SIZE)
    assert device.got() == []


def test_what_answers_but_is_no_printer_is_said_to_be_strange(sqlite: Database, tmp_path: Path) -> None:
    from http.server import BaseHTTPRequestHandler, HTTPServer
    from threading import Thread

    class Other(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.rfile.read(int(self.headers["Content-Length"]))
            self.send_response(200 if "print" in self.path else 404)
            self.end_headers()
            self.wfile.write(b"hello" * 3)

        def log_message(self, *_args: object) -> None:
            pass

    with HTTPServer(("127.0.0.1", 0), Other) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        for path in ("print", "nothing"):
            number = printers.add_printer(
                sqlite, path, f"ipp://127.0.0.1:{server.server_port}/{path}", dpi=203, stock_mm=(100, 50), now=now()
            )
            assert printers.printer(sqlite, number).state is PrinterState.STRANGE
        server.shutdown()


# Once, and with a reason


def test_the_same_request_is_one_print_and_another_under_its_id_is_refused(desk: Desk, device: NetworkPrinter) -> None:
    one = UUID(int=1)
    first = desk.take(request_id=one)
    assert desk.take(request_id=one) == first
    assert desk.send(first).state is PrintState.SENT
    assert desk.take(request_id=one) == first
    desk.send(first)
    assert desk.ended(first).state is PrintState.PRINTED
    assert len(device.got()) == 1
    with pytest.raises(ConflictError):
        desk.take(Choice(job="J-1", what=What.BOXES), request_id=one)


def test_a_label_is_printed_again_only_with_a_reason_which_stays_in_the_parts_history(desk: Desk) -> None:
    assert desk.print().reason is None
    with pytest.raises(InvalidInputError) as refused:
        desk.take()
    assert [fault.where["field"] for fault in refused.value.faults] == ["reason"]
    with pytest.raises(InvalidInputError):
        desk.take(reason=Reason.OTHER)
    again = desk.print(Choice(job="J-1", what=What.PARTS, part=desk.floor.deck), reason=Reason.OTHER, note="oil on it")
    assert (again.labels, again.again) == (1, 1)
    with desk.database.read() as connection:
        history = prints_of(connection, desk.floor.deck, now(), limit=9)
        other = prints_of(connection, desk.floor.end, now(), limit=9)
    assert [(each.who, each.reason, each.note) for each in history] == [
        ("Ida", Reason.OTHER, "oil on it"),
        ("Ida", None, ""),
    ]
    assert len(other) == 1


def test_boxes_and_cards_are_printed_again_without_a_reason(desk: Desk) -> None:
    for choice in (Choice(job="J-1", what=What.BOXES), Choice(what=What.CARDS)):
        for _time in range(2):
            desk.take(choice, printer=None)


def test_a_reason_is_kept_only_where_a_label_was_there_before(desk: Desk) -> None:
    number = desk.take(reason=Reason.LOST, note="who knows")
    assert (desk.view(number).reason, desk.view(number).note) == (None, "")


# The service stops in the middle


def test_a_print_that_waited_when_the_service_stopped_is_never_sent_and_counts_as_not_printed(
    desk: Desk, device: NetworkPrinter
) -> None:
    number = desk.take()
    late = desk.view(number, later=LONGEST_WAIT + timedelta(minutes=1))
    assert (late.state, late.cause) == (PrintState.FAILED, Cause.NEVER_SENT)
    later = now() + LONGEST_WAIT + timedelta(minutes=1)
    send_print(desk.database, desk.settings, number, lambda: later, QUICKLY)
    assert device.got() == []
    take_print(desk.database, Request(request_id=uuid4(), choice=PARTS, printer=desk.printer), who="Ida", now=later)


def test_a_print_that_was_being_sent_when_the_service_stopped_is_in_doubt(desk: Desk) -> None:
    from tracker.records.printing import change_print

    number = desk.take()
    with desk.database.write() as connection:
        change_print(connection, number, PrintState.SENDING, now(), only=(PrintState.WAITING,))
    late = desk.view(number, later=LONGEST_SEND + timedelta(seconds=1))
    assert (late.state, late.cause) == (PrintState.DOUBTFUL, Cause.STOPPED)
    note_what_came_out(desk.database, number, came_out=True, who="Ida", now=now() + LONGEST_SEND + timedelta(seconds=1))
    assert desk.view(number).state is PrintState.PRINTED


def test_a_print_that_waits_is_taken_back_and_one_that_is_printed_is_not(desk: Desk, device: NetworkPrinter) -> None:
    number = desk.take()
    cancel_print(desk.database, number, who="Ida", now=now())
    row = desk.send(number)
    assert (row.state, row.cause) == (PrintState.FAILED, Cause.TAKEN_BACK)
    printed = desk.print()
    with pytest.raises(ConflictError):
        cancel_print(desk.database, printed.id, who="Ida", now=now())
    assert len(device.got()) == 1


def test_the_queue_sends_beside_the_request_and_what_is_too_much_is_never_sent(
    desk: Desk, device: NetworkPrinter
) -> None:
    queue = PrintQueue(desk.database, desk.settings)
    number = desk.take()
    queue.send(number)
    until(lambda: desk.view(number).state not in (PrintState.WAITING, PrintState.SENDING))
    assert desk.ended(number).state is PrintState.PRINTED
    assert len(device.got()) == 1
    queue.close()
    number = desk.take(reason=Reason.LOST)
    give_up(desk.database, number, now)
    assert (desk.send(number).state, desk.view(number).cause) == (PrintState.FAILED, Cause.FULL)


# Choosing


def codes(desk: Desk, **chosen: object) -> list[str]:
    choice = Choice(job="J-1", **chosen)  # type: ignore[arg-type]
    return list(preview_labels(desk.database, choice, after=0, limit=99).codes)


def test_parts_come_in_the_order_of_the_saw_board_by_board(desk: Desk) -> None:
    floor = desk.floor
    by_box = codes(desk, what=What.PARTS)
    plan_job_boards(desk.database, "J-1", **floor.act())
    with desk.database.read() as connection:
        from tracker.records.boards import boards_of_job

        boards = boards_of_job(connection, 1)
    cut = [part.code for board in boards for part in board.parts]
    assert codes(desk, what=What.PARTS, order=Order.SAW) == cut
    assert sorted(cut) == sorted(by_box)
    assert codes(desk, what=What.ALL, order=Order.SAW) == [floor.box_101, floor.box_102, *cut]
    assert codes(desk, board=boards[0].code) == [part.code for part in boards[0].parts]
    assert codes(desk, what=What.BOARDS, board=boards[0].code) == [boards[0].code]
    assert codes(desk, board=str(Code(Kind.BOARD, 77))) == codes(desk, board="nonsense") == []


def test_only_what_is_not_printed_or_what_the_boxes_lack_is_chosen(desk: Desk) -> None:
    floor = desk.floor
    desk.take(Choice(job="J-1", what=What.PARTS, part=floor.deck), printer=None)
    assert codes(desk, what=What.PARTS, only=Only.UNPRINTED) == [floor.toe_kick, floor.end]
    floor.scan(floor.end, "PACK-1")
    assert codes(desk, only=Only.MISSING) == [floor.box_101, floor.deck, floor.toe_kick]
    shown = preview_labels(desk.database, Choice(job="J-1"), after=0, limit=1)
    assert (shown.count, shown.again, dict(shown.kinds)) == (5, 1, {Kind.BOX: 2, Kind.PART: 3})


def test_a_part_that_was_replaced_since_is_left_out_of_a_print_that_is_opened_again(desk: Desk) -> None:
    floor = desk.floor
    number = desk.take(printer=None)
    replace_part(desk.database, 1, "chipped", **floor.act())
    assert document_of(desk.database, desk.settings, desk.view(number)).labels == 2
    assert len(codes(desk, what=What.PARTS, only=Only.UNPRINTED)) == 1  # the new part has its own code


def test_a_choice_without_labels_and_one_with_too_many_say_so(desk: Desk) -> None:
    with pytest.raises(NotFoundError):
        desk.take(Choice(job="J-1", what=What.PARTS, cabinet="999"))
    with pytest.raises(NotFoundError):
        desk.take(Choice(job="nowhere"))
    with pytest.raises(NotFoundError):
        desk.take(printer=77)
    with pytest.raises(NotFoundError):
        print_view(desk.database, 10**30, now=now())


# Printers


def test_a_printer_that_is_off_is_added_all_the_same_and_its_name_is_free_when_it_is_taken_out(
    database: Database,
) -> None:
    for _time in range(2):
        number = printers.add_printer(
            database, "LABEL-1", "ipp://localhost:9/ipp/print", dpi=300, stock_mm=(62, 29), now=now()
        )
        assert printers.printer(database, number).state is PrinterState.OFF
        with pytest.raises(ConflictError):
            printers.add_printer(database, "LABEL-1", "ipp://localhost:9/", dpi=300, stock_mm=(62, 29), now=now())
        printers.withdraw_printer(database, number, now=now())
    with pytest.raises(NotFoundError):
        printers.printer_named(database, "LABEL-1")


def test_every_fault_of_a_printer_is_named(sqlite: Database) -> None:
    with pytest.raises(InvalidInputError) as refused:
        printers.add_printer(sqlite, "L", "http://x", dpi=72, stock_mm=(1, 99_999), now=now())
    fields = [fault.where["field"] for fault in refused.value.faults]
    assert fields == ["address", "dpi", "width_mm", "height_mm"]


def test_prints_are_kept_and_told_alike_on_both_databases(database: Database, tmp_path: Path) -> None:
    desk = Desk(database, tmp_path, "ipp://localhost:9/ipp/print")
    number = desk.take()
    row = desk.send(number)
    assert (row.state, row.cause, row.job, row.printer) == (PrintState.FAILED, Cause.OFF, "J-1", "LABEL-1")
    assert codes(desk, what=What.PARTS, only=Only.UNPRINTED) == codes(desk, what=What.PARTS)
    assert desk.view(desk.take(printer=None)).state is PrintState.FILE
    assert codes(desk, what=What.PARTS, only=Only.UNPRINTED) == []
