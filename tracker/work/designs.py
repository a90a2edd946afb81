"""Look at the cabinets of a job as they were designed when it was taken."""

from tracker.records.database import Database
from tracker.records.designs import cabinet_design, cabinets_of
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.errors import NotFoundError
from tracker.shop.saying import say
from tracker.work.jobs import job_coded


def cabinets_of_job(database: Database, job_code: str) -> list[str]:
    """Return the numbers of a job's designed cabinets. Raises NotFoundError when there is no such job."""
    with database.read() as connection:
        job = job_coded(connection, job_code)
        return cabinets_of(connection, job.id)


def cabinet_of_job(database: Database, job_code: str, name: str) -> Cabinet:
    """Return one cabinet's design. Raises NotFoundError when the job has no designed cabinet of this number."""
    with database.read() as connection:
        cabinet = cabinet_design(connection, job_code, name)
    if cabinet is None:
        told = say("Job %(job)s has no designed cabinet %(cabinet)s.", job=job_code[:40], cabinet=name[:40])
        raise NotFoundError(told)
    return cabinet
