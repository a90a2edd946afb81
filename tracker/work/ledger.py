"""One writing transaction's view of the shop floor: rows looked up once, changed in memory, written together.

The log rows and the state that follows from them leave by the same door, ``write``. All that happens to jobs, boxes,
loads and parts goes through it. What happens to none of them is in no log, and its own module writes it in its own
transaction: people, sessions, devices and their clocks, printers and prints, settings and lists, SSCCs, reports.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime
from typing import Any, Concatenate, Final, ParamSpec, TypeVar
from uuid import UUID, uuid4

from sqlalchemy import Connection

from tracker.records.boxes import Box, boxes_numbered
from tracker.records.database import Database
from tracker.records.loads import Load, loads_numbered
from tracker.records.parts import Part, parts_numbered
from tracker.records.past import sightings
from tracker.records.sscc import boxes_of_ssccs
from tracker.records.stations import StationRow, stations_named, stations_numbered
from tracker.records.writing import Changes, take_numbers, write_changes
from tracker.shop.acts import AnyAct, told
from tracker.shop.box_states import BoxState, filling_state
from tracker.shop.codes import box_code
from tracker.shop.errors import NotFoundError
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import DEAD_STATUSES, Progress, fold, status_of
from tracker.shop.saying import say
from tracker.shop.steps import Step

P = ParamSpec("P")
T = TypeVar("T")


@contextmanager
def open_ledger(database: Database, who: str, now: datetime) -> Iterator["Ledger"]:
    """Do one piece of work: what the ledger is told is written at the end; nothing of it where something fails."""
    with database.write() as connection:
        ledger = Ledger(connection, who, now)
        yield ledger
        ledger.write()


class Ledger:
    """The rows that one transaction works with, and what it changes. Not to be shared between threads."""

    def __init__(self, connection: Connection, who: str, now: datetime) -> None:
        self.connection = connection
        self.who = who
        self.now = now
        self._changes = Changes()
        self._stations: dict[str, StationRow] = {}
        self._parts: dict[int, Part] = {}
        self._boxes: dict[int, Box] = {}
        self._ssccs: dict[str, int] = {}
        self._numbers: list[int] = []

    def reserve(self, count: int) -> None:
        """Take ``count`` numbers of the log at once."""
        self._numbers = list(reversed(self.take_numbers("log", count)))

    def next_seq(self) -> int:
        """Return the next number of the log."""
        if not self._numbers:
            self.reserve(1)
        return self._numbers.pop()

    def take_numbers(self, what: str, count: int = 1) -> range:
        """Give new numbers of a kind (part, box, board, load); a number is never given twice."""
        return take_numbers(self.connection, what, count)

    def look_up_stations(self, names: Collection[str]) -> None:
        """Read the stations with these names."""
        self._stations.update(stations_named(self.connection, names))

    def look_up_parts(self, ids: Collection[int]) -> None:
        """Read the parts with these ids, and their boxes, but for those that this transaction sees already."""
        unknown = [part_id for part_id in ids if part_id not in self._parts]
        for row in parts_numbered(self.connection, unknown).values():
            self._parts[row.id] = row
            self._boxes.setdefault(row.box.id, row.box)

    def look_up_boxes(self, ids: Collection[int]) -> None:
        """Read the boxes with these ids, but for those that this transaction sees already."""
        unknown = [box_id for box_id in ids if box_id not in self._boxes]
        if unknown:
            self._boxes.update(boxes_numbered(self.connection, unknown))

    def look_up_ssccs(self, ssccs: Collection[str]) -> None:
        """Find the boxes that have these SSCCs; without any, nothing is asked."""
        if ssccs:
            self._ssccs.update(boxes_of_ssccs(self.connection, ssccs))

    def station(self, name: str) -> StationRow | None:
        """Return the station of this name, if it was looked up and exists."""
        return self._stations.get(name)

    def station_numbered(self, number: int) -> StationRow | None:
        """Return the station with this code number."""
        found = stations_numbered(self.connection, [number]).get(number)
        return None if found is None else self._stations.setdefault(found.name, found)

    def station_name(self, number: int) -> str:
        """Return the name of the station with this code number; empty where there is none any more."""
        station = self.station_numbered(number)
        return "" if station is None else station.name

    def part(self, part_id: int) -> Part | None:
        """Return a part by its number, as this transaction sees it."""
        if part_id not in self._parts:
            self.look_up_parts([part_id])
        return self._parts.get(part_id)

    def box(self, box_id: int) -> Box | None:
        """Return a box by its number, as this transaction sees it."""
        self.look_up_boxes([box_id])
        return self._boxes.get(box_id)

    def the_box(self, box_id: int) -> Box:
        """Return a box by its number. Raises NotFoundError where the shop has none."""
        box = self.box(box_id)
        if box is None:
            raise NotFoundError(say("There is no box %(box)s.", box=box_code(box_id)))
        return box

    def box_of_sscc(self, sscc: str) -> int | None:
        """Return the number of the box that has this SSCC, if it was looked up and there is one."""
        return self._ssccs.get(sscc)

    def load(self, load_id: int) -> Load | None:
        """Return a load by its number."""
        return loads_numbered(self.connection, [load_id]).get(load_id)

    def tell(self, act: AnyAct, *, about: str = "", seq: int | None = None, scan_id: UUID | None = None) -> str:
        """Append an act to the log. Return its message, which says ``about`` what.

        A scan comes with its id, and with a number that was taken for it.
        """
        action, meant = told(act)
        sentence = meant.sentence()
        message = f"{about}: {sentence}" if about else str(sentence)
        row: dict[str, Any] = {
            **{name: getattr(act, name, empty) for name, empty in _EMPTY.items()},
            "seq": self.next_seq() if seq is None else seq,
            "scan_id": (scan_id or uuid4()).bytes,
            "action": action.value,
            "received_at": self.now,
            "who": self.who,
            "message": message,
            "reason": meant.reason.value,
            "values": meant.values,
        }
        row["at"] = row["at"] or self.now
        for name in _ENUMS:
            if row[name] is not None:
                row[name] = row[name].value  # drivers take a plain text far quicker
        self._name_box_and_job(row)
        self._changes.log.append(row)
        return message

    def _name_box_and_job(self, row: dict[str, Any]) -> None:
        """Name the box of a part, too, and the job of both, where the act does not."""
        part = None if row["part_id"] is None else self.part(row["part_id"])
        if part is not None and row["box_id"] is None:
            row["box_id"] = part.box.id
        thing = part if part is not None or row["box_id"] is None else self.box(row["box_id"])
        if thing is not None and row["job_id"] is None:
            row["job_id"] = thing.job.id

    def set_open(self, station: StationRow, *, box_id: int | None, load_id: int | None, at: datetime) -> None:
        """Set what a station has open, unless it opened something later already."""
        same = (station.open_box_id, station.open_load_id) == (box_id, load_id)
        if same or (station.opened_at is not None and at < station.opened_at):
            return
        self._stations[station.name] = replace(station, open_box_id=box_id, open_load_id=load_id, opened_at=at)
        self._changes.stations[station.id] = {
            "the_id": station.id,
            "open_box_id": box_id,
            "open_load_id": load_id,
            "opened_at": at,
        }

    def note_reading(self, station: StationRow, at: datetime) -> None:
        """Remember the time of a station's latest reading: what is read earlier and judged later comes late."""
        if station.latest_at is None or at > station.latest_at:
            self._stations[station.name] = replace(station, latest_at=at)
        if station.step is Step.PACK and (station.benches_at is None or at > station.benches_at):
            self._stations = {name: replace(each, benches_at=at) for name, each in self._stations.items()}

    def set_progress(self, part: Part, after: Progress, *, at: datetime | None = None) -> Progress:
        """Keep a part's new progress, and what follows for its job's tallies and its box; return it.

        ``at`` is the time of the scan, or of its undo, that changed it.
        """
        latest = max(filter(None, (part.latest_at, at)), default=None)
        if Step.SHIP in part.progress.done:
            after = replace(after, done=after.done | {Step.SHIP})  # shipping is the box's, not in the part's own scans
        dead = part.status in DEAD_STATUSES
        status = part.status if dead else status_of(after)
        self._parts[part.id] = replace(part, progress=after, status=status, latest_at=latest)
        self._changes.parts[part.id] = {
            "the_id": part.id,
            "status": str(status),
            "done": after.done,
            "inferred": after.inferred,
            "damaged": after.damaged,
            "seen_at": after.at,
            "seen_station_id": after.station,
            "slot_id": after.slot,
            "latest_at": latest,
        }
        if not dead:
            self._count(part, part.progress.counted, after.counted)
        return after

    def _count(self, part: Part, before: frozenset[Step], after: frozenset[Step]) -> None:
        for step in after - before:
            self.bump(part.job.id, step, 1)
        for step in before - after:
            self.bump(part.job.id, step, -1)
        more = (Step.PACK in after) - (Step.PACK in before)
        if more:
            box = self.box(part.box.id) or part.box
            self.set_box(box, packed=box.packed + more)

    def bump(self, job_id: int, what: str, more: int) -> None:
        """Count ``more`` done in a job's tally."""
        key = (job_id, str(what))
        self._changes.tallies[key] = self._changes.tallies.get(key, 0) + more

    def plan_parts(self, box_id: int, more: int) -> None:
        """Plan so many more parts for a box, or fewer."""
        box = self.the_box(box_id)
        self.set_box(replace(box, parts_total=box.parts_total + more))

    def set_box(self, box: Box, *, packed: int | None = None, state: BoxState | None = None) -> None:
        """Keep how full a box is, and its state; without ``state`` a box not yet closed takes it from its filling."""
        packed, total = box.packed if packed is None else packed, box.parts_total
        if state is None:
            state = box.state if box.closed else filling_state(packed=packed, parts_total=total)
        self._boxes[box.id] = replace(box, packed=packed, state=state)
        kept = {"packed": packed, "parts_total": total, "state": state.value}
        self._changes.boxes[box.id] = {"the_id": box.id, **kept}

    def refold(self, part_ids: Iterable[int], *, at: datetime | None = None) -> None:
        """Write what is pending and work these parts out anew from all that happened to them, an undo at ``at`` too."""
        self.write()
        for part_id, happened in sightings(self.connection, list(part_ids)).items():
            part = self.part(part_id)
            if part is not None:
                self.set_progress(part, fold(happened, part.route), at=at)

    def change(self, write: Callable[Concatenate[Connection, P], T], /, *args: P.args, **named: P.kwargs) -> T:
        """Write rows that are not in the log by a statement of ``records``; what it returns.

        What is pending is written before it, and parts and boxes are read anew after it.
        """
        self.write()
        done = write(self.connection, *args, **named)
        self._parts.clear()
        self._boxes.clear()
        return done

    @property
    def written(self) -> Connection:
        """The connection, with all that is pending written: whoever reads the log or a sum sees it."""
        self.write()
        return self.connection

    def write(self) -> None:
        """Write all pending rows."""
        write_changes(self.connection, self._changes)
        self._changes = Changes()


_ENUMS: Final = ("outcome", "step", "next_step", "kind")
_EMPTY: Final[Mapping[str, Any]] = {
    "at": None,
    "outcome": Outcome.DONE,
    "code": "",
    "station_id": None,
    "step": None,
    "infers": False,
    "job_id": None,
    "part_id": None,
    "box_id": None,
    "load_id": None,
    "slot_id": None,
    "next_step": None,
    "inferred": frozenset(),
    "undoes": None,
    "flag": None,
    "said_at": None,
    "kind": None,
    "settles": None,
    "meant": None,
    "would_change": None,
    "opened_id": None,
}
