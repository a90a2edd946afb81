"""The demo's invented shop: set up from the files of seed_data, its labels drawn, read back and scanned."""

import tomllib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from importlib.resources import files
from io import BytesIO
from typing import Any
from uuid import uuid4

import zxingcpp
from PIL import Image

from tracker.records.box_contents import BoxView, boxes_of_job
from tracker.records.database import Database
from tracker.records.jobs import job_view
from tracker.records.parts import SeenPart, parts_of_job
from tracker.settings import Settings, read_settings
from tracker.shop.codes import Kind, code_or_none, read_code
from tracker.shop.errors import ConflictError
from tracker.shop.lengths import Units
from tracker.shop.scans import Action, Answer, Scan
from tracker.shop.steps import Step
from tracker.work.access import add_slot, add_station
from tracker.work.boards import Planned, job_boards, plan_job_boards
from tracker.work.intake import read_order_table
from tracker.work.label_choice import Choice, What, chosen, labels_of
from tracker.work.label_setup import label_setup
from tracker.work.labels import label_of
from tracker.work.lists import BOARDS, CARTONS, packing_of, set_list, shipped_standard
from tracker.work.loads import plan_load, ship_load
from tracker.work.orders import Taken, take_order
from tracker.work.scanning.batch import Sender, take_scans
from tracker.work.seal import Sealed, Sealing, seal_box

Say = Callable[[str], None]
WHO = "demo"
DPI = 203
_OF_LABELS: dict[str, Any] = {
    "formats": [zxingcpp.BarcodeFormat.Code128, zxingcpp.BarcodeFormat.QRCode],
    **dict.fromkeys(("try_rotate", "try_downscale", "try_invert"), False),  # a fresh label lies straight and is sharp
}


