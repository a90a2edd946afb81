"""Reports from site: the fitter scans the code on the sheet and says what is missing or damaged.

The link on the sheet has a key, an HMAC of job and cabinet, so only who holds the sheet can report.
"""

import hmac
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from typing import Final

from tracker.records import reports as kept
from tracker.records.database import Database
from tracker.records.designs import part_numbers
from tracker.records.reports import ReportView
from tracker.shop.errors import ConflictError, Fault, InvalidInputError, NotFoundError
from tracker.shop.saying import say
from tracker.work.designs import cabinet_of_job
from tracker.work.jobs import job_coded

MOST_OPEN: Final = 200  # of one job: the page is open to whoever holds the sheet
LONGEST_NAME: Final = 200
LONGEST_NOTE: Final = 2_000
WHATS: Final = ("missing", "damaged")


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """One thing that is wrong: a part's id in the cabinet, or the name of an item of the bag."""

    name: str
    what: str


def report_key(secret: str, job: str, cabinet: str) -> str:
    """Return what makes a link to a cabinet's report page valid: only who holds the sheet knows it."""
    return hmac.new(secret.encode(), f"report\n{job}\n{cabinet}".encode(), sha256).hexdigest()[:20]


def key_is_right(secret: str, job: str, cabinet: str, key: str) -> bool:
    return hmac.compare_digest(report_key(secret, job, cabinet).encode(), key.encode())


def take_report(
    database: Database, job: str, cabinet: str, told: Sequence[Told], *, told_by: str, note: str, now: datetime
) -> int:
    """Keep what a fitter reports of a cabinet; return how many things it was.

    Raises InvalidInputError for what the cabinet does not have, ConflictError when too much is open for this job.
    """
    design = cabinet_of_job(database, job, cabinet)
    parts, items = {part.id for part in design.parts}, {item.item for item in design.items if item.in_bag}
    wanted = say("wanted: a part or an item of this cabinet, missing or damaged")
    faults = [
        Fault(where={"field": each.name[:40]}, what=wanted)
        for each in told
        if each.what not in WHATS or each.name not in parts | items
    ]
    if not told:
        faults.append(Fault(where={"field": "parts"}, what=say("say at least of one thing what is wrong")))
    texts = (("told_by", told_by, LONGEST_NAME, 1), ("note", note, LONGEST_NOTE, 0))
    for name, text, longest, least in texts:
        if not least <= len(text.strip()) <= longest or not text.replace("\n", "").replace("\r", "").isprintable():
            what = say("wanted: %(least)s to %(most)s characters", least=least, most=longest)
            faults.append(Fault(where={"field": name}, what=what))
    if faults:
        raise InvalidInputError(say("The report cannot be taken."), faults)
    with database.write() as connection:
        view = job_coded(connection, job)
        if kept.count_open(connection, view.id) + len(told) > MOST_OPEN:
            raise ConflictError(say("So much was reported for this job already that somebody must look at it first."))
        numbers = part_numbers(connection, job, cabinet)
        for each in told:
            kept.add_report(
                connection,
                job_id=view.id,
                cabinet=cabinet,
                part_id=numbers.get(each.name),
                item=each.name,
                what=each.what,
                told_by=told_by.strip(),
                note=note.strip(),
                at=now,
            )
    return len(told)


def open_reports(database: Database, *, limit: int, after: int = 0) -> list[ReportView]:
    """Return what was reported and not dealt with, the oldest first."""
    with database.read() as connection:
        return kept.open_reports(connection, limit=limit, after=after)


def close_report(database: Database, number: int, *, who: str, now: datetime) -> None:
    """Mark a report as dealt with. Raises NotFoundError when there is no open one of this number."""
    with database.write() as connection:
        if not kept.close_report(connection, number, who=who, now=now):
            raise NotFoundError(say("There is no open report %(number)s.", number=number))
