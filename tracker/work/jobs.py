"""Hold, resume and cancel a job."""

from datetime import datetime
from uuid import UUID

from tracker.records.database import Database
from tracker.records.jobs import JobRow, any_box_shipped, cancel_parts, job_by_code, set_job_status
from tracker.shop.acts import Act
from tracker.shop.errors import ConflictError, NotFoundError
from tracker.shop.job_states import UNFINISHED, JobStatus
from tracker.shop.reasons import Reason, meaning
from tracker.shop.saying import say
from tracker.shop.standing import job_is
from tracker.work.ledger import open_ledger


def hold_job(database: Database, code: str, *, who: str, now: datetime, act_id: UUID) -> None:
    """Put a job on hold: its parts and boxes pass no step until it is resumed."""
    _change(database, code, Act.HOLD, who=who, now=now, act_id=act_id)


def resume_job(database: Database, code: str, *, who: str, now: datetime, act_id: UUID) -> None:
    """Let a held job go on."""
    _change(database, code, Act.RESUME, who=who, now=now, act_id=act_id)


def cancel_job(database: Database, code: str, *, who: str, now: datetime, act_id: UUID) -> None:
    """Cancel a job of which nothing has shipped; its parts are cancelled with it."""
    _change(database, code, Act.CANCEL, who=who, now=now, act_id=act_id)


# act: (the statuses it starts from, the status it leads to, what the log tells)
_ACTS = {
    Act.HOLD: ((JobStatus.OPEN,), JobStatus.HELD, Reason.HELD_JOB),
    Act.RESUME: ((JobStatus.HELD,), JobStatus.OPEN, Reason.RESUMED_JOB),
    Act.CANCEL: (UNFINISHED, JobStatus.CANCELLED, Reason.CANCELLED_JOB),
}


_CANNOT = {
    Act.HOLD: say("it cannot be put on hold"),
    Act.RESUME: say("it cannot be resumed"),
    Act.CANCEL: say("it cannot be cancelled"),
}


def _change(database: Database, code: str, act: Act, *, who: str, now: datetime, act_id: UUID) -> None:
    starts, status, reason = _ACTS[act]
    with open_ledger(database, who, now) as ledger:
        job = job_by_code(ledger.connection, code)
        if job is None:
            raise NotFoundError(say("There is no job %(job)s.", job=code))
        if job.status not in starts:
            raise ConflictError(
                say(
                    "Job %(job)s %(is_so)s: %(not_possible)s.",
                    job=code,
                    is_so=job_is(job.status),
                    not_possible=_CANNOT[act],
                )
            )
        if act is Act.CANCEL:
            _refuse_shipped(any_box_shipped(ledger.connection, job.id), job)
            ledger.change(cancel_parts, job.id)
        ledger.change(set_job_status, job.id, status, now)
        ledger.act(act, meaning(reason, job=code), scan_id=act_id, job_id=job.id)


def _refuse_shipped(shipped: bool, job: JobRow) -> None:
    if shipped:
        raise ConflictError(
            say("A box of job %(job)s has shipped already: hold the job and sort the rest out by part.", job=job.code)
        )
