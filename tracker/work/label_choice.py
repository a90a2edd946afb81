"""Choose which of a job's labels to look at or to print."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from io import BytesIO
from itertools import islice
from typing import Final

from PIL import Image
from sqlalchemy import Connection

from tracker.labels.documents import png_bytes, write_pdf
from tracker.labels.layouts import draw_board_label, draw_box_label, draw_code_label, draw_part_label
from tracker.records import look
from tracker.records.access import list_slots, list_stations
from tracker.records.boards import BoardView, boards_of_job
from tracker.records.database import Database
from tracker.records.designs import Marks, marks_of
from tracker.records.look import BoxView, JobView, PartView
from tracker.shop.codes import COMMAND_NUMBERS, Code, Kind
from tracker.shop.errors import NotFoundError
from tracker.shop.progress import DEAD_STATUSES
from tracker.work.labels import PARTS_AT_ONCE, board_label, box_label, part_label

MOST_COUNTED: Final = 2_000


class What(StrEnum):
    """Which labels of a job: each box with its parts, the boxes or the parts alone, or the boards."""

    ALL = "all"
    BOXES = "boxes"
    PARTS = "parts"
    BOARDS = "boards"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Which labels: ``step`` leaves the parts that wait for that step, ``cabinet`` and ``box`` those of one."""

    job: str
    what: What = What.ALL
    step: str = ""
    cabinet: str = ""
    box: str = ""

    def takes(self, part: PartView) -> bool:
        """Say whether a part's label is wanted; a dead part has none."""
        return (
            part.status not in DEAD_STATUSES
            and (not self.step or part.step == self.step)
            and (not self.cabinet or part.cabinet == self.cabinet)
            and (not self.box or part.box == self.box)
        )

    def takes_box(self, box: BoxView) -> bool:
        """Say whether a box's own label is wanted: not where the parts of a step are asked for."""
        in_box = not self.box or box.code == self.box
        of_cabinet = not self.cabinet or self.cabinet in box.cabinets
        return in_box and of_cabinet and (not self.step or self.what is What.BOXES)


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """The codes of the labels on one page of the preview, how many there are, and whether even more (``over``)."""

    codes: Sequence[str]
    count: int
    over: bool


Labelled = BoxView | PartView | BoardView


def preview_labels(database: Database, choice: Choice, *, after: int, limit: int) -> Preview:
    """Return the codes of ``limit`` labels after the first ``after``. Raises NotFoundError for no such job."""
    with database.read() as connection:
        codes = [each.code for each in islice(_chosen(connection, _job(connection, choice), choice), MOST_COUNTED + 1)]
    return Preview(
        codes=codes[after : after + limit], count=min(len(codes), MOST_COUNTED), over=len(codes) > MOST_COUNTED
    )


def print_labels(database: Database, choice: Choice, *, dpi: int) -> tuple[bytes, int]:
    """Return the chosen labels as a PDF, one a page at true size, and how many they are."""
    document = BytesIO()
    with database.read() as connection:
        job = _job(connection, choice)
        count = write_pdf(_drawn(connection, job, choice, dpi), document, dpi=dpi, title=f"Labels of job {job.code}")
    return document.getvalue(), count


def _job(connection: Connection, choice: Choice) -> JobView:
    job = look.job_view(connection, choice.job)
    if job is None:
        raise NotFoundError(f"There is no job {choice.job[:40]}.")
    return job


def _chosen(connection: Connection, job: JobView, choice: Choice) -> Iterator[Labelled]:
    if choice.what is What.BOARDS:
        yield from boards_of_job(connection, job.id)
        return
    for boxes in _box_chunks(connection, job.id):
        for box in boxes:
            yield from _of_box(box, choice)


def _of_box(box: BoxView, choice: Choice) -> Iterator[BoxView | PartView]:
    if choice.what is not What.PARTS and choice.takes_box(box):
        yield box
    if choice.what is not What.BOXES:
        yield from filter(choice.takes, box.parts)


def _box_chunks(connection: Connection, job_id: int) -> Iterator[list[BoxView]]:
    after = 0
    while boxes := look.boxes_of_job(connection, job_id, limit=PARTS_AT_ONCE, after=after):
        yield boxes
        after = boxes[-1].id


def _drawn(connection: Connection, job: JobView, choice: Choice, dpi: int) -> Iterator[Image.Image]:
    if choice.what is What.BOARDS:
        boards = boards_of_job(connection, job.id)
        yield from (draw_board_label(board_label(board, len(boards)), dpi) for board in boards)
        return
    for boxes in _box_chunks(connection, job.id):
        for box in boxes:
            marks = marks_of(connection, [part.id for part in box.parts])
            yield from (_draw(each, job, marks, dpi) for each in _of_box(box, choice))


def _draw(each: BoxView | PartView, job: JobView, marks: Mapping[int, Marks], dpi: int) -> Image.Image:
    if isinstance(each, BoxView):
        return draw_box_label(box_label(each, job), dpi)
    return draw_part_label(part_label(each, marks.get(each.id)), dpi)


def card_png(database: Database, code: Code, *, dpi: int) -> bytes:
    """Return the label of a station, a slot, a load or a command card as a PNG. Raises NotFoundError for none such."""
    title = _card_titles(database, code).get(code.number)
    if title is None:
        raise NotFoundError(f"There is nothing with the code {code}.")
    return png_bytes(draw_code_label(str(code), title[0], title[1], dpi), dpi=dpi)


def _card_titles(database: Database, code: Code) -> dict[int, tuple[str, str]]:
    with database.read() as connection:
        match code.kind:
            case Kind.STATION:
                return {each.id: (each.name, f"station: {each.step}") for each in list_stations(connection)}
            case Kind.SLOT:
                return {
                    number: (name, "slot: scan it after the part") for number, name in list_slots(connection).items()
                }
            case Kind.LOAD:
                load = look.load_view(connection, code.number)
                return {} if load is None else {load.id: (f"LOAD {load.ship_on}", "load: scan it before its boxes")}
            case Kind.COMMAND:
                return {number: (command.upper(), "") for number, command in COMMAND_NUMBERS.items()}
            case _:
                return {}


def card_codes(database: Database) -> list[str]:
    """Return the codes of what hangs on the walls: stations, slots, command cards."""
    with database.read() as connection:
        stations = [Code(Kind.STATION, each.id) for each in list_stations(connection)]
        slots = [Code(Kind.SLOT, number) for number in list_slots(connection)]
    return [str(code) for code in (*stations, *slots, *(Code(Kind.COMMAND, number) for number in COMMAND_NUMBERS))]
