"""What a scan that comes late finds at the benches, and what it changes for the scans after it, answered without it."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime

from tracker.records import benches
from tracker.records.benches import BenchReading
from tracker.records.past import held_at, sealed_after, sightings
from tracker.shop.outcomes import Outcome
from tracker.shop.progress import Sighting, fold, known_at
from tracker.shop.steps import Step
from tracker.work.ledger import Ledger


class Benches:
    """The benches as they stood at past moments, by the log and by what is ``known`` besides of a part."""

    def __init__(self, ledger: Ledger, known: Mapping[int, Sequence[Sighting]] | None = None) -> None:
        ledger.write()
        self._ledger = ledger
        self._known = known or {}
        self._happened: dict[int, dict[int, list[Sighting]]] = {}

    def open_box(self, station_id: int, at: datetime) -> int | None:
        """Return the box that a bench had open, which takes parts until it is complete or closed."""
        return self._open_of(benches.openers(self._ledger.connection, station_id, at), at)

    def _open_of(self, opened: Sequence[BenchReading], at: datetime) -> int | None:
        standing = (each.opens for each in reversed(opened) if each.undone_at is None or each.undone_at > at)
        box_id = next(standing, None)
        return box_id if box_id is not None and self._takes_parts(box_id, at) else None

    def _takes_parts(self, box_id: int, at: datetime) -> bool:
        box = self._ledger.box(box_id)
        if box is None or (box.closed and not sealed_after(self._ledger.connection, box_id, at)):
            return False
        happened = self._happened_in(box_id)
        packed = [self._is_packed(part_id, each, at) for part_id, each in happened.items()]
        return not (packed and all(packed))

    def _happened_in(self, box_id: int) -> Mapping[int, list[Sighting]]:
        if box_id not in self._happened:
            part_ids = benches.living_parts_of(self._ledger.connection, box_id)
            self._ledger.look_up_parts(part_ids)
            self._happened[box_id] = sightings(self._ledger.connection, part_ids)
        return self._happened[box_id]

    def _is_packed(self, part_id: int, happened: Sequence[Sighting], at: datetime) -> bool:
        part = self._ledger.part(part_id)
        then = known_at(self._known.get(part_id, happened), at)
        return part is not None and Step.PACK in fold(then, part.route).counted

    def answered_otherwise(
        self, after: datetime, late: BenchReading | None = None, *, undoes: int | None = None
    ) -> Iterator[BenchReading]:
        """Give the parts read at benches ``after`` a moment that as things stood would have been answered otherwise.

        ``late`` is what was read at that moment, ``undoes`` the number in the log of what it takes back as an undo.
        """
        opened: dict[int, list[BenchReading]] = {}
        for each in benches.read_after(self._ledger.connection, after):
            before = opened.get(each.station_id)
            if before is None:
                before = benches.openers(self._ledger.connection, each.station_id, after)
                before = [replace(b, undone_at=after) if b.seq == undoes else b for b in before]
                before += [late] if late is not None and late.station_id == each.station_id and late.opens else []
                opened[each.station_id] = before
            if each.part_id is not None and self._differs(each, before):
                yield each
            if each.opens is not None:
                before.append(each)

    def _differs(self, read: BenchReading, opened: Sequence[BenchReading]) -> bool:
        """Whether damage or the open box decides otherwise. A box that the scan named was the open one in any case."""
        if self._damage_differs(read):
            return True
        if read.outcome not in (Outcome.DONE, Outcome.AGAIN, Outcome.WRONG_BOX) or read.named:
            return False
        standing = [each for each in opened if each.undone_at is None or each.undone_at > read.at]
        if not standing or standing[-1].opens == read.box_id:
            return read.outcome == Outcome.WRONG_BOX
        refused = self._takes_parts(standing[-1].opens or 0, read.at)
        return refused is not (read.outcome == Outcome.WRONG_BOX)

    def _damage_differs(self, read: BenchReading) -> bool:
        part = None if read.part_id is None else self._ledger.part(read.part_id)
        if part is None or part.id not in self._known:
            return False
        damaged = fold(known_at(self._known[part.id], read.at), part.route).damaged
        if read.outcome == Outcome.ON_HOLD:
            return not damaged and not held_at(self._ledger.connection, part.job.id, read.at)
        return damaged and read.outcome in (Outcome.DONE, Outcome.AGAIN)
