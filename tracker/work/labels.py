"""What the labels of the shop's things say, from what is kept."""

from collections.abc import Callable, Iterable, Mapping
from types import MappingProxyType
from typing import Final

from sqlalchemy import Connection

from tracker.labels.contents import BoardLabel, BoxLabel, CodeLabel, JointMark, Label, LabelKind, PartLabel
from tracker.labels.documents import png_bytes
from tracker.records.access import list_slots, list_stations
from tracker.records.boards import BoardView, board_view, boards_of_job
from tracker.records.box_contents import BoxView, box_view
from tracker.records.database import Database
from tracker.records.designs import Marks, marks_of
from tracker.records.jobs import JobView, job_view
from tracker.records.parts import SeenPart, part_view
from tracker.records.shipping import load_view
from tracker.settings import Settings
from tracker.shop.cabinets.design import Mark
from tracker.shop.codes import COMMAND_NUMBERS, Code, Command, Kind
from tracker.shop.errors import NotFoundError
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import say
from tracker.work.box_numbers import number_boxes
from tracker.work.label_setup import LabelSetup, label_setup

Link = Callable[[str], str]  # what the QR code of a code says, empty for the code alone
_CARDS: Final[Mapping[Command, str]] = MappingProxyType(
    {
        Command.UNDO: "takes this station's last scan back",
        Command.DAMAGED: "marks the part that was scanned last",
    }
)


def label_png(database: Database, settings: Settings, code: Code, *, dpi: int) -> bytes:
    """Return the label of a part, box, board, load, station, slot or command card as a PNG.

    A box gets its SSCC first, in a shop that gives them. Raises NotFoundError for what is not there, and for a part
    that was replaced or cancelled: it has no label any more.
    """
    if code.kind is Kind.BOX:
        number_boxes(database, [code.number])
    setup = label_setup(database, settings)
    with database.read() as connection:
        label = label_of(connection, code, setup)
    drawn, _stock = setup.draw(label, dpi)
    return png_bytes(drawn.image, dpi=dpi)


def label_of(connection: Connection, code: Code, setup: LabelSetup) -> Label:
    """Return what the label of a code says. Raises NotFoundError as ``label_png`` does."""
    match code.kind:
        case Kind.PART:
            return _of_part(connection, code, setup)
        case Kind.BOX:
            return _of_box(connection, code, setup)
        case Kind.BOARD:
            return _of_board(connection, code, setup)
        case _:
            return _of_card(connection, code)


def _of_part(connection: Connection, code: Code, setup: LabelSetup) -> Label:
    part = part_view(connection, code.number)
    if part is None:
        raise NotFoundError(say("There is no part %(part)s.", part=str(code)))
    if part.dead and part.replaced_by:
        raise NotFoundError(
            say(
                "Part %(code)s was replaced and has no label any more: print %(instead)s instead.",
                code=str(code),
                instead=part.replaced_by,
            )
        )
    if part.dead:
        raise NotFoundError(say("Part %(code)s is cancelled and has no label any more.", code=str(code)))
    return part_label(part, marks_of(connection, [code.number]).get(code.number), setup.link)


def _of_box(connection: Connection, code: Code, setup: LabelSetup) -> Label:
    box = box_view(connection, code.number)
    job = None if box is None else job_view(connection, box.job.code)
    if box is None or job is None:
        raise NotFoundError(say("There is no box %(box)s.", box=str(code)))
    return box_label(box, job, setup.marks, setup.link)


def _of_board(connection: Connection, code: Code, setup: LabelSetup) -> Label:
    board = board_view(connection, code.number)
    job = None if board is None else job_view(connection, board.job)
    if board is None or job is None:
        raise NotFoundError(say("There is no board %(code)s: it may be planned anew.", code=str(code)))
    return board_label(board, len(boards_of_job(connection, job.id)), setup.link)


def _of_card(connection: Connection, code: Code) -> Label:
    if code.kind is Kind.LOAD:
        load = load_view(connection, code.number)
        if load is not None:
            return CodeLabel(
                kind=LabelKind.LOAD,
                code=str(code),
                title=f"LOAD {load.ship_on}",
                subtitle="load: scan it before its boxes",
            )
    found = next((card for card in card_labels(connection) if card.code == str(code)), None)
    if found is None:
        raise NotFoundError(say("There is nothing with the code %(code)s.", code=str(code)))
    return found


def card_labels(connection: Connection) -> Iterable[CodeLabel]:
    """Yield what hangs on the walls: the stations, the slots and the command cards."""
    for station in list_stations(connection):
        code, says = str(Code(Kind.STATION, station.id)), f"station: {station.step}"
        yield CodeLabel(kind=LabelKind.STATION, code=code, title=station.name, subtitle=says)
    for number, name in list_slots(connection).items():
        code, says = str(Code(Kind.SLOT, number)), "slot: scan it after the part"
        yield CodeLabel(kind=LabelKind.SLOT, code=code, title=name, subtitle=says)
    for number, command in COMMAND_NUMBERS.items():
        code, says = str(Code(Kind.COMMAND, number)), _CARDS[command]
        yield CodeLabel(kind=LabelKind.CARD, code=code, title=command.upper(), subtitle=says)


def board_label(board: BoardView, of: int, link: Link) -> BoardLabel:
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
        link=link(board.code),
    )


def part_label(part: SeenPart, marks: Marks | None, link: Link) -> PartLabel:
    """Return what a part's label says."""
    return PartLabel(
        code=part.code,
        job=part.job.code,
        cabinet=part.cabinet,
        room=part.room or "",
        drop=part.drop or "",
        name=part.name,
        material=part.material,
        length_mm=part.length_mm,
        width_mm=part.width_mm,
        thickness_mm=part.thickness_mm,
        edges=part.edges,
        route=part.route[:-1],
        box=part.box.name,
        urgent=part.urgent,
        front="" if marks is None else marks.front,
        marks=() if marks is None else [_joint_mark(mark) for mark in marks.marks],
        grain=marks is not None and marks.grain,
        link=link(part.code),
    )


def _joint_mark(mark: Mark) -> JointMark:
    return JointMark(number=mark.number, side=mark.side.value, along_mm=mark.along_mm, across_mm=mark.across_mm)


def box_label(box: BoxView, job: JobView, marks: LiftingMarks, link: Link) -> BoxLabel:
    """Return what a box's label says."""
    return BoxLabel(
        code=box.code,
        sscc=box.sscc or "",
        job=box.job.code,
        customer=box.job.customer,
        due=box.job.due,
        name=box.name,
        number=box.number,
        of=job.boxes.total,
        cabinets=box.cabinets,
        rooms=box.rooms,
        drop=box.drop or "",
        parts=len(box.parts),
        mass_kg=box.known_mass_kg,
        handling=marks.handling(box.known_mass_kg),
        link=link(box.code),
    )
