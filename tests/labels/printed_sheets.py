"""Sheets as they are printed, each of them made and read only once."""

import io
import re
import shutil
import subprocess
from functools import cache

from tests.conftest import missing_tool
from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, order
from tracker.labels.assembly_sheet import Sheet, sheet_of
from tracker.labels.assembly_sheet_pdf import Paper, write_sheet
from tracker.labels.tongues import IN_ENGLISH, tongue_of
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.orders import CabinetOrder
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import Tongue

LINK = "https://tracker.example/report/R-7K2Q"
BASE = order("base", 457.2, 876.3, 457.2, "drawer over door", "left")
TALL = order("tall", 700, 2134, 600, "oven", "pair")
DRAWERS = order("base", 600, 876, 600, "4 drawers")
CROWDED = (
    BASE,
    TALL,
    DRAWERS,
    order("base", 600, 900, 600, "5 drawers"),
    order("diagonal corner", 914, 876, 600, "base", "left"),
)
SPANISH = tongue_of("es")

ONE_OF_EACH_FAMILY = {each.family: each for each in ONE_OF_EACH}.values()

# Spanish takes more room than English: all cabinets in it, and those with the most on a page on both papers.
IN_ENGLISH_ON = [(each, Paper.A4) for each in ONE_OF_EACH_FAMILY] + [(each, Paper.LETTER) for each in CROWDED]
IN_SPANISH_ON = [(each, Paper.LETTER) for each in ONE_OF_EACH] + [(each, Paper.A4) for each in CROWDED]


@cache
def made(ordered: CabinetOrder) -> Sheet:
    return sheet_of(
        design_cabinet(ordered, STANDARD),
        job="J-1042",
        name="101-2",
        boxes=("101 A", "101 B"),
        box_of={"Deck": "101 A", "Top": "101 B"},
        marks=LiftingMarks(two_people_kg=20),
        report_code="R-7K2Q",
        report_link=LINK,
    )


@cache
def pdf_of(ordered: CabinetOrder, paper: Paper = Paper.A4, tongue: Tongue = IN_ENGLISH) -> bytes:
    stream = io.BytesIO()
    write_sheet(made(ordered), stream, paper=paper, tongue=tongue)
    return stream.getvalue()


@cache
def pages_of(ordered: CabinetOrder, paper: Paper = Paper.A4, tongue: Tongue = IN_ENGLISH) -> tuple[str, ...]:
    """What is read on each page."""
    return read(pdf_of(ordered, paper, tongue))


def read(pdf: bytes) -> tuple[str, ...]:
    """What poppler reads on each page, in the order in which it was written."""
    return tuple(re.sub(r"\s+", " ", page) for page in _poppler(pdf, "-raw").split("\f")[:-1])


def words_at(pdf: bytes) -> list[tuple[float, float, float, float]]:
    """From where to where each word of all pages reaches, in mm from the top left corner."""
    found = re.findall(r'<word xMin="(.+?)" yMin="(.+?)" xMax="(.+?)" yMax="(.+?)">', _poppler(pdf, "-bbox"))
    left, top, right, bottom = ([float(each[place]) / 72 * 25.4 for each in found] for place in range(4))
    return list(zip(left, top, right, bottom, strict=True))


def _poppler(pdf: bytes, how: str) -> str:
    """Poppler reads in a twentieth of the time that pypdf takes: drawings are many strokes."""
    tool = shutil.which("pdftotext")
    if tool is None:
        missing_tool("pdftotext")
    return subprocess.run([str(tool), how, "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
