"""The engineering office at speed: cabinets into parts, joints and boxes, and the sheet in the carton."""

import time
from collections.abc import Iterator
from io import BytesIO

from tracker.bench.figure import Figure
from tracker.labels.assembly_sheet import sheet_of
from tracker.labels.assembly_sheet_pdf import write_sheet
from tracker.shop.boxing.values import Carton, PackingRules
from tracker.shop.cabinets.design import design_cabinet
from tracker.shop.cabinets.lines import design_all, item_lines, part_lines
from tracker.shop.cabinets.orders import CabinetOrder, Family, Fronts, Hinge
from tracker.shop.job_boxes import Packing, plan_boxes
from tracker.shop.lifting import LiftingMarks
from tracker.work.lists import shipped_standard

CABINETS = 500
_KINDS = (
    (Family.BASE, Fronts.DRAWER_OVER_DOOR, Hinge.LEFT, 876.0, 580.0),
    (Family.BASE, Fronts.THREE_DRAWERS, Hinge.NONE, 876.0, 580.0),
    (Family.BASE, Fronts.SINK, Hinge.PAIR, 876.0, 580.0),
    (Family.WALL, Fronts.DOORS, Hinge.NONE, 760.0, 320.0),
    (Family.TALL, Fronts.PANTRY, Hinge.PAIR, 2134.0, 580.0),
)
_PACKING = Packing(
    cartons=(
        Carton(id="flat", length_mm=960, width_mm=960, height_mm=180, max_mass_kg=43, tare_kg=1.9),
        Carton(id="long", length_mm=2200, width_mm=960, height_mm=180, max_mass_kg=43, tare_kg=2.8),
    ),
    rules=PackingRules(layer_gap_mm=2, bag_height_mm=45, bag_mass_kg=1.2, box_mass_kg=40),
)


def figures() -> Iterator[Figure]:
    """Measure both; no two of the cabinets are equal, so nothing is worked out once and used again."""
    yield _cabinets()
    yield _sheet()


def _order(number: int) -> CabinetOrder:
    family, fronts, hinge, height, depth = _KINDS[number % len(_KINDS)]
    return CabinetOrder(
        cabinet=str(number),
        family=family,
        fronts=fronts,
        hinge=hinge,
        width_mm=500 + number / 5,
        height_mm=height,
        depth_mm=depth,
    )


def _cabinets() -> Figure:
    orders = [({"index": number}, _order(number)) for number in range(CABINETS)]
    standard = shipped_standard()
    started = time.perf_counter()
    designs = design_all(orders, standard)
    boxes = plan_boxes(list(part_lines(designs)), list(item_lines(designs)), _PACKING)
    seconds = time.perf_counter() - started
    if sum(len(box.pieces) for box in boxes) != sum(len(design.cabinet.parts) for design in designs):
        raise RuntimeError("a part is in no box")
    what = f"{CABINETS} cabinets into parts, joints and boxes"
    return Figure(what=what, value=seconds, unit="s", wanted="under 10 s", met=seconds < 10)


def _sheet() -> Figure:
    standard = shipped_standard()
    took = []
    for number in range(len(_KINDS)):
        started = time.perf_counter()
        cabinet = design_cabinet(_order(number), standard)
        sheet = sheet_of(
            cabinet,
            job="J-1",
            name="101",
            boxes=["1"],
            marks=LiftingMarks(),
            report_code="B0000000141",
            report_link="https://shop.example/report/J-1/101/0123456789abcdef0123",
        )
        write_sheet(sheet, BytesIO())
        took.append(time.perf_counter() - started)
    worst = max(took)
    return Figure(
        what="a sheet in the carton, the slowest of five", value=worst, unit="s", wanted="under 0.5 s", met=worst < 0.5
    )
