"""Hold, resume and cancel a job."""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Final

from sqlalchemy import Connection

from tracker.records.database import Database
from tracker.records.jobs import JobView, any_box_shipped, cancel_parts, job_view, set_job_status
from tracker.shop.acts import Act, JobCancelled, JobHeld, JobResumed
from tracker.shop.errors import ConflictError, NotFoundError
from tracker.shop.job_states import STATUS_AFTER, UNFINISHED, JobStatus
from tracker.shop.saying import say
from tracker.shop.standing import job_is
from tracker.work.ledger import open_ledger


def job_coded(connection: Connection, code: str) -> JobView:
    """Return the job of this code. Raises NotFoundError when there is none."""
    job = job_view(connection, code)
    if job is None:
        raise NotFoundError(say("There is no job %(job)s.", job=code[:40]))
    return job


def hold_job(database: Database, code: str, *, who: str, now: datetime) -> None:
    """Put a job on hold: its parts and boxes pass no step until it is resumed."""
    _change(database, code, Act.HOLD, who=who, now=now)


def resume_job(database: Database, code: str, *, who: str, now: datetime) -> None:
    """Let a held job go on."""
    _change(database, code, Act.RESUME, who=who, now=now)


def cancel_job(database: Database, code: str, *, who: str, now: datetime) -> None:
    """Cancel a job of which nothing has shipped; its parts are cancelled with it."""
    _change(database, code, Act.CANCEL, who=who, now=now)


# act: (what the log is told, the statuses it starts from, what is said of a job in another one)
_ACTS: Final[Mapping[Act, tuple[type[JobHeld | JobResumed | JobCancelled], Collection[JobStatus], str]]] = {
    Act.HOLD: (JobHeld, (JobStatus.OPEN,), say("it cannot be put on hold")),
    Act.RESUME: (JobResumed, (JobStatus.HELD,), say("it cannot be resumed")),
    Act.CANCEL: (JobCancelled, UNFINISHED, say("it cannot be cancelled")),
}


def _change(database: Database, code: str, act: Act, *, who: str, now: datetime) -> None:
    done, starts, cannot = _ACTS[act]
    with open_ledger(database, who, now) as ledger:
        job = job_coded(ledger.connection, code)
        if job.status not in starts:
            told = say(
                "Job %(job)s %(is_so)s: %(not_possible)s.", job=code, is_so=job_is(job.status), not_possible=cannot
            )
            raise ConflictError(told)
        if act is Act.CANCEL:
            _refuse_shipped(any_box_shipped(ledger.connection, job.id), code)
            ledger.change(cancel_parts, job.id)
        ledger.change(set_job_status, job.id, STATUS_AFTER[act], now)
        ledger.tell(done(job_id=job.id, job=code))


def _refuse_shipped(shipped: bool, code: str) -> None:
    if shipped:
        raise ConflictError(
            say("A box of job %(job)s has shipped already: hold the job and sort the rest out by part.", job=code)
        )
