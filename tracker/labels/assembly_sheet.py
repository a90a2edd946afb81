"""The sheet that lies in the carton: what it says of the cabinet, and the pictures on it.

Black, white and grey; nothing on it depends on colour. ``assembly_sheet_pdf.py`` prints it.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from tracker.labels.qr import qr_rows
from tracker.shop.cabinets.design import Cabinet
from tracker.shop.cabinets.drawing.drawings import Drawings, drawings_of
from tracker.shop.cabinets.drawing.shapes import Area, Drawing, Shape
from tracker.shop.cabinets.guide.cautions import LIFTERS
from tracker.shop.cabinets.guide.values import Guide, PartRow
from tracker.shop.cabinets.guide.writing import guide_of
from tracker.shop.cabinets.joints import Item
from tracker.shop.cabinets.wording import item_words, measured
from tracker.shop.errors import InvalidInputError, fault_at
from tracker.shop.lengths import Units
from tracker.shop.lifting import LiftingMarks
from tracker.shop.saying import join, say
from tracker.shop.written import mass_text

STEP_FRAME: Final = (118.0, 80.0)
OVERVIEW_FRAME: Final = (186.0, 185.0)
LONGEST_LINK: Final = 500
HOW_TO_READ: Final = say(
    "Each panel has a label with an arrow and numbers. The arrow points to the front of the cabinet. "
    "Where two panels meet, both have the same number. In the drawings a number in a broken frame is on a side "
    "that you do not see. Nothing is glued. Lay out all parts and count them first."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What one carton's sheet says; nothing on it names a customer.

    ``box_of`` names the box of each part id, where it is known. ``report_link`` stands in the code to scan,
    ``report_code`` as text below it. Raises InvalidInputError when a text is missing, the link is too long for a code,
    or there is not one drawing for each step.
    """

    job: str
    cabinet: str
    boxes: tuple[str, ...]
    box_of: Mapping[str, str]
    note: str
    guide: Guide
    drawings: Drawings
    report_code: str
    report_link: str

    def __post_init__(self) -> None:
        texts = {
            "job": self.job,
            "cabinet": self.cabinet,
            "report_code": self.report_code,
            "report_link": self.report_link,
        }
        faults = [fault_at(name, "wanted: a text") for name, text in texts.items() if not text.strip()]
        if len(self.report_link) > LONGEST_LINK:
            faults.append(fault_at("report_link", f"wanted: at most {LONGEST_LINK} characters"))
        if len(self.drawings.steps) != len(self.guide.steps):
            faults.append(fault_at("drawings", "wanted: one drawing for each step"))
        if faults:
            raise InvalidInputError("The sheet cannot be made.", faults)

    @property
    def units(self) -> Units:
        """Those in which the cabinet was ordered."""
        return self.guide.units

    @property
    def mass_units(self) -> str:
        return "kg" if self.units is Units.MM else "lb"

    @property
    def lifters(self) -> str:
        return LIFTERS[self.guide.lifted_by]

    def mass_of(self, row: PartRow) -> str:
        """Return the mass of one of these parts, a number in the sheet's units."""
        return measured(mass_text(row.mass_kg, self.units, digits=1).partition(" ")[0])

    @property
    def weight(self) -> str:
        """How heavy the cabinet is, and who lifts it."""
        return say("%(mass)s put together, %(lifters)s", mass=self.guide.mass, lifters=self.lifters)

    @property
    def how_to_read(self) -> str:
        return HOW_TO_READ

    def counted(self, item: Item) -> str:
        """Return how many of an item there are: ``2 × spring pin 8 mm``."""
        return join([str(item.quantity), item_words(item.item)], between=" × ")

    def boxes_of(self, row: PartRow) -> str:
        """Return the names of the boxes in which these parts lie; none where one box holds all."""
        if len(self.boxes) < 2:
            return ""
        found = {self.box_of[own] for own in row.ids if own in self.box_of}
        return ", ".join(name for name in self.boxes if name in found)


def sheet_of(
    cabinet: Cabinet,
    *,
    job: str,
    name: str,
    boxes: Sequence[str],
    box_of: Mapping[str, str] | None = None,
    marks: LiftingMarks,
    report_code: str,
    report_link: str,
) -> Sheet:
    """Return the sheet of a designed cabinet that the job calls ``name``."""
    guide = guide_of(cabinet, marks)
    return Sheet(
        job=job,
        cabinet=name,
        boxes=tuple(boxes),
        box_of=box_of or {},
        note=cabinet.order.note,
        guide=guide,
        drawings=drawings_of(cabinet, guide, step=STEP_FRAME, overview=OVERVIEW_FRAME),
        report_code=report_code,
        report_link=report_link,
    )


def pictures_of(sheet: Sheet) -> tuple[Drawing, ...]:
    """Return what the page shows: all parts apart, one drawing a step, and last the code to scan."""
    return (sheet.drawings.overview, *sheet.drawings.steps, symbol_of(sheet.report_link))


def symbol_of(link: str) -> Drawing:
    """Return the code to scan, as a drawing one unit a module, its quiet zone of four modules around it."""
    rows = qr_rows(link)
    shapes: list[Shape] = []
    for y, row in enumerate(rows):
        for black in re.finditer(rb"\0+", row):
            x, end = black.span()
            shapes.append(Area(points=((x, y), (end, y), (end, y + 1), (x, y + 1)), tone=0.0))
    title = say("Code to scan: %(link)s", link=link)
    return Drawing(width=len(rows[0]), height=len(rows), title=title, shapes=tuple(shapes))
