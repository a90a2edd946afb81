"""One scan on its way into the log: where it was read, and what it turns out to be about."""

from dataclasses import replace
from typing import Any, Final

from tracker.records.benches import BenchReading
from tracker.records.boards import BoardView
from tracker.records.boxes import Box, uncounted
from tracker.records.jobs import Job
from tracker.records.parts import Part, parts_of_box
from tracker.records.past import held_at
from tracker.records.stations import StationRow
from tracker.shop.cards import Read
from tracker.shop.codes import Code, Kind, MisreadError, box_code, code_or_none, part_code
from tracker.shop.completeness import lacks
from tracker.shop.contradictions import Contradiction
from tracker.shop.job_states import JobStatus
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import Happening, PartStatus, Sighting
from tracker.shop.reasons import Reason
from tracker.shop.scans import Scan
from tracker.shop.sscc import find_sscc
from tracker.shop.steps import Step
from tracker.shop.verdicts import BoxFacts, PartFacts, StationFacts, verdict
from tracker.work.ledger import Ledger

LONGEST_CODE_KEPT: Final = 80


class Refused(Exception):  # noqa: N818 - no error: a verdict found while the scan is still being read
    """A scan that cannot be judged any further: its verdict."""

    def __init__(self, outcome: Outcome, reason: Reason, /, **values: Any) -> None:
        super().__init__(reason)
        self.verdict = verdict(outcome, reason, **values)


class Scanned:
    """One scan that is being judged. Its row in the log is number ``seq``; who judges it fills in what it is about.

    ``meant`` is the number of the reading that a card was about, ``undoes`` of the one that an undo takes back.
    ``opened`` is a box that the scan named, ``board`` the board that it was; ``with_board``: it came with its board.
    """

    def __init__(
        self, ledger: Ledger, scan: Scan, *, station: StationRow | None = None, seq: int | None = None
    ) -> None:
        self.ledger = ledger
        self.scan = scan
        self.at = scan.at
        self.action = scan.action
        self.seq = ledger.next_seq() if seq is None else seq
        self.known_station = station
        self.part: Part | None = None
        self.box: Box | None = None
        self.board: BoardView | None = None
        self.load_id: int | None = None
        self.job_id: int | None = None
        self.slot_id: int | None = None
        self.opened: Box | None = None
        self.meant: int | None = None
        self.undoes: int | None = None
        self.with_board = False
        self.contradiction: Contradiction | None = None
        self.would_change: Read | BenchReading | None = None

    @property
    def station(self) -> StationRow:
        """The station as this transaction sees it; a scan gets this far only with one."""
        if self.known_station is None:
            raise RuntimeError("the station was not looked up")
        return self.ledger.station(self.known_station.name) or self.known_station

    @property
    def box_about(self) -> Box | None:
        """The box that the scan is about: its own, or its part's."""
        return self.box or (self.part.box if self.part else None)

    def sighting(self, what: Happening, slot: int | None = None) -> Sighting:
        """Return what happened to the part, as its progress is folded from it."""
        station = self.station
        return Sighting(
            seq=self.seq,
            at=self.at,
            what=what,
            station=station.id,
            step=station.step,
            infers=not station.strict,
            slot=slot,
        )

    def read(self, text: str, kind: Kind | None = None) -> Code:
        """Return the code that was read; the SSCC of a box stands for the box's own code."""
        code = code_or_none(text) or self._code_by_sscc(text)
        if kind is not None and code.kind is not kind:
            raise Refused(Outcome.MISREAD, Reason.WRONG_KIND, code=str(code))
        return code

    def _code_by_sscc(self, text: str) -> Code:
        sscc = sscc_or_none(text)
        if sscc is None:
            raise Refused(Outcome.MISREAD, Reason.MISREAD)
        box_id = self.ledger.box_of_sscc(sscc)
        if box_id is None:
            raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=sscc)
        return Code(Kind.BOX, box_id)

    def part_coded(self, code: Code) -> Part:
        """Return the part with a code; refuse one that the shop does not have."""
        part = self.ledger.part(code.number)
        if part is None:
            raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))
        return part

    def box_coded(self, code: Code) -> Box:
        """Return the box with a code; refuse one that the shop does not have."""
        box = self.ledger.box(code.number)
        if box is None:
            raise Refused(Outcome.UNKNOWN, Reason.UNKNOWN_CODE, code=str(code))
        return box

    # Facts for the verdicts

    def station_facts(self) -> StationFacts:
        """Return the station as a verdict needs it."""
        station = self.station
        return StationFacts(id=station.id, name=station.name, step=station.step, infers=not station.strict)

    def part_facts(self, part: Part) -> PartFacts:
        """Return a part as a verdict needs it, with its job's hold at the scan's own time."""
        held = self._held(part.job)
        return PartFacts(
            code=part_code(part.id),
            name=part.name,
            cabinet=part.cabinet,
            job=part.job.code,
            route=part.route,
            box=self.box_facts(self.ledger.box(part.box.id) or part.box),
            now=part.progress,
            job_held=held,
            resumed=held and part.job.status != JobStatus.HELD,
            cancelled=part.status == PartStatus.CANCELLED,
            replaced_by=None if part.replaced_by_id is None else part_code(part.replaced_by_id),
        )

    def box_facts(self, box: Box) -> BoxFacts:
        """Return a box as a verdict needs it, with its job's hold at the scan's own time."""
        held = self._held(box.job)
        return BoxFacts(
            code=box_code(box.id),
            name=box.name,
            state=box.state,
            job=box.job.code,
            job_held=held,
            resumed=held and box.job.status != JobStatus.HELD,
            own_hold=box.held_at is not None and box.held_at <= self.at,
            missing=box.parts_lacking,
            cancelled=box.job.status == JobStatus.CANCELLED,
            load=box.load_code,
        )

    def scanned_box_facts(self, box: Box) -> BoxFacts:
        """The facts of a box that was read itself: its items and what its parts wait for, too."""
        lacking = lacks(parts_of_box(self.ledger.written, box.id), ()).parts if box.parts_lacking else ()
        steps = [each.step for each in lacking if not each.damaged]
        return replace(
            self.box_facts(box),
            uncounted=uncounted(self.ledger.connection, box.id),
            ready=steps.count(Step.PACK),
            damaged=len(lacking) - len(steps),
            awaited=[step for step in Step if step in steps],
        )

    def _held(self, job: Job) -> bool:
        if self.at >= job.status_at:
            return job.status == JobStatus.HELD
        return held_at(self.ledger.connection, job.id, self.at)


def sscc_or_none(text: str) -> str | None:
    """Return the SSCC that a text spells, or None."""
    try:
        return find_sscc(text)
    except MisreadError:
        return None
