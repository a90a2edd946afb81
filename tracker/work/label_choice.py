"""Choose which labels to look at or to print, and in which order."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from enum import StrEnum
from io import BytesIO
from itertools import islice
from json import dumps, loads
from typing import Final

from sqlalchemy import Connection

from tracker.labels.contents import CodeLabel, Label
from tracker.labels.documents import write_pdf
from tracker.labels.symbols import DPIS
from tracker.records.boards import BoardView, board_ids_of_job, board_view, parts_on_board, parts_without_board
from tracker.records.box_contents import BoxView, box_views, boxes_of_job
from tracker.records.database import Database
from tracker.records.designs import marks_of
from tracker.records.jobs import JobView, job_view
from tracker.records.parts import SeenPart, seen_parts
from tracker.records.printing import printed_before
from tracker.settings import Settings
from tracker.shop.codes import Code, Kind, MisreadError, read_code
from tracker.shop.completeness import is_lacking
from tracker.shop.errors import NotFoundError
from tracker.shop.saying import say
from tracker.work.box_numbers import number_boxes, numbering
from tracker.work.jobs import job_coded
from tracker.work.label_setup import LabelSetup, label_setup
from tracker.work.labels import board_label, box_label, card_labels, part_label

PARTS_AT_ONCE: Final = 500
MOST_COUNTED: Final = 5_000


class What(StrEnum):
    """Which labels: boxes each with its parts, boxes or parts alone, boards; the shop's cards; or a test page."""

    ALL = "all"
    BOXES = "boxes"
    PARTS = "parts"
    BOARDS = "boards"
    CARDS = "cards"
    TEST = "test"


class Order(StrEnum):
    """In which order the parts come: as they are laid into their boxes, or as they come off the saw."""

    BOX = "box"
    SAW = "saw"


class Only(StrEnum):
    """Which of them: all, those never printed, or those that their boxes still lack."""

    ALL = ""
    UNPRINTED = "unprinted"
    MISSING = "missing"


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """Which labels: ``step`` leaves the parts that wait for that step; ``cabinet``, ``box``, ``board``, ``part`` one's.

    All but the shop's cards are of one job. ``taken`` labels of the first sheet are used already.
    """

    job: str = ""
    what: What = What.ALL
    step: str = ""
    cabinet: str = ""
    box: str = ""
    board: str = ""
    part: str = ""
    only: Only = Only.ALL
    order: Order = Order.BOX
    taken: int = 0

    @property
    def by_saw(self) -> bool:
        """Whether the parts come in the order of the saw."""
        return self.order is Order.SAW or bool(self.board)

    def takes(self, part: SeenPart) -> bool:
        """Say whether a part's label is wanted; a dead part has none."""
        return (
            not part.dead
            and (not self.step or part.step == self.step)
            and (not self.cabinet or part.cabinet == self.cabinet)
            and (not self.box or part.box.code == self.box)
            and (not self.part or part.code == self.part)
            and (self.only is not Only.MISSING or is_lacking(part.status))
        )

    def takes_box(self, box: BoxView) -> bool:
        """Say whether a box's own label is wanted: not where the parts of a step or of a board are asked for."""
        of_parts = self.step or self.board or self.part
        return (
            (not self.box or box.code == self.box)
            and (not self.cabinet or self.cabinet in box.cabinets)
            and (not of_parts or self.what is What.BOXES)
            and (self.only is not Only.MISSING or not box.lacks.complete)
        )

    def as_text(self) -> str:
        """Return the choice as it is kept with a print."""
        return dumps({name: value for name, value in asdict(self).items() if value})


def read_choice(text: str) -> Choice:
    """Return the choice that was kept with a print."""
    kept = loads(text)
    words = {"what": What(kept["what"]), "order": Order(kept["order"]), "only": Only(kept.get("only", ""))}
    return Choice(**(kept | words))


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """The codes of the labels on one page of the preview, and what is known of all of them.

    ``count`` is how many there are, ``over`` whether even more; ``kinds`` how many of each kind; ``again`` how many
    are of parts whose label was printed before.
    """

    codes: Sequence[str]
    count: int
    over: bool
    kinds: Mapping[Kind, int]
    again: int


Labelled = BoxView | SeenPart | BoardView | CodeLabel


