"""What a station's screen shows for one scan: word, shape, sound, the part with its outline, and where it goes next."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final
from uuid import UUID

from sqlalchemy import Connection

from tracker.pages.scanning.outlines import Panel, outline_svg
from tracker.pages.words.names import box_name, gettext
from tracker.pages.words.signals import OUTCOMES, Said, said_as
from tracker.pages.words.spoken import spoken
from tracker.records import readings
from tracker.records.access import StationView, list_stations
from tracker.records.boards import BoardView, board_view
from tracker.records.boxes import Box, boxes_numbered, uncounted
from tracker.records.designs import Marks, marks_of
from tracker.records.logged import LogView, kept_scan
from tracker.records.parts import SeenPart, part_view
from tracker.records.shipping import Loading, loading_of
from tracker.shop.codes import Code, Kind, MisreadError, read_code
from tracker.shop.outcomes import Outcome
from tracker.shop.scans import Action, Answer
from tracker.shop.sscc import find_sscc
from tracker.shop.steps import Step
from tracker.web.context import now

STATIONS_NAMED: Final = 3
_ABOUT_A_LOAD: Final = frozenset({Outcome.DONE, Outcome.AGAIN, Outcome.UNDONE})
_GOES_ON: Final = frozenset(
    {Outcome.DONE, Outcome.AGAIN, Outcome.UNDONE, Outcome.EARLY, Outcome.OFF_ROUTE, Outcome.WRONG_BOX}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """Where a part goes: its next step and who does it, the slot where it lies, its box and what that lacks.

    ``closed`` and ``own_hold`` are of the box: sealed or further, and put on hold itself.
    """

    step: Step | None
    stations: Sequence[str]
    slot: str | None
    box: str
    box_name: str
    missing: int
    uncounted: int
    closed: bool
    own_hold: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """An answer as the screen shows it. ``part`` is None for a box, a load, a board, or what is not known.

    ``says`` is what was told, of a row ``older`` than the reasons in English. ``loading`` is how far the load is loaded
    that the answer is about, at the dock.
    """

    outcome: Outcome
    said: Said
    says: str
    older: bool
    title: str
    part: SeenPart | None
    outline: str
    next: Next | None
    loading: Loading | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What is read of the part and the box that a scan was about."""

    kept: LogView
    code: Code | None
    board: BoardView | None
    part: SeenPart | None
    box: Box | None
    uncounted: int
    marks: Marks | None


def tell(connection: Connection, answer: Answer, station: StationView) -> Told | None:
    """Return what the screen shows for an answered scan; None when the log does not keep it."""
    kept = kept_scan(connection, answer.id)
    if kept is None:
        return None
    found = _find(connection, kept)
    loading = _loading(connection, found, station)
    return Told(
        outcome=answer.outcome,
        said=said_as(answer.outcome, kept.told),
        says=spoken(kept.message if kept.told is None else kept.told.beside_the_word()),
        older=kept.told is None,
        title=_title(found),
        part=found.part,
        outline="" if found.part is None else outline_of(found.part, found.marks),
        next=_next(connection, found, answer.outcome),
        loading=loading if answer.outcome in _ABOUT_A_LOAD else None,
    )


def in_words(answer: Answer, told: Told | None) -> dict[str, Any]:
    """Return an answer as a page's script needs it, whatever is drawn beside it."""
    said = OUTCOMES[answer.outcome] if told is None else told.said
    return {
        "id": str(answer.id),
        "outcome": answer.outcome.value,
        "ok": answer.ok,
        "already": said.word == OUTCOMES[Outcome.AGAIN].word,  # counted before, wherever it lies now
        "word": str(said.word),
        "sound": said.sound.value,
        "says": "" if told is None else told.says,
        "part": answer.part,
        "title": "" if told is None or told.part is None else _where_it_belongs(told.part),
    }


def _where_it_belongs(part: SeenPart) -> str:
    """Name a part where nothing stands beside it: many are alike but for their cabinet."""
    return f"{part.name} {part.cabinet} · {part.job.code}"


def in_short(connection: Connection, answer: Answer, station: StationView) -> dict[str, Any]:
    """Return an answer that the next one is about to cover: only what went wrong is looked up in the shop."""
    return in_words(answer, None if answer.ok else tell(connection, answer, station))


