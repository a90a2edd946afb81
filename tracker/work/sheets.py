"""The sheet in the carton, drawn for a cabinet of a job as it was designed."""

from typing import BinaryIO
from urllib.parse import quote

from tracker.labels.sheets import Paper, Sheet, sheet_of, write_sheet
from tracker.records.contents import boxes_of_cabinet, boxes_of_parts
from tracker.records.database import Database
from tracker.settings import Settings
from tracker.shop.codes import box_code
from tracker.work.designs import cabinet_of_job
from tracker.work.reports import report_key


def cabinet_sheet(database: Database, settings: Settings, job: str, name: str, *, site: str = "") -> Sheet:
    """Return the sheet of a job's cabinet. Raises NotFoundError when the job has no designed cabinet of this number.

    The code to scan opens the report page at the shop's own address, or at ``site`` when none is set; without either
    it holds the code of the cabinet's box, to be told to the shop.
    """
    cabinet = cabinet_of_job(database, job, name)
    with database.read() as connection:
        boxes = boxes_of_cabinet(connection, job, name)
        box_of = boxes_of_parts(connection, job, name)
    code = box_code(boxes[0][0]) if boxes else job
    site = settings.site_url or site.rstrip("/")
    link = f"{site}{report_path(settings, job, name)}" if site else code
    return sheet_of(
        cabinet,
        job=job,
        name=name,
        boxes=[box_name for _, box_name in boxes],
        box_of=box_of,
        one_person_kg=cabinet.one_person_kg,
        report_code=code,
        report_link=link,
    )


def report_path(settings: Settings, job: str, name: str) -> str:
    """Return the path of a cabinet's report page, with the key that only its sheet shows."""
    return f"/report/{quote(job, safe='')}/{quote(name, safe='')}/{report_key(settings.secret_key, job, name)}"


def write_cabinet_sheet(
    database: Database, settings: Settings, job: str, name: str, stream: BinaryIO, *, site: str = "", paper: str = "a4"
) -> int:
    """Write a cabinet's sheet as a PDF; return how many pages it has."""
    return write_sheet(cabinet_sheet(database, settings, job, name, site=site), stream, paper=Paper(paper))