def preview_labels(database: Database, choice: Choice, *, after: int, limit: int) -> Preview:
    """Return the codes of ``limit`` labels after the first ``after``. Raises NotFoundError for no such job."""
    with database.read() as connection:
        codes = [each.code for each in islice(chosen(connection, choice), MOST_COUNTED + 1)]
        over, codes = len(codes) > MOST_COUNTED, codes[:MOST_COUNTED]
        again = len(printed_parts(connection, codes))
    kinds = Counter(read_code(code).kind for code in codes)
    return Preview(codes=codes[after : after + limit], count=len(codes), over=over, kinds=kinds, again=again)


def printed_parts(connection: Connection, codes: Iterable[str]) -> set[str]:
    """Return those of the codes that are parts whose label was printed before, or may have been."""
    return printed_before(connection, (code for code in codes if read_code(code).kind is Kind.PART))


def print_labels(
    database: Database, settings: Settings, choice: Choice, *, dpi: int, taken: int = 0
) -> tuple[bytes, int]:
    """Return the chosen labels as a PDF at true size, and how many they are.

    ``taken`` labels of the first sheet are used already. Raises NotFoundError when there is no such job.
    """
    number_boxes(database, _boxes_to_number(database, choice))
    setup = label_setup(database, settings)
    document = BytesIO()
    with database.read() as connection:
        labels = labels_of(connection, chosen(connection, choice), setup)
        drawn = (setup.draw_to_print(label, dpi) for label in labels)
        count = write_pdf(drawn, document, title=title_of(choice), taken=taken)
    return document.getvalue(), count


def lacking_letters(database: Database, settings: Settings, codes: Sequence[str]) -> str:
    """Return the letters that the font lacks for the labels of these codes, each once."""
    setup = label_setup(database, settings)
    found: dict[str, None] = {}
    with database.read() as connection:
        for label in labels_of(connection, labelled(connection, codes), setup):
            found |= dict.fromkeys(setup.draw(label, DPIS[0])[0].lacking)
    return "".join(found)


def title_of(choice: Choice) -> str:
    """Return what a document with the chosen labels is called."""
    if choice.what is What.CARDS:
        return "Stations, slots and command cards"
    if choice.what is What.TEST:
        return "Test page"
    return f"Labels of job {choice.job}"


def print_cards(database: Database, settings: Settings, *, dpi: int, taken: int = 0) -> tuple[bytes, int]:
    """Return what hangs on the walls as a PDF, and how many they are: the stations, the slots, the command cards."""
    return print_labels(database, settings, Choice(what=What.CARDS), dpi=dpi, taken=taken)


def _boxes_to_number(database: Database, choice: Choice) -> list[int]:
    """The boxes whose own labels are chosen, in a shop that gives SSCCs."""
    if choice.what not in (What.ALL, What.BOXES) or numbering(database) is None:
        return []
    with database.read() as connection:
        return [each.id for each in chosen(connection, choice) if isinstance(each, BoxView)]


# What is chosen


def chosen(connection: Connection, choice: Choice) -> Iterator[Labelled]:
    """Return what has the chosen labels, in their order. Raises NotFoundError for no such job."""
    if choice.what is What.CARDS:
        return iter(card_labels(connection))
    if choice.what is What.TEST:
        return iter(())
    job = job_coded(connection, choice.job)
    found = _of_job(connection, job, choice)
    return _unprinted(connection, found) if choice.only is Only.UNPRINTED else found


def _unprinted(connection: Connection, found: Iterator[Labelled]) -> Iterator[Labelled]:
    while some := list(islice(found, PARTS_AT_ONCE)):
        known = printed_before(connection, [each.code for each in some])
        yield from (each for each in some if each.code not in known)


def _of_job(connection: Connection, job: JobView, choice: Choice) -> Iterator[Labelled]:
    if choice.what is What.BOARDS:
        yield from _boards(connection, job, choice)
        return
    if choice.part:
        yield from (part for part in _taken(connection, [_part_number(choice.part)], choice) if part.job.id == job.id)
        return
    for box in _boxes(connection, job.id):
        if choice.what is not What.PARTS and choice.takes_box(box):
            yield box
        if choice.what is not What.BOXES and not choice.by_saw:
            yield from filter(choice.takes, box.parts)
    if choice.what is not What.BOXES and choice.by_saw:
        yield from _off_the_saw(connection, job, choice)