@dataclass(slots=True)
class DemoShop:
    """The invented shop while its day is played. Time is the real time, a little spread out."""

    database: Database
    settings: Settings
    data: dict[str, Any]
    stations: dict[Step, str] = field(default_factory=dict)
    slots: dict[str, str] = field(default_factory=dict)
    started: datetime = field(default_factory=lambda: datetime.now(UTC) - timedelta(hours=6))
    scans: int = 0
    read: set[str] = field(default_factory=set)

    def open_up(self) -> None:
        """Add the stations and slots, and the shop's lists of cartons and boards."""
        for kind in (CARTONS, BOARDS):
            text = _seed(f"{kind}.toml").read().decode()
            set_list(self.database, kind, text, who=WHO, now=datetime.now(UTC))
        for row in self.data["station"]:
            add_station(self.database, row["name"], Step(row["step"]))
            self.stations[Step(row["step"])] = row["name"]
        for row in self.data["slot"]:
            self.slots[row["name"]] = add_slot(self.database, row["name"])

    def take(self, row: dict[str, Any], code: str | None = None) -> Taken:
        """Take a job from its table of cabinets."""
        with _seed(f"{row['file']}.csv") as cabinets:
            order = read_order_table(
                cabinets,
                None,
                job=code or row["code"],
                customer=row["customer"],
                due=datetime.now(UTC).date() + timedelta(days=row["due_in_days"]),
                units=Units(row["units"]),
                standard=shipped_standard(),
            )
        packing = packing_of(self.database)
        return take_order(self.database, order, who=WHO, now=datetime.now(UTC), packing=packing)

    def plan_boards(self, job_code: str) -> Planned:
        """Plan a job's boards, draw their labels and read them back."""
        planned = plan_job_boards(self.database, job_code, who=WHO, now=datetime.now(UTC))
        self.read.update(self._read_all(Choice(job=job_code, what=What.BOARDS)))
        return planned

    def cut_boards(self, job_code: str) -> int:
        """Scan every board of a job at the saw; return how many there were."""
        boards = job_boards(self.database, job_code)
        self.scan([board.code for board in boards], Step.CUT)
        return len(boards)

    def read_labels(self, job_code: str) -> list[str]:
        """Draw every label of a job and read it back with an independent decoder; return what was read."""
        found = self._read_all(Choice(job=job_code))
        self.read.update(found)
        return found

    def _read_all(self, choice: Choice) -> list[str]:
        setup = label_setup(self.database, self.settings)
        with self.database.read() as connection:
            labels = labels_of(connection, chosen(connection, choice), setup)
            return [read_image(setup.draw(label, DPI)[0].image) for label in labels]

    def _read_paper(self, code: str) -> str:
        setup = label_setup(self.database, self.settings)
        with self.database.read() as connection:
            label = label_of(connection, read_code(code), setup)
        return read_image(setup.draw(label, DPI)[0].image)

    def scan(self, codes: Iterable[str], step: Step, **more: Any) -> list[Answer]:
        """Scan codes at the station of a step, some seconds apart: none that was not read off a label before."""
        codes = list(codes)
        unread = [code for code in codes if code[0] in "PBD" and code not in self.read]
        if unread:
            raise LookupError(f"no label of these was ever read: {unread}")
        scans = [
            Scan(id=uuid4(), code=code, at=self._next_time(), station=self.stations[step], **more) for code in codes
        ]
        return take_scans(self.database, scans, Sender(name=WHO), datetime.now(UTC)) if scans else []

    def _next_time(self) -> datetime:
        self.scans += 1
        return min(self.started + timedelta(seconds=6 * self.scans), datetime.now(UTC))

    def parts(self, job_code: str) -> list[SeenPart]:
        """All parts of a job."""
        with self.database.read() as connection:
            job = job_view(connection, job_code)
            return [] if job is None else parts_of_job(connection, job.id, limit=100_000)

    def boxes(self, job_code: str) -> list[BoxView]:
        """All boxes of a job."""
        with self.database.read() as connection:
            job = job_view(connection, job_code)
            return [] if job is None else boxes_of_job(connection, job.id, limit=10_000)

    def due_at(self, job_code: str, step: Step) -> list[SeenPart]:
        """The parts of a job whose next step is ``step``."""
        return [part for part in self.parts(job_code) if part.step == step]

    def pass_all(self, job_code: str, steps: Sequence[Step], *, leave: frozenset[str] = frozenset()) -> None:
        """Scan all parts that wait for each of these steps, but for those to leave."""
        for step in steps:
            self.scan([part.code for part in self.due_at(job_code, step) if part.code not in leave], step)

    def seal(self, box: BoxView) -> Sealed:
        """Count a box's items and seal it."""
        sealing = Sealing(
            box=read_code(box.code).number,
            items={item.item: item.quantity for item in box.items},
            mass_kg=round(box.mass_kg, 1),
        )
        return seal_box(self.database, sealing, who=WHO, now=datetime.now(UTC))

    def ship(self, job_code: str) -> str:
        """Load all boxes of a job and let them go; return the load's code."""
        load = self.load(self.boxes(job_code))
        self.let_go(load)
        return load

    def let_go(self, load: str) -> None:
        """Say that a load has left."""
        ship_load(self.database, read_code(load).number, who=WHO, now=datetime.now(UTC))

    def load(self, boxes: Sequence[BoxView]) -> str:
        """Plan a load of boxes, scan its paper and every box onto it; return its code."""
        codes = [box.code for box in boxes]
        numbers = [read_code(code).number for code in codes]
        load = plan_load(
            self.database,
            numbers,
            datetime.now(UTC).date() + timedelta(days=1),
            who=WHO,
            now=datetime.now(UTC),
        )
        paper = self._read_paper(load)
        self.scan([paper, *codes], Step.SHIP)
        return load

    def damage(self, code: str, step: Step) -> Answer:
        """Mark a part damaged at the station of a step."""
        return self.scan([code], step, action=Action.DAMAGED)[0]


def new_shop(folder: str) -> tuple[Settings, Database]:
    """Return where a new shop is to be kept: in this folder, which has none yet.

    Raises ConflictError for a folder that holds a database: it may be that of a real shop.
    """
    settings = read_settings({"TRACKER_DATA_DIR": folder})
    database = Database(settings.database_url)
    if database.file.exists():
        told = f"{settings.data_dir} holds a shop already, which the demo leaves alone."
        raise ConflictError(f"{told} Set TRACKER_DATA_DIR to a new folder, or to none.")
    return settings, database


def load_shop(database: Database, settings: Settings) -> DemoShop:
    """Return the invented shop on an empty database."""
    with _seed("shop.toml") as file:
        return DemoShop(database=database, settings=settings, data=tomllib.load(file))


def _seed(name: str) -> BytesIO:
    return BytesIO(files("seed_data").joinpath(name).read_bytes())


def read_image(label: Image.Image) -> str:
    """Return the one code that an independent decoder reads from a label's picture and that passes our check digits.

    Raises ValueError when there is none, or more than one.
    """
    texts = [barcode.text for barcode in zxingcpp.read_barcodes(label.convert("L"), **_OF_LABELS)]
    found = {str(code) for text in texts if (code := code_or_none(text)) is not None}
    if len(found) != 1:
        raise ValueError(f"a label was read as {texts}")
    return found.pop()


def of_kind(codes: Iterable[str], kind: Kind) -> list[str]:
    """Return those codes that are of a kind."""
    return [code for code in codes if code.startswith(kind.value)]
