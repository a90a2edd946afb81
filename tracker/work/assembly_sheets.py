"""The sheet in the carton, drawn for a cabinet of a job as it was designed, in the language of whoever builds it."""

from datetime import datetime
from typing import BinaryIO, Final
from urllib.parse import quote

from tracker.labels.assembly_sheet import Sheet, sheet_of
from tracker.labels.assembly_sheet_pdf import Paper, write_sheet
from tracker.labels.tongues import tongue_of
from tracker.records.box_contents import boxes_of_cabinet, boxes_of_parts
from tracker.records.database import Database
from tracker.records.settings import keep_setting, setting_text
from tracker.settings import Settings
from tracker.shop.codes import box_code
from tracker.shop.saying import ENGLISH
from tracker.work.designs import cabinet_of_job
from tracker.work.lists import lifting_marks
from tracker.work.reports import report_key

_LANGUAGE: Final = "sheet_language"


def sheet_language(database: Database) -> str:
    """Return the language in which the shop prints its sheets: English until another is chosen."""
    with database.read() as connection:
        return setting_text(connection, _LANGUAGE) or ENGLISH


def set_sheet_language(database: Database, language: str, *, who: str, now: datetime) -> None:
    """Choose the language of the shop's sheets. Raises InvalidInputError when it is not spoken here."""
    tongue_of(language)
    with database.write() as connection:
        keep_setting(connection, _LANGUAGE, language, who=who, now=now)


def cabinet_sheet(
    database: Database, settings: Settings, job: str, name: str, *, site: str = "", language: str = ENGLISH
) -> Sheet:
    """Return the sheet of a job's cabinet. Raises NotFoundError when the job has no designed cabinet of this number.

    The code to scan opens the report page at the shop's own address, or at ``site`` when none is set, and in
    ``language``, that of the sheet; without either address it holds the code of the cabinet's box, to be told to the
    shop.
    """
    cabinet = cabinet_of_job(database, job, name)
    with database.read() as connection:
        boxes = boxes_of_cabinet(connection, job, name)
        box_of = boxes_of_parts(connection, job, name)
    code = box_code(boxes[0][0]) if boxes else job
    site = settings.site_url or site.rstrip("/")
    asked = "" if language == ENGLISH else f"?language={language}"  # who reads English is asked by their browser
    link = f"{site}{report_path(settings, job, name)}{asked}" if site else code
    return sheet_of(
        cabinet,
        job=job,
        name=name,
        boxes=[box_name for _, box_name in boxes],
        box_of=box_of,
        marks=lifting_marks(database),
        report_code=code,
        report_link=link,
    )


def report_path(settings: Settings, job: str, name: str) -> str:
    """Return the path of a cabinet's report page, with the key that only its sheet shows."""
    return f"/report/{quote(job, safe='')}/{quote(name, safe='')}/{report_key(settings.secret_key, job, name)}"


def write_cabinet_sheet(
    database: Database,
    settings: Settings,
    job: str,
    name: str,
    stream: BinaryIO,
    *,
    site: str = "",
    paper: str = "a4",
    language: str | None = None,
) -> int:
    """Write a cabinet's sheet as a PDF, in the shop's own language of sheets if none is named; return its pages.

    Raises NotFoundError as above, InvalidInputError when the language is not spoken here.
    """
    language = language or sheet_language(database)
    tongue = tongue_of(language)
    sheet = cabinet_sheet(database, settings, job, name, site=site, language=language)
    return write_sheet(sheet, stream, paper=Paper(paper), tongue=tongue)