def _part_number(code: str) -> int:
    try:
        return read_code(code).number
    except MisreadError:
        return 0  # no part has this number: nothing is chosen


def _boards(connection: Connection, job: JobView, choice: Choice) -> Iterator[BoardView]:
    for number in board_ids_of_job(connection, job.id):
        if choice.board in ("", str(Code(Kind.BOARD, number))):
            found = board_view(connection, number)
            if found is not None:
                yield found


def _boxes(connection: Connection, job_id: int) -> Iterator[BoxView]:
    after = 0
    while boxes := boxes_of_job(connection, job_id, limit=PARTS_AT_ONCE, after=after):
        yield from boxes
        after = boxes[-1].id


def _off_the_saw(connection: Connection, job: JobView, choice: Choice) -> Iterator[SeenPart]:
    """Board by board in the order of cutting, then the parts that come off no board."""
    for number in board_ids_of_job(connection, job.id):
        if choice.board in ("", str(Code(Kind.BOARD, number))):
            yield from _taken(connection, parts_on_board(connection, number, living=True), choice)
    if not choice.board:
        yield from _taken(connection, parts_without_board(connection, job.id), choice)


def _taken(connection: Connection, numbers: Sequence[int], choice: Choice) -> Iterator[SeenPart]:
    return filter(choice.takes, _parts(connection, numbers))


def _parts(connection: Connection, numbers: Sequence[int]) -> Iterator[SeenPart]:
    for start in range(0, len(numbers), PARTS_AT_ONCE):
        some = numbers[start : start + PARTS_AT_ONCE]
        found = {part.id: part for part in seen_parts(connection, some)}
        yield from (found[number] for number in some if number in found)


# What was chosen, by its codes


def labelled(connection: Connection, codes: Iterable[str]) -> Iterator[Labelled]:
    """Return what has these codes, in their order, without what has no label any more."""
    rest = iter(codes)
    while some := list(islice(rest, PARTS_AT_ONCE)):
        found = _found(connection, some)
        yield from (found[code] for code in some if code in found)


def _found(connection: Connection, codes: Sequence[str]) -> dict[str, Labelled]:
    by_kind: dict[Kind, list[int]] = {}
    for code in codes:
        read = _read(code)
        by_kind.setdefault(read.kind, []).append(read.number)
    found: list[Labelled] = []
    for kind, numbers in by_kind.items():
        found += _of_kind(connection, kind, numbers)
    return {each.code: each for each in found}


def _of_kind(connection: Connection, kind: Kind, numbers: Sequence[int]) -> Sequence[Labelled]:
    match kind:
        case Kind.PART:
            return [part for part in seen_parts(connection, numbers) if not part.dead]
        case Kind.BOX:
            return box_views(connection, numbers)
        case Kind.BOARD:
            return [board for number in numbers if (board := board_view(connection, number)) is not None]
        case _:
            return list(card_labels(connection))


def _read(code: str) -> Code:
    try:
        return read_code(code)
    except MisreadError:  # it was made by the shop itself: a copy that was damaged
        raise NotFoundError(say("There is nothing with the code %(code)s.", code=code)) from None


# What their labels say


def labels_of(connection: Connection, found: Iterable[Labelled], setup: LabelSetup) -> Iterator[Label]:
    """Yield what the labels of these things say."""
    rest = iter(found)
    jobs: dict[str, JobView | None] = {}
    boards: dict[str, int] = {}
    while some := list(islice(rest, PARTS_AT_ONCE)):
        marks = marks_of(connection, [each.id for each in some if isinstance(each, SeenPart)])
        for each in some:
            if isinstance(each, BoxView | BoardView) and (name := _job_of(each)) not in jobs:
                jobs[name] = job_view(connection, name)
            match each:
                case BoxView() if (job := jobs[_job_of(each)]) is not None:
                    yield box_label(each, job, setup.marks, setup.link)
                case SeenPart():
                    yield part_label(each, marks.get(each.id), setup.link)
                case BoardView() if (job := jobs[each.job]) is not None:
                    if each.job not in boards:
                        boards[each.job] = len(board_ids_of_job(connection, job.id))
                    yield board_label(each, boards[each.job], setup.link)
                case CodeLabel():
                    yield each


def _job_of(each: BoxView | BoardView) -> str:
    return each.job if isinstance(each, BoardView) else each.job.code
