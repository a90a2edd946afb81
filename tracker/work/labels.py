"""Labels of the shop's parts and boxes, drawn from what is kept."""

from collections.abc import Iterator
from typing import BinaryIO

from PIL import Image
from sqlalchemy import Connection

from tracker.labels.documents import png_bytes, write_pdf
from tracker.labels.layouts import (
    BoardLabel,
    BoxLabel,
    JointMark,
    PartLabel,
    draw_board_label,
    draw_box_label,
    draw_code_label,
    draw_part_label,
)
from tracker.records import look
from tracker.records.access import list_slots, list_stations
from tracker.records.boards import BoardView, board_view, boards_of_job
from tracker.records.database import Database
from tracker.records.designs import Marks, marks_of
from tracker.records.look import BoxView, JobView, PartView
from tracker.shop.cabinets.design import Mark
from tracker.shop.codes import COMMAND_NUMBERS, Code, Command, Kind
from tracker.shop.errors import NotFoundError
from tracker.shop.lifting import grade_lifting
from tracker.shop.progress import DEAD_STATUSES
from tracker.work.boards import job_boards

PARTS_AT_ONCE = 500


def part_label_png(database: Database, code: Code, *, dpi: int) -> bytes:
    """Return a part's label as a PNG. A replaced or cancelled part has none any more."""
    with database.read() as connection:
        part = look.part_view(connection, code.number)
        marks = marks_of(connection, [code.number]).get(code.number)
    if part is None:
        raise NotFoundError(f"There is no part {code}.")
    if part.status in DEAD_STATUSES:
        instead = f": print {part.replaced_by} instead" if part.replaced_by else ""
        raise NotFoundError(f"Part {code} is {part.status} and has no label any more{instead}.")
    return png_bytes(draw_part_label(part_label(part, marks), dpi), dpi=dpi)


def box_label_png(database: Database, code: Code, *, dpi: int) -> bytes:
    """Return a box's label as a PNG."""
    with database.read() as connection:
        box = look.box_view(connection, code.number)
        job = None if box is None else look.job_view(connection, box.job)
    if box is None or job is None:
        raise NotFoundError(f"There is no box {code}.")
    return png_bytes(draw_box_label(box_label(box, job), dpi), dpi=dpi)


def write_job_labels(database: Database, job_code: str, stream: BinaryIO, *, dpi: int) -> int:
    """Write all labels of a job as a PDF, each box followed by its parts; return how many."""
    with database.read() as connection:
        job = look.job_view(connection, job_code)
        if job is None:
            raise NotFoundError(f"There is no job {job_code[:40]}.")
        pages = job_labels(connection, job, dpi=dpi)
        return write_pdf(pages, stream, dpi=dpi, title=f"Labels of job {job.code}")


def write_card_labels(database: Database, stream: BinaryIO, *, dpi: int) -> int:
    """Write what hangs on the walls as a PDF: the stations, the slots and the command cards; return how many."""
    with database.read() as connection:
        stations, slots = list_stations(connection), list_slots(connection)
    cards = [
        *((Code(Kind.STATION, each.id), each.name, f"station: {each.step}") for each in stations),
        *((Code(Kind.SLOT, number), name, "slot: scan it after the part") for number, name in slots.items()),
        *((Code(Kind.COMMAND, number), command.upper(), _SAYS[command]) for number, command in COMMAND_NUMBERS.items()),
    ]
    pages = (draw_code_label(str(code), title, subtitle, dpi) for code, title, subtitle in cards)
    return write_pdf(pages, stream, dpi=dpi, title="Stations, slots and command cards")


_SAYS = {
    Command.UNDO: "takes this station's last scan back",
    Command.DAMAGED: "marks the part that was scanned last",
}


def job_labels(connection: Connection, job: JobView, *, dpi: int) -> Iterator[Image.Image]:
    """Draw a job's labels one by one: each box, followed by its parts in the order in which they are laid."""
    after = 0
    while boxes := look.boxes_of_job(connection, job.id, limit=PARTS_AT_ONCE, after=after):
        for box in boxes:
            yield draw_box_label(box_label(box, job), dpi)
            marks = marks_of(connection, [part.id for part in box.parts])
            for part in box.parts:
                if part.status not in DEAD_STATUSES:
                    yield draw_part_label(part_label(part, marks.get(part.id)), dpi)
        after = boxes[-1].id


def board_label_png(database: Database, code: Code, *, dpi: int) -> bytes:
    """Return a board's label as a PNG."""
    with database.read() as connection:
        board = board_view(connection, code.number)
        job = None if board is None else look.job_view(connection, board.job)
        boards = [] if job is None else boards_of_job(connection, job.id)
    if board is None:
        raise NotFoundError(f"There is no board {code}: it may be planned anew.")
    return png_bytes(draw_board_label(board_label(board, len(boards)), dpi), dpi=dpi)


def write_board_labels(database: Database, job_code: str, stream: BinaryIO, *, dpi: int) -> int:
    """Write the labels of a job's boards as a PDF, in the order of their numbers; return how many."""
    boards = job_boards(database, job_code)
    pages = (draw_board_label(board_label(board, len(boards)), dpi) for board in boards)
    return write_pdf(pages, stream, dpi=dpi, title=f"Boards of job {job_code}")


def board_label(board: BoardView, of: int) -> BoardLabel:
    """Return what a board's label says; ``of`` is how many boards its job has."""
    return BoardLabel(
        code=board.code,
        job=board.job,
        number=board.number,
        of=of,
        stock=board.stock,
        material=board.material,
        length_mm=board.length_mm,
        width_mm=board.width_mm,
        thickness_mm=board.thickness_mm,
        pieces=[
            (
                part.x_mm,
                part.y_mm,
                *((part.width_mm, part.length_mm) if part.turned else (part.length_mm, part.width_mm)),
            )
            for part in board.parts
        ],
    )


def part_label(part: PartView, marks: Marks | None) -> PartLabel:
    """Return what a part's label says."""
    return PartLabel(
        code=part.code,
        job=part.job,
        cabinet=part.cabinet,
        name=part.name,
        material=part.material,
        length_mm=part.length_mm,
        width_mm=part.width_mm,
        thickness_mm=part.thickness_mm,
        edges=part.edges,
        route=part.route[:-1],
        box=part.box_name,
        urgent=part.urgent,
        front="" if marks is None else marks.front,
        marks=() if marks is None else [_joint_mark(mark) for mark in marks.marks],
    )


def _joint_mark(mark: Mark) -> JointMark:
    return JointMark(number=mark.number, side=mark.side.value, along_mm=mark.along_mm, across_mm=mark.across_mm)


def box_label(box: BoxView, job: JobView) -> BoxLabel:
    """Return what a box's label says."""
    return BoxLabel(
        code=box.code,
        job=box.job,
        customer=box.customer,
        due=box.due,
        name=box.name,
        number=box.number,
        of=job.boxes.total,
        cabinets=box.cabinets,
        parts=len(box.parts),
        mass_kg=box.mass_kg,
        handling=grade_lifting(box.mass_kg, box.length_mm, box.width_mm).handling,
    )
