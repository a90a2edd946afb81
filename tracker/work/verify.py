"""Work every state out anew from the log and compare it with what is kept."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import islice
from typing import Final

from sqlalchemy import Connection

from tracker.records import audit
from tracker.records.audit import BoxActs
from tracker.records.boxes import Box
from tracker.records.database import Database
from tracker.records.integrity import damage
from tracker.records.logged import LogRow
from tracker.records.parts import Part
from tracker.records.past import sightings
from tracker.shop.acts import Act
from tracker.shop.box_states import BoxState, filling_state
from tracker.shop.codes import box_code, part_code
from tracker.shop.job_states import STATUS_AFTER, JobStatus
from tracker.shop.progress import PartStatus, Progress, fold, status_of
from tracker.shop.steps import Step

MOST_DAMAGE: Final = 3  # told; more of the same helps nobody


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One place where the kept state is not what the log says."""

    what: str
    kept: str
    log_says: str

    @property
    def sentence(self) -> str:
        """The difference for a person."""
        return f"{self.what}: kept {self.kept}; the log says {self.log_says}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """One place where the database's file is damaged."""

    found: str
    what: str = "the database's file"

    @property
    def sentence(self) -> str:
        """The damage for a person."""
        return f"{self.what} is damaged: {self.found}"


def verify(database: Database) -> Iterator[Damage | Difference]:
    """Give what is damaged in the file, or else every difference between the kept state and the fold of the log.

    There is nothing to give when all is well.
    """
    damaged = False
    for found in islice(damage(database), MOST_DAMAGE):
        damaged = True
        yield Damage(found=found)
    if damaged:
        return  # what is read from such a file says nothing
    with database.read() as connection:
        yield from _Audit(connection).run()


def impossible_rows(database: Database) -> list[LogRow]:
    """Return the rows of the log whose times cannot be. They are no difference: the log is never changed."""
    with database.read() as connection:
        return audit.impossible_rows(connection)


class _Audit:
    def __init__(self, connection: Connection) -> None:
        self.connection = connection
        self.replaced = audit.replacements(connection)
        self.acts = audit.box_acts(connection)
        self.job_acts = audit.job_acts(connection)
        self.steps: Counter[tuple[int, str]] = Counter()
        self.totals: Counter[tuple[int, str]] = Counter()
        self.packed: Counter[int] = Counter()
        self.planned: Counter[int] = Counter()

    def run(self) -> Iterator[Difference]:
        for kept in audit.kept_parts(self.connection):
            happened = sightings(self.connection, [part.id for part in kept])
            for part in kept:
                yield from self._part(part, fold(happened[part.id], part.route))
        for box in audit.kept_boxes(self.connection):
            yield from self._box(box)
        yield from self._tallies()
        yield from self._jobs()

    def _part(self, kept: Part, folded: Progress) -> Iterator[Difference]:
        replaced = self.replaced.get(kept.id)
        shipped = self.acts.get(kept.box.id, _NO_ACTS).shipped
        if shipped is not None and (replaced is None or replaced > shipped):
            folded = replace(folded, done=folded.done | {Step.SHIP})
        status = self._status(kept, folded, replaced)
        if (kept.progress, kept.status) != (folded, status):
            yield Difference(
                what=f"part {part_code(kept.id)}",
                kept=_words(kept.progress, kept.status),
                log_says=_words(folded, status),
            )
        if replaced is not None:
            return
        self._count(kept, folded)

    def _status(self, kept: Part, folded: Progress, replaced: int | None) -> PartStatus:
        if replaced is not None:
            return PartStatus.REPLACED
        return PartStatus.CANCELLED if self.job_acts.get(kept.job.id) == Act.CANCEL else status_of(folded)

    def _count(self, kept: Part, folded: Progress) -> None:
        for step in kept.route:
            self.totals[kept.job.id, step.value] += 1
            self.steps[kept.job.id, step.value] += step in folded.counted
        self.planned[kept.box.id] += 1
        self.packed[kept.box.id] += Step.PACK in folded.counted

    def _box(self, kept: Box) -> Iterator[Difference]:
        acts = self.acts.get(kept.id, _NO_ACTS)
        packed, planned = self.packed[kept.id], self.planned[kept.id]
        state = _state(acts, packed, planned)
        for what, closed in (("sealed", acts.sealed is not None), ("shipped", acts.shipped is not None)):
            self.totals[kept.job.id, what] += 1
            self.steps[kept.job.id, what] += closed
        if (kept.state, kept.packed, kept.parts_total) != (state, packed, planned):
            yield Difference(
                what=f"box {box_code(kept.id)}",
                kept=f"{kept.state}, {kept.packed} of {kept.parts_total} in",
                log_says=f"{state}, {packed} of {planned} in",
            )

    def _tallies(self) -> Iterator[Difference]:
        for (job_id, what), (done, total) in audit.kept_tallies(self.connection).items():
            counted = (self.steps[job_id, what], self.totals[job_id, what])
            if (done, total) != counted:
                yield Difference(
                    what=f"tally of {what} of job number {job_id}",
                    kept=f"{done} of {total}",
                    log_says=f"{counted[0]} of {counted[1]}",
                )

    def _jobs(self) -> Iterator[Difference]:
        for job_id, (code, status) in audit.kept_jobs(self.connection).items():
            said = STATUS_AFTER[self.job_acts.get(job_id, Act.RESUME)]
            if said is JobStatus.OPEN and self.steps[job_id, "shipped"] == self.totals[job_id, "shipped"]:
                said = JobStatus.SHIPPED
            if status != said:
                yield Difference(what=f"job {code}", kept=status, log_says=said)


_NO_ACTS = BoxActs()


def _state(acts: BoxActs, packed: int, planned: int) -> BoxState:
    if acts.shipped is not None:
        return BoxState.SHIPPED
    if acts.loaded is not None:
        return BoxState.LOADED
    if acts.sealed is not None:
        return BoxState.SEALED
    return filling_state(packed=packed, parts_total=planned)


def _words(progress: Progress, status: str) -> str:
    done = ", ".join(
        f"{step} (inferred)" if step in progress.inferred else step for step in Step if step in progress.done
    )
    damaged = ", damaged" if progress.damaged else ""
    return (
        f"{status}{damaged}; done: {done or 'nothing'}; seen {progress.at} at {progress.station}, slot {progress.slot}"
    )