def takes_back(connection: Connection, station_id: int) -> str:
    """Name what an undo at a station would take back now; empty where there is nothing."""
    at = now()
    last = readings.last_standing(connection, station_id, at)
    meant = readings.last_flagged(connection, station_id, at, last) or last
    kept = None if meant is None else kept_scan(connection, UUID(bytes=meant.scan_id))
    if kept is None:
        return ""
    if kept.part is None:
        return _title(_find(connection, kept))
    part = f"{kept.part_name} {kept.cabinet}"
    return gettext("damaged, %(part)s", part=part) if kept.action == Action.DAMAGED else part


def _find(connection: Connection, kept: LogView) -> _Found:
    part = marks = box = None
    if kept.part is not None:
        number = read_code(kept.part).number
        part = part_view(connection, number)
        marks = marks_of(connection, [number]).get(number)
        box = part.box if part else None
    elif kept.box is not None:
        number = read_code(kept.box).number
        box = boxes_numbered(connection, [number]).get(number)
    code = _code(kept.code, kept)
    board = board_view(connection, code.number) if code and code.kind is Kind.BOARD else None
    return _Found(
        kept=kept,
        code=code,
        board=board,
        part=part,
        box=box,
        uncounted=uncounted(connection, box.id) if box else 0,
        marks=marks,
    )


def _code(text: str, kept: LogView) -> Code | None:
    """The code that was read; where it was the SSCC of a box of the shop, the box's own code."""
    try:
        return read_code(text)
    except MisreadError:
        return read_code(kept.box) if kept.box and not kept.part and _sscc(text) else None


def _sscc(text: str) -> str | None:
    try:
        return find_sscc(text)
    except MisreadError:
        return None


def _loading(connection: Connection, found: _Found, station: StationView) -> Loading | None:
    load_id = _load_id(found)
    return loading_of(connection, load_id) if load_id and station.step is Step.SHIP else None


def _load_id(found: _Found) -> int | None:
    if found.box is not None:
        return found.box.load_id
    return read_code(found.kept.load).number if found.kept.load else None


def _title(found: _Found) -> str:
    kept = found.kept
    if found.part is not None:
        return found.part.name
    if found.box is not None:
        return gettext("Box %(name)s of %(job)s", name=box_name(found.box.name), job=found.box.job.code)
    if kept.load is not None:
        return gettext("Load %(load)s", load=kept.load)
    if found.board is not None:
        return gettext("Board %(number)s, job %(job)s", number=found.board.number, job=found.board.job)
    if kept.action == Action.UNDO:
        return ""
    sscc = _sscc(kept.code)
    return f"SSCC {sscc}" if sscc else kept.code[:40]


def _next(connection: Connection, found: _Found, outcome: Outcome) -> Next | None:
    part, box = found.part, found.box
    if part is None or box is None or outcome not in _GOES_ON or part.damaged:
        return None
    doing = [each.name for each in list_stations(connection) if each.step is part.step]
    return Next(
        step=part.step,
        stations=doing[:STATIONS_NAMED],
        slot=part.last_seen.slot if part.last_seen else None,
        box=box.code,
        box_name=box_name(box.name),
        missing=box.parts_lacking,
        uncounted=found.uncounted,
        closed=box.closed,
        own_hold=box.own_hold,
    )


def outline_of(part: SeenPart, marks: Marks | None) -> str:
    """Return a part's outline as an SVG element; its title says in words what it shows."""
    front = marks.front if marks else ""
    edges = [edge for edge in ("L1", "L2", "W1", "W2") if edge in part.edges]
    banded = gettext("banded edges: %(edges)s", edges=", ".join(edges)) if edges else gettext("no banded edge")
    numbers = sorted({mark.number for mark in marks.marks}) if marks else []
    joints = gettext("joints: %(numbers)s", numbers=", ".join(map(str, numbers))) if numbers else ""
    sides = {"L1": gettext("below"), "L2": gettext("above"), "W1": gettext("left"), "W2": gettext("right")}
    arrow = gettext("front is %(side)s", side=sides[front]) if front in sides else ""
    return outline_svg(
        Panel(
            title="; ".join(filter(None, (part.name, banded, joints, arrow))),
            length_mm=part.length_mm,
            width_mm=part.width_mm,
            edges=edges,
            marks=marks.marks if marks else (),
            front=front,
            faces={"A": gettext("this face to the front"), "B": gettext("this face to the back")},
        )
    )
