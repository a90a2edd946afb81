"""Sheets as they are printed, each of them made and read only once."""

import io
import re
from functools import cache

import pypdf

from tests.shop.cabinets.examples import ONE_OF_EACH, STANDARD, order
from tracker.labels.assembly_sheet import Sheet, sheet_of
from tracker.labels.assembly_sheet_pdf import Paper, write_sheet
from tracker.labels.tongues import IN_ENGLISH, tongue_of
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.orders import CabinetOrder
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

# Each cabinet on each paper, in one language or the other; those with the most on a page in both.
IN_ENGLISH_ON = [(each, Paper.A4) for each in ONE_OF_EACH] + [(each, Paper.LETTER) for each in CROWDED]
IN_SPANISH_ON = [(each, Paper.LETTER) for each in ONE_OF_EACH] + [(each, Paper.A4) for each in CROWDED]


@cache
def made(ordered: CabinetOrder) -> Sheet:
    return sheet_of(
        design_cabinet(ordered, STANDARD),
        job="J-1042",
        name="101-2",
        boxes=("101 A", "101 B"),
        box_of={"Deck": "101 A", "Top": "101 B"},
        one_person_kg=20,
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
    """What pypdf reads on each page."""
    return read(pdf_of(ordered, paper, tongue))


def read(pdf: bytes) -> tuple[str, ...]:
    return tuple(re.sub(r"\s+", " ", page.extract_text()) for page in pypdf.PdfReader(io.BytesIO(pdf)).pages)
