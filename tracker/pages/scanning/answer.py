"""What a station's screen shows for one scan: word, shape, sound, the part with its outline, and where it goes next."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final
from uuid import UUID

from sqlalchemy import Connection

from tracker.pages.scanning.outlines import Panel, outline_svg
from tracker.pages.words.days import day, moment
from tracker.pages.words.outcomes import OUTCOMES, Facts, Said, box_name, gettext, said_as, sentence
from tracker.records import floor, look, readings
from tracker.records.access import StationView, list_stations
from tracker.records.boards import BoardView, board_view
from tracker.records.designs import Marks, marks_of
from tracker.records.floor import BoxRow, PartRow
from tracker.records.look import PartView
from tracker.records.shipping import Loading, loading_of
from tracker.records.waiting import KeptScan, TakenBack, kept_scan, taken_back, uncut_on_board
from tracker.shop.codes import Code, Kind, MisreadError, box_code, part_code, read_code
from tracker.shop.progress import holder_of, known_at, marked_by
from tracker.shop.scans import Action, Answer
from tracker.shop.sscc import find_sscc
from tracker.shop.steps import Step
from tracker.shop.verdicts import Outcome
from tracker.web.context import now

STATIONS_NAMED: Final = 3
_ABOUT_A_LOAD: Final = frozenset({Outcome.DONE, Outcome.AGAIN, Outcome.UNDONE})
_GOES_ON: Final = frozenset(
    {Outcome.DONE, Outcome.AGAIN, Outcome.UNDONE, Outcome.EARLY, Outcome.OFF_ROUTE, Outcome.WRONG_BOX}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Next:
    """Where a part goes: its next step and who does it, the slot where it lies, its box and what that lacks."""

    step: Step | None
    stations: Sequence[str]
    slot: str | None
    box: str
    box_name: str
    missing: int
    uncounted: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """An answer as the screen shows it. ``part`` is None for a box, a load, a board, or what is not known.

    ``loading`` is how far the load is loaded that the answer is about, at the dock.
    """

    outcome: Outcome
    said: Said
    says: str
    title: str
    part: PartView | None
    outline: str
    next: Next | None
    loading: Loading | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Found:
    """What is read of the part and the box that a scan was about."""

    kept: KeptScan
    undone: TakenBack | None
    code: Code | None
    board: BoardView | None
    part: PartView | None
    state: PartRow | None
    box: BoxRow | None
    uncounted: int
    marks: Marks | None


def tell(connection: Connection, answer: Answer, station: StationView) -> Told | None:
    """Return what the screen shows for an answered scan; None when the log does not keep it."""
    kept = kept_scan(connection, answer.id)
    if kept is None:
        return None
    found = _find(connection, kept)
    loading = _loading(connection, found, station)
    facts = _facts(connection, found, answer, station, loading)
    return Told(
        outcome=answer.outcome,
        said=said_as(
            answer.outcome,
            action=facts.action,
            card=readings.is_card(kept.code),
            damaged=kept.held_back_damaged,
            staying=facts.kind is Kind.BOX and facts.load_on == facts.load_boxes and facts.load_staying > 0,
        ),
        says=sentence(answer.outcome, facts),
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
        "word": str(said.word),
        "sound": said.sound.value,
        "says": "" if told is None else told.says,
        "part": answer.part,
        "title": "" if told is None or told.part is None else told.title,
    }


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
    part = f"{kept.name} {kept.cabinet}"
    return gettext("damaged, %(part)s", part=part) if kept.action is Action.DAMAGED else part


def _find(connection: Connection, kept: KeptScan) -> _Found:
    part = state = marks = None
    box = None
    if kept.part is not None:
        number = read_code(kept.part).number
        part = look.part_view(connection, number)
        state = floor.parts_numbered(connection, [number]).get(number)
        marks = marks_of(connection, [number]).get(number)
        box = state.box if state else None
    elif kept.box is not None:
        number = read_code(kept.box).number
        box = floor.boxes_numbered(connection, [number]).get(number)
    undone = taken_back(connection, kept.id)
    code = _code(undone.code if undone else kept.code, kept)
    board = board_view(connection, code.number) if code and code.kind is Kind.BOARD else None
    return _Found(
        kept=kept,
        undone=undone,
        code=code,
        board=board,
        part=part,
        state=state,
        box=box,
        uncounted=floor.uncounted(connection, box.id) if box else 0,
        marks=marks,
    )


def _code(text: str, kept: KeptScan) -> Code | None:
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


def _facts(
    connection: Connection, found: _Found, answer: Answer, station: StationView, loading: Loading | None
) -> Facts:
    kept, undone, box, state = found.kept, found.undone, found.box, found.state
    open_steps: Sequence[Step] = ()
    if state is not None and station.step in state.route:
        open_steps = state.progress.open_before(station.step, state.route)
    load_id = _load_id(found)
    read = _read_before(connection, found, station) if answer.outcome is Outcome.AGAIN else None
    return Facts(
        step=station.step,
        code=kept.code,
        kind=None if found.code is None else found.code.kind,
        contradicts=kept.kind,
        action=kept.action,
        undone=None if undone is None else undone.action,
        undone_step=None if undone is None else undone.step,
        held_by=_held_by(connection, undone, state),
        read_at=read[0] if read else "",
        read_when=moment(read[1]) if read else "",
        job=box.job.code if box else "",
        held_then=kept.held_then,
        job_held=box is not None and box.job.status == "held",
        damaged=state is not None and state.progress.damaged,
        box=_box_name(found),
        box_state=box.state if box else "",
        box_kept=box is not None and box.held_at is not None,
        missing=box.parts_lacking if box else 0,
        uncounted=found.uncounted,
        load=str(Code(Kind.LOAD, load_id)) if load_id else "",
        load_day=day(loading.ship_on) if loading else "",
        load_boxes=loading.boxes if loading else 0,
        load_on=loading.on if loading else 0,
        load_staying=len(loading.staying) if loading else 0,
        slot=kept.slot or "",
        replaced_by=part_code(state.replaced_by_id) if state and state.replaced_by_id else "",
        open_steps=open_steps,
        inferred=tuple(map(Step, answer.inferred)),
        uncut=uncut_on_board(connection, read_code(found.board.code).number) if found.board else 0,
    )


def _read_before(connection: Connection, found: _Found, station: StationView) -> tuple[str, datetime] | None:
    """Where and when that was read which is told to be done before; None where that is not known."""
    kept, part = found.kept, found.state
    if part is None:
        loaded = floor.loading_that_stands(connection, found.box.id) if found.box else None
        return floor.read_at(connection, loaded)
    happened = floor.sightings(connection, [part.id])[part.id]
    before = [s for s in known_at(happened, kept.at) if (s.station, s.at) != (station.id, kept.at)]
    reading = holder_of(station.step, before, part.route)
    return None if reading is None else floor.read_at(connection, reading.seq)


def _held_by(connection: Connection, undone: TakenBack | None, part: PartRow | None) -> str:
    """The station by whose reading what an undo took back holds all the same; empty where it holds no more."""
    if undone is None or part is None:
        return ""
    happened = floor.sightings(connection, [part.id])[part.id]
    if undone.action is Action.DAMAGED:
        holding = marked_by(happened)
    else:
        step = undone.step if undone.action is Action.PASS else None
        reading = None if step is None else holder_of(step, happened, part.route)
        holding = None if reading is None else reading.station
    return next((each.name for each in list_stations(connection) if each.id == holding), "")


def _box_name(found: _Found) -> str:
    if found.part is not None:
        return box_name(found.part.box_name)
    return box_name(found.kept.box_name)


def _title(found: _Found) -> str:
    kept = found.kept
    if found.part is not None:
        return found.part.name
    if found.box is not None:
        return gettext("Box %(name)s of %(job)s", name=box_name(kept.box_name), job=kept.job)
    if kept.load is not None:
        return gettext("Load %(code)s", code=kept.load)
    if found.board is not None:
        return gettext("Board %(number)s, job %(job)s", number=found.board.number, job=found.board.job)
    sscc = _sscc(kept.code)
    return f"SSCC {sscc}" if sscc else kept.code[:40]


def _next(connection: Connection, found: _Found, outcome: Outcome) -> Next | None:
    part, box = found.part, found.box
    if part is None or box is None or outcome not in _GOES_ON or part.damaged:
        return None
    step = None if part.step is None else Step(part.step)
    doing = [each.name for each in list_stations(connection) if each.step is step]
    return Next(
        step=step,
        stations=doing[:STATIONS_NAMED],
        slot=part.last_seen.slot if part.last_seen else None,
        box=box_code(box.id),
        box_name=box_name(part.box_name),
        missing=box.parts_lacking,
        uncounted=found.uncounted,
    )


def outline_of(part: PartView, marks: Marks | None) -> str:
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
